package workflow

import (
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/journal"
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
		b.written(0, journal.ConditionSet{Setting: steps.Setting{Condition: "battery", State: "in"}}) // by hand, as it once was let
		b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Serious}}})
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
		end, stay := s.StandsBeside(&g, here.now)
		for _, p := range stay {
			by += p.Mark + " " + p.Remedy.Setting.String()
		}
		for _, r := range end {
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

// Nobody records that they pulled the battery of what crashed, or came down hard, by another check or a repair before somebody looked at
// it from afar: the check that has that look, once it is due or begun. That isn't asked after a soft landing, where somebody said since
// how the battery is, or of a check that was begun before the damage was found.
func TestNobodyPullsTheBatteryBeforeTheLookFromAfar(t *testing.T) {
	out := setting("battery", "out").Set
	crash := ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Serious}}}
	hard := LogFlight{Landing: Hard, Check: "look"}
	for _, test := range []struct {
		name  string
		acts  []Request // nil: the check is begun
		by    Because
		begun bool
	}{
		{name: "landed soft", acts: []Request{LogFlight{Landing: Soft}, nil}},
		{name: "landed hard", acts: []Request{hard}, by: ByState},
		{name: "landed hard, being looked over", acts: []Request{hard, nil}, by: ByOrder, begun: true},
		{name: "begun before it landed hard", acts: []Request{nil, hard}, by: ByOrder, begun: true},
		{name: "crashed", acts: []Request{crash}},
		{name: "crashed, being looked over", acts: []Request{crash, nil}, by: ByOrder, begun: true},
		{name: "begun before it was damaged", acts: []Request{nil, crash}},
		{name: "said to be out", acts: []Request{hard, nil, setting("battery", "out")}},
	} {
		kit := sheet()
		kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
		far, near, pull, safe := plain("far"), plain("near"), plain("pull"), plain("make-safe")
		near.Needs, pull.Sets, safe.Sets = out, out, out
		b := workingOn(t, kit, one("after", safe, plain("feel")))
		docs := *b.docs
		b.docs = &docs
		look := &steps.Procedure{Name: "look", Title: "Look it over", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{one("safe", far, pull), {Name: "rest", After: []string{"safe"}, Steps: []steps.Step{near}}}}
		docs.Procedures["sha256:look"] = look
		for _, act := range test.acts {
			if act == nil {
				act = Start{Procedure: look, Digest: "sha256:look", Sheet: kit, SheetDigest: "sha256:own"}
			}
			b.must(act)
			b.after(time.Minute)
		}
		t.Run(test.name, func(t *testing.T) {
			b.t = t
			if test.by != "" {
				b.refused(Finish{Step: "make-safe"}, test.by)
				if help := b.step("make-safe").Reasons[0].Remedy; help.Kind != (map[Because]RemedyKind{ByState: ToStart, ByOrder: ToSeeNext})[test.by] {
					t.Errorf("what helps is to %s %s", help.Kind, help.Name)
				}
			}
			if test.begun {
				b.next("far", "")
				b.done("far")
			}
			if test.by != ByState {
				b.must(Finish{Step: "make-safe"})
			}
		})
	}
}

// The others wait till what came down hard is safe for them, and not while it is photographed: two people, of whom one goes on there.
func TestOthersWaitTillWhatCrashedIsSafe(t *testing.T) {
	kit := sheet()
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
	pull, care, photo, clean := hands("pull", "5 min"), hands("care", "5 min"), hands("photo", "8 min"), hands("clean", "15 min")
	pull.Sets = setting("battery", "out").Set
	care.Kind, care.Confirm = steps.Hold, []string{"It has no dent"}
	b := workingOn(t, kit, one("rest", hands("file", "5 min")))
	docs := *b.docs
	b.docs = &docs
	look := &steps.Procedure{Name: "look", Title: "Look it over", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{one("safe", pull, care, photo, clean)}}
	docs.Procedures["sha256:look"] = look
	b.must(LogFlight{Landing: Hard, Check: "look"}, Start{Procedure: look, Digest: "sha256:look", Sheet: kit, SheetDigest: "sha256:own"})
	other := workingOn(t, kit, one("rest", hands("sand", "20 min")))
	crashed := *b
	other.state.Airframe.Mark = "PL-02"
	p, err := scheduled(t, evening, Hours{Hands: 2, Sittings: open(0, 240)}, b.state.Beside([]*State{other.state}), other.state.Beside([]*State{b.state}))
	if err != nil || len(p.Visits) != 1 {
		t.Fatal(err, says(p))
	}
	if got, want := whoDoes(p), "pull 0-5 [1], care 5-10 [1], photo 10-18 [1], sand 10-30 [2], clean 18-33 [1], file 33-38 [1]"; got != want {
		t.Errorf("%s; want %s", got, want)
	}
	for _, step := range []string{"pull", "care", "photo"} {
		if g := crashed.next(step, ""); g.AtOnce != (step != "photo") {
			t.Errorf("%s is done at once: %t", step, g.AtOnce)
		}
		if step == "care" {
			crashed.must(Clear{Step: step, Answers: []bool{true}})
		} else {
			crashed.done(step)
		}
	}
}

// A plug that was said to be out is in again once that is taken back, and is said at once: nobody plugs in anew, fits a propeller or goes on
// with what needs it before it is out. So too where the step that plugged in was taken back, maybe with the tie-down under it: in doubt it is
// in. Not after a flight, but once that is taken back.
func TestAPlugIsInOnceItsEndIsTakenBack(t *testing.T) {
	kit := sheet()
	kit.Conditions[0].Guarded = "on"
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
	plug, try, pull, fits := plain("plug"), plain("try"), plain("pull"), plain("fit")
	plug.Sets, try.Needs, pull.Sets = setting("battery", "in").Set, setting("battery", "in").Set, setting("battery", "out").Set
	fits.Sets, fits.Needs = setting("propeller", "on").Set, setting("battery", "out").Set
	plugged := func() *bench {
		b := workingOn(t, kit, one("power", plug, try, pull), one("fits", fits))
		b.must(setting("propeller", "off"), setting("battery", "out"))
		b.done("plug")
		return b
	}
	back := func(b *bench) { b.must(Undo{Position: b.state.Size() - 1, Reason: "it is still so"}) }
	is := func(b *bench, when string, want int) {
		t.Helper()
		for range 2 {
			if got := b.state.Left(Suggestion{}, b.now); len(got) != want {
				t.Errorf("%s: %v is said, want %d", when, textsOf(got), want)
			}
			b.after(25 * time.Hour)
		}
	}
	b := plugged()
	b.must(setting("battery", "out"))
	back(b)
	if got := b.refused(setting("propeller", "on"), ByCondition); !strings.Contains(got, "it needs battery: out, but the journal says battery: in") {
		t.Errorf("fitting a propeller: %s", got)
	}
	b.refused(Finish{Step: "fit"}, ByCondition)
	if got := b.refused(Finish{Step: "try"}, ByCondition); !strings.Contains(got, "before that battery: out, but the journal says battery: in") {
		t.Errorf("what needs it in: %s", got)
	}
	now := b.now
	is(b, "its end taken back", 1)
	b.now = now
	b.must(LogFlight{Landing: Soft})
	is(b, "landed after that", 0)

	b = plugged()
	b.must(setting("battery", "out"))
	back(b)
	b.must(setting("battery", "out"))
	is(b, "out since", 0)
	b = plugged()
	back(b)
	is(b, "what plugged in taken back", 1)
	b = plugged()
	b.must(LogFlight{Landing: Soft})
	back(b)
	is(b, "a flight taken back", 1)
}
