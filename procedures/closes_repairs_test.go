package procedures

import (
	"slices"
	"strings"
	"testing"

	"fettle/steps"
)

// A repair answers to how the airframe was built: what holds a part and what hangs on it.
func TestRepairsFollowHowItWasBuilt(t *testing.T) {
	// glues are the adhesives of the coats that a method of a repair has.
	glues := func(name string, chosen ...string) []string {
		d, err := Open("").Procedure(name)
		if err != nil {
			t.Fatal(err)
		}
		var all []string
		for s := range orderOf(d.Procedure).all() {
			if s.Kind.Traits().Coats && s.In(steps.Selection{Has: chosen}) {
				all = append(all, s.Adhesives...)
			}
		}
		slices.Sort(all)
		return slices.Compact(all)
	}
	for _, c := range []struct {
		repair, method string
		want           []string
	}{
		{"hinge-torn", "hinge-tape", []string{"contact"}},
		{"hinge-torn", "hinge-plastic", []string{"epoxy"}}, // as the Jetty's build sets them
		{"nose-crushed", "motor-elsewhere", []string{"contact"}},
		{"nose-crushed", "plate-firm", []string{"contact"}},
		{"nose-crushed", "plate-loose", []string{"epoxy"}}, // the pull of the motor hangs on it, and its mount
	} {
		if got := glues(c.repair, c.method); !slices.Equal(got, c.want) {
			t.Errorf("%s by %s glues with %v, want %v", c.repair, c.method, got, c.want)
		}
	}

	// The strips of a plastic hinge are those of the build.
	d := drawingOf(t, "jetty")
	mend, err := Open("").Procedure("hinge-torn")
	if err != nil {
		t.Fatal(err)
	}
	cut, _, there := mend.Procedure.Step("cut-hinges")
	if !there {
		t.Fatal("hinge-torn has no step for hinges of plastic")
	}
	for _, pattern := range []string{`twin-wall sheet, (\d+) mm thick`, `(\d+) mm along the hinge`, `(\d+) mm across`, `a strip (\d+) mm wide out of`, `holes of (\d+) mm`, `(\d+) mm deep, in mid`} {
		d.same("of a plastic hinge, "+pattern, d.read("hinge-torn", cut.Do, pattern)[0], d.said("cut-plastic-hinges", pattern)[0], 0)
	}

	// The Jetty's tube lies under a cap strip as thick as the rest of its slot, and a brace
	// and plates cross its root.
	for _, c := range []struct{ repair, step, words string }{
		{"nose-crushed", "steam", "40 mm of a motor plate"}, {"spar-broken", "cut-slot", "cap strip"}, {"spar-broken", "try-rod", "cap strip"},
		{"spar-broken", "join-spar", "cap strip"}, {"spar-broken", "choose-way", "brace"}, {"spar-broken", "choose-way", "Nothing is glued over"},
		{"wing-split", "strip-joint", "brace"}, {"wing-split", "coat-spar-bed", "brace"}, {"wing-split", "join-root", "Brace"},
	} {
		p, err := Open("").Procedure(c.repair)
		if err != nil {
			t.Fatal(err)
		}
		if s, _, ok := p.Procedure.Step(c.step); !ok || !strings.Contains(words(&s), c.words) {
			t.Errorf("%s: %s says nothing of: %s", c.repair, c.step, c.words)
		}
	}
}
