package workflow

import (
	"fmt"
	"testing"
	"time"

	"fettle/steps"
)

// meanwhile is what is next by a plan, and what the others have meanwhile.
func (b *bench) meanwhile(planned []Planned) string {
	g := b.state.NextBut(b.now, nil, planned)
	if g.Step == nil {
		return ""
	}
	text := g.Step.Step.Name
	for _, o := range g.Others {
		text += fmt.Sprint(" ", o.Who, " ", o.Step.Step.Name)
	}
	return text
}

// What the plan has after a step is not done meanwhile, however late the step is; nor what can't be done beside it: what heats where
// its adhesive needs it cold, or wants the one tool that there is.
func TestNextKeepsTheOthersFromWhatDisturbs(t *testing.T) {
	hot, cold := steps.Setting{Condition: "iron", State: "hot"}, steps.Setting{Condition: "iron", State: "cold"}
	in := sheet()
	in.Conditions = append(in.Conditions, steps.Condition{Name: "iron", States: []string{"hot", "cold"}, Bench: true})
	in.Adhesives[0].Care = steps.Care{Needs: []steps.Setting{cold}}
	in.Tools = append(in.Tools, steps.Tool{Name: "saw", Title: "A saw"}, steps.Tool{Name: "knife", Title: "A knife", Count: 2})
	tool := func(name, with string) steps.Step {
		s := hands(name, "5 min")
		s.Tools = []string{with}
		return s
	}
	warm := plain("warm")
	warm.Sets = []steps.Setting{hot}
	b := workingOn(t, in, one("glue", coating("coat", "tab"), joining("join", "tab")), one("heat", warm),
		one("saw", tool("saw-one", "saw")), one("saw-more", tool("saw-two", "saw")), one("cut", tool("cut-one", "knife")), one("cut-more", tool("cut-two", "knife")))
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{cold}})
	job := b.state.Jobs[0].ID
	is := func(first string, takes int, then string, at int, want string) {
		t.Helper()
		planned := []Planned{{Job: job, Step: first, Begins: b.now, Minutes: takes, Hands: []int{1}},
			{Job: job, Step: then, Begins: b.now.Add(minutesOf(at)), Minutes: 5, Hands: []int{2}}}
		for _, late := range []int{0, 9} {
			for i := range planned {
				planned[i].Begins = planned[i].Begins.Add(minutesOf(-late))
			}
			if got := b.meanwhile(planned); got != want {
				t.Errorf("%s, %d min late: %s, want %s", first, late, got, want)
			}
		}
	}
	is("coat", 9, "saw-one", 5, "coat 2 saw-one")
	is("coat", 9, "saw-one", 9, "coat")
	is("coat", 9, "warm", 12, "coat")
	is("coat", 9, "warm", 5, "coat")
	is("saw-one", 9, "saw-two", 5, "saw-one")
	is("cut-one", 9, "cut-two", 5, "cut-one 2 cut-two")
}

// What one puts off is still what another one has to do meanwhile. A step of a plan for several is late once whoever it is for was to be
// done with it, in a plan for one once it was to be begun.
func TestNextKeepsWhatIsPutOffForTheOthers(t *testing.T) {
	b := working(t, one("draw", hands("draw", "20 min")), one("block", hands("block", "20 min")))
	job := b.state.Jobs[0].ID
	planned := []Planned{{Job: job, Step: "draw", Begins: b.now, Minutes: 20, Hands: []int{1}}, {Job: job, Step: "block", Begins: b.now, Minutes: 20, Hands: []int{2}}}
	g := b.state.NextBut(b.now, func(r StepReport) bool { return r.Step.Name == "draw" }, planned)
	if g.Step.Step.Name != "block" || len(g.Others) != 1 || g.Others[0].Who != 1 || g.Others[0].Step.Step.Name != "draw" {
		t.Errorf("next is %s, meanwhile %+v", g.Step.Step.Name, g.Others)
	}
	for _, test := range []struct {
		after int
		who   []int
		late  int
	}{{10, nil, 0}, {11, nil, 11}, {11, []int{1}, 0}, {30, []int{1}, 0}, {31, []int{1}, 31}} {
		planned[0].Hands, planned[1].Hands = test.who, test.who
		now := b.now.Add(minutesOf(test.after))
		if g := b.state.NextBut(now, nil, planned); g.Late(now) != minutesOf(test.late) {
			t.Errorf("%v after %d min: late by %v", test.who, test.after, g.Late(now))
		}
	}
	if g := b.state.NextBut(b.now.Add(time.Hour), nil, nil); g.Late(b.now.Add(time.Hour)) != 0 {
		t.Error("late without a plan")
	}
}
