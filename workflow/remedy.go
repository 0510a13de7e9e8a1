package workflow

import (
	"time"

	"fettle/steps"
	"fettle/steps/quantity"
)

// A RemedyKind is a kind of remedy.
type RemedyKind string

// The kinds of remedy, each with its arguments.
const (
	ToReadBench     RemedyKind = "read-bench"          // Humidity: that as well
	ToSetCondition  RemedyKind = "set-condition"       // Setting: make sure of it, then record it
	ToWarmBench     RemedyKind = "warm-bench"          // Value: at least; Names: adhesives that work as it is
	ToCoolBench     RemedyKind = "cool-bench"          // Value: at most; Names: as to warm it
	ToNearBench     RemedyKind = "near-bench"          // Value: the temperature to approach
	ToDryAir        RemedyKind = "dry-air"             // Value: a humidity of at most that, then read the bench
	ToDampAir       RemedyKind = "damp-air"            // Value: a humidity of at least that, then read the bench
	ToCoatAgain     RemedyKind = "coat-again"          // Joint: a fresh coat on every face
	ToClearOut      RemedyKind = "clear-out"           // Joint: its glue has begun to set: it goes out, and fresh glue in
	ToSayBegan      RemedyKind = "say-began"           // Step: of a glue step, once a fresh coat is on
	ToNameAdhesive  RemedyKind = "name-adhesive"       // Step, Names: those that it may be
	ToNameSecond    RemedyKind = "name-second"         // Step, or Name: a hold; Names: what one alone may do instead
	ToChooseWay     RemedyKind = "choose-way"          // Gate: which of several ways of rework
	ToSayMixed      RemedyKind = "say-mixed"           // Gate: when the glue of its rework was mixed
	ToTouchAgain    RemedyKind = "touch-again"         // Step: the join
	ToMeasure       RemedyKind = "measure"             // Gate, Points, Unit
	ToBeginAnew     RemedyKind = "begin anew"          // Gate, Points, Unit, Anew: steady the set-up and read so many at once; Names, Concede: as ToDecide
	ToDecide        RemedyKind = "decide"              // Gate, Points, Unit: measure it again; Names: finer gauges; Concede: or accept it as it is
	ToJoinFirst     RemedyKind = "join-first"          // what a repair, once begun, would not leave time to join
	ToBeSure        RemedyKind = "be-sure"             // Gate, Points, Unit: look again at a reading that is probably mistyped or misread; Names: the others as they were given; no Gate: at a place
	ToMeasureRest   RemedyKind = "measure-rest"        // Gate, Points: those left; rework comes after
	ToCheckGauge    RemedyKind = "check-gauge"         // Gauge, Value: the size of the reference; Gate: what to measure then
	ToRework        RemedyKind = "rework"              // Gate
	ToTakeBack      RemedyKind = "take-back"           // Entry: take it back if it was a mistake
	ToBeginAgain    RemedyKind = "begin-check-again"   // Entry, Name: a check before a flight that is open since before it was grounded: take it back
	ToGiveReason    RemedyKind = "give-reason"         // why it is taken back
	ToSetClock      RemedyKind = "set-clock"           // Entry: set the clock, or take the entry back
	ToSetBenchClock RemedyKind = "set-bench-clock"     // of this bench, or of the other one
	ToClear         RemedyKind = "clear"               // Name: a hold or a damage in quarantine
	ToRecordRemoved RemedyKind = "record-removed"      // Name: an item of equipment
	ToFitAnother    RemedyKind = "fit-another"         // Name: an item of equipment, of which another one is fitted by its name
	ToNameThing     RemedyKind = "name-thing"          // Step, or Name: a hold; the name of what it fits
	ToSayWhere      RemedyKind = "say-where"           // Name: equipment that the sheet does not list: its zone and its mass
	ToClearUse      RemedyKind = "clear-use"           // Name: an adhesive or a tool, its hold
	ToRelease       RemedyKind = "release"             // by a person
	ToStart         RemedyKind = "start"               // Name: a procedure
	ToAccept        RemedyKind = "accept-as-built"     // take it over as built, by a check; or build it
	ToFinish        RemedyKind = "finish"              // Name: a job
	ToWait          RemedyKind = "wait"                // Step: until it can be done
	ToSeeNext       RemedyKind = "next"                // see what is open
	ToPlanRepair    RemedyKind = "repair"              // plan the repair of the reported damage
	ToRepair        RemedyKind = "begin-repair"        // begin it, by that plan
	ToPlan          RemedyKind = "plan"                // plan the evening again
	ToReportDamage  RemedyKind = "report-damage"       // report the damage first
	ToTakeBackFirst RemedyKind = "take-back-first"     // take back what depends on it first
	ToDoAgain       RemedyKind = "do-again"            // record again what was taken back
	ToChooseMark    RemedyKind = "choose-mark"         // choose another one
	ToAddTriageRow  RemedyKind = "add-triage-row"      // add a row to the triage table
	ToMarkCritical  RemedyKind = "mark-gates-critical" // mark gates critical in a new revision of the sheet
	ToNameWho       RemedyKind = "name-who"            // say who is at the bench
	ToNameZone      RemedyKind = "name-zone"           // Names: those that fit
	ToUseOtherStore RemedyKind = "use-other-store"     // for an airframe that this one already has
	ToChoose        RemedyKind = "choose"              // Names: one of these answers
	ToMoveJob       RemedyKind = "move-job"            // Name: a job
	ToRaiseRevision RemedyKind = "raise-revision"      // Name: the file of the document
	ToOmitZone      RemedyKind = "omit-zone"           // give no zone
)

// A Remedy is what to do about a reason, as data: a page spells the command, and
// a program may act on it. The zero value means that there is nothing to do but
// wait, or nothing at all.
type Remedy struct {
	Kind RemedyKind `json:"kind"`
	Mark string     `json:"mark,omitempty"` // the airframe's

	Name     string            `json:"name,omitempty"`
	Names    []string          `json:"names,omitempty"`
	Step     string            `json:"step,omitempty"`
	Joint    string            `json:"joint,omitempty"`
	Gate     string            `json:"gate,omitempty"`
	Points   []string          `json:"points,omitempty"` // one for each reading; "" if the gate has only one point
	Unit     string            `json:"unit,omitempty"`
	Gauge    string            `json:"gauge,omitempty"`
	Entry    int64             `json:"entry,omitempty"`
	Setting  steps.Setting     `json:"setting,omitzero"`
	Value    quantity.Quantity `json:"value,omitzero"`
	Humidity bool              `json:"humidity,omitempty"`
	Concede  bool              `json:"concede,omitempty"` // a concession would do
	Anew     int               `json:"anew,omitempty"`    // readings at once with which a point begins anew
	Coarse   bool              `json:"coarse,omitempty"`  // more readings with its own gauge would not decide it
	Then     time.Time         `json:"then,omitzero"`     // when it must have been so: what was asked for is dated then
}

// IsZero reports whether there is no remedy.
//
//go:noinline
func (r Remedy) IsZero() bool { return r.Kind == "" }

// remedy is a remedy for this airframe.
// It is not inlined: its many copies would make the program larger.
//
//go:noinline
func (s *State) remedy(r Remedy) Remedy {
	r.Mark = s.Airframe.Mark
	return r
}
