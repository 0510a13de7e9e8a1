package workflow

import (
	"strings"
	"testing"

	"fettle/steps"
	"fettle/workflow/journal"
)

// grounded is a released airframe with two checks open: one after which it may be launched, one that grounds it while it is open, and, where something
// happens then, one that looks it over.
func grounded(t *testing.T, acts ...Request) *bench {
	t.Helper()
	b := released(t)
	kit := sheet()
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
	plug, launch, pull := hands("plug", "2 min"), hands("launch", "1 min"), hands("pull", "1 min")
	plug.Sets, pull.Sets = []steps.Setting{{Condition: "battery", State: "in"}}, []steps.Setting{{Condition: "battery", State: "out"}}
	launch.Needs = plug.Sets
	docs := documents()
	b.docs = &docs
	docs.Sheets["sha256:powered"] = kit
	for _, p := range []*steps.Procedure{
		{Name: "flight", Flight: steps.EachFlight, Stages: []steps.Stage{one("flight", hands("walk-round", "1 min"), plug, launch, pull)}},
		{Name: "range", Stages: []steps.Stage{one("range", hands("take-off-propeller", "1 min"), hands("try-range", "20 min"))}},
		{Name: "look", Stages: []steps.Stage{one("look", hands("look-from-afar", "2 min"), hands("feel-for-heat", "2 min"))}},
	} {
		p.Kind, p.Revision = steps.Check, 1
		docs.Procedures["sha256:"+p.Name] = p
		if p.Name == "look" {
			b.must(acts...)
		}
		if p.Name != "look" || len(acts) > 0 {
			b.must(Start{Procedure: p, Digest: "sha256:" + p.Name, Sheet: kit, SheetDigest: "sha256:powered"})
		}
	}
	return b
}

// A launch, and what is plugged in for it, waits for each other job that grounds the airframe: what is recorded, what is next, and a plan.
func TestALaunchWaitsForWhatGrounds(t *testing.T) {
	b := grounded(t)
	p, err := scheduled(t, b.now, Hours{Sittings: open(24*60, 26*60, 48*60, 50*60, 72*60, 74*60)}, b.state)
	if got := says(p); err != nil || !strings.Contains(got, "plug ") || strings.Index(got, "plug ") < strings.Index(got, "try-range ") {
		t.Errorf("%s, %v", got, err)
	}
	b.done("walk-round")
	if r := b.step("plug"); len(r.Reasons) == 0 || r.Reasons[0].Remedy.Kind != ToFinish || r.Reasons[0].Remedy.Name != "range" {
		t.Errorf("%+v", r.Reasons)
	}
	b.refused(Finish{Step: "plug"}, ByState)
	b.next("take-off-propeller", "")
	b.done("take-off-propeller", "try-range", "plug")
	b.must(LogFlight{Landing: Hard, Check: "look"}) // flown early
	b.refused(Finish{Step: "launch"}, ByDamage)     // and nobody is told to plug it in for that
}

// The check that a hard landing asks for comes before all else on the airframe, in what is next and in a plan.
func TestNothingComesBeforeTheCheckAfterAHardLanding(t *testing.T) {
	b := grounded(t, LogFlight{Landing: Hard, Check: "look"})
	b.next("look-from-afar", "")
	p, err := scheduled(t, b.now, Hours{Sittings: open(24*60, 26*60, 48*60, 50*60, 72*60, 74*60)}, b.state)
	if got := says(p); err != nil || !strings.HasPrefix(got, "look-from-afar 1480, feel-for-heat 1482, take-off-propeller ") || strings.Contains(got, "launch") {
		t.Errorf("%s, %v", got, err)
	}
	b.done("look-from-afar")
	b.next("feel-for-heat", "")
}

// What comes before a flight and was begun before the airframe was damaged leads on: first to the repair, to its end, and then back to
// before it was begun, since the release that it waits for waits for it. Then it is released.
func TestACheckThatWasBegunBeforeACrashLeadsOn(t *testing.T) {
	b := grounded(t)
	b.done("walk-round", "take-off-propeller", "try-range")
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "tail", Severity: steps.Cosmetic}}})
	leads := func(step string, want RemedyKind, name string) (r Reason) {
		t.Helper()
		for _, r = range b.step(step).Reasons {
			if strings.HasPrefix(r.Text, "it comes before a flight") {
				break
			}
		}
		if r.Remedy.Kind != want || r.Remedy.Name != name {
			t.Fatalf("%+v, want %s %s", r, want, name)
		}
		return r
	}
	leads("plug", ToPlanRepair, "")
	mend := &steps.Procedure{Name: "mend", Title: "Mend it", Kind: steps.Repair, Revision: 1, Stages: []steps.Stage{one("mend", plain("glue-it"))}}
	b.docs.Procedures["sha256:mend"] = mend
	b.must(Start{Procedure: mend, Digest: "sha256:mend", Sheet: b.docs.Sheets["sha256:powered"], SheetDigest: "sha256:powered", Damages: []string{"D1"}})
	leads("plug", ToFinish, "mend")
	b.done("glue-it")
	b.refused(GiveRelease{}, ByState)
	b.must(Undo{Position: leads("plug", ToBeginAgain, "flight").Remedy.Entry, Reason: "begun before the crash"})
	b.must(Undo{Position: leads("walk-round", ToBeginAgain, "flight").Remedy.Entry, Reason: "begun before the crash"}, GiveRelease{})
}

// Nobody plugs in, or fits a propeller, for work of before a hard landing, by a step, by hand or to measure, until the check that it asks for is
// done, also where an older program let that be recorded; nor for another repair until what crashed since is made safe. That check, and what
// it needs by hand, is not kept from it.
func TestNothingIsPluggedInBeforeTheCheckAfterAHardLanding(t *testing.T) {
	hard := LogFlight{Landing: Hard, Check: "look"}
	crash := func(zone string) Request {
		return ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: zone, Severity: steps.Serious}}}
	}
	so := func(condition, state string) steps.Setting { return steps.Setting{Condition: condition, State: state} }
	out, in, on := so("battery", "out"), so("battery", "in"), so("propeller", "on")
	wrote := func(is steps.Setting) journal.Facts { return journal.ConditionSet{Setting: is} } // by an older program
	hand := func(is steps.Setting) Request { return setting(is.Condition, is.State) }
	done := func(step string) Request { return Finish{Step: step} }
	for name, test := range map[string]struct {
		acts  []any // requests, facts, and the names of jobs that are begun
		tries Request
		help  RemedyKind // "": it is recorded
	}{
		"landed soft":                       {acts: []any{LogFlight{Landing: Soft}}, tries: hand(on)},
		"landed hard":                       {acts: []any{hard}, tries: hand(on), help: ToStart},
		"landed hard, the plug":             {acts: []any{hard, hand(out)}, tries: hand(in), help: ToStart},
		"landed hard, what makes it safe":   {acts: []any{hard}, tries: hand(out)},
		"landed hard, a step that needs it": {acts: []any{hard, wrote(on)}, tries: done("tied"), help: ToStart},
		"landed hard, a step that sets it":  {acts: []any{hard, hand(out)}, tries: done("mount"), help: ToStart},
		"landed hard, another step":         {acts: []any{hard}, tries: done("sand")},
		"landed hard, a reading":            {acts: []any{hard, wrote(in)}, tries: readings("amps", "5 mm"), help: ToStart},
		"landed soft, a reading":            {acts: []any{LogFlight{Landing: Soft}, hand(in)}, tries: readings("amps", "5 mm")},
		"being looked over":                 {acts: []any{hard, "look", hand(out)}, tries: hand(on), help: ToFinish},
		"from afar yet":                     {acts: []any{hard, "look", hand(out)}, tries: hand(in), help: ToFinish},
		"being looked over, what that asks": {acts: []any{hard, "look", done("far")}, tries: hand(in)},
		"being looked over, its own step":   {acts: []any{hard, "look", done("far"), hand(in)}, tries: done("probe")},
		"being looked over, a reading":      {acts: []any{hard, "look", done("far"), hand(in)}, tries: readings("amps", "5 mm")},
		"plugged in for that, another step": {acts: []any{hard, "look", done("far"), hand(in), wrote(on)}, tries: done("tied"), help: ToFinish},
		"looked over":                       {acts: []any{hard, "look", done("far"), hand(in), done("probe"), hand(out)}, tries: hand(on)},
		"another repair":                    {acts: []any{crash("tail"), "mend", hand(out)}, tries: hand(in)},
		"another repair, crashed since":     {acts: []any{crash("tail"), "mend", crash("wing"), "fix", hand(out)}, tries: hand(in), help: ToFinish},
		"another repair, made safe since":   {acts: []any{crash("tail"), "mend", crash("wing"), "fix", done("make-safe")}, tries: hand(in)},
	} {
		kit := sheet()
		kit.Conditions = append(kit.Conditions[1:], steps.Condition{Name: "propeller", States: []string{"off", "on"}, Guarded: "on"},
			steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
		kit.Gates = append(kit.Gates, steps.Gate{Name: "amps", Title: "Amps", Repeat: 1, Gauge: "rule", Limits: kit.Gates[2].Limits, Of: []string{"tail"}, Needs: []steps.Setting{in}})
		mount, tied, probe, glue, safe := plain("mount"), plain("tied"), plain("probe"), plain("glue-it"), plain("make-safe")
		mount.Sets, mount.Needs, tied.Needs, probe.Needs, glue.Needs, safe.Sets = []steps.Setting{on}, []steps.Setting{out}, []steps.Setting{on}, []steps.Setting{in}, []steps.Setting{in}, []steps.Setting{out}
		b := workingOn(t, kit, one("mount", mount), one("tied", tied), one("bare", plain("sand")))
		docs := *b.docs
		b.docs = &docs
		first := one("safe", safe)
		first.Phase = steps.Safe
		begins := map[string]Start{}
		for _, p := range []*steps.Procedure{
			{Name: "look", Kind: steps.Check, Stages: []steps.Stage{one("look", plain("far"), probe)}},
			{Name: "mend", Kind: steps.Repair, Stages: []steps.Stage{one("mend", glue)}},
			{Name: "fix", Kind: steps.Repair, Stages: []steps.Stage{first, {Name: "fix", After: []string{"safe"}, Steps: []steps.Step{plain("file")}}}},
		} {
			p.Title, p.Revision = p.Name, 1
			docs.Procedures["sha256:"+p.Name] = p
			begins[p.Name] = Start{Procedure: p, Digest: "sha256:" + p.Name, Sheet: kit, SheetDigest: "sha256:own", Damages: map[string][]string{"mend": {"D1"}, "fix": {"D2"}}[p.Name]}
		}
		t.Run(name, func(t *testing.T) {
			b.t = t
			for _, act := range test.acts {
				switch act := act.(type) {
				case string:
					b.must(begins[act])
				case journal.Facts:
					b.written(0, act)
				case Request:
					b.must(act)
				}
			}
			if test.help == "" {
				b.must(test.tries)
				return
			}
			if text := b.refused(test.tries, ByDamage); !strings.Contains(text, "["+string(test.help)+" ") {
				t.Errorf("it is not said that it helps to %s: %s", test.help, text)
			}
		})
	}
}
