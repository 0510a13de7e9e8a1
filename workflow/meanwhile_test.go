package workflow

import (
	"fmt"
	"testing"

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
