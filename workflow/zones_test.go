package workflow

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
)

func (b *bench) zones() string {
	var all []string
	for _, r := range b.state.Zones(b.now).Reports {
		all = append(all, strings.Join(append([]string{r.Zone + " " + string(r.Standing)}, r.Seated...), " on "))
	}
	return strings.Join(all, ", ")
}

func TestAZoneIsAbsentUntilItsWorkBegins(t *testing.T) {
	b := building(t, "rudder")
	for _, c := range []struct {
		after string
		do    func()
		want  string
	}{
		{"the start", func() {}, "wing absent, pod absent, tail absent"},
		{"a coat, which disturbs nothing", func() { b.done("coat-left", "coat-right"); b.after(15 * time.Minute) }, "wing absent, pod absent, tail absent"},
		{"a join", func() { b.done("join-roots") }, "wing in work, pod absent, tail absent"},
		{"the knife", func() {
			b.done("propeller-off")
			b.must(Clear{Step: "blade-care", Answers: []bool{true, true}})
			b.done("cut-pod")
			b.after(30 * time.Minute)
		}, "wing in work, pod in work, tail absent"},
		{"the last steps of both", func() { b.must(readings("slot", "root=4 mm", "tip=4 mm")); b.done("sand-pod") }, "wing there, pod there, tail absent"},
		{"the seat", func() { b.done("coat-saddle", "join-saddle") }, "wing there, pod there on wing, tail absent"},
		{"the hinge", func() { b.done("hinge-rudder") }, "wing there, pod there on wing, tail in work"},
		{"its undo", func() { b.must(Undo{Position: b.state.Size() - 1, Reason: "another airframe"}) }, "wing there, pod there on wing, tail absent"},
	} {
		if c.do(); b.zones() != c.want {
			t.Errorf("after %s: %s, want %s", c.after, b.zones(), c.want)
		}
	}
	if on := b.state.Zones(b.now).SeatedOn("wing"); !slices.Equal(on, []string{"pod"}) {
		t.Errorf("%v sit on the wing", on)
	}
	// What was thrown away, and is made again by nobody.
	b.state.lost["wing"], b.state.memo = retirement{b.state.Size(), "repair"}, nil
	if b.zones() != "wing lost, pod there, tail absent" {
		t.Error("with a wing thrown away: " + b.zones())
	}
}

// Of an airframe without a build that says what it makes, everything is there.
func TestWhatIsUnknownIsThere(t *testing.T) {
	if b := newBench(t); b.zones() != "wing there, pod there, tail there" {
		t.Error(b.zones())
	}
	if b := building(t); !strings.HasSuffix(b.zones(), "tail there") { // no step of its options makes the tail
		t.Error(b.zones())
	}
}

func TestWhatIsMadeStandsOnWhatCarriesIt(t *testing.T) {
	made := func(zone string, on ...string) []steps.Made { return []steps.Made{{Zone: zone, On: on}} }
	p := &steps.Procedure{Stages: []steps.Stage{
		{Name: "tail", Steps: []steps.Step{{Name: "t", Makes: made("tail", "left", "right")}}},
		{Name: "booms", Steps: []steps.Step{{Name: "l", Makes: made("left", "wing")}, {Name: "r", Makes: made("right", "wing")}}},
		{Name: "wing", Steps: []steps.Step{{Name: "w", Makes: made("wing")}}},
		{Name: "film", After: []string{"wing"}, Steps: []steps.Step{{Name: "f", Makes: made("film", "wing", "tail")}}},
	}}
	m := p.Made()
	for _, c := range []struct{ what, got, want string }{
		{"in order", fmt.Sprint(m.InOrder()), "[wing left right tail film]"},
		{"below the tail", fmt.Sprint(m.Below("tail")), "[left right wing]"},
		{"above the wing", fmt.Sprint(m.Above("wing")), "[left right film tail]"},
		{"apart", fmt.Sprint(p.Apart("tail", "left"), p.Apart("film", "wing"), p.Apart("film", "tail"), p.Apart("left", "right")), "true false true false"},
	} {
		if c.got != c.want {
			t.Errorf("%s: %s, want %s", c.what, c.got, c.want)
		}
	}
	fit := steps.Step{Name: "fit", Kind: steps.Do, Disturbs: []string{"wing", "tail"}}
	seat := steps.Step{Name: "seat", Kind: steps.Join, Joint: "root", Disturbs: []string{"wing", "tail"}}
	bands := &steps.Procedure{Stages: []steps.Stage{{Name: "on", Steps: []steps.Step{fit}}}}
	glued := &steps.Procedure{Stages: []steps.Stage{{Name: "on", Steps: []steps.Step{fit, seat}}}}
	either := &steps.Procedure{Stages: []steps.Stage{{Name: "on", Steps: []steps.Step{fit, seat}}}}
	either.Stages[0].Steps[1].With = [][]string{{"glued-on"}}
	wet, dried := seat, seat
	wet.With, dried.With = [][]string{{"wet"}}, [][]string{{"dried"}}
	ask := steps.Step{Name: "ask", Kind: steps.Choose, Methods: []steps.Option{{Name: "wet"}, {Name: "dried"}}}
	chosen := &steps.Procedure{Stages: []steps.Stage{{Name: "on", Steps: []steps.Step{fit, ask, wet, dried}}}}
	for _, c := range []struct {
		what string
		p    *steps.Procedure
		step steps.Step
		want bool
	}{{"a dry fit before either of two joins", chosen, fit, false}, {"either of the joins", chosen, wet, true}, {"bands", bands, fit, true}, {"a dry fit before the join", glued, fit, false}, {"the join", glued, seat, true}, {"bands where the join is an option", either, fit, true}} {
		if got := c.p.Seats(&c.step, "tail", "wing"); got != c.want {
			t.Errorf("%s: seats %v", c.what, got)
		}
	}
}
