package workflow

import (
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fettle/steps"
	"fettle/workflow/journal"
)

// Random gluing: steps of glue in one act and in two, a joint of two parts, a wait
// with an end, and reworks that glue, asked for in any order and taken back. What
// the journal holds is held against the rules by its entries alone.
func TestRandomGluing(t *testing.T) {
	t.Parallel()
	often(t, func(t *rapid.T) {
		s := gluingSheet()
		s.Gates[1].Reworks = []steps.Rework{{Do: "pack it"}, {Do: "glue it", Disturbs: []string{"wing"}, Joint: "roots", Adhesives: []string{"epoxy", "contact"}}}
		p := &steps.Procedure{Name: "work", Title: "Work", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{{Name: "one", Steps: []steps.Step{
			partly(glue("lay-root", "rod", "hot", "contact")), glue("lay-tip", "rod", "hot", "contact"),
			coating("coat", "roots"), {Name: "end", Kind: steps.Wait, By: q("5 min"), Late: "coat"}, coating("part", "roots"),
			{Name: "join", Kind: steps.Join, Joint: "roots", Load: true, Disturbs: []string{"wing"}},
			{Name: "measure", Kind: steps.Measure, Gates: []string{"square"}}}}}}
		docs := documents()
		docs.Procedures["sha256:work"], docs.Sheets["sha256:own"] = p, s
		state, err := Replay(nil, docs)
		if err != nil {
			t.Fatal(err)
		}
		now := evening
		try := func(r Request) {
			entries, err := state.Decide(r, Circumstances{Now: now, By: "builder", Program: "test"})
			if err != nil {
				return
			}
			if state, err = Replay(append(state.Entries[:len(state.Entries):len(state.Entries)], entries...), docs); err != nil {
				t.Fatalf("%+v is recorded and can't be replayed: %v", r, err)
			}
		}
		try(Register{Mark: "PL-01", Sheet: s, Digest: "sha256:own"})
		try(Start{Procedure: p, Digest: "sha256:work", Sheet: s, SheetDigest: "sha256:own"})
		for range rapid.IntRange(20, 80).Draw(t, "length") {
			now = now.Add(time.Duration(rapid.SampledFrom([]int{0, 0, 10, 60, 60, 240, 600, 3600, 40000}).Draw(t, "seconds")) * time.Second)
			if _, known := state.Temperature(now); !known {
				try(ReadBench{Temperature: q("20 °C")})
			}
			names := []string{"lay-root", "lay-tip", "coat", "part", "join"}
			with := rapid.SampledFrom([]string{"", "", "hot", "contact", "epoxy"}).Draw(t, "with")
			var began, mixed time.Time
			if rapid.IntRange(0, 3).Draw(t, "began") == 0 {
				began = now.Add(-time.Minute)
			}
			if with == "epoxy" {
				mixed = now.Add(-time.Duration(rapid.SampledFrom([]int{1, 24, 26}).Draw(t, "mixed")) * time.Minute)
			}
			switch rapid.IntRange(0, 14).Draw(t, "what") {
			case 0:
				try(Undo{Position: state.Size() - int64(rapid.IntRange(1, 8).Draw(t, "back"))})
			case 1, 2:
				try(readings("square", "left=500mm", "right="+rapid.SampledFrom([]string{"501mm", "510mm"}).Draw(t, "right")))
			case 3, 4:
				try(Rework{Gate: "square", Way: rapid.IntRange(0, 2).Draw(t, "way"), With: with, Began: began, Mixed: mixed})
			case 5:
				try(Finish{Step: rapid.SampledFrom(names).Draw(t, "step"), With: with, Began: began})
			default:
				next := state.Next(now)
				if next.Step == nil {
					now = later(now, next.Until)
					continue
				}
				of := ""
				if strings.HasPrefix(next.Step.Step.Name, "lay") {
					of = rapid.SampledFrom([]string{"", "hot", "contact"}).Draw(t, "of")
				}
				try(Finish{Step: next.Step.Step.Name, With: of})
			}
			heldByTheEntries(t, standing(state.Entries), s, func(position int64) bool {
				square, err := state.GateReport("square", now)
				return err != nil || slices.Contains(square.Rests, position)
			})
		}
		again, err := Replay(state.Entries, docs)
		if err != nil || describe(again, now) != describe(state, now) {
			t.Fatalf("replayed, it is another state: %v", err)
		}
	})
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// heldByTheEntries recomputes, at an even bench of 20 °C, that every join had a
// coat of its own inside its window, that no reading was taken before a joint had
// its strength, and that what had to follow in time did. A reading that only an undo
// after it shows to be too early, since the coat that had opened the joint again was
// taken back, must not count until another coat opens it.
func heldByTheEntries(t *rapid.T, live []journal.Entry, s *steps.Sheet, counts func(position int64) bool) {
	var undone int64
	for _, e := range live {
		if _, ok := e.Facts.(journal.Undone); ok {
			undone = e.Position
		}
	}
	type key struct{ job, step, joint string }
	coats := map[key]journal.Entry{}
	var joined, early []journal.Entry
	for _, e := range live {
		switch f := e.Facts.(type) {
		case journal.Coated:
			if f.Joint == "roots" && f.Job != "" {
				early = nil
			}
			// Coated again, the joint is open, and its next join disturbs what was read.
			joined = slices.DeleteFunc(joined, func(j journal.Entry) bool {
				of := j.Facts.(journal.Joined)
				return f.Joint == "roots" && f.Job != "" && of.Job == f.Job && of.Joint == f.Joint
			})
			if f.Step == "part" {
				if c, ok := coats[key{f.Job, "coat", f.Joint}]; !ok || e.At.Sub(c.At) > 5*time.Minute {
					t.Fatalf("parted at %v, coated at %v", e.At, c.At)
				}
			}
			coats[key{f.Job, f.Step, f.Joint}] = e
		case journal.Joined:
			steps := []string{f.Step}
			if f.Step == "join" {
				steps = []string{"coat", "part"}
			}
			for _, step := range steps {
				c, ok := coats[key{f.Job, step, f.Joint}]
				if !ok {
					t.Fatalf("%s was joined by %q without the coat of %q", f.Joint, f.Step, step)
				}
				of := c.Facts.(journal.Coated)
				a, _ := s.Adhesive(of.Adhesive)
				starts := of.Began
				if of.Mixed != nil && of.Mixed.Before(starts) {
					starts = *of.Mixed
				}
				if e.At.Sub(c.At) < a.Times.From || e.At.Sub(starts) > a.Times.To {
					t.Fatalf("%s was joined at %v with %s of %v, begun %v", f.Joint, e.At, a.Name, c.At, starts)
				}
			}
			joined = append(joined, e)
		case journal.ReadingTaken:
			for _, j := range joined {
				of := j.Facts.(journal.Joined)
				if of.Joint != "roots" {
					continue
				}
				handling := 30 * time.Minute
				if of.Job == "" { // by a rework, with either
					c := coats[key{"", "", "roots"}].Facts.(journal.Coated)
					a, _ := s.Adhesive(c.Adhesive)
					handling = a.Times.Handling
					if later := joined[len(joined)-1]; later.Position != j.Position {
						continue
					}
				}
				if e.At.Sub(j.At) >= handling {
					continue
				}
				if undone < e.Position {
					t.Fatalf("square was read at %v, and roots joined at %v", e.At, j.At)
				}
				early = append(early, e)
			}
		}
	}
	for _, e := range early {
		if counts(e.Position) {
			t.Fatalf("square was read at %v, before roots had its strength, and counts", e.At)
		}
	}
}
