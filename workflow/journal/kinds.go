package journal

import (
	"reflect"
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/quantity"
)

// A Kind describes one kind of entry.
type Kind struct {
	Name    string
	Version int
	// Clocked says that an entry starts or stops a clock, or that work is dated
	// after it, so that the clock must not read earlier than it.
	Clocked bool
	// Completes says that an entry completes a step: see [WorkOf].
	Completes bool
	// Names says that an entry refers to something outside the journal: see
	// [NamesOf].
	Names bool

	// target returns a place to decode the facts of one entry into, and a function
	// that takes them from there.
	target func() (into any, facts func() Facts)
	// earlier are the targets of earlier versions.
	earlier map[int]func() (into any, facts func() Facts)
}

// Kinds returns all kinds of entry, one row each. Stored kinds never change: a
// kind whose meaning changes gets a new version and a reader for the old one.
func Kinds() []Kind {
	const clocked = true
	return []Kind{
		kind[Registered](1, !clocked),
		kind[JobOpened](1, clocked),
		kind[JobMoved](1, !clocked),
		kind[JobAmended](1, clocked),
		kind[StepDone](1, clocked),
		kind[Begun](1, clocked),
		kind[Coated](1, clocked),
		kind[Joined](1, clocked),
		kind[HoldCleared](1, clocked),
		kind[Witnessed](1, !clocked),
		before[readingTaken1](1, before[readingTaken2](2, kind[ReadingTaken](3, clocked))),
		kind[GaugeChecked](1, clocked),
		kind[GaugeStudied](1, clocked),
		before[reworked1](1, kind[Reworked](2, clocked)),
		kind[ConcessionGranted](1, clocked),
		kind[TouchTested](1, clocked),
		kind[BenchRead](1, clocked),
		kind[ConditionSet](1, clocked),
		before[useCleared1](1, kind[UseCleared](2, clocked)),
		before[damageFound1](1, before[damageFound2](2, kind[DamageFound](3, !clocked))),
		kind[QuarantineCleared](1, !clocked),
		before[equipmentChanged1](1, kind[EquipmentChanged](2, !clocked)),
		kind[PartRetired](1, !clocked),
		before[flightLogged1](1, before[flightLogged2](2, before[flightLogged3](3, kind[FlightLogged](4, !clocked)))),
		kind[Noted](1, !clocked),
		kind[PhotoKept](1, !clocked),
		kind[Undone](1, !clocked),
		kind[Released](1, clocked),
		kind[Chosen](1, clocked),
		kind[Sealed](1, !clocked),
		kind[Retired](1, !clocked),
	}
}

// Zero returns empty facts of the kind.
func (k Kind) Zero() Facts {
	_, facts := k.target()
	return facts()
}

func kind[F Facts](version int, clocked bool) Kind {
	var zero F
	return kindOf(zero, version, clocked)
}

// kindOf is kind that stands in the program once, and not again for every type of facts.
func kindOf(zero Facts, version int, clocked bool) Kind {
	_, completes := zero.(completing)
	_, names := zero.(naming)
	of := reflect.TypeOf(zero)
	return Kind{Name: zero.Kind(), Version: version, Clocked: clocked, Completes: completes, Names: names, target: func() (any, func() Facts) {
		into := reflect.New(of)
		return into.Interface(), func() Facts { return into.Elem().Interface().(Facts) }
	}}
}

// before adds the reader of an earlier version, whose facts become present ones.
func before[F earlier](version int, k Kind) Kind {
	var zero F
	return k.after(zero, version)
}

// earlier are facts as an earlier version had them.
type earlier interface{ now() Facts }

// after is before that stands in the program once, and not again for every type of facts.
//
//go:noinline
func (k Kind) after(zero earlier, version int) Kind {
	of := reflect.TypeOf(zero)
	if k.earlier == nil {
		k.earlier = map[int]func() (any, func() Facts){}
	}
	k.earlier[version] = func() (any, func() Facts) {
		into := reflect.New(of)
		return into.Interface(), func() Facts { return into.Elem().Interface().(earlier).now() }
	}
	return k
}

// byName returns the kinds by name.
// It is not inlined: its copies in all callers would take 2 KB.
//
//go:noinline
func byName() map[string]Kind {
	kinds := map[string]Kind{}
	for _, k := range Kinds() {
		kinds[k.Name] = k
	}
	return kinds
}

// Clocked returns the names of the kinds that the clock must not read earlier than.
func Clocked() map[string]bool {
	clocked := map[string]bool{}
	for _, k := range Kinds() {
		clocked[k.Name] = k.Clocked
	}
	return clocked
}

type completing interface{ work() Work }

// WorkOf returns the work of an entry that completes a step; false: it completes
// none.
// It is not inlined: its copies in all callers would take 5 KB.
//
//go:noinline
func WorkOf(f Facts) (Work, bool) {
	if c, ok := f.(completing); ok {
		return c.work(), true
	}
	return Work{}, false
}

func (w Work) work() Work { return w }

// Names are the things outside the journal that an entry refers to, by digest.
type Names struct {
	Sheet, Procedure string // documents that a replay needs
	Document         string // any other
	Photo            string
}

type naming interface{ names() Names }

// NamesOf returns what the facts refer to; the zero value: nothing.
// It is not inlined: its copies in all callers would take 1 KB.
//
//go:noinline
func NamesOf(f Facts) Names {
	if n, ok := f.(naming); ok {
		return n.names()
	}
	return Names{}
}

func (f Registered) names() Names { return Names{Sheet: f.Sheet} }
func (f JobOpened) names() Names  { return Names{Sheet: f.Sheet, Procedure: f.Procedure} }
func (f JobMoved) names() Names   { return Names{Sheet: f.Sheet, Procedure: f.Procedure} }
func (f JobAmended) names() Names { return Names{Sheet: f.Sheet, Procedure: f.Procedure} }
func (f Sealed) names() Names     { return Names{Document: f.Note} }
func (f PhotoKept) names() Names  { return Names{Photo: f.Photo} }

// Earlier returns the positions of the earlier entries that an entry names.
func Earlier(f Facts) []int64 {
	switch f := f.(type) {
	case Undone:
		return f.TakesBack
	case PhotoKept:
		return f.Of
	case ConcessionGranted:
		return f.Readings
	case Released:
		return f.RestsOn
	}
	return nil
}

// JobOf returns the job that goes by the documents that an entry names, from there
// on; "": it is about none.
// It is not inlined: its copies in all callers would take 3 KB.
//
//go:noinline
func JobOf(f Facts) string {
	switch f := f.(type) {
	case JobOpened:
		return f.Job
	case JobMoved:
		return f.Job
	case JobAmended:
		return f.Job
	case Begun:
		return f.Job
	}
	return ""
}

// Digests returns the digests of the documents that a replay of the entries
// needs: those of design sheets and those of procedures.
func Digests(entries []Entry) (sheets, procedures []string) {
	for _, e := range entries {
		n := NamesOf(e.Facts)
		if n.Sheet != "" {
			sheets = append(sheets, n.Sheet)
		}
		if n.Procedure != "" {
			procedures = append(procedures, n.Procedure)
		}
	}
	slices.Sort(sheets)
	slices.Sort(procedures)
	return lists.Compact(sheets), lists.Compact(procedures)
}

// Registered: an airframe of a design was registered.
type Registered struct {
	Mark    string   `json:"mark"`
	Design  string   `json:"design"`
	Sheet   string   `json:"sheet"` // digest
	Options []string `json:"options,omitempty"`
}

func (Registered) Kind() string { return "Registered" }

// JobOpened: a procedure began to be carried out.
type JobOpened struct {
	Job       string `json:"job"`
	Procedure string `json:"procedure"` // digest
	Sheet     string `json:"sheet"`     // digest; the airframe's sheet from here on
	Zone      string `json:"zone,omitempty"`
	// Damages are repaired once the job is complete.
	Damages []string `json:"damages,omitempty"`
}

func (JobOpened) Kind() string { return "JobOpened" }

// JobMoved: an open job goes on under newer documents.
type JobMoved struct {
	Job       string `json:"job"`
	Procedure string `json:"procedure"` // digest
	Sheet     string `json:"sheet"`     // digest; the airframe's sheet from here on
}

func (JobMoved) Kind() string { return "JobMoved" }

// JobAmended: an open repair goes on by another plan, because more damage was found or
// some was taken back.
type JobAmended struct {
	Job       string   `json:"job"`
	Procedure string   `json:"procedure"`         // digest
	Sheet     string   `json:"sheet"`             // digest
	Damages   []string `json:"damages"`           // all that it repairs from here on
	Reopens   []string `json:"reopens,omitempty"` // the steps that were done and must be done again
}

func (JobAmended) Kind() string { return "JobAmended" }

// DamageFound: something was seen after a crash, or found at work.
type DamageFound struct {
	Damage   string `json:"damage"` // its name on this airframe: D1
	Finding  string `json:"finding"`
	Zone     string `json:"zone"`
	Severity string `json:"severity"`
	Place    string `json:"place,omitempty"` // where in the zone
	Cause    string `json:"cause,omitempty"` // what did it
	// Thing is the equipment that was damaged, by its name; "": nobody said.
	Thing string `json:"thing,omitempty"`
	// For is the damage that was taken back and leaves this look-over; "": it was found.
	For  string `json:"for,omitempty"`
	Note string `json:"note,omitempty"`
	// As is the finding that words of one's own were taken for, and Words are those
	// that were typed where they were found to mean the finding.
	As    string `json:"as,omitempty"`
	Words string `json:"words,omitempty"`
	// Tables are the digests of the triage tables that were asked, in their order.
	Tables []string `json:"tables,omitempty"`
	// Quarantine is what is confirmed before the part may come near anything again,
	// and how long after it was found at least.
	Quarantine steps.Quarantine `json:"quarantine,omitzero"`
}

// damageFound1 had a quarantine without a time, and left words of one's own to the
// table of the day of the repair.
type damageFound1 struct {
	Damage     string   `json:"damage"`
	Finding    string   `json:"finding"`
	Zone       string   `json:"zone"`
	Severity   string   `json:"severity"`
	Note       string   `json:"note,omitempty"`
	Quarantine []string `json:"quarantine,omitempty"`
}

func (f damageFound1) now() Facts {
	return DamageFound{Damage: f.Damage, Finding: f.Finding, Zone: f.Zone, Severity: f.Severity, Note: f.Note, Quarantine: steps.Quarantine{Confirm: f.Quarantine}}
}

// damageFound2 said nothing of place, cause and thing.
type damageFound2 struct {
	Damage     string           `json:"damage"`
	Finding    string           `json:"finding"`
	Zone       string           `json:"zone"`
	Severity   string           `json:"severity"`
	Note       string           `json:"note,omitempty"`
	As         string           `json:"as,omitempty"`
	Words      string           `json:"words,omitempty"`
	Tables     []string         `json:"tables,omitempty"`
	Quarantine steps.Quarantine `json:"quarantine,omitzero"`
}

func (f damageFound2) now() Facts {
	return DamageFound{Damage: f.Damage, Finding: f.Finding, Zone: f.Zone, Severity: f.Severity, Note: f.Note, As: f.As, Words: f.Words, Tables: f.Tables, Quarantine: f.Quarantine}
}

func (DamageFound) Kind() string { return "DamageFound" }

// QuarantineCleared: every line of a quarantine was confirmed.
type QuarantineCleared struct {
	Damage string   `json:"damage"`
	Lines  []string `json:"lines"`
}

func (QuarantineCleared) Kind() string { return "QuarantineCleared" }

// PartRetired: a lost part was taken off and thrown away. It stands right after the
// entry that completes the step which says so.
type PartRetired struct {
	Job  string `json:"job"`
	Step string `json:"step"`
	// Zones are thrown away. Their joints and readings count no more.
	Zones   []string `json:"zones"`
	Damages []string `json:"damages,omitempty"` // for which
}

func (PartRetired) Kind() string { return "PartRetired" }

// EquipmentChanged: a piece of equipment was fitted, removed or moved.
type EquipmentChanged struct {
	Item   string            `json:"item"`
	Change string            `json:"change"`         // Fitted, Removed or Moved
	Name   string            `json:"name,omitempty"` // which one of its kind; "": nobody said
	Zone   string            `json:"zone,omitempty"` // of what the design sheet did not list
	Mass   quantity.Quantity `json:"mass,omitzero"`
	Arm    quantity.Quantity `json:"arm,omitzero"` // behind the datum
	Note   string            `json:"note,omitempty"`
	// Job and Step are those that fitted it: the entry of the step comes right after
	// it; "": none.
	Job      string   `json:"job,omitempty"`
	Step     string   `json:"step,omitempty"`
	Disturbs []string `json:"disturbs"`
}

// equipmentChanged1 had no names, and nothing that the sheet did not list.
type equipmentChanged1 struct {
	Item     string            `json:"item"`
	Change   string            `json:"change"`
	Mass     quantity.Quantity `json:"mass,omitzero"`
	Arm      quantity.Quantity `json:"arm,omitzero"`
	Note     string            `json:"note,omitempty"`
	Disturbs []string          `json:"disturbs"`
}

func (f equipmentChanged1) now() Facts {
	return EquipmentChanged{Item: f.Item, Change: f.Change, Mass: f.Mass, Arm: f.Arm, Note: f.Note, Disturbs: f.Disturbs}
}

func (EquipmentChanged) Kind() string { return "EquipmentChanged" }

// FlightLogged: the airframe made a flight.
type FlightLogged struct {
	Landing string `json:"landing"` // Soft or Hard
	Note    string `json:"note,omitempty"`
	// Check is the procedure that a hard landing asks for, or a flight that it was not
	// released for; empty: none.
	Check string `json:"check,omitempty"`
	// Grounded is why it might not fly, as far as anybody knew; empty: it was released.
	Grounded string `json:"grounded,omitempty"`
	// Lasted is how long it was in the air; absent: nobody said.
	Lasted quantity.Quantity `json:"lasted,omitzero"`
	// Trims are where control surfaces stood after the landing, away from neutral.
	Trims []Trim `json:"trims,omitempty"`
}

// A Trim is where a control surface stood: by an angle, or by the travel of its edge.
type Trim struct {
	Control string `json:"control"`
	// Way is where it stood, seen from behind: up, left-up, as the sheet's geometry has it.
	Way string `json:"way"`
	// Value is how far, and not negative.
	Value quantity.Quantity `json:"value"`
}

// flightLogged1 did not say whether it might fly.
type flightLogged1 struct {
	Landing string `json:"landing"`
	Note    string `json:"note,omitempty"`
	Check   string `json:"check,omitempty"`
}

func (f flightLogged1) now() Facts {
	return FlightLogged{Landing: f.Landing, Note: f.Note, Check: f.Check}
}

// flightLogged2 did not say how long it lasted.
type flightLogged2 struct {
	Landing  string `json:"landing"`
	Note     string `json:"note,omitempty"`
	Check    string `json:"check,omitempty"`
	Grounded string `json:"grounded,omitempty"`
}

func (f flightLogged2) now() Facts {
	return FlightLogged{Landing: f.Landing, Note: f.Note, Check: f.Check, Grounded: f.Grounded}
}

// flightLogged3 did not say the trims.
type flightLogged3 struct {
	Landing  string            `json:"landing"`
	Note     string            `json:"note,omitempty"`
	Check    string            `json:"check,omitempty"`
	Grounded string            `json:"grounded,omitempty"`
	Lasted   quantity.Quantity `json:"lasted,omitzero"`
}

func (f flightLogged3) now() Facts {
	return FlightLogged{Landing: f.Landing, Note: f.Note, Check: f.Check, Grounded: f.Grounded, Lasted: f.Lasted}
}

func (FlightLogged) Kind() string { return "FlightLogged" }

// PhotoKept: a photo was kept beside the store.
type PhotoKept struct {
	Photo string  `json:"photo"` // digest
	Name  string  `json:"name"`
	Type  string  `json:"type"`
	Bytes int64   `json:"bytes"`
	Of    []int64 `json:"of"` // the entries that it shows
}

func (PhotoKept) Kind() string { return "PhotoKept" }

// Sealed: the head of the journal was signed. The entry itself comes after the
// entries that it seals.
type Sealed struct {
	Size int64  `json:"size"`
	Root string `json:"root"` // base64, as the seal has it
	Key  string `json:"key"`  // the public key
	Note string `json:"note"` // digest of the seal, kept as a document
}

func (Sealed) Kind() string { return "Sealed" }

// Work is what every entry that completes a step records.
type Work struct {
	Job      string          `json:"job"`
	Step     string          `json:"step"`
	Disturbs []string        `json:"disturbs,omitempty"`
	Sets     []steps.Setting `json:"sets,omitempty"`
}

// StepDone: a plain step was done, a wait was over, or the gates of a measure
// step were met.
type StepDone struct{ Work }

func (StepDone) Kind() string { return "StepDone" }

// Begun: a coat was begun that is not on yet: its adhesive was mixed, or spreading began.
// The coat is recorded once it is on.
type Begun struct {
	Job      string     `json:"job"`
	Step     string     `json:"step"`
	Adhesive string     `json:"adhesive"`
	Mixed    *time.Time `json:"mixed,omitempty"`
	Began    *time.Time `json:"began,omitempty"`
}

func (Begun) Kind() string { return "Begun" }

// Coated: one face of a joint, or both, had adhesive spread on it.
type Coated struct {
	Work
	Joint    string     `json:"joint"`
	Adhesive string     `json:"adhesive"`
	Began    time.Time  `json:"began"`           // spreading began; Entry.At is when it was finished
	Mixed    *time.Time `json:"mixed,omitempty"` // two-part adhesives
}

func (Coated) Kind() string { return "Coated" }

// Joined: the faces of a joint were put together.
type Joined struct {
	Work
	Joint string `json:"joint"`
	Load  bool   `json:"load"`
}

func (Joined) Kind() string { return "Joined" }

// HoldCleared: every line of a hold was confirmed.
type HoldCleared struct {
	Work
	Lines []string `json:"lines"`
}

func (HoldCleared) Kind() string { return "HoldCleared" }

// Witnessed: who was the second person at a step that wants one, or what was done
// instead. It stands right before the entry that completes the step.
type Witnessed struct {
	Job     string `json:"job"`
	Step    string `json:"step"`
	Who     string `json:"who,omitempty"`
	Instead string `json:"instead,omitempty"` // the way, in the words of the step
}

func (Witnessed) Kind() string { return "Witnessed" }

// Says is who it was, or what was done instead.
func (f Witnessed) Says() string {
	if f.Who != "" {
		return "with " + f.Who + " as the second person"
	}
	return "alone: " + f.Instead
}

// Chosen: one answer was given to a choice: by the choose step of a job, or
// without one, when the job is empty.
type Chosen struct {
	Work
	Choice string `json:"choice"` // of the sheet, or the step whose methods are chosen from
	Answer string `json:"answer"` // "no": the airframe does not get the option
}

func (Chosen) Kind() string { return "Chosen" }

// ReadingTaken: one point of a gate was measured.
type ReadingTaken struct {
	Gate  string            `json:"gate"`
	Point string            `json:"point,omitempty"`
	Value quantity.Quantity `json:"value"`
	Gauge string            `json:"gauge"`
	// Alone: once the gate is undecided it passes only if it does so by its last readings
	// alone as well, and not by the mean of all that was read since.
	Alone bool `json:"alone,omitempty"`
	// Earlier: it was taken when uncertainties were nearest floats, and every mean counted
	// as of the fewest readings at any point.
	Earlier bool `json:"earlier,omitempty"`
	// Anew: the point was begun anew with it, since the readings there lay too far apart and
	// the set-up was steadied.
	Anew bool `json:"anew,omitempty"`
}

// readingTaken1 was always alone.
type readingTaken1 struct {
	Gate  string            `json:"gate"`
	Point string            `json:"point,omitempty"`
	Value quantity.Quantity `json:"value"`
	Gauge string            `json:"gauge"`
}

func (f readingTaken1) now() Facts {
	return ReadingTaken{Gate: f.Gate, Point: f.Point, Value: f.Value, Gauge: f.Gauge, Alone: true, Earlier: true}
}

// readingTaken2 was taken before points could be begun anew.
type readingTaken2 struct {
	Gate  string            `json:"gate"`
	Point string            `json:"point,omitempty"`
	Value quantity.Quantity `json:"value"`
	Gauge string            `json:"gauge"`
	Alone bool              `json:"alone,omitempty"`
}

func (f readingTaken2) now() Facts {
	return ReadingTaken{Gate: f.Gate, Point: f.Point, Value: f.Value, Gauge: f.Gauge, Alone: f.Alone, Earlier: true}
}

func (ReadingTaken) Kind() string { return "ReadingTaken" }

// GaugeChecked: a gauge was tried on a reference of known size.
type GaugeChecked struct {
	Gauge string            `json:"gauge"`
	Of    quantity.Quantity `json:"of"`    // the size of the reference
	Reads quantity.Quantity `json:"reads"` // what the gauge read on it
	Note  string            `json:"note,omitempty"`
}

func (GaugeChecked) Kind() string { return "GaugeChecked" }

// GaugeStudied: several people read several parts with a gauge, each several times, as
// for readings of a gate.
type GaugeStudied struct {
	Gauge    string         `json:"gauge"`
	Gate     string         `json:"gate"`
	Readings []StudyReading `json:"readings"`
	// Repeatability is what one person's readings of one part differ by, and Whole that
	// with what people read differently; both expanded, k = 2.
	Repeatability quantity.Quantity `json:"repeatability"`
	Whole         quantity.Quantity `json:"whole"`
	Note          string            `json:"note,omitempty"`
}

// A StudyReading is one reading of a study of a gauge.
type StudyReading struct {
	Person string            `json:"person"`
	Part   string            `json:"part"`
	Value  quantity.Quantity `json:"value"`
}

func (GaugeStudied) Kind() string { return "GaugeStudied" }

// Reworked: what was out of tolerance at a gate was worked on.
type Reworked struct {
	Gate     string   `json:"gate"`
	Disturbs []string `json:"disturbs"`
	Way      int      `json:"way,omitempty"` // which of several, from 1
	// Joint is the joint that it glues anew, and With is what that may be glued
	// with; "": it glues none. A coat and a join without a job come with it.
	Joint string   `json:"joint,omitempty"`
	With  []string `json:"with,omitempty"`
}

// reworked1 is Reworked as its first version had it.
type reworked1 struct {
	Gate     string   `json:"gate"`
	Disturbs []string `json:"disturbs"`
}

func (f reworked1) now() Facts { return Reworked{Gate: f.Gate, Disturbs: f.Disturbs} }

func (Reworked) Kind() string { return "Reworked" }

// ConcessionGranted: a gate that is not met was accepted as it is.
type ConcessionGranted struct {
	Gate     string  `json:"gate"`
	Reason   string  `json:"reason"`
	Readings []int64 `json:"readings"` // the positions it is about
}

func (ConcessionGranted) Kind() string { return "ConcessionGranted" }

// TouchTested: the builder touched a coat. It can hold a join back; it never
// opens a window.
type TouchTested struct {
	Job   string `json:"job"`
	Joint string `json:"joint"`
	Ready bool   `json:"ready"`
}

func (TouchTested) Kind() string { return "TouchTested" }

// BenchRead: the temperature and humidity at the bench were read.
type BenchRead struct {
	Temperature quantity.Quantity `json:"temperature"`
	Humidity    quantity.Quantity `json:"humidity"` // null: not read
}

func (BenchRead) Kind() string { return "BenchRead" }

// ConditionSet: somebody said which state a condition is in.
type ConditionSet struct {
	steps.Setting
}

func (ConditionSet) Kind() string { return "ConditionSet" }

// UseCleared: every line of the hold of an adhesive or a tool was confirmed, for
// one sitting of whoever confirmed it.
type UseCleared struct {
	Of    string   `json:"of"`
	Lines []string `json:"lines"`
	Bench string   `json:"bench,omitempty"` // where benches share a store, that one; "": it was not said
}

func (UseCleared) Kind() string { return "UseCleared" }

// useCleared1 did not say at which bench.
type useCleared1 struct {
	Of    string   `json:"of"`
	Lines []string `json:"lines"`
}

func (f useCleared1) now() Facts { return UseCleared{Of: f.Of, Lines: f.Lines} }

// Noted: free text.
type Noted struct {
	Text string `json:"text"`
}

func (Noted) Kind() string { return "Noted" }

// Undone: earlier entries were taken back.
type Undone struct {
	TakesBack []int64 `json:"takes_back"`
	Reason    string  `json:"reason,omitempty"`
}

func (Undone) Kind() string { return "Undone" }

// Retired: the airframe was sold, scrapped, or put away. Its record stays.
type Retired struct {
	Because string `json:"because"`
	Note    string `json:"note,omitempty"`
}

func (Retired) Kind() string { return "Retired" }

// Released: a person released the airframe to fly.
type Released struct {
	Work
	RestsOn []int64 `json:"rests_on"` // the readings of the critical gates
	// What a maintenance entry names besides its date and who approves (14 CFR
	// 43.9(a)(1) to (4), from memory): the work since the release before, who
	// did it, and the approver's certificate where there is one.
	Jobs        []string `json:"jobs,omitempty"`
	Performed   []string `json:"performed,omitempty"`
	Certificate string   `json:"certificate,omitempty"`
}

func (Released) Kind() string { return "Released" }
