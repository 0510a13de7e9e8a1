package workflow

import (
	"encoding/json"
	"time"

	"fettle/steps"
	"fettle/steps/quantity"
)

// The kinds of entry. Stored for ever: add kinds at the end, and give a kind
// whose meaning changes a new version with a reader for the old one.

// Registered: an airframe of a design came under the record.
type Registered struct {
	Mark    string   `json:"mark"`
	Design  string   `json:"design"`
	Sheet   string   `json:"sheet"` // digest
	Options []string `json:"options,omitempty"`
}

// JobOpened: a procedure began to be carried out.
type JobOpened struct {
	Job       string `json:"job"`
	Procedure string `json:"procedure"` // digest
	Sheet     string `json:"sheet"`     // digest; the airframe's sheet from here on
	Zone      string `json:"zone,omitempty"`
	// Damages are what it mends: they are mended once it is complete.
	Damages []string `json:"damages,omitempty"`
}

// JobMoved: an open job goes on under newer documents.
type JobMoved struct {
	Job       string `json:"job"`
	Procedure string `json:"procedure"` // digest
	Sheet     string `json:"sheet"`     // digest; the airframe's sheet from here on
}

// DamageFound: something was seen after a crash, or found at work.
type DamageFound struct {
	Damage   string `json:"damage"` // its name on this airframe: D1
	Finding  string `json:"finding"`
	Zone     string `json:"zone"`
	Severity string `json:"severity"`
	Note     string `json:"note,omitempty"`
	// Quarantine are the lines to be confirmed before what was found is let
	// near anything again; none: no quarantine.
	Quarantine []string `json:"quarantine,omitempty"`
}

// QuarantineCleared: every line of a quarantine was confirmed.
type QuarantineCleared struct {
	Damage string   `json:"damage"`
	Lines  []string `json:"lines"`
}

// EquipmentChanged: a piece of equipment was fitted, removed or moved.
type EquipmentChanged struct {
	Item     string            `json:"item"`
	Change   string            `json:"change"` // Fitted, Removed or Moved
	Mass     quantity.Quantity `json:"mass,omitzero"`
	Arm      quantity.Quantity `json:"arm,omitzero"` // behind the datum
	Note     string            `json:"note,omitempty"`
	Disturbs []string          `json:"disturbs"`
}

// FlightLogged: the airframe flew.
type FlightLogged struct {
	Landing string `json:"landing"` // Soft or Hard
	Note    string `json:"note,omitempty"`
	// Check is the procedure that a hard landing asks for; empty: none.
	Check string `json:"check,omitempty"`
}

// PhotoKept: a photo was kept beside the store, with what it shows.
type PhotoKept struct {
	Photo string  `json:"photo"` // digest
	Name  string  `json:"name"`
	Type  string  `json:"type"`
	Bytes int64   `json:"bytes"`
	Of    []int64 `json:"of"` // the entries that it shows
}

// Sealed: the head of the journal was signed. The entry itself comes after
// what it seals.
type Sealed struct {
	Size int64  `json:"size"`
	Root string `json:"root"` // base64, as the seal has it
	Key  string `json:"key"`  // the public key
	Note string `json:"note"` // digest of the seal, kept as a document
}

// Work is what every entry that completes a step says.
type Work struct {
	Job      string          `json:"job"`
	Step     string          `json:"step"`
	Disturbs []string        `json:"disturbs,omitempty"`
	Sets     []steps.Setting `json:"sets,omitempty"`
}

// StepDone: a plain step was done, a wait was over, or the gates of a measure
// step were met.
type StepDone struct{ Work }

// Coated: one face of a joint, or both, had adhesive spread on it.
type Coated struct {
	Work
	Joint    string     `json:"joint"`
	Adhesive string     `json:"adhesive"`
	Began    time.Time  `json:"began"`           // spreading began; Entry.At is when it was finished
	Mixed    *time.Time `json:"mixed,omitempty"` // adhesives of two parts
}

// Joined: a joint was closed.
type Joined struct {
	Work
	Joint string `json:"joint"`
	Load  bool   `json:"load"`
}

// HoldCleared: every line of a hold was confirmed.
type HoldCleared struct {
	Work
	Lines []string `json:"lines"`
}

// ReadingTaken: a gauge was read at one point of a gate.
type ReadingTaken struct {
	Gate  string            `json:"gate"`
	Point string            `json:"point,omitempty"`
	Value quantity.Quantity `json:"value"`
	Gauge string            `json:"gauge"`
}

// GaugeChecked: a gauge was held against a reference of known size.
type GaugeChecked struct {
	Gauge string            `json:"gauge"`
	Of    quantity.Quantity `json:"of"`    // the size of the reference
	Reads quantity.Quantity `json:"reads"` // what the gauge read of it
	Note  string            `json:"note,omitempty"`
}

// Reworked: what was out of tolerance at a gate was worked on.
type Reworked struct {
	Gate     string   `json:"gate"`
	Disturbs []string `json:"disturbs"`
}

// ConcessionGranted: a gate that is not met was accepted for use as it is.
type ConcessionGranted struct {
	Gate     string  `json:"gate"`
	Reason   string  `json:"reason"`
	Readings []int64 `json:"readings"` // the positions it is about
}

// TouchTested: the builder touched a coat. It can hold a join back; it never
// opens a window.
type TouchTested struct {
	Job   string `json:"job"`
	Joint string `json:"joint"`
	Ready bool   `json:"ready"`
}

// BenchRead: the temperature and humidity at the bench were read.
type BenchRead struct {
	Temperature quantity.Quantity `json:"temperature"`
	Humidity    quantity.Quantity `json:"humidity"` // null: not read
}

// ConditionSet: somebody said how a condition stands.
type ConditionSet struct {
	steps.Setting
}

// Noted: free words.
type Noted struct {
	Text string `json:"text"`
}

// Undone: earlier entries are taken back.
type Undone struct {
	TakesBack []int64 `json:"takes_back"`
	Reason    string  `json:"reason,omitempty"`
}

// Released: a person released the airframe to fly.
type Released struct {
	Work
	RestsOn []int64 `json:"rests_on"` // the readings of the critical gates
	// What a maintenance entry names beside its date and who approves (14 CFR
	// 43.9(a)(1) to (4), from memory): the work since the release before, who
	// did it, and the approver's certificate where there is one.
	Jobs        []string `json:"jobs,omitempty"`
	Performed   []string `json:"performed,omitempty"`
	Certificate string   `json:"certificate,omitempty"`
}

func (Registered) Kind() string        { return "Registered" }
func (JobOpened) Kind() string         { return "JobOpened" }
func (StepDone) Kind() string          { return "StepDone" }
func (Coated) Kind() string            { return "Coated" }
func (Joined) Kind() string            { return "Joined" }
func (HoldCleared) Kind() string       { return "HoldCleared" }
func (ReadingTaken) Kind() string      { return "ReadingTaken" }
func (Reworked) Kind() string          { return "Reworked" }
func (ConcessionGranted) Kind() string { return "ConcessionGranted" }
func (TouchTested) Kind() string       { return "TouchTested" }
func (BenchRead) Kind() string         { return "BenchRead" }
func (ConditionSet) Kind() string      { return "ConditionSet" }
func (Noted) Kind() string             { return "Noted" }
func (Undone) Kind() string            { return "Undone" }
func (Released) Kind() string          { return "Released" }
func (PhotoKept) Kind() string         { return "PhotoKept" }
func (Sealed) Kind() string            { return "Sealed" }
func (JobMoved) Kind() string          { return "JobMoved" }
func (DamageFound) Kind() string       { return "DamageFound" }
func (QuarantineCleared) Kind() string { return "QuarantineCleared" }
func (EquipmentChanged) Kind() string  { return "EquipmentChanged" }
func (FlightLogged) Kind() string      { return "FlightLogged" }
func (GaugeChecked) Kind() string      { return "GaugeChecked" }

type kind struct {
	version int
	read    func(json.RawMessage) (Facts, error)
}

func reader[F Facts](data json.RawMessage) (Facts, error) {
	var f F
	if err := strictly(data, &f); err != nil {
		return nil, err
	}
	return f, nil
}

// known returns the kind of that name: its version, and how it is read.
func known(name string) (kind, bool) {
	switch name {
	case "Registered":
		return kind{1, reader[Registered]}, true
	case "JobOpened":
		return kind{1, reader[JobOpened]}, true
	case "StepDone":
		return kind{1, reader[StepDone]}, true
	case "Coated":
		return kind{1, reader[Coated]}, true
	case "Joined":
		return kind{1, reader[Joined]}, true
	case "HoldCleared":
		return kind{1, reader[HoldCleared]}, true
	case "ReadingTaken":
		return kind{1, reader[ReadingTaken]}, true
	case "Reworked":
		return kind{1, reader[Reworked]}, true
	case "ConcessionGranted":
		return kind{1, reader[ConcessionGranted]}, true
	case "TouchTested":
		return kind{1, reader[TouchTested]}, true
	case "BenchRead":
		return kind{1, reader[BenchRead]}, true
	case "ConditionSet":
		return kind{1, reader[ConditionSet]}, true
	case "Noted":
		return kind{1, reader[Noted]}, true
	case "Undone":
		return kind{1, reader[Undone]}, true
	case "Released":
		return kind{1, reader[Released]}, true
	case "PhotoKept":
		return kind{1, reader[PhotoKept]}, true
	case "Sealed":
		return kind{1, reader[Sealed]}, true
	case "JobMoved":
		return kind{1, reader[JobMoved]}, true
	case "DamageFound":
		return kind{1, reader[DamageFound]}, true
	case "QuarantineCleared":
		return kind{1, reader[QuarantineCleared]}, true
	case "EquipmentChanged":
		return kind{1, reader[EquipmentChanged]}, true
	case "FlightLogged":
		return kind{1, reader[FlightLogged]}, true
	case "GaugeChecked":
		return kind{1, reader[GaugeChecked]}, true
	}
	return kind{}, false
}
