package workflow

import (
	"testing"
	"time"

	"fettle/steps"
)

// ironing is a bench with a coat that must not meet a hot iron beside a stage that
// heats one, and a gate that is read with it hot.
func ironing(t *testing.T) *bench {
	t.Helper()
	hot, cold := steps.Setting{Condition: "iron", State: "hot"}, steps.Setting{Condition: "iron", State: "cold"}
	in := sheet()
	in.Conditions = append(in.Conditions, steps.Condition{Name: "iron", States: []string{"hot", "cold"}, Sitting: true})
	in.Adhesives[0].Care = steps.Care{Needs: []steps.Setting{cold}}
	in.Adhesives[0].Times.Vapour = 30 * time.Minute
	heat := in.Gates[0]
	heat.Name, heat.Points, heat.Of, heat.Work, heat.Needs, heat.Validity = "heat", nil, nil, true, []steps.Setting{hot}, steps.Validity{}
	in.Gates = append(in.Gates, heat)
	in.Tools = []steps.Tool{{Name: "iron", Title: "An iron", Measure: []string{"heat"}, Care: steps.Care{Needs: []steps.Setting{hot}}}}
	warm, iron := plain("warm"), plain("iron-it")
	warm.Sets, warm.Tools, iron.Tools = []steps.Setting{hot}, []string{"iron"}, []string{"iron"}
	join := joining("join", "tab")
	join.Sets = []steps.Setting{hot} // it irons what it has joined
	work := &steps.Procedure{Name: "work", Kind: steps.Repair, Revision: 1, Stages: []steps.Stage{
		one("glue", coating("coat", "tab"), join),
		one("iron", warm, steps.Step{Name: "read", Kind: steps.Measure, Gates: []string{"heat"}}, iron)}}
	docs := documents()
	docs.Sheets["sha256:iron"], docs.Procedures["sha256:work"] = in, work
	b := newBench(t)
	b.docs = &docs
	b.must(Start{Procedure: work, Digest: "sha256:work", Sheet: in, SheetDigest: "sha256:iron"})
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{cold}})
	return b
}

// Beside a coat that must not meet it, nothing is heated until the joint is joined
// or the coat has lapsed, and its vapour is gone; nobody is sent to do it, and the fact is recorded and said.
func TestNothingHarmsAnOpenCoat(t *testing.T) {
	b := ironing(t)
	b.done("coat")
	if harms := b.state.Harms(b.now); len(harms) != 0 {
		t.Errorf("with a cold iron: %+v", harms)
	}
	mustContain(t, b.refused(Finish{Step: "warm"}, ByDrying), "it sets iron: hot, but the open coat of contact on joint tab needs iron: cold")
	for range 40 { // drying and open
		if next := b.state.Next(b.now); next.Step != nil && next.Step.Stage == "iron" {
			t.Fatalf("%s is suggested at %s", next.Step.Step.Name, b.now)
		}
		b.after(30 * time.Second)
	}
	b.must(setting("iron", "hot"))
	if harms := b.state.Harms(b.now); len(harms) != 1 || harms[0].Coat != "the open coat of contact on joint tab" || harms[0].State != "hot" || harms[0].Remedy.Setting.State != "cold" {
		t.Errorf("with a hot iron: %+v", harms)
	}
	mustContain(t, b.refused(readings("heat", "4 mm"), ByDrying), "it needs iron: hot, but the open coat")
	b.must(setting("iron", "cold"))
	b.done("join") // which heats, once it is joined
	if harms := b.state.Harms(b.now); len(harms) != 1 || harms[0].Coat != "the vapour of contact on joint tab" {
		t.Errorf("when it is joined: %+v", harms)
	}
	b.after(29 * time.Minute)
	mustContain(t, b.refused(Finish{Step: "warm"}, ByDrying), "it sets iron: hot, but the vapour of contact on joint tab needs iron: cold [")
	b.after(time.Minute)
	if harms := b.state.Harms(b.now); len(harms) != 0 {
		t.Errorf("when its vapour is gone: %+v", harms)
	}
	b.done("warm")
	b.must(readings("heat", "4 mm"))
	b.done("iron-it")

	b = ironing(t)
	b.done("coat")
	b.after(70*time.Minute - time.Second)
	b.refused(Finish{Step: "warm"}, ByDrying)
	b.after(time.Second)
	b.done("warm")
}

// A tool is measured as it is used: not while it was cold, and again once it was
// cold in between, or may have been.
func TestAToolIsMeasuredAsItIsUsed(t *testing.T) {
	hot := func() *bench {
		b := ironing(t)
		b.must(setting("iron", "hot"), readings("heat", "4 mm"))
		return b
	}
	b := hot()
	b.done("warm") // says it once more
	b.after(time.Minute)
	b.must(readings("heat", "4 mm"))
	b.done("iron-it")
	for name, cooled := range map[string]func(b *bench){
		"in the journal": func(b *bench) { b.must(setting("iron", "cold")) },
		"and taken back": func(b *bench) { b.must(setting("iron", "cold"), Undo{Position: b.state.Size()}) },
		"by a flight":    func(b *bench) { b.must(LogFlight{Landing: Soft}) },
	} {
		b := hot()
		b.done("warm")
		b.must(readings("heat", "4 mm"))
		b.after(time.Minute)
		cooled(b)
		b.after(time.Minute)
		b.must(setting("iron", "hot"))
		if err := b.try(Finish{Step: "iron-it"}); err == nil {
			t.Errorf("cooled %s, and measured before that", name)
			continue
		}
		mustContain(t, b.refused(Finish{Step: "iron-it"}, ByGate), "not since iron: hot was confirmed", "[measure heat")
		b.must(readings("heat", "4 mm"))
		b.done("iron-it")
	}
}
