package workflow

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/journal"
)

func attendedBench(t *testing.T) *bench {
	b := newBench(t)
	b.must(Start{Procedure: attended(), Digest: attendedSum, Sheet: sheet(), SheetDigest: sheetSum})
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "ventilation", State: "on"}}})
	return b
}

// lastTwo are the entries that the last request made.
func lastTwo(b *bench) (journal.Facts, journal.Facts) {
	all := b.state.Entries
	return all[len(all)-2].Facts, all[len(all)-1].Facts
}

// A step that wants a second person is done with one, or in one of the written
// ways, and the journal says which, in words.
func TestASecondPersonIsNamedOrAWayAlone(t *testing.T) {
	b := attendedBench(t)
	b.done("coat-left")
	text := b.refused(Finish{Step: "coat-right"}, ByState)
	mustContain(t, text, "it wants a second person", "name-second", "coat-right")
	var refusal *Refusal
	if err := b.try(Finish{Step: "coat-right"}); !errors.As(err, &refusal) || !slices.Equal(refusal.Reasons[0].Remedy.Names, []string{"A mirror"}) {
		t.Errorf("the remedy does not name the way: %v", err)
	}
	b.must(Finish{Step: "coat-right", Witness: Witness{Alone: 1}})
	if w, done := lastTwo(b); w != (journal.Witnessed{Job: "plover-build", Step: "coat-right", Instead: "A mirror"}) || done.Kind() != "Coated" {
		t.Errorf("the journal ends with %+v, %+v", w, done)
	}
	b.after(12 * time.Minute)
	b.must(Finish{Step: "join-roots", Touch: TouchDry, Witness: Witness{Second: " Second "}})
	if w, done := lastTwo(b); w != (journal.Witnessed{Job: "plover-build", Step: "join-roots", Who: "Second"}) || done.Kind() != "Joined" {
		t.Errorf("the journal ends with %+v, %+v", w, done)
	}
	sum, err := b.state.AuditSummary(b.now)
	if err != nil {
		t.Fatal(err)
	}
	mustContain(t, strings.Join(sum.Witnessed, "\n"), "coat-right of plover-build, entry 5: alone: A mirror", "with Second as the second person")
}

// Where there is no way alone, only a second person will do: for a hold too.
func TestNobodyDoesItAlone(t *testing.T) {
	b := attendedBench(t)
	b.done("propeller-off")
	yes := []bool{true, true}
	mustContain(t, b.refused(Clear{Step: "blade-care", Answers: yes}, ByState), "must not be done alone", "name-second")
	mustContain(t, b.refused(Clear{Step: "blade-care", Answers: yes, Witness: Witness{Alone: 1}}, ByState), "must not be done alone")
	b.must(Clear{Step: "blade-care", Answers: yes, Witness: Witness{Second: "second"}})
	if w, done := lastTwo(b); w != (journal.Witnessed{Job: "plover-build", Step: "blade-care", Who: "second"}) || done.Kind() != "HoldCleared" {
		t.Errorf("the journal ends with %+v, %+v", w, done)
	}
}

// What can't be an answer is refused as a bad request, whatever stands.
func TestWitnessesThatAreNone(t *testing.T) {
	b := attendedBench(t)
	for _, bad := range []struct {
		Request
		want string
	}{
		{Finish{Step: "coat-left", Witness: Witness{Alone: 1}}, "does not ask for a second person"},
		{Finish{Step: "coat-left", Witness: Witness{Second: "second"}}, "does not ask for a second person"},
		{Finish{Step: "coat-right", Witness: Witness{Second: "second", Alone: 1}}, "not both"},
		{Finish{Step: "coat-right", Witness: Witness{Second: " Builder "}}, "must be somebody else"},
		{Finish{Step: "coat-right", Witness: Witness{Second: "builder\u200b"}}, "cannot be seen"},
		{Finish{Step: "coat-right", Witness: Witness{Second: "  "}}, "is empty"},
		{Finish{Step: "coat-right", Witness: Witness{Second: strings.Repeat("a", 201)}}, "longer than 200"},
		{Finish{Step: "coat-right", Witness: Witness{Alone: 2}}, "has no way 2"},
		{Finish{Step: "coat-right", Witness: Witness{Alone: -1}}, "has no way -1"},
	} {
		if err := b.try(bad.Request); !errors.Is(err, ErrBadRequest) || !strings.Contains(err.Error(), bad.want) {
			t.Errorf("%+v: %v, want %q", bad.Request, err, bad.want)
		}
	}
}

// A measure step is not completed by its readings where somebody must have seen
// them.
func TestReadingsAloneDoNotWitness(t *testing.T) {
	b := attendedBench(t)
	b.done("coat-left")
	b.must(Finish{Step: "coat-right", Witness: Witness{Alone: 1}})
	b.after(12 * time.Minute)
	b.must(Finish{Step: "join-roots", Witness: Witness{Alone: 2}})
	b.after(40 * time.Minute)
	b.must(readings("slot", "root=4 mm", "tip=4 mm"))
	if r := b.step("measure-slot"); r.Progress != Ready {
		t.Fatalf("measure-slot is %s", r.Progress)
	}
	b.refused(Finish{Step: "measure-slot"}, ByState)
	b.must(Finish{Step: "measure-slot", Witness: Witness{Alone: 1}})
	// Taking back the reading takes the step back, and with it its witness.
	b.must(Undo{Position: b.state.Size() - 3})
	for back := int64(2); back <= 4; back++ {
		if p := b.state.Size() - back; b.state.Live(p) {
			t.Errorf("entry %d, %s, still stands", p, b.state.Entries[p].Facts.Kind())
		}
	}
}

// The witness and the work go together, whichever is taken back.
func TestUndoTakesTheWitnessAlong(t *testing.T) {
	for back := int64(1); back <= 2; back++ {
		b := attendedBench(t)
		b.done("coat-left")
		b.must(Finish{Step: "coat-right", Witness: Witness{Second: "second"}})
		last := b.state.Size() - 1
		b.must(Undo{Position: b.state.Size() - back})
		if b.state.Live(last) || b.state.Live(last-1) || !b.state.Live(last-2) {
			t.Errorf("undo of the entry %d before the end left the wrong entries", back)
		}
		if r := b.step("coat-right"); r.Progress != Ready {
			t.Errorf("coat-right is %s", r.Progress)
		}
	}
}

// A glue step whose adhesive dries first is witnessed when it is pressed; one that
// is mixed, between its coat and its join.
func TestAGlueStepIsWitnessedWhenItIsPressed(t *testing.T) {
	p := build()
	glue := func(name, with string) steps.Step {
		return steps.Step{Name: name, Kind: steps.Glue, Joint: name, Adhesives: []string{with}, Load: true, Hands: q("3 min"), Disturbs: []string{"wing"}, Alone: []string{"A clamp"}}
	}
	p.Stages[0].Steps = []steps.Step{glue("dry", "contact"), glue("wet", "epoxy")}
	docs := documents()
	docs.Procedures["sha256:glue"] = p
	b := newBench(t)
	b.docs = &docs
	b.must(Start{Procedure: p, Digest: "sha256:glue", Sheet: sheet(), SheetDigest: sheetSum}, ReadBench{Temperature: q("20 °C")})
	if err := b.try(Finish{Step: "dry", Witness: Witness{Alone: 1}}); !errors.Is(err, ErrBadRequest) {
		t.Errorf("the coat took a witness: %v", err)
	}
	b.done("dry")
	b.after(12 * time.Minute)
	b.refused(Finish{Step: "dry"}, ByState)
	b.must(Finish{Step: "dry", Witness: Witness{Alone: 1}})
	b.refused(Finish{Step: "wet"}, ByState)
	b.must(Finish{Step: "wet", Witness: Witness{Alone: 1}})
	var kinds []string
	for _, e := range b.state.Entries[3:] {
		kinds = append(kinds, e.Facts.Kind())
	}
	if got := strings.Join(kinds, " "); got != "Coated Witnessed Joined Coated Witnessed Joined" {
		t.Errorf("the journal has %s", got)
	}
	b.must(Undo{Position: b.state.Size() - 3}) // the coat of the last
	for back := int64(2); back <= 4; back++ {
		if b.state.Live(b.state.Size() - back) {
			t.Errorf("the entry %d before the end still stands", back)
		}
	}
}
