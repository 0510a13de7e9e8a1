package workflow

import (
	"fettle/steps"
	"fettle/steps/quantity"
)

// A RemedyKind is a sort of thing that helps.
type RemedyKind string

// The kinds of remedy, with the arguments that each has.
const (
	ToReadBench     RemedyKind = "read-bench"          // Humidity: that too
	ToSetCondition  RemedyKind = "set-condition"       // Setting: to be seen to, then said
	ToWarmBench     RemedyKind = "warm-bench"          // Value: at least
	ToCoolBench     RemedyKind = "cool-bench"          // Value: at most
	ToNearBench     RemedyKind = "near-bench"          // Value: the temperature to come nearer to
	ToCoatAgain     RemedyKind = "coat-again"          // Joint: a fresh coat on every face
	ToTouchAgain    RemedyKind = "touch-again"         // Step: the join
	ToMeasure       RemedyKind = "measure"             // Gate, Points, Unit
	ToMeasureRest   RemedyKind = "measure-rest"        // Gate, Points: those left; then rework
	ToCheckGauge    RemedyKind = "check-gauge"         // Gauge, Value: the size of the reference; Gate: what is to be measured then
	ToRework        RemedyKind = "rework"              // Gate
	ToTakeBack      RemedyKind = "take-back"           // Entry: if it was a mistake
	ToSetClock      RemedyKind = "set-clock"           // Entry: or take it back
	ToClear         RemedyKind = "clear"               // Name: a hold or a damage in quarantine
	ToRelease       RemedyKind = "release"             // by a person
	ToStart         RemedyKind = "start"               // Name: a procedure
	ToFinish        RemedyKind = "finish"              // Name: a job
	ToSeeNext       RemedyKind = "next"                // what is open already
	ToPlanRepair    RemedyKind = "repair"              // of the damage reported
	ToReportDamage  RemedyKind = "report-damage"       // none is reported
	ToTakeBackFirst RemedyKind = "take-back-first"     // what depends on it
	ToDoAgain       RemedyKind = "do-again"            // what was taken back
	ToChooseMark    RemedyKind = "choose-mark"         // another one
	ToAddTriageRow  RemedyKind = "add-triage-row"      // to the triage table
	ToMarkCritical  RemedyKind = "mark-gates-critical" // in a new revision of the sheet
	ToNameWho       RemedyKind = "name-who"            // is at the bench
	ToNameZone      RemedyKind = "name-zone"           // Names: those that fit
	ToUseOtherStore RemedyKind = "use-other-store"     // for what this one has already
	ToOmitZone      RemedyKind = "omit-zone"           // none is asked for
)

// A Remedy is what would help against a reason, as data: a page spells the
// command, and a program may act on it. The zero value: nothing but time, or
// nothing at all.
type Remedy struct {
	Kind RemedyKind `json:"kind"`
	Mark string     `json:"mark,omitempty"` // the airframe's

	Name     string            `json:"name,omitempty"`
	Names    []string          `json:"names,omitempty"`
	Step     string            `json:"step,omitempty"`
	Joint    string            `json:"joint,omitempty"`
	Gate     string            `json:"gate,omitempty"`
	Points   []string          `json:"points,omitempty"` // one for each reading; "" where the gate has one place only
	Unit     string            `json:"unit,omitempty"`
	Gauge    string            `json:"gauge,omitempty"`
	Entry    int64             `json:"entry,omitempty"`
	Setting  steps.Setting     `json:"setting,omitzero"`
	Value    quantity.Quantity `json:"value,omitzero"`
	Humidity bool              `json:"humidity,omitempty"`
}

// IsZero reports whether there is no remedy.
func (r Remedy) IsZero() bool { return r.Kind == "" }

// remedy is a remedy for this airframe.
func (s *State) remedy(r Remedy) Remedy {
	r.Mark = s.Airframe.Mark
	return r
}
