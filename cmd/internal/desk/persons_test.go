package desk

import (
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"fettle/workflow"
)

// Whoever asks is the person that they were in this sitting, or the first whom nobody else is; nobody is one that the plan is not for, and
// once all are somebody, whoever else comes is nobody.
func TestWhoIsWhichPerson(t *testing.T) {
	now := time.Date(2026, 3, 3, 19, 0, 0, 0, time.UTC)
	since := func(who int, ago time.Duration) person { return person{Who: who, Since: now.Add(-ago)} }
	const sitting = workflow.SittingLength
	for name, test := range map[string]struct {
		people int
		known  map[string]person
		who    int
		others int // as bits
	}{
		"a plan for one":          {0, nil, 0, 0},
		"the first":               {2, nil, 1, 0},
		"the first is taken":      {2, map[string]person{"ben": since(1, time.Hour)}, 2, 1 << 1},
		"the second is taken":     {2, map[string]person{"ben": since(2, time.Hour)}, 1, 1 << 2},
		"as they were":            {2, map[string]person{"ada": since(2, time.Hour)}, 2, 0},
		"as both were":            {2, map[string]person{"ada": since(2, time.Hour), "ben": since(1, 0)}, 2, 1 << 1},
		"at the end of a sitting": {2, map[string]person{"ada": since(2, sitting), "ben": since(1, sitting)}, 2, 1 << 1},
		"in another sitting":      {2, map[string]person{"ada": since(2, sitting+time.Second), "ben": since(1, sitting+time.Second)}, 1, 0},
		"not yet":                 {2, map[string]person{"ada": since(2, -time.Second), "ben": since(1, -time.Second)}, 1, 0},
		"of a plan for more":      {2, map[string]person{"ada": since(3, time.Hour), "ben": since(3, time.Hour)}, 1, 0},
		"all are taken":           {2, map[string]person{"ben": since(1, time.Hour), "cleo": since(2, time.Hour)}, 0, 1<<1 | 1<<2},
	} {
		o := order{Who: test.known, Planned: map[string][]workflow.Planned{"PL-01": {{Step: "sand"}}}}
		if test.people > 0 {
			o.Planned["PL-02"] = []workflow.Planned{{Step: "cut", Hands: []int{1}}, {Step: "lift", Hands: []int{1, test.people}}}
		}
		seat := workflow.Seat{By: "ada"}
		if o.sit(&seat, 1, now); seat.Who != test.who || seat.Known != test.others {
			t.Errorf("%s: person %d, others %b; want %d, %b", name, seat.Who, seat.Known, test.who, test.others)
		}
		here := 0
		for by, is := range test.known {
			if by != "ada" && now.Sub(is.Since) <= time.Hour {
				here = seat.Known
			}
		}
		if seat.Here != here || (seat.Known != 0) != strings.Contains(seat.Names, " ben") {
			t.Errorf("%s: here are %b, want %b; their names are %q", name, seat.Here, here, seat.Names)
		}
	}
}

// A plan for two that has nothing for the second is for two all the same: whoever else comes is the second.
func TestWhoHasNothingInAPlan(t *testing.T) {
	now := time.Date(2026, 3, 3, 19, 0, 0, 0, time.UTC)
	o := order{Hands: 2, Planned: map[string][]workflow.Planned{"PL-01": {{Step: "cut", Hands: []int{1}}}}, Who: map[string]person{"ben": {Who: 1, Since: now}}}
	for hands, want := range map[int]int{0: 2, 1: 0} { // so many are there, as is said for now
		file := &Plan{File: t.TempDir() + "/plan", Hands: hands}
		line, err := json.Marshal(o)
		if err == nil {
			err = os.WriteFile(file.File, append(line, '\n'), 0o600)
		}
		seat := workflow.Seat{By: "ada"}
		if file.sit(&seat, now); err != nil || seat.Who != want {
			t.Errorf("of %d: %v, person %d, want %d", hands, err, seat.Who, want)
		}
	}
}

// Without a plan for several, everybody who is there is another person, where so many are said to be there; and where they were led to is known,
// the latest last, for as long as they are taken to be there.
func TestWhoIsThereWithoutAPlan(t *testing.T) {
	now := time.Date(2026, 3, 3, 19, 0, 0, 0, time.UTC)
	is := func(who, ago, led int, mark string) person {
		since := func(minutes int) time.Time { return now.Add(-time.Duration(minutes) * time.Minute) }
		return person{who, since(ago), place{Mark: mark, Step: "work/cut", Since: since(led)}, []place{{Mark: "PL-07", Step: "work/saw", Since: since(led + 6)}}}
	}
	o := order{Who: map[string]person{"ada": is(2, 0, 0, "PL-01"), "ben": is(1, 20, 30, "PL-02"), "cleo": is(3, 61, 61, "PL-04"), "dee": is(4, 55, 55, "PL-05"), "fay": is(6, 0, 65, "PL-06")}}
	for hands, want := range map[int]string{ // where dee was before is longer ago
		0: "0 0 []", 1: "0 0 []",
		2: "5 1011110 [4 PL-05 work/cut|1 PL-07 work/saw|1 PL-02 work/cut|2 PL-07 work/saw|2 PL-01 work/cut]",
	} {
		seat := workflow.Seat{By: "eve"}
		o.sit(&seat, hands, now)
		at := ""
		for _, p := range seat.At {
			at += fmt.Sprint("|", p.Who, " ", p.Mark, " ", p.Step)
		}
		if got := fmt.Sprintf("%d %b [%s]", seat.Who, seat.Known, strings.TrimPrefix(at, "|")); got != want {
			t.Errorf("for %d people: %s, want %s", hands, got, want)
		}
	}
}

// Two who ask in the same instant are not both led to the same step: whoever is noted second looks again.
func TestTwoWhoAskAtOnce(t *testing.T) {
	ctx := t.Context()
	d, _ := bench(t, "o")
	file := t.TempDir() + "/plan"
	asks := func(by string) (*Desk, *workflow.State, workflow.Suggestion) {
		of := newDesk(t, by, d.Store)
		of.Plan = &Plan{File: file, People: 2}
		of.BePerson(ctx, 0)
		s, err := of.State(ctx, "TN-01")
		if err != nil {
			t.Fatal(err)
		}
		return of, s, s.Next(of.Now())
	}
	ann, hers, toAnn := asks("ann")
	ben, his, toBen := asks("ben")
	if toAnn.Theirs || toBen.Theirs || toAnn.Step == nil || toBen.Step == nil || toBen.Step.Step.Name != toAnn.Step.Step.Name {
		t.Fatalf("ann is led to %+v, ben to %+v", toAnn.Step, toBen.Step)
	}
	if kept, anew := ann.Led(ctx, hers, &toAnn); !kept || anew {
		t.Errorf("ann, first: kept %v, anew %v", kept, anew)
	}
	if kept, anew := ben.Led(ctx, his, &toBen); kept || !anew {
		t.Errorf("ben, at the same time: kept %v, anew %v", kept, anew)
	}
	his = ben.Seated(his, 0)
	if toBen = his.Next(ben.Now()); !toBen.Theirs || his.Persons(toBen.Hands) != "person 1 (ann)" {
		t.Errorf("ben, again: %+v", toBen)
	}
	cy, cys, toCy := asks("cy")
	his, anew := ben.Take(ctx, his, toBen.Step) // he goes there all the same
	if anew {
		t.Error("ben, instead of her: anew")
	}
	if cys, anew = cy.Take(ctx, cys, toCy.Step); !anew {
		t.Error("cy, in the same instant: taken")
	}
	if toCy = cys.Next(cy.Now()); !toCy.Theirs || cys.Persons(toCy.Hands) != "person 2 (ben)" {
		t.Errorf("cy, again: %+v", toCy)
	}
	toBen = his.Next(ben.Now())
	if kept, anew := ben.Led(ctx, his, &toBen); toBen.Theirs || !kept || anew {
		t.Errorf("ben, instead of her: kept %v, anew %v; %+v", kept, anew, toBen)
	}
}
