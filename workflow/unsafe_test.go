package workflow

import (
	"slices"
	"strings"
	"testing"

	"fettle/steps"
	"fettle/workflow/journal"
)

// flown is a bench of an airframe with a propeller and a battery, in the order of a sheet, with a build that is open.
func flown(t *testing.T, order ...string) *bench {
	t.Helper()
	kit := sheet()
	kit.Conditions = kit.Conditions[1:]
	for _, name := range order {
		states := map[string][]string{"propeller": {"off", "on"}, "battery": {"out", "in"}}[name]
		kit.Conditions = append(kit.Conditions, steps.Condition{Name: name, States: states, Guarded: states[1]})
	}
	set := func(name, to string) []steps.Setting { return []steps.Setting{{Condition: name, State: to}} }
	plug, pull, mount := plain("plug"), plain("pull"), plain("mount")
	plug.Sets, pull.Sets, mount.Sets = set("battery", "in"), set("battery", "out"), set("propeller", "on")
	mount.Needs = set("battery", "out")
	throws := plain("throws")
	throws.Needs = set("battery", "in")
	b := workingOn(t, kit, one("power", mount, plug, plain("try"), pull), one("later", throws), one("bare", plain("sand")))
	b.docs.Procedures["sha256:work"].Kind = steps.Build
	b.state = b.replay(b.state.Entries)
	b.must(setting("battery", "out"), setting("propeller", "off"))
	return b
}

// What crashed, or came down hard, is said to be unsafe till somebody says how its battery and propeller are, or makes it so: the battery
// first, since nobody has hands at a disc that may start. What was in then is said by itself.
func TestWhatCrashedIsMadeSafeFirst(t *testing.T) {
	crash := ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Serious}}}
	look := &steps.Procedure{Name: "look", Title: "Look it over", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{one("safe", plain("far"))}}
	pull := plain("take-off")
	pull.Sets = []steps.Setting{{Condition: "propeller", State: "off"}}
	near := &steps.Procedure{Name: "look", Title: "Look it over", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{one("safe", plain("far"), pull, plain("near"))}}
	begin := func(b *bench) {
		look := b.docs.Procedures["sha256:look"]
		b.must(Start{Procedure: look, Digest: "sha256:look", Sheet: b.docs.Sheets["sha256:own"], SheetDigest: "sha256:own"})
	}
	for name, test := range map[string]struct {
		order []string
		acts  func(b *bench)
		near  bool   // what looks it over has a step that makes it safe
		want  string // "": nothing is said
		do    RemedyKind
	}{
		"nothing happened": {acts: func(*bench) {}},
		"landed soft":      {acts: func(b *bench) { b.must(LogFlight{Landing: Soft}) }},
		"crashed": {acts: func(b *bench) { b.must(crash) }, do: ToRepair,
			want: "damage D1 (cracked, wing) is not repaired, and PL-01 is not made safe: battery: out, then propeller: off"},
		"crashed, by a sheet of another order": {order: []string{"battery", "propeller"}, acts: func(b *bench) { b.must(crash) }, do: ToRepair,
			want: "damage D1 (cracked, wing) is not repaired, and PL-01 is not made safe: battery: out, then propeller: off"},
		"pulled since": {acts: func(b *bench) { b.must(crash, setting("battery", "out")) }, do: ToRepair,
			want: "damage D1 (cracked, wing) is not repaired, and PL-01 is not made safe: propeller: off"},
		"made safe since":      {acts: func(b *bench) { b.must(crash, setting("battery", "out"), setting("propeller", "off")) }},
		"crashed plugged in":   {acts: func(b *bench) { b.done("mount", "plug"); b.must(crash) }},
		"looked over since":    {acts: func(b *bench) { b.must(crash); begin(b) }},
		"begun before it":      {acts: func(b *bench) { begin(b); b.must(crash) }, do: ToRepair, want: "damage D1 (cracked, wing) is not repaired, and PL-01 is not made safe: battery: out, then propeller: off"},
		"damaged on the check": {acts: func(b *bench) { b.must(LogFlight{Landing: Hard, Check: "look"}); begin(b); b.must(crash) }},
		"crashed with its propeller on": {acts: func(b *bench) { b.done("mount"); b.must(crash) }, do: ToRepair,
			want: "damage D1 (cracked, wing) is not repaired, and PL-01 is not made safe: battery: out, then propeller: off"},
		"crashed plugged in, and pulled since": {acts: func(b *bench) { b.done("mount", "plug"); b.must(crash, setting("battery", "out")) }, do: ToRepair,
			want: "damage D1 (cracked, wing) is not repaired, and PL-01 is not made safe: propeller: off"},
		"being looked over": {acts: func(b *bench) { b.must(LogFlight{Landing: Hard, Check: "look"}); begin(b) }, near: true, do: ToSeeNext,
			want: "job look is open, and PL-01 is not made safe: battery: out, then propeller: off"},
		"being looked over from afar, its battery out": {acts: func(b *bench) {
			b.must(LogFlight{Landing: Hard, Check: "look"})
			begin(b)
			b.done("far")
			b.must(setting("battery", "out"))
		}, near: true, do: ToSeeNext, want: "job look is open, and PL-01 is not made safe: propeller: off"},
		"made safe by the look": {acts: func(b *bench) {
			b.must(LogFlight{Landing: Hard, Check: "look"}, setting("battery", "out"))
			begin(b)
			b.done("far", "take-off")
		}, near: true},
		"landed hard, and made safe since": {acts: func(b *bench) {
			b.must(LogFlight{Landing: Hard, Check: "look"}, setting("battery", "out"), setting("propeller", "off"))
		}},
		"landed hard plugged in, being looked over": {acts: func(b *bench) { b.done("mount", "plug"); b.must(LogFlight{Landing: Hard, Check: "look"}); begin(b) }, near: true},
		"landed hard": {acts: func(b *bench) { b.must(LogFlight{Landing: Hard, Check: "look"}) }, do: ToStart,
			want: "look is due after the hard landing, and PL-01 is not made safe: battery: out, then propeller: off"},
	} {
		if test.order == nil {
			test.order = []string{"propeller", "battery"}
		}
		b := flown(t, test.order...)
		if b.docs.Procedures["sha256:look"] = look; test.near {
			b.docs.Procedures["sha256:look"] = near
		}
		test.acts(b)
		got, do := "", RemedyKind("")
		if r := b.state.Unsafe(b.now); r != nil {
			got, do = r.Text, r.Remedy.Kind
		}
		if got != test.want || do != test.do {
			t.Errorf("%s: %q [%s], want %q [%s]", name, got, do, test.want, test.do)
		}
		sand := b.step("sand")
		first := test.do == ToRepair || test.do == ToStart || name == "crashed plugged in" || name == "landed hard plugged in, being looked over" || name == "landed hard, and made safe since"
		if g := (Suggestion{Step: &sand}); b.state.UnsafeFirst(&g, b.now) != first {
			t.Errorf("%s: before other work it is made safe: %t", name, !first)
		}
		for _, g := range []Suggestion{{Step: &sand, AtOnce: true}, {Step: &sand, Presses: true}} {
			if b.state.UnsafeFirst(&g, b.now) {
				t.Errorf("%s: what makes it safe, or what would be lost, waits", name)
			}
		}
		other := *b.state
		other.Airframe.Mark = "PL-02"
		beside := working(t, one("plain", plain("sand"))).state.Beside([]*State{&other}).UnsafeBeside(b.now)
		if said := slices.ContainsFunc(beside, func(r Plugged) bool {
			return r.Text == strings.Replace(test.want, "PL-01", "PL-02", 1) && r.Remedy.Mark == "PL-02"
		}); said != (test.want != "") {
			t.Errorf("%s: beside it %v is said", name, beside)
		}
		by := 0 // once it is begun, whoever recorded work there last makes it safe; before that nobody is named
		if test.do == ToSeeNext {
			by = 1
		}
		for reader, want := range map[string]int{"Ben": by, b.by: 0} {
			seat := Seat{By: reader, Who: 2, Known: 2, Here: 2, Names: "1 " + b.by}
			if reader == b.by {
				seat = Seat{By: reader, Who: 1, Known: 4, Here: 4, Names: "2 Ben"}
			}
			for _, is := range working(t, one("plain", plain("sand"))).state.Seated(seat).Beside([]*State{&other}).UnsafeBeside(b.now) {
				if is.By != want || is.Ends != (want > 0) {
					t.Errorf("%s: %s reads that person %d makes it safe, want %d", name, reader, is.By, want)
				}
			}
		}
	}
}

// A half-built airframe has no battery or propeller to be made safe before its build makes them, unless one was ever in or on, or it flew.
func TestNothingIsMadeSafeThatIsNotThereYet(t *testing.T) {
	out, off := setting("battery", "out"), setting("propeller", "off")
	for name, test := range map[string]struct {
		acts []Request
		want string // how it is made safe; "": nothing is said
	}{
		"nobody said a word":    {},
		"said to be out":        {acts: []Request{out, off}},
		"made since":            {acts: []Request{out, off, Finish{Step: "fit-battery"}}, want: "battery: out"},
		"in once":               {acts: []Request{setting("battery", "in"), out, off}, want: "battery: out"},
		"on once, by a mistake": {acts: []Request{off, setting("propeller", "on"), Undo{Position: 5, Reason: "a mistake"}, out}, want: "propeller: off"},
		"flew":                  {acts: []Request{out, off, LogFlight{Landing: Soft}}, want: "battery: out, then propeller: off"},
	} {
		kit := sheet()
		kit.Zones = append(kit.Zones, "propeller", "battery")
		kit.Conditions = append(kit.Conditions[1:], steps.Condition{Name: "propeller", States: []string{"off", "on"}, Guarded: "on"},
			steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
		cut, battery, propeller := plain("cut"), plain("fit-battery"), plain("fit-propeller")
		cut.Makes, battery.Makes, propeller.Makes = []steps.Made{{Zone: "wing"}}, []steps.Made{{Zone: "battery"}}, []steps.Made{{Zone: "propeller"}}
		b := workingOn(t, kit, one("wing", cut), one("power", battery), one("drive", propeller))
		b.docs.Procedures["sha256:work"].Kind = steps.Build
		b.state = b.replay(b.state.Entries)
		b.done("cut")
		b.must(test.acts...)
		b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Serious}}})
		got := ""
		if r := b.state.Unsafe(b.now); r != nil {
			_, got, _ = strings.Cut(r.Text, "not made safe: ")
		}
		if got != test.want {
			t.Errorf("%s: %q is to be made safe, want %q", name, got, test.want)
		}
	}
}

// Who of several is not to do what is suggested is led to nothing that a plan of before has on what crashed since, neither before its
// repair is begun nor while that keeps it, and is told what comes first; nor is that named beside a step.
func TestNobodyIsLedToPlannedWorkOnWhatCrashed(t *testing.T) {
	crash := ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "tail", Severity: steps.Serious}}}
	for name, test := range map[string]struct {
		crashed, begun, safe bool
		step, kept           string
	}{
		"sound":                    {step: "throws"},
		"crashed":                  {crashed: true, step: "throws", kept: "damage D1 (cracked, tail) is not repaired"},
		"its repair begun":         {crashed: true, begun: true, step: "throws", kept: "PL-02 is made safe first"},
		"made safe":                {crashed: true, begun: true, safe: true, step: "throws", kept: "damage D1 is open, and only its repair sets battery: in"},
		"made safe, and unplugged": {crashed: true, begun: true, safe: true, step: "sand"},
	} {
		is := flown(t, "propeller", "battery")
		if test.crashed {
			is.must(crash)
		}
		if test.begun {
			repair := *is
			docs := *is.docs
			docs.Procedures["sha256:mend"] = &steps.Procedure{Name: "mend", Title: "Mend it", Kind: steps.Repair, Revision: 1, Stages: []steps.Stage{one("mend", plain("glue-it"))}}
			is.must(Start{Procedure: docs.Procedures["sha256:mend"], Digest: "sha256:mend", Sheet: repair.docs.Sheets["sha256:own"], SheetDigest: "sha256:own", Damages: []string{"D1"}})
		}
		if test.safe {
			is.must(setting("battery", "out"), setting("propeller", "off"))
		}
		other := *is.state
		other.Airframe.Mark = "PL-02"
		b := working(t, one("one", hands("hollow", "40 min")))
		mine := []Planned{{Job: b.state.Jobs[0].ID, Step: "hollow", Begins: b.now, Minutes: 40, Hands: []int{1}}}
		s := b.state.Beside([]*State{&other}).Seated(Seat{Who: 2, Known: 2, Here: 2})
		s.Plans = map[string][]Planned{s.Airframe.Mark: mine, "PL-02": {{Job: other.Jobs[0].ID, Step: test.step, Begins: b.now, Minutes: 10, Hands: []int{2}},
			{Job: other.Jobs[0].ID, Step: "try", Begins: b.now.Add(minutesOf(20)), Minutes: 10, Hands: []int{2}}}}
		g, got, kept := s.NextBut(b.now, nil, mine), "", ""
		if g.Mine != nil {
			got = g.Mine.Mark + " " + g.Mine.Step.Step.Name
		}
		if g.Kept != nil {
			kept = g.Kept.Text
		}
		want := "PL-02 " + test.step
		if test.kept != "" {
			want = ""
		}
		if !g.Theirs || got != want || kept != test.kept {
			t.Errorf("%s: led to %q, kept by %q; want %q, %q", name, got, kept, want, test.kept)
		}
		if g := s.Seated(Seat{Who: 1}).NextBut(b.now, nil, mine); (len(g.Others) > 0) != (want != "") {
			t.Errorf("%s: meanwhile others do %v", name, g.Others)
		}
	}
}

// What crashed once more while it was looked over, and was made safe by that before, is made safe by its repair first, and by nothing that
// looks at it: what looks it over asked for that by a bare word, and the page led to itself.
func TestRepairMakesSafeWhatIsLookedOver(t *testing.T) {
	off := append(setting("battery", "out").Set, setting("propeller", "off").Set...)
	take, near, first := plain("take-off"), plain("near"), plain("make-safe")
	take.Sets, near.Needs, first.Sets = off, off, off
	docs := map[string]*steps.Procedure{
		"look": {Name: "look", Title: "Look it over", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{one("safe", plain("far"), take, near)}},
		"mend": {Name: "mend", Title: "Mend it", Kind: steps.Repair, Revision: 1, Stages: []steps.Stage{{Name: "first", Phase: steps.Safe, Steps: []steps.Step{first, plain("glue-it")}}}},
	}
	b := flown(t, "propeller", "battery")
	begin := func(name string, damages ...string) {
		b.docs.Procedures["sha256:"+name] = docs[name]
		b.must(Start{Procedure: docs[name], Digest: "sha256:" + name, Sheet: b.docs.Sheets["sha256:own"], SheetDigest: "sha256:own", Damages: damages})
	}
	next := func(want string) {
		t.Helper()
		if g := b.state.Next(b.now); g.Step == nil || g.Step.Step.Name != want {
			t.Fatalf("%+v is next, want %s", g.Step, want)
		}
	}
	crash := ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "tail", Severity: steps.Serious}}}
	b.must(LogFlight{Landing: Hard, Check: "look"}, crash)
	begin("look")
	begin("mend", "D1")
	next("far") // nobody goes to it before that
	b.done("far")
	next("take-off") // by what looks it over
	b.done("take-off")
	next("near")
	b.written(0, journal.FlightLogged{})
	b.state.Planned = []Planned{{Job: "look", Step: "near", Begins: b.now, Minutes: 8}, {Job: "mend", Step: "make-safe", Begins: b.now.Add(minutesOf(8)), Minutes: 5}} // of before
	next("make-safe")
	b.done("make-safe")
	next("near")
}
