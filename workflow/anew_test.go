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

// plugs is a job whose hold plugs in a charger and switches on a lamp beside it; nobody leaves either so.
func plugs(t *testing.T, change func(sheet *steps.Sheet, plug *steps.Step)) *bench {
	in := sheet()
	in.Conditions = append(in.Conditions[:len(in.Conditions):len(in.Conditions)],
		steps.Condition{Name: "charger", States: []string{"off", "on"}, Guarded: "on", Bench: true},
		steps.Condition{Name: "lamp", States: []string{"off", "on"}, Guarded: "on"})
	on := func(condition string) steps.Setting { return steps.Setting{Condition: condition, State: "on"} }
	off := func(condition string) steps.Setting { return steps.Setting{Condition: condition, State: "off"} }
	plug, try, again, out, glow, shine := plain("plug"), plain("try"), plain("try-again"), plain("out"), plain("glow"), plain("shine")
	plug.Kind, plug.Confirm = steps.Hold, []string{"The shaft is bare", "It is strapped down"}
	plug.Sets = []steps.Setting{on("charger"), on("lamp")}
	try.Needs, again.Needs = []steps.Setting{on("charger")}, []steps.Setting{on("charger"), on("lamp")}
	out.Sets = []steps.Setting{off("lamp"), off("charger")}
	glow.Needs, shine.Needs = try.Needs, []steps.Setting{on("lamp")}
	change(in, &plug)
	return workingOn(t, in, one("one", plug, try, again, out), one("beside", glow), one("aside", shine))
}

func asItIs(*steps.Sheet, *steps.Step) {}

var plugAnew = Clear{Step: "plug", Answers: []bool{true, true}}

// wantsLines asserts that the last trial is not done without the lines of the hold, for the number of things that it needs.
func (b *bench) wantsLines(n int) {
	b.t.Helper()
	says := b.refused(Finish{Step: "try-again"}, slices.Repeat([]Because{ByCondition}, n)...)
	if found := strings.Count(says, "confirm the lines of plug again"); found != n {
		b.t.Errorf("%d of %d: %s", found, n, says)
	}
}

// What another airframe's journal says may end what is plugged in, and confirms no line for this one: neither its bare word, nor
// the lines that were read there of something else.
func TestAnotherAirframeConfirmsNoLines(t *testing.T) {
	for _, word := range [][]Request{
		{setting("charger", "on")},
		{plugAnew},
		{plugAnew, setting("charger", "off"), plugAnew},
	} {
		b, other := plugs(t, asItIs), plugs(t, asItIs)
		b.must(plugAnew)
		b.done("try")
		b.after(time.Minute)
		b.must(setting("charger", "off"))
		other.now = b.now.Add(time.Minute)
		for _, r := range word {
			other.must(r)
			other.after(time.Minute)
		}
		other.state.Airframe.Mark = "PL-02"
		b.now = other.now
		b.state = b.state.Beside([]*State{other.state})
		b.holds("charger", "on")
		b.wantsLines(1)
		b.must(plugAnew)
		b.state = b.state.Beside([]*State{other.state})
		b.done("try-again")
	}
	// While it stays on, whoever says so too takes nothing away.
	b, other := plugs(t, asItIs), plugs(t, asItIs)
	b.must(plugAnew)
	b.done("try")
	other.now = b.now.Add(time.Minute)
	other.must(setting("charger", "on"))
	other.state.Airframe.Mark = "PL-02"
	b.after(2 * time.Minute)
	b.state = b.state.Beside([]*State{other.state})
	b.done("try-again")
}

// What ended all that was said of the bench ended what the lines were confirmed for, and so did what was taken back since.
func TestLinesCountToTheEnd(t *testing.T) {
	for what, end := range map[string]func(b *bench){
		"a flight":           func(b *bench) { b.written(0, journal.FlightLogged{}) },
		"an off, taken back": func(b *bench) { b.must(setting("charger", "off")); b.must(Undo{Position: b.state.Size() - 1}) },
	} {
		b := plugs(t, asItIs)
		b.must(plugAnew)
		b.done("try")
		b.after(time.Minute)
		end(b)
		b.holds("charger", "")
		b.after(time.Minute)
		b.must(setting("charger", "on"), setting("lamp", "on"))
		if what == "a flight" {
			b.wantsLines(2)
		} else {
			b.wantsLines(1)
		}
		b.must(plugAnew)
		b.done("try-again")
	}
}

// A hold that sets two things sets both once more by one reading of its lines, and only what is off.
func TestAllThatAHoldSetsIsSetAnew(t *testing.T) {
	b := plugs(t, asItIs)
	b.must(plugAnew)
	b.done("try")
	b.after(time.Minute)
	b.must(setting("charger", "off"), setting("lamp", "off"), plugAnew)
	b.holds("charger", "on")
	b.holds("lamp", "on")
	b.badlyOrRefused(plugAnew)
	b.must(setting("lamp", "off"))
	size := b.state.Size()
	b.must(plugAnew)
	if n := b.state.Size() - size; n != 2 { // the lines, and the lamp
		t.Errorf("%d entries: %v", n, b.kinds(int(n)))
	}
	// Of what the lines were read for, a bare word that comes after them has no part.
	b.must(setting("lamp", "off"))
	b.after(time.Minute)
	b.must(setting("lamp", "on"))
	b.wantsLines(1)
	b.must(plugAnew)
	b.done("try-again")
}

// Of lines that were typed in later, a bare word of the same second has no part: what was switched off between the time that they
// were read and that word wants them once more. Neither has a word that repeats one of theirs.
func TestLinesTypedInLater(t *testing.T) {
	for _, after := range [][]Request{ // the lines, all in the second in which they are typed in
		{setting("lamp", "on")},
		{setting("charger", "on"), setting("lamp", "on")},
		{setting("lamp", "on"), setting("charger", "on"), setting("lamp", "on")},
	} {
		b := plugs(t, asItIs)
		b.must(plugAnew)
		b.done("try")
		b.after(time.Hour)
		b.written(0, journal.FlightLogged{})
		b.after(time.Hour)
		b.must(setting("charger", "on"), setting("lamp", "on"))
		b.after(5 * time.Minute)
		b.at(7*time.Minute, setting("charger", "off"))
		b.after(time.Minute)
		b.must(setting("lamp", "off"))
		b.after(time.Minute)
		b.at(7*time.Minute, plugAnew)
		if lines, ok := b.state.Entries[b.state.Size()-3].Facts.(journal.UseCleared); !ok || lines.Of != "plug" {
			t.Fatalf("the lines are not recorded: %v", b.kinds(3))
		}
		b.must(after...)
		b.holds("lamp", "on")
		b.wantsLines(1)
		b.after(10 * time.Minute)
		b.at(time.Minute, setting("lamp", "on"))
		b.wantsLines(1)
		b.must(plugAnew)
		b.done("try-again")
	}
	// What the lines set is taken back, and what was said on top of it stands.
	b := plugs(t, asItIs)
	b.must(plugAnew)
	b.done("try")
	b.after(time.Minute)
	b.must(setting("lamp", "off"), plugAnew, setting("lamp", "on"), Undo{Position: b.state.Size() + 2})
	if f, ok := b.state.Entries[b.state.Size()-1].Facts.(journal.Undone); !ok || len(f.TakesBack) != 1 {
		t.Fatalf("%+v", b.state.Entries[b.state.Size()-1])
	}
	b.holds("lamp", "on")
	b.wantsLines(1)
	b.must(plugAnew)
	b.done("try-again")
}

// badlyOrRefused asserts that nothing is recorded.
func (b *bench) badlyOrRefused(r Request) {
	b.t.Helper()
	if b.try(r) == nil {
		b.t.Errorf("%+v is recorded", r)
	}
}

// A hold that wants a second person wants one each time, who is recorded with the lines.
func TestSecondPersonOnceMore(t *testing.T) {
	b := plugs(t, func(_ *steps.Sheet, plug *steps.Step) { plug.Alone = []string{"Strap it to the stand"} })
	with := func(w Witness) Clear { return Clear{Step: "plug", Answers: []bool{true, true}, Witness: w} }
	b.must(with(Witness{Second: "hugo"}))
	b.done("try")
	b.must(setting("charger", "off"))
	mustContain(t, b.refused(plugAnew, ByState), "it wants a second person")
	half := with(Witness{})
	half.Answers = []bool{true}
	mustContain(t, b.refused(half, ByHold, ByState), "line 2 is not confirmed")
	for _, w := range []Witness{{Second: "hugo"}, {Alone: 1}} {
		b.must(setting("charger", "off"), with(w))
		f, ok := b.state.Entries[b.state.Size()-3].Facts.(journal.Witnessed)
		if !ok || f.Step != "plug" || f.Who != w.Second || (f.Instead != "") != (w.Alone > 0) {
			t.Errorf("%+v: %v, %+v", w, b.kinds(3), f)
		}
	}
	// Whoever takes back who was there takes back what that was for.
	b.must(Undo{Position: b.state.Size() - 3})
	b.wantsLines(1)
	b.must(with(Witness{Second: "hugo"}))
	b.done("try-again")
}

// What a hold fits is fitted once.
func TestNothingIsFittedOnceMore(t *testing.T) {
	b := plugs(t, asItIs)
	b.must(plugAnew)
	b.must(setting("charger", "off"))
	named := plugAnew
	named.Thing = "A7"
	b.badly(named, "plug is cleared once more, and nothing is fitted with that; leave out A7")
}

// Where no hold of an open job was cleared, whoever says that it is on is told the lines all the same: of a hold that comes later,
// and of a job that is over.
func TestLinesAreSaidToWhoeverSetsIt(t *testing.T) {
	on := steps.Setting{Condition: "lamp", State: "on"}
	b := plugs(t, asItIs)
	look := func(when string) {
		t.Helper()
		all := b.state.stands(on, b.now)
		if len(all) != 1 || !strings.Contains(all[0].Text, "; look first: The shaft is bare; It is strapped down") || all[0].Remedy.Kind != ToSetCondition {
			t.Errorf("%s: %+v", when, all)
		}
	}
	look("before the hold is cleared")
	b.must(plugAnew)
	b.must(setting("lamp", "off"))
	if all := b.state.stands(on, b.now); len(all) != 1 || strings.Contains(all[0].Text, "look first") || all[0].Remedy.Kind != ToClear {
		t.Errorf("while the hold is cleared again for it: %+v", all)
	}
	b.must(plugAnew)
	b.done("glow", "shine", "try", "try-again", "out")
	if open := b.state.OpenJobs(b.now); len(open) != 0 {
		t.Fatal(fmt.Sprint(len(open), " jobs are open"))
	}
	look("once the job is over")
}
