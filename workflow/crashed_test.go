package workflow

import (
	"testing"

	"fettle/steps"
)

// A battery that was in when the airframe came down hard is said at once till somebody says that it is out, or the airframe was looked
// over; after a soft landing nothing is said. It is left unsaid only beside a step that leads to its plug: in a stage that pulls it, has
// not pulled it yet, and waits for no sitting.
func TestWhatCameDownHardPluggedIn(t *testing.T) {
	set := func(state string) []steps.Setting { return []steps.Setting{{Condition: "battery", State: state}} }
	plug, pull := plain("plug"), plain("pull")
	plug.Sets, pull.Sets = set("in"), set("out")
	for _, landing := range []string{Soft, Hard} {
		kit := sheet()
		kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
		b := workingOn(t, kit, one("power", plug, plain("try"), pull))
		unplug, photo, far := plain("unplug"), plain("photo"), plain("far")
		unplug.Sets = set("out")
		look := &steps.Procedure{Name: "look", Title: "Look it over", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{one("safe", photo, unplug), one("far", far)}}
		b.docs.Procedures["sha256:look"] = look
		b.done("plug")
		b.must(LogFlight{Landing: landing, Check: map[string]string{Hard: "look"}[landing]})
		is := func(when string, g Suggestion, want int) {
			t.Helper()
			if got := b.state.Left(g, b.now); len(got) != want {
				t.Errorf("landed %s, %s: %v is said, want %d", landing, when, textsOf(got), want)
			}
		}
		if landing == Soft {
			is("then", Suggestion{}, 0)
			continue
		}
		is("then", Suggestion{}, 1)
		b.must(Start{Procedure: look, Digest: "sha256:look", Sheet: kit, SheetDigest: "sha256:own"})
		here, there := b.step("photo"), b.step("far")
		is("while it is looked over", Suggestion{}, 1)
		is("beside a step that leads to it", Suggestion{Step: &here, AtOnce: true}, 0)
		is("where that step isn't shown", Suggestion{Step: &here}, 1)
		is("beside a step of another stage", Suggestion{Step: &there, AtOnce: true}, 1)
		fresh := *b
		b.must(setting("battery", "out"))
		is("once it is said to be out", Suggestion{}, 0)
		*b = fresh
		b.done("photo", "unplug")
		b.must(setting("battery", "in"), ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Serious}}})
		is("in again, beside a step of the stage that has pulled it before", Suggestion{Step: &here, AtOnce: true}, 1)
		*b = fresh
		b.done("photo", "unplug", "far")
		is("once it was looked over", Suggestion{}, 0)
	}
}

// Whoever works at one airframe is told to stay by what is plugged in on another one, and by nothing else that is on there; what crashed
// plugged in there is ended at once, and nobody stays by it.
func TestWhatIsStayedByOnAnother(t *testing.T) {
	set := func(name, to string) []steps.Setting { return []steps.Setting{{Condition: name, State: to}} }
	kit := sheet()
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"},
		steps.Condition{Name: "lamp", States: []string{"off", "lit"}, Sitting: true})
	plug, pull, light, douse := plain("plug"), plain("pull"), plain("light"), plain("douse")
	plug.Sets, pull.Sets, light.Sets, douse.Sets = set("battery", "in"), set("battery", "out"), set("lamp", "lit"), set("lamp", "off")
	there, here := workingOn(t, kit, one("power", plug, plain("try"), pull), one("light", light, plain("see"), douse)), workingOn(t, kit, one("plain", plain("sand")))
	is := func(when, stays, atOnce string) {
		t.Helper()
		other := *there.state
		other.Airframe.Mark = "PL-02"
		s := here.state.Beside([]*State{&other})
		g, by, hot := s.Next(here.now), "", ""
		for _, p := range s.PluggedIn(here.now) {
			by += p.Mark + " " + p.Remedy.Setting.String()
		}
		for _, r := range s.HotBeside(g, here.now) {
			hot += r.Remedy.Setting.String()
		}
		if by != stays || hot != atOnce {
			t.Errorf("%s: stayed by is %q, want %q; ended at once %q, want %q", when, by, stays, hot, atOnce)
		}
	}
	there.done("light")
	is("lit", "", "")
	there.done("plug")
	is("plugged in", "PL-02 battery: out", "")
	there.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Serious}}})
	is("crashed", "", "battery: out")
	there.must(setting("battery", "out"))
	is("pulled", "", "")
}
