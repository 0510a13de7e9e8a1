package workflow

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/journal"
)

// armed is a bench on which the battery was plugged in twice: by a hold, on a bare shaft, and after the propeller was fitted, tied down.
func armed(t *testing.T) *bench {
	t.Helper()
	is := func(condition, state string) []steps.Setting {
		return []steps.Setting{{Condition: condition, State: state}}
	}
	kit := sheet()
	kit.Conditions[0].Guarded = "on" // the propeller
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
	bare, plug, try, pull := plain("bare"), plain("plug"), plain("try"), plain("pull")
	fit, tie, arm, full, disarm := plain("fit"), plain("tie"), plain("arm"), plain("full"), plain("disarm")
	bare.Sets = append(is("propeller", "off"), is("battery", "out")...)
	plug.Needs, plug.Sets, plug.Confirm = is("propeller", "off"), is("battery", "in"), []string{"The shaft is bare"}
	plug.Kind = steps.Hold
	try.Needs = append(is("propeller", "off"), is("battery", "in")...)
	pull.Sets = is("battery", "out")
	fit.Needs, fit.Sets = append(is("propeller", "off"), is("battery", "out")...), is("propeller", "on")
	tie.Kind, tie.Needs, tie.Confirm = steps.Hold, append(is("propeller", "on"), is("battery", "out")...), []string{"A hard pull moved nothing"}
	arm.Needs, arm.Sets, arm.Cautions = append(is("propeller", "on"), is("battery", "out")...), is("battery", "in"), []string{"Stay out of its line."}
	full.Needs = append(is("propeller", "on"), is("battery", "in")...)
	disarm.Sets = is("battery", "out")
	b := workingOn(t, kit, one("power", bare, plug, try, pull, fit, tie, arm, full, disarm))
	b.done("bare")
	b.must(Clear{Step: "plug", Answers: []bool{true}})
	b.done("try", "pull", "fit")
	b.must(Clear{Step: "tie", Answers: []bool{true}})
	b.done("arm")
	return b
}

// A battery that was pulled beside a propeller is not plugged in again by the hold for a bare shaft, but as it was tied down; and no
// propeller is fitted while it is in.
func TestWhatIsPluggedInBesideAPropeller(t *testing.T) {
	b := armed(t)
	is := func(want ...string) {
		t.Helper()
		b.after(time.Minute)
		var got []string
		for _, r := range b.step("full").Reasons {
			got = append(got, fmt.Sprintf("%s: %s %s %s", r.Text, r.Remedy.Kind, r.Remedy.Setting, r.Remedy.Name))
		}
		if len(got) != len(want) {
			t.Fatalf("the reasons are %q", got)
		}
		for i := range want {
			if !strings.Contains(got[i], want[i]) {
				t.Errorf("%q, want %q", got[i], want[i])
			}
		}
	}
	b.must(setting("battery", "out"))
	is("before battery: in the lines of tie are confirmed again: they count in one sitting, and until battery: out: clear :  work/tie")
	b.must(tieAnew)
	is("it needs battery: in, but the journal says battery: out: set-condition battery: in")
	if got := b.state.Heeded(steps.Setting{Condition: "battery", State: "in"}, b.now); len(got) != 1 || got[0] != "Stay out of its line." {
		t.Errorf("heeded is %v", got)
	}
	b.must(setting("propeller", "off"))
	is("it needs propeller: on", "it needs battery: in, and before that propeller: on")
	b.must(Clear{Step: "plug", Answers: []bool{true}}) // somebody plugs it in on the bare shaft
	is("it needs propeller: on, and before that battery: out, but the journal says battery: in: set-condition battery: out")
	b.must(setting("battery", "out"), setting("propeller", "on"), tieAnew, setting("battery", "in"))
	is()
}

var tieAnew = Clear{Step: "tie", Answers: []bool{true}}

// What was plugged in in another sitting, and that somebody says again is in, counts for nothing that needs it till it was pulled.
func TestWhatWasPluggedInInAnotherSitting(t *testing.T) {
	in, out := setting("battery", "in"), setting("battery", "out")
	because := func(b *bench, name string) (all string) {
		for _, r := range b.step(name).Reasons {
			all += fmt.Sprintf("%s: %s %s %s\n", r.Text, r.Remedy.Kind, r.Remedy.Setting, r.Remedy.Name)
		}
		return all
	}
	const left = "it needs battery: in, and before that battery: out, but the journal says battery: in, since another sitting: set-condition battery: out \n"
	b := armed(t)
	if got := because(b, "full"); got != "" {
		t.Errorf("in the same sitting: %s", got)
	}
	b.after(23 * time.Hour)
	b.refused(Finish{Step: "full"}, ByCondition)
	b.must(in)
	if got := because(b, "full"); got != left {
		t.Errorf("said again: %s", got)
	}
	b.must(out, tieAnew, in)
	if got := because(b, "full"); got != "" {
		t.Errorf("set anew: %s", got)
	}
	b.done("full")

	plug, try, pull := plain("plug"), plain("try"), plain("pull")
	plug.Kind, plug.Sets, plug.Confirm = steps.Hold, in.Set, []string{"The shaft is bare"}
	try.Needs, pull.Sets = in.Set, out.Set
	kit := sheet()
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
	b = workingOn(t, kit, one("power", plug, try, pull))
	b.must(Clear{Step: "plug", Answers: []bool{true}})
	b.after(SittingLength + time.Minute)
	if got := because(b, "try"); got != left {
		t.Errorf("after a hold: %s", got)
	}
	b.refused(Clear{Step: "plug", Answers: []bool{true}}, ByState)
	b.must(out)
	b.must(Clear{Step: "plug", Answers: []bool{true}})
	b.done("try", "pull")
}

// Whoever takes a propeller off pulls the plug first, as whoever fits it does, also where no job is open any more.
func TestThePlugIsOutBeforeAHandGoesToThePropeller(t *testing.T) {
	b := armed(t)
	on, off, in, out := setting("propeller", "on"), setting("propeller", "off"), setting("battery", "in"), setting("battery", "out")
	mustContain(t, b.refused(off, ByCondition), "before that it needs battery: out, but the journal says battery: in", "[set-condition ")
	b.must(out, off)
	b.must(Clear{Step: "plug", Answers: []bool{true}})
	mustContain(t, b.refused(on, ByCondition), "before that it needs battery: out")
	b.must(ReadBench{Set: append(slices.Clone(out.Set), on.Set...)}, in) // said together
	var got []string
	for _, need := range []steps.Setting{off.Set[0], out.Set[0]} { // the plug can be pulled whatever the propeller does
		for _, r := range b.state.stands(need, b.now) {
			got = append(got, r.Text+" -> "+r.Remedy.Setting.String())
		}
	}
	if want := []string{"it needs propeller: off, and before that battery: out, but the journal says battery: in -> battery: out", "it needs battery: out, but the journal says battery: in -> battery: out"}; !slices.Equal(got, want) {
		t.Errorf("the reasons are %q", got)
	}
	b = armed(t)
	b.done("full", "disarm")
	b.must(in)
	if open := b.state.OpenJobs(b.now); len(open) > 0 {
		t.Fatalf("%s is open", open[0].ID)
	}
	b.refused(off, ByCondition)
	b.must(out, off)
}

// Where damage is open that only a repair's job may plug in for, the battery is plugged in anew as that job did, and not by the hold of the
// build, which is refused then.
func TestARepairPlugsInAnewByItself(t *testing.T) {
	b := armed(t)
	b.must(setting("battery", "out"), setting("propeller", "off"))
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: "slight"}}})
	is := func(state string) []steps.Setting { return []steps.Setting{{Condition: "battery", State: state}} }
	plug, look := plain("mended-plug"), plain("look")
	plug.Needs, plug.Sets = []steps.Setting{{Condition: "propeller", State: "off"}}, is("in")
	look.Needs = is("in")
	pull := plain("mended-pull")
	pull.Sets = is("out")
	mend := &steps.Procedure{Name: "mend", Kind: steps.Repair, Stages: []steps.Stage{one("mend", plug, look, pull)}}
	b.docs.Procedures["sha256:mend"] = mend
	start := b.look("sha256:mend")
	start.Sheet, start.SheetDigest = b.docs.Sheets["sha256:own"], "sha256:own"
	b.must(start, setting("battery", "out"), setting("propeller", "off"))
	b.done("mended-plug")
	b.must(setting("battery", "out"))
	b.after(time.Minute)
	for _, r := range b.step("look").Reasons {
		if r.Remedy.Kind == ToClear {
			t.Errorf("%s: %s %s, which is refused", r.Text, r.Remedy.Kind, r.Remedy.Name)
		}
	}
	b.must(setting("battery", "in"))
	if r := b.step("look"); r.Progress != Ready {
		t.Errorf("look is %s: %v", r.Progress, r.Reasons)
	}
}

// What a check plugs in before a flight, and leaves so for it, is plugged in once more in a later sitting as what another job ends is: with
// the hold before it, its cautions and its minutes, and out again at the end.
func TestWhatIsPluggedInBeforeAFlight(t *testing.T) {
	is := func(all ...string) (set []steps.Setting) {
		for _, text := range all {
			condition, state, _ := strings.Cut(text, "=")
			set = append(set, steps.Setting{Condition: condition, State: state})
		}
		return set
	}
	step := func(name string, needs, sets []steps.Setting) steps.Step {
		return steps.Step{Name: name, Kind: steps.Do, Do: "do " + name, Needs: needs, Sets: sets}
	}
	kit := sheet()
	kit.Conditions[0].Guarded = "on" // the propeller
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", Title: "The plug", States: []string{"out", "in"}, Guarded: "in"})
	b := workingOn(t, kit, one("power", step("plug", is("propeller=off"), is("battery=in")), step("pull", nil, is("battery=out")), step("fit", is("battery=out"), is("propeller=on"))))
	b.must(setting("battery", "out"), setting("propeller", "off"))
	b.done("plug", "pull", "fit")
	throttle, arm := step("throttle", is("battery=out"), nil), step("arm", is("battery=out", "propeller=on"), is("battery=in"))
	throttle.Kind, throttle.Confirm = steps.Hold, []string{"The throttle is down"}
	arm.Cautions, arm.Hands = []string{"Stay out of its line."}, q("2 min")
	run, launch := step("run", is("battery=in", "propeller=on"), nil), step("launch", is("battery=in"), nil)
	check := &steps.Procedure{Name: "check", Title: "Check", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{one("field", throttle, arm, run, launch)}}
	docs := *b.docs
	docs.Procedures["sha256:check"], b.docs = check, &docs
	b.must(Start{Procedure: check, Digest: "sha256:check", Sheet: kit, SheetDigest: "sha256:own"}, Clear{Step: "throttle", Answers: []bool{true}})
	b.done("arm")
	all := []steps.Setting{{Condition: "propeller", State: "on"}, {Condition: "battery", State: "out"}}
	if b.state.safely(all); all[0].Condition != "battery" { // nobody is at the propeller before that
		t.Errorf("what is needed is set in the order %v", all)
	}
	left := scheduler{fleet: []*State{b.state}, now: b.now}
	if ends := left.ending(0, is("battery=in")[0], "").step; ends.Name != "pull" {
		t.Errorf("%s ends it", ends.Label())
	}
	untie := workingOn(t, kit, one("power", step("plug", is("propeller=off"), is("battery=in")), step("untie", is("propeller=on"), is("battery=out"))))
	untie.must(setting("battery", "out"), setting("propeller", "off"))
	untie.done("plug")
	left.fleet = []*State{untie.state}
	if ends := left.ending(0, is("battery=in")[0], "").step; ends.Label() != "The plug: out" { // nothing is tied down on its bare shaft
		t.Errorf("%s ends it", ends.Label())
	}
	b.must(setting("battery", "out"))
	b.after(23 * time.Hour)
	because := func() (all string) {
		for _, r := range b.step("run").Reasons {
			all += fmt.Sprintf("%s %s %s; ", r.Remedy.Kind, r.Remedy.Setting, r.Remedy.Name)
		}
		return all
	}
	if got := because(); got != "clear :  check/throttle; " {
		t.Errorf("a day later it waits for %s", got)
	}
	plan, err := scheduled(t, b.now, Hours{Sittings: []Sitting{{From: b.now, To: b.now.Add(time.Hour)}}}, b.state)
	if err != nil {
		t.Fatal(err)
	}
	turns := ""
	for _, turn := range plan.Visits[0].Turns {
		turns += fmt.Sprintf("%s%s %v %v %v; ", turn.Step, turn.Again, turn.Ends.Sub(turn.Begins), turn.Needs, turn.Sets)
	}
	if want := "throttleready 1m0s [battery: out] []; armready 2m0s [battery: out propeller: on] [battery: in]; run 1m0s [propeller: on battery: in] []; launch 1m0s [battery: in] []; safe 1m0s [] [battery: out]; "; turns != want {
		t.Errorf("the plan is %s, want %s", turns, want)
	}
	if last := plan.Visits[0].Turns[4]; last.Title != "The plug: out" { // and no step on the ground: it has been launched
		t.Errorf("it ends with %s", last.Title)
	}
	b.must(Clear{Step: "throttle", Answers: []bool{true}})
	if got := because(); got != "set-condition battery: in ; " {
		t.Errorf("with the throttle down it waits for %s", got)
	}
	if got := b.state.Heeded(is("battery=in")[0], b.now); len(got) != 1 || got[0] != arm.Cautions[0] {
		t.Errorf("heeded is %v", got)
	}
	b.must(setting("battery", "in"))
	if got := because(); got != "" {
		t.Errorf("plugged in it waits for %s", got)
	}
}

// What is armed is finished before another job of the airframe is begun: next does not lay it by for what a plan has first, and no plan
// has hands at it for something else before it is pulled.
func TestWhatIsArmedIsFinishedFirst(t *testing.T) {
	b := armed(t)
	safe, look := hands("safe", "4 min"), hands("look", "3 min")
	safe.Sets = []steps.Setting{{Condition: "battery", State: "out"}, {Condition: "propeller", State: "off"}}
	other := &steps.Procedure{Name: "other", Title: "Other", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{one("other", look, safe)}}
	docs := *b.docs
	docs.Procedures["sha256:other"], b.docs = other, &docs
	b.must(Start{Procedure: other, Digest: "sha256:other", Sheet: b.state.Sheet, SheetDigest: "sha256:own"})
	b.after(time.Minute)
	planned := []Planned{{Job: "other", Step: "safe", Begins: b.now}, {Job: "other", Step: "look", Begins: b.now}, {Job: "work", Step: "full", Begins: b.now.Add(time.Hour)}}
	leads := func(want string) {
		t.Helper()
		if g := b.state.NextBeside(b.now, nil, nil, planned); g.Step == nil || g.Step.Step.Name != want {
			t.Errorf("next is %+v, want %s", g.Step, want)
		}
	}
	for people := 1; people < 3; people++ {
		p, err := scheduled(t, b.now, Hours{Hands: people, Sittings: []Sitting{{From: b.now, To: b.now.Add(time.Hour)}}}, b.state)
		got := ""
		for _, v := range p.Visits {
			for _, turn := range v.Turns {
				got += turn.Step + string(turn.Again) + " "
			}
		}
		if want := "full disarm look safe "; err != nil || got != want {
			t.Errorf("for %d people the plan is %s, %v; want %s", people, got, err, want)
		}
	}
	leads("full")
	b.done("full")
	leads("disarm")
	b.done("disarm")
	leads("look")

	b = armed(t) // in another sitting it is armed no more
	b.docs = &docs
	b.must(Start{Procedure: other, Digest: "sha256:other", Sheet: b.state.Sheet, SheetDigest: "sha256:own"}, setting("battery", "out"))
	b.after(time.Minute)
	leads("look")
}

// Who stays by what is plugged in is whoever works with it. An hour after that was done last it is said at once, whatever note is written, or
// camera fitted, and nobody goes on with full throttle before.
func TestANoteTendsNoPlug(t *testing.T) {
	for name, test := range map[string]struct {
		did  []Request
		want bool // that it is said at once
	}{
		"nothing":             {nil, true},
		"a note":              {[]Request{Note{Text: "the lamp is mended"}}, true},
		"a reading":           {[]Request{ReadBench{Temperature: q("21 °C")}}, true},
		"the window":          {[]Request{setting("ventilation", "off")}, true},
		"the run at full":     {[]Request{Finish{Step: "full"}}, false},
		"a note after a step": {[]Request{Finish{Step: "full"}, Note{Text: "it ran well"}}, false},
	} {
		b := armed(t)
		b.after(70 * time.Minute)
		b.must(test.did...)
		b.after(time.Minute)
		left := b.state.Left(b.state.Next(b.now), b.now)
		if said := slices.ContainsFunc(left, func(r Reason) bool { return r.Remedy.Setting.Condition == "battery" }); said != test.want {
			t.Errorf("70 minutes after, %s: left is %+v, want said: %v", name, left, test.want)
		}
		p, err := scheduled(t, b.now, Hours{Sittings: []Sitting{{From: b.now, To: b.now.Add(time.Hour)}}}, b.state)
		if err != nil || len(p.Left) > 0 != test.want {
			t.Errorf("70 minutes after, %s: the plan says %+v, %v, want said: %v", name, p.Left, err, test.want)
		}
	}
}

// No propeller is fitted or taken off as equipment while the battery is in, whether it is said to be on or off, in the words in which the
// condition is refused; once it is out, or after a crash, it is.
func TestNoPropellerIsFittedWithThePlugIn(t *testing.T) {
	b := armed(t)
	b.must(setting("battery", "out"))
	kit := b.docs.Sheets["sha256:own"]
	kit.Equipment = append(kit.Equipment, steps.Equipment{Name: "propeller", Title: "The propeller", Zone: "pod", Aboard: setting("propeller", "on").Set})
	b.state = b.replay(b.state.Entries)
	fitted, removed := ChangeEquipment{Item: "propeller", Change: Fitted}, ChangeEquipment{Item: "propeller", Change: Removed}
	b.must(removed, fitted)
	words := "before that it needs battery: out, but the journal says battery: in"
	for _, state := range []string{"on", "off"} {
		b.must(setting("propeller", state))
		b.written(0, journal.ConditionSet{Setting: steps.Setting{Condition: "battery", State: "in"}})
		other := map[string]string{"on": "off", "off": "on"}[state]
		for _, r := range []Request{fitted, removed, setting("propeller", other)} {
			if got := b.refused(r, ByCondition); !strings.Contains(got, words) {
				t.Errorf("%+v with the propeller %s: %s", r, state, got)
			}
		}
		b.must(ChangeEquipment{Item: "propeller", Change: Moved, Mass: q("4 g")}, setting("battery", "out"))
	}
	b.must(removed, fitted)
	b.written(0, journal.ConditionSet{Setting: steps.Setting{Condition: "battery", State: "in"}})
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Serious}}}, removed)
}

// What is measured with the propeller on, or plugged in, is refused after damage for what only its repair sets, and not with a command that is
// refused as well.
func TestAMeasurementAfterDamageIsRefusedForIt(t *testing.T) {
	b := armed(t)
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Serious}}})
	gate := steps.Gate{Name: "full-current", Needs: []steps.Setting{{Condition: "propeller", State: "on"}, {Condition: "battery", State: "in"}}}
	for _, r := range b.state.unsafe(gate, b.now) {
		if r.Because != ByDamage || r.Remedy.Kind == ToSetCondition {
			t.Errorf("it is refused for %+v", r)
		}
	}
	if len(b.state.unsafe(gate, b.now)) == 0 {
		t.Error("it isn't refused")
	}
}
