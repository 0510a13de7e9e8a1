package workflow

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"fettle/steps"
)

// leave is what is done until nothing is left to do, by whoever does what is next and needs as long as is written.
func (b *bench) leave(planned []Planned) string {
	b.t.Helper()
	var all []string
	for range 20 {
		g := b.state.NextBut(b.now, nil, planned)
		switch {
		case g.Over || g.Step == nil && g.Until.IsZero():
			return strings.Join(all, " ")
		case g.Step == nil:
			b.after(g.Until.Sub(b.now))
			continue
		}
		b.after(max(time.Minute, handsOf(&g.Step.Step)))
		if r := b.step(g.Step.Step.Name); r.Progress != Ready {
			return strings.Join(append(all, "LAPSED"), " ")
		}
		b.done(g.Step.Step.Name)
		all = append(all, g.Step.Step.Name)
	}
	return strings.Join(all, " ")
}

// Joints that are open at once are joined one after the other: what fits in before one of them leaves time for all. Each is open from
// 10 to 40 minutes after its coat.
func TestNextLeavesTimeForAllThatIsDue(t *testing.T) {
	for _, test := range []struct {
		joints, trim int
		want         string
	}{
		{2, 17, "trim join-0 join-1"},
		{2, 19, "join-0 join-1 trim"},
		{2, 25, "join-0 join-1 trim"},
		{3, 9, "trim join-0 join-1 join-2"},
		{3, 17, "join-0 join-1 join-2 trim"},
		{3, 25, "join-0 join-1 join-2 trim"},
	} {
		stages := []steps.Stage{one("trim", hands("trim", fmt.Sprintf("%d min", test.trim)))}
		for k := range test.joints {
			join := joining(fmt.Sprintf("join-%d", k), fmt.Sprintf("tab%d", k))
			join.Hands = q("8 min")
			stages = append(stages, one(fmt.Sprintf("glue%d", k), coating(fmt.Sprintf("coat-%d", k), join.Joint), join))
		}
		b := working(t, stages...)
		for k := range test.joints {
			b.done(fmt.Sprintf("coat-%d", k))
		}
		if got := b.leave(nil); got != test.want {
			t.Errorf("%d joints, trim %d min: %s, want %s", test.joints, test.trim, got, test.want)
		}
	}
}

// What two people join is not joined one after the other.
func TestNextLeavesEachOfSeveralTheirOwnTime(t *testing.T) {
	var stages []steps.Stage
	for _, name := range []string{"left", "right"} {
		join := joining("join-"+name, name)
		join.Hands = q("15 min")
		stages = append(stages, one(name, coating("coat-"+name, name), join))
	}
	b := working(t, append(stages, one("trim", hands("trim", "16 min")))...)
	b.done("coat-left", "coat-right")
	job := b.state.Jobs[0].ID
	for _, other := range []int{1, 2} {
		g := b.state.NextBut(b.now, nil, []Planned{
			{Job: job, Step: "trim", Begins: b.now, Minutes: 16, Hands: []int{1}},
			{Job: job, Step: "join-left", Begins: b.now.Add(16 * time.Minute), Minutes: 15, Hands: []int{1}},
			{Job: job, Step: "join-right", Begins: b.now.Add(16 * time.Minute), Minutes: 15, Hands: []int{other}},
		})
		if (g.Step != nil) != (other == 2) {
			t.Errorf("person %d joins the other: next is %v", other, g.Step)
		}
	}
}

// The step after a wait with an end must be done by then: its minutes are left to it, and a wait that is soon over is waited for.
func TestNextLeavesTimeForWhatFollowsAWait(t *testing.T) {
	for _, test := range []struct{ plan, want string }{
		{"13 min", "plan coat join"},
		{"14 min", "coat plan join"},
		{"24 min", "coat join plan"},
		{"40 min", "coat join plan"},
	} {
		soak := wait("soak", "10 min")
		soak.By, soak.From = q("30 min"), "wet"
		coat := coating("coat", "tab")
		coat.Hands = q("12 min")
		b := working(t, one("plan", hands("plan", test.plan)), one("glue", plain("wet"), soak, coat, joining("join", "tab")))
		b.done("wet")
		if got := b.leave(nil); got != test.want {
			t.Errorf("plan %s: %s, want %s", test.plan, got, test.want)
		}
	}
}
