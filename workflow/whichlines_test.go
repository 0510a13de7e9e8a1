package workflow

import (
	"testing"

	"fettle/steps"
	"fettle/workflow/journal"
)

// Lines that were confirmed again count where they are those of the hold, and whoever was second was so at that hold: not at another step,
// nor of another job.
func TestOnlyItsOwnLinesAndItsOwnSecondCount(t *testing.T) {
	own := []string{"The shaft is bare", "It is strapped down"}
	hugo := func(job, step string) journal.Facts { return journal.Witnessed{Job: job, Step: step, Who: "hugo"} }
	for name, test := range map[string]struct {
		second journal.Facts
		of     string
		lines  []string
		want   int
	}{
		"as it was cleared":            {hugo("work", "plug"), "plug", own, 0},
		"other lines":                  {hugo("work", "plug"), "plug", []string{"The shaft is bare", "It lies on the bench"}, 1},
		"some of them":                 {hugo("work", "plug"), "plug", own[:1], 1},
		"of something else":            {hugo("work", "plug"), "charger", own, 1},
		"second at another step":       {hugo("work", "try"), "plug", own, 1},
		"second at one of another job": {hugo("work-2", "plug"), "plug", own, 1},
	} {
		b := plugs(t, func(_ *steps.Sheet, plug *steps.Step) {
			plug.Alone = []string{steps.No}
			plug.Sets = plug.Sets[:1] // the charger
		})
		b.must(Clear{Step: "plug", Answers: []bool{true, true}, Witness: Witness{Second: "hugo"}})
		b.done("try")
		b.must(setting("charger", "off"), setting("lamp", "on"))
		b.written(0, test.second, journal.UseCleared{Of: test.of, Lines: test.lines}, journal.ConditionSet{Setting: steps.Setting{Condition: "charger", State: "on"}})
		asked := 0
		for _, r := range b.step("try-again").Reasons {
			if r.Remedy.Kind == ToClear && r.Remedy.Name == "work/plug" {
				asked++
			}
		}
		if asked != test.want {
			t.Errorf("%s: plug is to be cleared %d times, want %d: %v", name, asked, test.want, textsOf(b.step("try-again").Reasons))
		}
	}
}

// Of two that plugged it in, whoever plugs it in once more confirms the lines of the hold, though a step without lines came after it; of
// two holds those of the one that was cleared last, whichever is written first.
func TestWhichHoldIsClearedAgain(t *testing.T) {
	in, out := setting("battery", "in").Set, setting("battery", "out").Set
	kit := sheet()
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
	hold := func(name string) steps.Step {
		return steps.Step{Name: name, Kind: steps.Hold, Sets: in, Confirm: []string{"Nothing turns: " + name}}
	}
	sets := func(name string, to []steps.Setting) steps.Step {
		s := plain(name)
		s.Sets = to
		return s
	}
	use := plain("use")
	use.Needs = in
	yes := []bool{true}
	is := func(b *bench, want string) {
		t.Helper()
		b.must(ReadBench{Set: out})
		all := b.step("use").Reasons
		if len(all) != 1 || all[0].Remedy.Kind != ToClear || all[0].Remedy.Name != "work/"+want {
			t.Errorf("to be seen to: %+v, want the hold %s", all, want)
		}
	}
	b := workingOn(t, kit, one("power", hold("plug"), sets("pull", out), sets("arm", in), use, sets("disarm", out)))
	b.must(Clear{Step: "plug", Answers: yes})
	b.done("pull", "arm")
	is(b, "plug")

	stages := []steps.Stage{one("first", hold("plug-a"), sets("pull-a", out)), one("second", hold("plug-b"), sets("pull-b", out)), one("third", use, sets("disarm", out))}
	for _, order := range [][]string{{"a", "b"}, {"b", "a"}} {
		b := workingOn(t, kit, stages...)
		for _, name := range order {
			b.must(Clear{Step: "plug-" + name, Answers: yes})
			b.done("pull-" + name)
		}
		is(b, "plug-"+order[1])
	}
}

// What the step of an open job needed to set something for good stands first when that is set once more: a pack goes in through an open
// hatch. What nobody knows of is asked by the step itself.
func TestWhatComesBeforeWhatIsSetOnceMore(t *testing.T) {
	kit := sheet()
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "hatch", States: []string{"shut", "open"}}, steps.Condition{Name: "pack", States: []string{"out", "aboard"}})
	lift, stow, shut, weigh := plain("lift"), plain("stow"), plain("shut"), plain("weigh")
	lift.Sets, stow.Needs, stow.Sets, shut.Sets = setting("hatch", "open").Set, setting("hatch", "open").Set, setting("pack", "aboard").Set, setting("hatch", "shut").Set
	weigh.Needs = setting("pack", "aboard").Set
	b := workingOn(t, kit, one("pack", lift, stow, shut, weigh))
	first := func(want string) {
		t.Helper()
		if got := b.state.firstFor(weigh.Needs[0], weigh.Needs, b.now); got.String() != want && !(want == "" && got.State == "") {
			t.Errorf("first is %s, want %q", got, want)
		}
	}
	b.must(setting("hatch", "shut"))
	first("") // nothing has set it yet
	b.done("lift", "stow", "shut")
	b.must(setting("pack", "out"))
	first("hatch: open")
	b.must(setting("hatch", "open"))
	first("")
}
