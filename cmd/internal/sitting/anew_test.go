package sitting_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/sitting"
	"fettle/procedures"
	"fettle/steps"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// twoHolds has a hold that needs what another one switches on, and what it sets itself otherwise.
const twoHolds = `procedure: skerry-bench
kind: check
design: skerry
title: Try it on the bench
revision: 1
stages:
  - stage: bench
    steps:
      - step: power
        title: Switch the supply on
        caution: Nothing lies on the supply.
        do: Switch it on.
        sets: {charger: on}
        hold: {confirm: [The supply is clear]}
      - step: plug
        title: Plug it in
        caution: The motor may start.
        do: Plug it in.
        needs: {charger: on, battery: out}
        sets: {battery: in}
        alone: [Strap it to the stand]
        hold: {confirm: [The shaft is bare, Nobody is in front]}
      - step: try
        title: Try it
        do: Try it.
        needs: {battery: in}
      - step: try-again
        title: Try it again
        do: Try it again.
        needs: {battery: in}
      - step: end
        title: End it
        do: Unplug it, and switch the supply off.
        sets: {battery: out, charger: off}
`

// withHolds is a bench with SK-01, at which the work of that document is begun.
func withHolds(t *testing.T, document string) *bench {
	b := atBench(t)
	own := t.TempDir()
	must(t, os.WriteFile(filepath.Join(own, "skerry-bench.yaml"), []byte(document), 0o600))
	b.desk.Library = procedures.Open(own)
	s, err := b.desk.Register(t.Context(), "SK-01", "skerry", nil, time.Time{})
	must(t, err)
	_, _, err = b.desk.Start(t.Context(), s, "skerry-bench", "", time.Time{})
	must(t, err)
	b.ready("SK-01")
	return b
}

func set(condition, state string) workflow.Request {
	return workflow.ReadBench{Set: []steps.Setting{{Condition: condition, State: state}}}
}

// What a hold needs that is cleared once more comes first, also where another hold is cleared once more for it, with its own page;
// then its lines, and who is second.
func TestHoldsOnceMore(t *testing.T) {
	b := withHolds(t, twoHolds)
	b.act("SK-01", set("battery", "out"))
	b.act("SK-01", workflow.Clear{Step: "power", Answers: []bool{true}})
	b.act("SK-01", workflow.Clear{Step: "plug", Answers: []bool{true, true}, Witness: workflow.Witness{Second: "hugo"}})
	b.act("SK-01", workflow.Finish{Step: "try"})
	b.act("SK-01", set("charger", "off"))
	b.act("SK-01", set("battery", "out"))
	b.act("SK-01", set("battery", "in")) // said, and no line of it

	// The supply, the plug out again, the lines, and who is second.
	b.lead("SK-01", "1", "y", "1", "2", "hugo", "q")
	for i, want := range [][]string{
		{"Switch the supply on", "Confirm each line"},
		{"End it", "Is the battery out now?"},
		{"Plug it in", "Confirm each line"},
		{"Plug it in", "Confirm each line"},
		{"Plug it in", "Who was the second person"},
		{"Try it again", "When it is done"},
	} {
		for _, word := range want {
			if !strings.Contains(b.asked[i], word) {
				t.Errorf("question %d is %s, want %s", i+1, b.asked[i], want)
			}
		}
	}
	if f, e := last[journal.Witnessed](b, "SK-01"); f.Who != "hugo" || f.Step != "plug" || e.Position != b.state("SK-01").Size()-3 {
		t.Errorf("entry %d: %+v", e.Position, f)
	}
	for _, text := range b.told {
		if strings.Contains(text, "refused") {
			t.Error(text)
		}
	}
}

// Two holds of which each needs what the other one sets, both to be cleared once more: neither can come first, and no line is asked.
func TestHoldsThatWaitForEachOther(t *testing.T) {
	document := strings.Replace(twoHolds, "        sets: {charger: on}\n", "        needs: {battery: in}\n        sets: {charger: on}\n", 1)
	b := withHolds(t, strings.Replace(document, "needs: {charger: on, battery: out}", "needs: {charger: on}", 1))
	b.act("SK-01", set("battery", "in"))
	b.act("SK-01", workflow.Clear{Step: "power", Answers: []bool{true}})
	b.act("SK-01", workflow.Clear{Step: "plug", Answers: []bool{true, true}, Witness: workflow.Witness{Second: "hugo"}})
	b.act("SK-01", workflow.Finish{Step: "try"})
	b.act("SK-01", set("charger", "off"))
	b.act("SK-01", set("battery", "out"))
	size := b.state("SK-01").Size()
	b.lead("SK-01", "q")
	if len(b.asked) != 1 || !strings.Contains(b.asked[0], "When that is seen to") {
		t.Errorf("it asks %q", b.asked)
	}
	if n := b.state("SK-01").Size() - size; n != 0 {
		t.Errorf("%d entries are recorded", n)
	}
}

// tiedDown has the plug put in on a bare shaft, and then beside a propeller, tied down.
const tiedDown = `procedure: skerry-bench
kind: check
design: skerry
title: Try it on the bench
revision: 1
stages:
  - stage: bench
    steps:
      - step: bare
        title: Make it safe
        do: Pull the plug and take the propeller off.
        sets: {battery: out, propeller: off}
      - step: plug
        title: Plug it in bare
        do: Plug it in.
        needs: {propeller: off}
        sets: {battery: in}
        hold: {confirm: [The shaft is bare]}
      - step: pull
        title: Pull it
        do: Pull the plug.
        sets: {battery: out}
      - step: fit
        title: Fit it
        do: Slide it on.
        needs: {propeller: off, battery: out}
        sets: {propeller: on}
      - step: tie
        title: Tie it
        do: Tie it down.
        needs: {propeller: on, battery: out}
        hold: {confirm: [A hard pull moved nothing]}
      - step: arm
        title: Plug it in tied down
        do: Plug it in.
        needs: {propeller: on, battery: out}
        sets: {battery: in}
      - step: full
        title: Full throttle
        do: Open it.
        needs: {propeller: on, battery: in}
      - step: end
        title: End it
        do: Pull the plug.
        sets: {battery: out}
`

// Where the plug is in on a bare shaft and the propeller is wanted, the plug comes out first; then the propeller is fitted, and it is
// tied down and plugged in again.
func TestTheOrderOfPlugAndPropeller(t *testing.T) {
	b := withHolds(t, tiedDown)
	b.act("SK-01", workflow.Finish{Step: "bare"})
	b.act("SK-01", workflow.Clear{Step: "plug", Answers: []bool{true}})
	b.act("SK-01", workflow.Finish{Step: "pull"})
	b.act("SK-01", workflow.Finish{Step: "fit"})
	b.act("SK-01", workflow.Clear{Step: "tie", Answers: []bool{true}})
	b.act("SK-01", workflow.Finish{Step: "arm"})
	b.act("SK-01", set("battery", "out"))
	b.act("SK-01", set("propeller", "off"))
	b.act("SK-01", workflow.Clear{Step: "plug", Answers: []bool{true}})
	b.lead("SK-01", "y", "y", "1", "y", "q")
	for i, want := range [][]string{
		{"Is the battery out now?"},
		{"Fit it", "Is the propeller on now?"},
		{"Tie it", "Confirm each line"},
		{"Plug it in tied down", "Is the battery in now?"},
		{"Full throttle", "When it is done"},
	} {
		for _, word := range want {
			if i >= len(b.asked) || !strings.Contains(b.asked[i]+b.seen[i], word) {
				t.Errorf("question %d of %q is not %s", i+1, b.asked, want)
			}
		}
	}
}

// After a hard landing or a crash nothing of the step at hand is shown or asked, whatever was on: what comes first is, and a key ends what is in.
func TestWhatCrashedIsSeenToFirst(t *testing.T) {
	hard := workflow.LogFlight{Landing: workflow.Hard, Check: "post-crash"}
	crash := workflow.ReportDamage{Triage: &steps.Triage{}, Seen: []workflow.Sighting{{Finding: "bent", Zone: "wing", Severity: steps.Serious}}}
	for name, test := range map[string]struct {
		acts    []workflow.Request
		says    string
		answers []string
	}{
		"landed hard, armed": {acts: []workflow.Request{workflow.Finish{Step: "arm"}, hard}, says: "fettle bench SK-01 --set battery=out", answers: []string{"h", "y", "q"}},
		"landed hard, its propeller on": {acts: []workflow.Request{hard}, answers: []string{sitting.Enter, "q"},
			says: "post-crash is due after the hard landing, and SK-01 is not made safe: battery: out, then propeller: off"},
		"landed hard, its plug out again": {acts: []workflow.Request{hard, set("battery", "out")}, answers: []string{sitting.Enter, "q"},
			says: "post-crash is due after the hard landing, and SK-01 is not made safe: propeller: off"},
		"landed hard, made safe by hand": {acts: []workflow.Request{hard, set("battery", "out"), set("propeller", "off")}, answers: []string{sitting.Enter, "q"},
			says: "post-crash is due after the hard landing (3 March 2026)"},
		"crashed, armed": {acts: []workflow.Request{workflow.Finish{Step: "arm"}, crash}, says: "fettle bench SK-01 --set battery=out", answers: []string{"h", "y", "q"}},
		"crashed": {acts: []workflow.Request{crash}, answers: []string{sitting.Enter, "q"},
			says: "damage D1 (bent, wing) is not repaired, and SK-01 is not made safe: battery: out, then propeller: off"},
	} {
		b := withHolds(t, tiedDown)
		b.act("SK-01", workflow.Finish{Step: "bare"})
		b.act("SK-01", workflow.Clear{Step: "plug", Answers: []bool{true}})
		b.act("SK-01", workflow.Finish{Step: "pull"})
		b.act("SK-01", workflow.Finish{Step: "fit"})
		b.act("SK-01", workflow.Clear{Step: "tie", Answers: []bool{true}})
		for _, r := range test.acts {
			b.act("SK-01", r)
		}
		b.lead("SK-01", test.answers...)
		for i, asked := range b.asked {
			ends := i == 1 && test.answers[0] == "h" && strings.Contains(asked, "Is the battery out now?")
			if !ends && !strings.Contains(asked, "SK-01 | Nothing else can be done on SK-01 before that | When that is seen to: | ") || b.seen[i] != "" {
				t.Errorf("%s: it asks %q and shows %q", name, asked, b.seen[i])
			}
		}
		if got := strings.Join(strings.Fields(b.cautions[0]), " "); !strings.Contains(got, test.says) {
			t.Errorf("%s: %q is said, not %q", name, got, test.says)
		}
	}
}

// Whoever is at full throttle as it is recorded that it crashed, or came down hard, reads that the plug is in before they leave the step, and
// the key that ends it is there: no key leads to that first.
func TestThePlugIsSaidAsTheStepIsLeft(t *testing.T) {
	for _, meanwhile := range []workflow.Request{
		workflow.LogFlight{Landing: workflow.Hard, Check: "post-crash"},
		workflow.ReportDamage{Triage: &steps.Triage{}, Seen: []workflow.Sighting{{Finding: "bent", Zone: "wing", Severity: steps.Serious}}},
	} {
		b := withHolds(t, tiedDown)
		b.act("SK-01", workflow.Finish{Step: "bare"})
		b.act("SK-01", workflow.Clear{Step: "plug", Answers: []bool{true}})
		b.act("SK-01", workflow.Finish{Step: "pull"})
		b.act("SK-01", workflow.Finish{Step: "fit"})
		b.act("SK-01", workflow.Clear{Step: "tie", Answers: []bool{true}})
		b.act("SK-01", workflow.Finish{Step: "arm"})
		b.first = func() { b.act("SK-01", meanwhile) }
		b.lead("SK-01", sitting.Changed, "h", "y", "q")
		if asked := b.asked[1]; !strings.Contains(asked, "Full throttle | When you have left it as it may stay:") {
			t.Errorf("it asks %q", asked)
		}
		if got := b.cautions[1]; !strings.Contains(got, "**At once:** The plug") || !strings.Contains(got, "fettle bench SK-01 --set battery=out") {
			t.Errorf("it says %q before that", got)
		}
		if asked := b.asked[2]; !strings.Contains(asked, "Is the battery out now?") {
			t.Errorf("the key asks %q", asked)
		}
	}
}

// aCoatAndMore has a coat that is joined, and work beside it.
const aCoatAndMore = `procedure: skerry-bench
kind: check
design: skerry
title: Try it on the bench
revision: 1
stages:
  - stage: work
    steps:
      - step: sand
        title: Sand it
        do: Sand it.
        hands: 32 min
  - stage: glue
    steps:
      - step: coat-pin
        do: Spread it.
        hands: 1 min
        coat: {joint: pin, with: contact}
      - step: join-pin
        do: Join it.
        hands: 2 min
        join: pin
        disturbs: [wing]
`

// Work of another airframe that would leave a join neither its minutes nor anything to spare is not begun before it: it is waited for.
func TestAnotherAirframeLeavesAJoinItsTime(t *testing.T) {
	for hands, want := range map[string]string{"32 min": "SK-01 | Stay free for pin on SK-01: it opens at ", "31 min": "SK-02 | Sand it"} {
		b := withHolds(t, strings.Replace(aCoatAndMore, "32 min", hands, 1))
		s, err := b.desk.Register(t.Context(), "SK-02", "skerry", nil, time.Time{})
		must(t, err)
		_, _, err = b.desk.Start(t.Context(), s, "skerry-bench", "", time.Time{})
		must(t, err)
		for _, mark := range []string{"SK-01", "SK-02"} {
			b.act(mark, workflow.ReadBench{Temperature: q(t, "20 °C"), Humidity: q(t, "50 %"), Set: []steps.Setting{{Condition: "ventilation", State: "on"},
				{Condition: "iron", State: "cold"}, {Condition: "gun", State: "cold"}, {Condition: "charger", State: "off"}}})
		}
		b.act("SK-01", workflow.Finish{Step: "sand"})
		b.act("SK-01", workflow.ClearUse{Of: "contact", Answers: []bool{true, true, true}})
		b.act("SK-01", workflow.Finish{Step: "coat-pin"})
		b.lead("", "q")
		if !strings.HasPrefix(b.asked[0], want) {
			t.Errorf("%s: asked is %q, want %s", hands, b.asked, want)
		}
	}
}

// A page that leads to a coat turns in the minute from which the joint can't be joined in the sitting any more: its keys would begin it too late.
func TestThePageOfACoatTurnsInTime(t *testing.T) {
	b := withHolds(t, aCoatAndMore)
	over := b.now.Add(time.Hour)
	b.desk.Plan = &desk.Plan{File: filepath.Join(t.TempDir(), "plan"), Sits: func() time.Time { return over }}
	b.act("SK-01", workflow.ReadBench{Temperature: q(t, "20 °C"), Humidity: q(t, "50 %"), Set: []steps.Setting{{Condition: "ventilation", State: "on"},
		{Condition: "iron", State: "cold"}, {Condition: "gun", State: "cold"}, {Condition: "charger", State: "off"}}})
	b.act("SK-01", workflow.Finish{Step: "sand"})
	b.act("SK-01", workflow.ClearUse{Of: "contact", Answers: []bool{true, true, true}})
	looks := func(want bool) {
		if changed, err := b.of.Refresh(t.Context()); changed != want || err != nil {
			t.Errorf("at %s it turns: %t, %v", b.now, changed, err)
		}
	}
	b.first = func() {
		looks(false)
		b.now = over.Add(-25 * time.Minute) // it takes 1 min to coat, 15 till it is dry, and 2 to join it
		looks(false)
		b.now = over.Add(-10 * time.Minute)
		looks(true)
		looks(false)
	}
	b.lead("SK-01", sitting.Changed, "q")
	if !strings.Contains(b.asked[0], "s spreading starts now") || !strings.Contains(b.asked[1], "When that is seen to:") || !strings.Contains(b.seen[1], "so it is not coated now") {
		t.Errorf("asked is %q, with %q", b.asked, b.seen[1])
	}
}

// What was tied down yesterday is looked over again before it is plugged in, with the page of that hold.
func TestTiedDownYesterday(t *testing.T) {
	b := withHolds(t, tiedDown)
	b.act("SK-01", workflow.Finish{Step: "bare"})
	b.act("SK-01", workflow.Clear{Step: "plug", Answers: []bool{true}})
	b.act("SK-01", workflow.Finish{Step: "pull"})
	b.act("SK-01", workflow.Finish{Step: "fit"})
	b.act("SK-01", workflow.Clear{Step: "tie", Answers: []bool{true}})
	b.now = b.now.Add(24 * time.Hour)
	b.act("SK-01", workflow.ReadBench{Temperature: q(t, "20 °C"), Humidity: q(t, "50 %")})
	b.lead("SK-01", "1", "d", "q")
	for i, want := range [][]string{
		{"Tie it", "Tie it down.", "Confirm each line"},
		{"Plug it in tied down", "When it is done"},
		{"Full throttle", "When it is done"},
	} {
		for _, word := range want {
			if i >= len(b.asked) || !strings.Contains(b.asked[i]+b.seen[i], word) {
				t.Errorf("question %d of %q is not %s", i+1, b.asked, want)
			}
		}
	}
}

// coldForGlue has work that nothing hot or on may lie beside, and later work that makes each so and ends it: by a step of its own, and by
// one that works with it first.
const coldForGlue = `procedure: skerry-bench
kind: check
design: skerry
title: Try it on the bench
revision: 1
stages:
  - stage: glue
    steps:
      - step: make-safe
        title: Make the bench safe
        do: Pull each plug.
        sets: {iron: cold, gun: cold, charger: off}
      - step: rest
        title: Let it rest
        do: Let it rest.
      - step: scrap
        title: Try it on scrap
        caution: Wet glue.
        do: Try it.
        needs: {iron: cold, gun: cold, charger: off}
  - stage: later
    after: [glue]
    steps:
      - step: heat-iron
        title: Iron on
        do: Plug the iron in.
        sets: {iron: hot}
      - step: smooth
        title: Smooth it
        do: Iron it down.
        needs: {iron: hot}
        tools: [iron]
      - step: cool-iron
        title: Iron off
        caution: The sole stays hot.
        do: Unplug the iron.
        sets: {iron: cold}
      - step: heat-gun
        title: Soldering iron on
        do: Plug the soldering iron in.
        sets: {gun: hot}
      - step: solder
        title: Solder it
        caution: The tip burns.
        do: Solder the leads.
        tools: [soldering-iron]
        sets: {gun: cold}
      - step: charger-on
        title: Charger on
        do: Plug the charger in.
        sets: {charger: on}
      - step: charge
        title: Charge it
        caution: Watch the pack.
        do: Stay by the pack.
        needs: {charger: on}
        sets: {charger: off}
`

// That nothing is hot or on is asked in one question, where nothing says otherwise, and without the page, the cautions or the hold of
// later work that would end it. What does stand hot or on is ended by a page of its own, and never by that of work done with it.
func TestThatNothingIsHotIsAskedAlone(t *testing.T) {
	all := []steps.Setting{{Condition: "iron", State: "cold"}, {Condition: "gun", State: "cold"}, {Condition: "charger", State: "off"}}
	const iron, gun, charger = "- The film iron: cold\n", "- A glue gun, a soldering iron or a hot cutter: cold\n", "- Any charger in the room: off\n"
	type want struct{ question, does, caution string }
	scrap := want{"Try it on scrap | When it is done", "Try it.", "Wet glue."}
	const then = "\nThen: Try it on scrap.\n"
	sure := func(of string) string { return "SK-01 | First make sure | " + of + " | y yes, n no" }
	for name, test := range map[string]struct {
		before, today []steps.Setting // what is said in this sitting and in the one before it
		asks          []want
	}{
		"nothing is said": {nil, nil, []want{{sure("Is each of these so now?"), iron + gun + charger + then, ""}, scrap}},
		"one is not said": {nil, []steps.Setting{all[0], all[2]}, []want{{sure("Is the gun cold now?"), gun + then, ""}, scrap}},
		"all is said":     {nil, all, []want{scrap}},
		"the iron was left hot": {[]steps.Setting{{Condition: "iron", State: "hot"}}, nil, []want{
			{"Iron off | Is the iron cold now?", "Unplug the iron.", "The sole stays hot."}, {sure("Is each of these so now?"), gun + charger + then, ""}, scrap}},
		"it is hot": {nil, []steps.Setting{{Condition: "iron", State: "hot"}, all[1], all[2]}, []want{{"Iron off | Is the iron cold now?", "Unplug the iron.", "The sole stays hot."}, scrap}},
		"the gun and the charger are": {nil, []steps.Setting{all[0], {Condition: "gun", State: "hot"}, {Condition: "charger", State: "on"}}, []want{
			{"A glue gun, a soldering iron or a hot cutter: cold | Is the gun cold now?", "", ""}, {"Any charger in the room: off | Is the charger off now?", "", ""}, scrap}},
	} {
		t.Run(name, func(t *testing.T) {
			b := withHolds(t, coldForGlue)
			b.act("SK-01", workflow.Finish{Step: "make-safe"})
			if test.before != nil {
				b.act("SK-01", workflow.ReadBench{Set: test.before})
			}
			b.act("SK-01", workflow.Finish{Step: "rest"})
			b.now = b.now.Add(24 * time.Hour)
			b.act("SK-01", workflow.ReadBench{Temperature: q(t, "20 °C"), Humidity: q(t, "50 %"), Set: test.today})
			answers := slices.Repeat([]string{"y"}, len(test.asks)-1)
			b.lead("SK-01", append(answers, "q")...)
			if len(b.asked) != len(test.asks) {
				t.Fatalf("asked is %q", b.asked)
			}
			for i, want := range test.asks {
				if !strings.Contains(b.asked[i], want.question) || strings.TrimSpace(b.seen[i]) != strings.TrimSpace(want.does) || !strings.Contains(b.cautions[i], want.caution) || want.caution == "" && b.cautions[i] != "" {
					t.Errorf("%d: %q, %q, cautions %q; want %q", i, b.asked[i], b.seen[i], b.cautions[i], want)
				}
			}
			for _, is := range all {
				if state := b.state("SK-01").Holds(is.Condition, b.now); state != is.State {
					t.Errorf("%s is recorded as %q", is.Condition, state)
				}
			}
		})
	}
}

// Who says no is not led on, and nothing is recorded.
func TestNotEverythingIsCold(t *testing.T) {
	b := withHolds(t, coldForGlue)
	b.act("SK-01", workflow.Finish{Step: "make-safe"})
	b.act("SK-01", workflow.Finish{Step: "rest"})
	b.now = b.now.Add(24 * time.Hour)
	b.ready("SK-01")
	size := b.state("SK-01").Size()
	b.lead("SK-01", "n", "q")
	b.tells("Try it on scrap waits until the iron is cold and the gun is cold and the charger is off. Go to it from the list then.")
	if n := b.state("SK-01").Size() - size; n != 0 || strings.Contains(b.asked[1], "Try it on scrap") {
		t.Errorf("%d entries are recorded, and it asks %q", n, b.asked)
	}
}
