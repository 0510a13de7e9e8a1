package workflow

import (
	"fmt"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow/journal"
)

// An End is when an airframe was retired, and why. Its record stays.
type End struct {
	journal.Retired
	At       time.Time
	Position int64
	Jobs     []string // that were open then, and stay unfinished
	Damages  []string // that were not repaired
}

// RetiredBecause are the reasons for which an airframe is retired.
func RetiredBecause() []string { return []string{"sold", "scrapped", "kept"} }

// Retire ends the work on an airframe, also where jobs are open: what is half built may be
// scrapped. It may be taken back like any entry.
type Retire struct{ Because, Note string }

func (r Retire) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	if !lists.Contains(RetiredBecause(), r.Because) {
		return nil, unknown("reason to retire", r.Because, RetiredBecause())
	}
	reasons := s.Stands(c.Now) // nobody would be told to end it any more
	for _, q := range s.Quarantines {
		if q.Open() { // nobody would look for it any more
			held := Reason{Because: ByHold, Text: fmt.Sprintf("%s (damage %s) is in quarantine", q.Says(), q.of()), Remedy: s.remedy(Remedy{Kind: ToClear, Name: q.Damage})}
			if q.Until.After(c.At) {
				held.Until = q.Until
			}
			reasons = append(reasons, held)
		}
	}
	if last, ok := s.lastByTime(); ok && c.At.Before(last.At) {
		reasons = append(reasons, Reason{Because: ByOrder, Text: "it cannot be retired before the latest entry of its record", At: last.At})
	}
	if len(reasons) > 0 {
		return nil, &Refusal{What: "retiring " + s.Airframe.Mark, Reasons: reasons}
	}
	return []journal.Facts{journal.Retired{Because: r.Because, Note: strings.TrimSpace(r.Note)}}, nil
}

func (s *State) end(e journal.Entry) error {
	f := e.Facts.(journal.Retired)
	end := &End{Retired: f, At: e.At, Position: e.Position}
	for _, j := range s.OpenJobs(e.At) {
		end.Jobs = append(end.Jobs, j.ID)
	}
	for _, d := range s.OpenDamages(e.At) {
		end.Damages = append(end.Damages, d.Damage)
	}
	s.Retired = end
	return nil
}

// Says is that it was retired, and when.
//
//go:noinline
func (r End) Says() Cause { return Cause{"retired: " + r.Because + r.Left(), r.At} }

// Left says what it was retired in the midst of; "": nothing was open.
func (r End) Left() string {
	var left []string
	if len(r.Jobs) > 0 {
		left = append(left, "with "+strings.Join(r.Jobs, " and ")+" not finished")
	}
	if len(r.Damages) > 0 {
		left = append(left, "with "+strings.Join(r.Damages, " and ")+" not repaired")
	}
	if len(left) == 0 {
		return ""
	}
	return ", " + strings.Join(left, " and ")
}

// closedTo refuses what is not for the record alone once the airframe is retired, and ends nothing that was left hot, on or plugged in.
func (s *State) closedTo(r Request) error {
	if s.Retired == nil {
		return nil
	}
	switch r := r.(type) {
	case Note, KeepPhoto, RecordSeal, Undo:
		return nil
	case ReadBench:
		if s.endsOnly(r) {
			return nil
		}
	}
	return &Refusal{What: s.Airframe.Mark, Reasons: []Reason{{Because: ByState, Text: s.Retired.Says().Text, At: s.Retired.At,
		Remedy: s.remedy(Remedy{Kind: ToTakeBack, Entry: s.Retired.Position})}}}
}

// endsOnly reports whether all that is recorded of a bench ends what was said last to be hot, on or plugged in.
func (s *State) endsOnly(r ReadBench) bool {
	return r.Temperature.IsZero() && !steps.AnySetting(r.Set, func(set steps.Setting) bool {
		all := s.said[set.Condition]
		if len(all) == 0 {
			return true
		}
		is := steps.Setting{Condition: set.Condition, State: all[len(all)-1].state}
		j := s.ender(is)
		if j == nil {
			return true
		}
		safe, _ := s.endsItself(j.written, is, "")
		return safe != set
	})
}
