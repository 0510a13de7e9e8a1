package workflow

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/workflow/journal"
)

// A wigeon is weighed on two scales, of which the front one stands at -100 mm and the rear
// one at 150 mm, or on one; its parts weigh 600 g and balance at 63.3 mm.
func wigeonSheet() *steps.Sheet {
	zones := []string{"nose", "wing", "tail"}
	on := func(function, one, first, two, second string) measuring.Result {
		return measuring.Result{Function: function, Of: []string{one, two}, Reads: q("1 g"), Stations: []measuring.Station{{Point: one, At: q(first)}, {Point: two, At: q(second)}}}
	}
	gate := func(name, gauge string, low, high string, result measuring.Result) steps.Gate {
		g := steps.Gate{Name: name, Title: name, Repeat: 1, Gauge: gauge, Of: zones, Mass: true, Critical: true, Result: result,
			Limits: measuring.Limits{Low: q(low), High: q(high)}}
		for _, s := range result.Stations {
			g.Points = append(g.Points, s.Point)
		}
		return g
	}
	part := func(name, mass, x, equipment string) steps.Component {
		return steps.Component{Name: name, Title: name, Mass: q(mass), X: q(x), Equipment: equipment}
	}
	s := &steps.Sheet{
		Name: "wigeon", Title: "Wigeon", Revision: 1, Zones: zones,
		Options: []steps.Option{{Name: "floats", Title: "Floats"}},
		Gauges: []steps.Gauge{
			{Name: "scales", Title: "Kitchen scales", Resolution: q("1 g"), Uncertainty: q("2 g")},
			{Name: "scale", Title: "Scale", Resolution: q("1 g"), Uncertainty: q("3 g")},
		},
		Gates: []steps.Gate{
			gate("balance", "scales", "50 mm", "70 mm", on(measuring.Balance, "front", "-100 mm", "rear", "150 mm")),
			gate("all-up-mass", "scale", "500 g", "900 g", measuring.Result{}),
			gate("lateral", "scales", "-5 mm", "5 mm", on(measuring.Lateral, "left", "-300 mm", "right", "300 mm")),
		},
		Equipment: []steps.Equipment{
			{Name: "camera", Title: "The camera", Zone: "nose", Optional: true},
			{Name: "pack", Title: "The pack", Zone: "nose"},
		},
		Geometry: steps.Geometry{
			Datum: "the leading edge", Balance: steps.BalanceAt{Gate: "balance"},
			Surfaces: []steps.Surface{{Name: "main-wing", Is: steps.Wing, Zone: "wing", X: q("0 mm"), Panels: []steps.Panel{{Root: q("200 mm"), Tip: q("150 mm"), Span: q("500 mm")}}}},
			Parts:    []steps.Component{part("airframe", "400 g", "150 mm", ""), part("pack", "150 g", "-150 mm", "pack"), part("camera", "50 g", "10 mm", "camera")},
			Battery:  steps.Travel{Part: "pack", From: q("-200 mm"), To: q("-100 mm"), Length: q("90 mm")},
		},
	}
	s.Gates[2].Critical = false
	return s
}

// stand lets the balance be read on a stand too.
func stand(s *steps.Sheet) {
	s.Gauges = append(s.Gauges, steps.Gauge{Name: "stand", Title: "Stand", Resolution: q("0.2 mm"), Uncertainty: q("1 mm")})
	s.Gates[0].Or = steps.Way{Gauge: "stand", Repeat: 1}
}

// A weighing is an airframe that is weighed and changed.
type weighing struct{ *bench }

const wigeonSum = "sha256:wigeon"

// wigeon is one that is built, by the sheet as it was altered.
func wigeon(t testing.TB, alter ...func(*steps.Sheet)) weighing {
	t.Helper()
	s := wigeonSheet()
	for _, a := range alter {
		a(s)
	}
	glue := steps.Step{Name: "fit", Kind: steps.Do, Do: "fit it", Disturbs: []string{"wing"}}
	for _, z := range s.Zones {
		glue.Makes = append(glue.Makes, steps.Made{Zone: z})
	}
	build := &steps.Procedure{Name: "wigeon-build", Kind: steps.Build, Design: "wigeon", Revision: 1, Stages: []steps.Stage{{Name: "all", Steps: []steps.Step{glue, {Name: "release", Kind: steps.Release}}}}}
	floats := &steps.Procedure{Name: "fit-floats", Kind: steps.Repair, Design: "wigeon", Revision: 1, Stages: []steps.Stage{{Name: "all", Steps: []steps.Step{{Name: "which", Kind: steps.Choose, Choose: "floats"}}}}}
	b := weighing{&bench{t: t, now: evening, by: "builder", docs: &Documents{Sheets: map[string]*steps.Sheet{wigeonSum: s},
		Procedures: map[string]*steps.Procedure{buildSum: build, repairSum: floats}}}}
	b.state = replay(t, nil)
	b.must(Register{Mark: "WI-01", Sheet: s, Digest: wigeonSum}, Start{Procedure: build, Digest: buildSum, Sheet: s, SheetDigest: wigeonSum})
	b.done("fit")
	b.after(time.Hour)
	return b
}

// do does what the words say, a minute after what was done before.
func (w weighing) do(words ...string) {
	w.t.Helper()
	for _, text := range words {
		w.after(time.Minute)
		w.must(w.request(text))
	}
}

func (w weighing) request(text string) Request {
	f := strings.Fields(text)
	switch f[0] {
	case "weigh":
		return readings("balance", "front="+f[1]+" g", "rear="+f[2]+" g")
	case "front", "rear":
		return readings("balance", f[0]+"="+f[1]+" g")
	case "level":
		return readings("lateral", "left="+f[1]+" g", "right="+f[2]+" g")
	case "mass":
		return readings("all-up-mass", f[1]+" g")
	case "rework":
		return Rework{Gate: "balance"}
	case "undo":
		return Undo{Position: w.state.Size() - 1, Reason: "a slip"}
	}
	change := ChangeEquipment{Change: f[0], Item: f[1]}
	for _, more := range f[2:] {
		switch name, value, _ := strings.Cut(more, "="); name {
		case "zone":
			change.Zone = value
		case "name":
			change.Name = value
		case "g":
			change.Mass = q(value + " g")
		case "mm":
			change.Arm = q(value + " mm")
		}
	}
	return change
}

func (w weighing) poise() *Poise {
	w.t.Helper()
	p, err := w.state.Poise(w.now)
	if err != nil {
		w.t.Fatal(err)
	}
	return p
}

const weighed60 = "weigh 216 384" // (384 x 150 - 216 x 100)/600 = 60

// What the record computes, against sums by hand. Station is that of the last weighing.
func TestPoiseByHand(t *testing.T) {
	minus := math.NaN()
	for _, c := range []struct {
		what               string
		do                 string // what is done, one after another
		station, now, mass float64
		verdict            measuring.Verdict
		doubt              string // a part of what is not known or taken for granted; "": nothing is
	}{
		{"weighed", "mass 600|" + weighed60, 60, 60, 600, measuring.In, ""},
		{"half a new weighing beside an old one", "mass 600|" + weighed60 + "|moved pack mm=-100|rear 390", 60, 72.5, 600, measuring.Out, ""},
		{"a new one of which half is taken back", "mass 600|" + weighed60 + "|moved pack mm=-100|weigh 196 404|undo", 60, 72.5, 600, measuring.Out, ""},
		// (600 x 60 + 100 x 310)/700 = 95.71, and the scale says 700 itself.
		{"the mass read after the change", "mass 600|" + weighed60 + "|fitted logger zone=nose g=100 mm=310|mass 700", 60, 95.714, 700, measuring.Out, ""},
		// (800 x 60 + 100 x 310)/900 = 87.78: what the scales carried, and not the 600 g of the parts.
		{"the sum of the scales is the mass", "weigh 288 512|fitted logger zone=nose g=100 mm=310", 60, 87.778, 900, measuring.Out, ""},
		{"a pack of which nobody says anything", "mass 600|" + weighed60 + "|moved pack mm=-100|removed pack|fitted pack name=B", 60, minus, minus, measuring.Undecided, "what the pack B weighs and where it lies"},
		{"another pack, and nobody says that the first was taken out", "mass 600|" + weighed60 + "|fitted pack name=B", 60, minus, minus, measuring.Undecided, "what the pack B weighs and where it lies"},
		{"moved, and nobody says where", "mass 600|" + weighed60 + "|moved pack", 60, minus, 600, measuring.Undecided, "where the pack lies"},
		{"and then it is said where", "mass 600|" + weighed60 + "|moved pack|moved pack mm=-100", 60, 72.5, 600, measuring.Out, ""},
		// Of another thing of its kind the first one is no longer on board: 600 + 9 - 9 + 20.
		{"a second thing of the same kind", "mass 600|" + weighed60 + "|fitted logger zone=nose g=9 mm=60|fitted logger name=two g=20 mm=300", 60, 67.742, 620, measuring.In, ""},
		// In a rework of the balance the battery is moved, and nobody says where to.
		{"moved in a rework", "mass 600|weigh 180 420|rework", 75, minus, 600, measuring.Undecided, "where the pack lies"},
		// 40 mm of 150 g are 10 mm. It is recorded that it was moved, and that this was the rework, in either order.
		{"said where to, then the rework", "mass 600|weigh 180 420|moved pack mm=-190|rework", 75, 65, 600, measuring.In, ""},
		{"the rework, then said where to", "mass 600|weigh 180 420|rework|moved pack mm=-190", 75, 65, 600, measuring.In, ""},
		{"reworked once more, and nobody says where to", "mass 600|weigh 180 420|moved pack mm=-152|weigh 182 418|rework", 74.167, minus, 600, measuring.Undecided, "where the pack lies"},
		{"weighed after it", "mass 600|weigh 180 420|rework|weigh 230 370", 54.167, 54.167, 600, measuring.In, ""},
		{"and the move entered after that", "mass 600|weigh 180 420|rework|weigh 230 370|moved pack mm=-180", 54.167, minus, 600, measuring.Undecided, "where the pack lay when it was weighed"},
		{"the move entered before the weighing", "mass 600|weigh 180 420|rework|moved pack mm=-180|weigh 230 370|moved pack mm=-160", 54.167, 59.167, 600, measuring.In, ""},
		{"what may be left off is fitted", "mass 600|" + weighed60 + "|fitted camera", 60, 56.154, 650, measuring.Undecided, "the camera was not on board at the weighing"},
		{"and its removal taken back", "mass 600|" + weighed60 + "|removed camera|undo|fitted camera g=70 mm=100", 60, minus, minus, measuring.Undecided, "the camera"},
		// 50 g were weighed with it, at a place that nobody says.
		{"a place that was not known then is known now", "fitted logger zone=nose g=50|mass 650|weigh 234 416|moved logger mm=-150", 60, minus, 650, measuring.Undecided, "where the logger lay when it was weighed"},
		{"or it went", "fitted logger zone=nose g=50|mass 650|weigh 234 416|removed logger", 60, minus, 600, measuring.Undecided, "where the logger lay when it was weighed"},
	} {
		t.Run(c.what, func(t *testing.T) {
			b := wigeon(t)
			b.do(strings.Split(c.do, "|")...)
			p := b.poise()
			near := func(what string, got, want, by float64) {
				if !math.IsNaN(want) && !(math.Abs(got-want) <= by) {
					t.Errorf("%s is %.3f, by hand %.3f", what, got, want)
				}
			}
			near("the last weighing", p.Station, c.station, 0.001)
			near("now", p.Now, c.now, 0.001)
			near("the mass", p.Mass, c.mass, 0.001)
			if p.Verdict() != c.verdict {
				t.Errorf("%s, want %s", p.Verdict(), c.verdict)
			}
			doubts := strings.Join(append(p.Unknown, p.Assumed...), "; ")
			if (doubts == "") != (c.doubt == "") || !strings.Contains(doubts, c.doubt) {
				t.Errorf("left open: %q, want %q", doubts, c.doubt)
			}
			if _, advised := p.Target(); advised != (c.doubt == "") {
				t.Errorf("advised: %v", advised)
			}
		})
	}
}

// Nothing is advised of the parts alone, nor of what is computed inside the limits, and what
// was taken back since the weighing moves no aim.
func TestWeighedBeforeAnythingIsMoved(t *testing.T) {
	for _, c := range []struct {
		do    string
		waits bool
		aim   float64
	}{
		{"mass 600", true, 0},
		{"mass 600|" + weighed60, false, 60},
		{"mass 600|" + weighed60 + "|fitted logger zone=nose g=9 mm=60|undo", false, 60},
		{"mass 600|" + weighed60 + "|moved pack mm=-155", true, 0},
		{"mass 600|" + weighed60 + "|moved pack mm=-100", false, 55}, // 72.5: half the way to the forward limit
	} {
		b := wigeon(t)
		b.do(strings.Split(c.do, "|")...)
		a, ok := b.poise().Advise(math.NaN())
		if !ok || a.Waits != c.waits || c.waits && (a.Slide != nil || a.Ballast != nil) || !c.waits && a.Target != c.aim {
			t.Errorf("%s: %v %+v", c.do, ok, a)
		}
	}
}

// By hand: (600 x 60 + 60 x -150)/660 = 40.91, and the aim is 55: 660 x (40.91 - 55)/(-150 - 55)
// = 45.4 g of it come off. A pack that can't be slid is left out of it.
func TestTakenOffBeforeAnythingIsAdded(t *testing.T) {
	b := wigeon(t, func(s *steps.Sheet) { s.Geometry.Battery = steps.Travel{} })
	b.do("mass 600", weighed60, "fitted lead zone=nose g=60 mm=-150")
	a, _ := b.poise().Advise(math.NaN())
	if o := a.Off; o == nil || o.Mass != 45 || o.Station != -150 || o.Thing.Item != "lead" || math.Abs(o.Then-54.878) > 0.001 { // (27000 + 45 x 150)/615
		t.Errorf("%+v %+v", a, o)
	}
	b.do("removed lead", "moved pack mm=-200", "fitted logger zone=tail g=5 mm=100") // what lies behind it does no good
	if a, _ = b.poise().Advise(math.NaN()); a.Off != nil {
		t.Errorf("%+v", a.Off)
	}
}

// A camera that was on board by what was weighed is not taken to be one more without a word.
func TestFittedTwice(t *testing.T) {
	for mass, twice := range map[string]bool{"600": true, "552": false} { // the parts are 600 g with it, 550 g without
		b := wigeon(t)
		b.do("mass "+mass, "fitted camera g=80 mm=10")
		w := b.state.WeighedMass()
		if len(w.Assumed) != 1 || (len(w.Twice) == 1) != twice || twice && w.Twice[0] != (Twice{Thing{Item: "camera"}, b.state.Size() - 1}) {
			t.Errorf("%s g: %+v", mass, w)
		}
		card, err := b.state.Card(b.now, quantity.Quantity{}, quantity.Quantity{})
		if err != nil || !strings.Contains(card.Figures[0].Rests[0].Source, "taking it that the camera was not on board") {
			t.Errorf("%v %+v", err, card.Figures[0])
		}
	}
}

// The pack that is slid is charged as it was; another one, or one that went, may not be.
func TestWhatMovingABatteryDisturbs(t *testing.T) {
	b := wigeon(t, func(s *steps.Sheet) {
		s.Gates = append(s.Gates, steps.Gate{Name: "cells", Title: "cells", Repeat: 1, Gauge: "scales", Of: []string{"nose"}, Limits: measuring.Limits{Low: q("1 g")}})
	})
	for _, c := range []struct {
		do     string
		stands GateStanding
	}{{"moved pack mm=-160", Current}, {"moved camera", StaleGate}, {"removed pack", StaleGate}, {"fitted pack name=B", StaleGate}} {
		b.must(readings("cells", "20 g"))
		b.do(c.do)
		if got := b.gate("cells").Standing; got != c.stands {
			t.Errorf("%s: %s", c.do, got)
		}
	}
}

// Where the pack lies is not known after a rework of the balance, so how far it has to go is
// said, and not from where to where, and lead is for nobody who may move the pack.
func TestAdviceAfterARework(t *testing.T) {
	b := wigeon(t)
	b.do("mass 600", "weigh 180 420", "rework") // (420 x 150 - 180 x 100)/600 = 75
	b.do("weigh 192 408")                       // 70 mm: (70 - 60) x 600/150 = 40
	a, ok := b.poise().Advise(math.NaN())
	if !ok || a.Slide == nil || !a.Slide.Unplaced || a.Slide.By != -40 || a.Slide.Front != 0 || a.Slide.End || a.Ballast != nil {
		t.Errorf("%v %+v %+v", ok, a, a.Slide)
	}
	b.do("moved pack mm=-190", "weigh 216 384", "moved pack mm=-180", "weigh 211 389")
	if a, _ = b.poise().Advise(math.NaN()); a.Slide == nil || a.Slide.Unplaced {
		t.Errorf("said where it lies: %+v", a.Slide)
	}
	b = wigeon(t)
	b.do("mass 600", "weigh 180 420", "rework")
	b.must(b.request("moved pack mm=-190")) // in the same minute, as what is typed in later has it
	b.do("weigh 200 400", "moved pack mm=-180")
	if p := b.poise(); len(p.Unknown) > 0 {
		t.Errorf("moved in the minute of the rework: %q", p.Unknown)
	}
}

// What is tried does what fitting it would, by hand: what is on board of its kind makes room.
func TestTryIsAsFitting(t *testing.T) {
	for _, c := range []struct {
		what, do, try, place string
		then, mass           float64 // NaN: not known
		inPlaceOf            string
	}{
		// (600 x 60 + 200 x -120 - 150 x -150)/650 = 53.077
		{"another pack by its title", "", "The pack", "200 g @ -120 mm", 53.077, 650, "pack"},
		{"by its name", "", "pack B", "200 g @ -120 mm", 53.077, 650, "pack"},
		// (600 x 60 + 70 x 100)/670 = 64.179
		{"what may be left off", "", "camera", "70 g @ 100 mm", 64.179, 670, ""},
		{"one more", "", "logger", "70 g @ 100 mm", 64.179, 670, ""},
		// (600 x 60 + 70 x 100 - 9 x 60 + 9 x 60)/670
		{"what was fitted before", "fitted logger zone=nose g=9 mm=60", "logger", "70 g @ 100 mm", 64.179, 670, "logger"},
		{"beside a pack of which nobody says anything", "fitted pack name=B", "logger", "70 g @ 100 mm", math.NaN(), math.NaN(), ""},
		{"in place of that", "fitted pack name=B", "pack", "200 g @ -120 mm", 53.077, 650, "pack B"},
	} {
		t.Run(c.what, func(t *testing.T) {
			b := wigeon(t)
			b.do(strings.Split("mass 600|"+weighed60+"|"+c.do, "|")[:2]...)
			if c.do != "" {
				b.do(c.do)
			}
			mass, arm, _ := strings.Cut(c.place, " @ ")
			thing := journal.EquipmentChanged{Item: c.try, Mass: q(mass), Arm: q(arm)}
			tried, with, err := b.poise().Try([]journal.EquipmentChanged{thing})
			if err != nil {
				t.Fatal(err)
			}
			one, same := tried[0], func(a, b float64) bool { return math.Abs(a-b) < 0.001 || math.IsNaN(a) && math.IsNaN(b) }
			if !same(one.Then, c.then) || !same(one.Total, c.mass) || one.InPlaceOf != c.inPlaceOf || (one.Without != "") != (c.try == "camera") {
				t.Errorf("%+v; by hand %.3f mm, %.0f g in place of %q", one, c.then, c.mass, c.inPlaceOf)
			}
			if _, advised := with.Target(); advised != !math.IsNaN(c.then) {
				t.Errorf("advised: %v", advised)
			}
			change := b.request("fitted " + one.Thing.Item + " zone=nose")
			fit := change.(ChangeEquipment)
			if fit.Name, fit.Mass, fit.Arm = one.Thing.Name, thing.Mass, thing.Arm; c.try != "logger" {
				fit.Zone = ""
			}
			b.must(fit)
			if done := b.poise(); !math.IsNaN(c.then) && !same(done.Now, c.then) || !same(done.Mass, c.mass) {
				t.Errorf("fitted it is %.3f mm, %.0f g", done.Now, done.Mass)
			}
		})
	}
}

// What is advised ends as the record has it once that was done, and as well known: by hand of
// 600 g that nobody weighed, 300 g more at most, at 72 ± 1 mm on the stand. 48 mm of 150 g are
// 12 mm: root of 1² + (12/600 x 300)² + (48/600 x 3)² + twice (150/600 x 1)².
func TestAdviceIsWhatTheRecordSaysAfterIt(t *testing.T) {
	b := wigeon(t, stand)
	b.must(readings("balance", "72 mm"))
	p := b.poise()
	a, _ := p.Advise(math.NaN())
	if s := a.Slide; s == nil || s.By != -48 || s.Then != 60 || math.Abs(s.U-6.098) > 0.001 || s.Verdict != measuring.In {
		t.Fatalf("by %v to %v ± %v, %s", s.By, s.Then, s.U, s.Verdict)
	}
	if got := strings.Join(p.Practice(true), "; "); !strings.HasPrefix(got, "a stated station is good to half of its last digit, and to no less than 1 mm (common") || strings.Contains(got, "tenth") {
		t.Error(got)
	}
	ballast, err := p.Ballast(-50, 60, 1) // 12 x 600/110 = 65.5
	if err != nil || ballast.Mass != 66 {
		t.Fatalf("%+v %v", ballast, err)
	}
	same := func(then, u float64) {
		t.Helper()
		if p := b.poise(); math.Abs(p.Now-then) > 1e-6 || math.Abs(p.NowU-u) > 1e-6 {
			t.Errorf("advised %.3f ± %.3f, and by the record %.3f ± %.3f", then, u, p.Now, p.NowU)
		}
	}
	b.do("moved pack mm=-198")
	same(a.Slide.Then, a.Slide.U)
	b.do("undo", "fitted lead zone=nose g=66 mm=-50")
	same(ballast.Then, ballast.U)
}

// Of a pack that nobody weighed it is asked what it weighs, and no lead is laid in its place.
func TestNoBallastForAPackOfUnknownMass(t *testing.T) {
	b := wigeon(t)
	b.do("mass 600", "fitted pack name=B", "mass 600", "weigh 180 420") // 75 mm
	a, ok := b.poise().Advise(math.NaN())
	if !ok || a.Ballast != nil || a.Refused != nil || a.Slide != nil || a.Lack == nil || a.Lack.Name != "B" || !a.Lack.Mass || a.Lack.Arm {
		t.Fatalf("%v %+v", ok, a)
	}
	b.do("fitted pack name=B g=150") // and that is no change, so the middle is the aim as it was
	if a, ok = b.poise().Advise(math.NaN()); !ok || a.Slide == nil || a.Slide.By != -60 || !a.Slide.Unplaced || a.Ballast != nil {
		t.Errorf("%v %+v %+v %q", ok, a, a.Slide, b.poise().Unknown)
	}
}

// What was entered late counts from when it happened.
func TestPoiseByTime(t *testing.T) {
	for _, c := range []struct {
		what string
		do   func(b weighing)
		now  float64
	}{
		{"weighed before the move", func(b weighing) {
			b.after(30 * time.Minute)
			b.do("moved pack mm=-100")
			b.after(30 * time.Minute)
			b.at(50*time.Minute, b.request(weighed60))
		}, 72.5},
		{"moved before the weighing", func(b weighing) {
			b.after(30 * time.Minute)
			b.do(weighed60)
			b.at(20*time.Minute, b.request("moved pack mm=-100"))
		}, 60},
	} {
		t.Run(c.what, func(t *testing.T) {
			b := wigeon(t)
			b.do("mass 600")
			c.do(b)
			if p := b.poise(); math.Abs(p.Now-c.now) > 0.001 || p.Counts || b.gate("balance").Standing != StaleGate {
				t.Errorf("%.3f, counts %v, gate %s; by hand %.1f", p.Now, p.Counts, b.gate("balance").Standing, c.now)
			}
		})
	}
}

// What is probably mistyped or misread is asked back and kept when somebody is sure, and what
// can't be is refused for good.
func TestWhatIsAskedBack(t *testing.T) {
	for _, c := range []struct {
		before, asked, says string
		sure                bool // and kept
	}{
		{"mass 600", "weigh 384 216", "-10 mm is unlikely: it is far outside its limits, 50 mm to 70 mm; with front and rear crossed it would be 60 mm", true},
		{"mass 600", "weigh 480 120", "-50 mm is unlikely: it is far outside its limits, 50 mm to 70 mm; with front and rear crossed it would be 100 mm", true},
		{"mass 600", "weigh 540 60", "-75 mm is unlikely: it is far outside its limits, 50 mm to 70 mm", true},
		{"mass 600", "weigh 290 310", "", true}, // 29.2 mm, and 20.8 crossed: it hangs by its nose
		{"mass 600", "weigh 0 600", "nothing lies on front: it shows no more than without the aircraft", false},
		{"mass 600", "weigh 600 0", "nothing lies on rear", false},
		// The battery is moved in a rework, and that adds nothing; 633 g are within the limits.
		{"mass 600|weigh 180 420|rework", "weigh 230 403", "the scales add up to 633 g, and the all-up-mass is 597 to 603 g:", false},
		{"mass 600|fitted logger zone=nose g=100 mm=310", "weigh 216 384", "the scales add up to 600 g, and the all-up-mass is 696 to 704 g by the record of what was fitted and removed since it was weighed", false},
		// 950 g are over the limit of 900 g, and what the record comes to.
		{"mass 600|fitted logger zone=nose g=350 mm=60", "weigh 342 608", "", true},
		{"fitted logger zone=nose g=350 mm=60", "weigh 342 608", "", true},
		{"mass 600|fitted logger zone=nose g=350 mm=60|crash", "weigh 342 608", "", true},
		{"crash", "weigh 342 608", "the all-up-mass is 500 to 900 g by its limits", false},
		// The wing reaches from 0 to 200 mm; where the nose is nobody says.
		{"", "fitted logger zone=wing g=9 mm=-100", "its middle at -100 mm is not at the wing, which reaches from 0 to 200 mm", true},
		{"", "fitted logger zone=wing g=9 mm=-40", "", true},
		{"", "fitted logger zone=nose g=9 mm=-250", "", true},
		{"fitted logger zone=wing g=9 mm=40", "moved logger mm=-100", "not at the wing", true},
		{"", "fitted logger zone=nose g=901", "901 g is more than the whole aircraft may weigh, 900 g (all-up-mass)", true},
		{"", "fitted pack g=1760", "1760 g is more than the whole aircraft may weigh", true},
		{"", "fitted pack g=899", "", true},
	} {
		b := wigeon(t)
		for _, one := range strings.FieldsFunc(c.before, func(r rune) bool { return r == '|' }) {
			if one == "crash" {
				table := &steps.Triage{Findings: []steps.Finding{{Name: "chipped", Title: "Chipped", Zones: []string{"tail"}}}}
				b.must(ReportDamage{Triage: table, Seen: []Sighting{{Finding: "chipped", Zone: "tail", Severity: steps.Slight}}})
				continue
			}
			b.do(one)
		}
		b.after(time.Minute)
		r := b.request(c.asked)
		if c.says != "" {
			mustContain(t, b.refused(r, ByReading), c.says)
		}
		switch sure := r.(type) {
		case Measure:
			sure.Sure = c.says != ""
			r = sure
		case ChangeEquipment:
			sure.Sure = c.says != ""
			r = sure
		}
		if err := b.try(r); (err == nil) != c.sure {
			t.Errorf("%s, %s: kept %v, want %v", c.before, c.asked, err, c.sure)
		}
	}
	b := wigeon(t) // each below the limit, and together beyond twice of it: 600 + 899 + 500 - 900
	b.do("mass 600", weighed60, "fitted lead zone=nose g=899 mm=60", "fitted logger zone=nose g=500 mm=60")
	if o, over := b.poise().Over(); !over || o.By != 1099 {
		t.Errorf("too heavy: %v %+v", over, o)
	}
	heavy := []journal.EquipmentChanged{{Item: "lead", Mass: q("901 g"), Arm: q("60 mm")}}
	if _, _, err := b.poise().Try(heavy); err == nil || !strings.Contains(err.Error(), "901 g of lead is more than the whole aircraft may weigh, 900 g") {
		t.Errorf("tried: %v", err)
	}
	b = wigeon(t, func(s *steps.Sheet) { s.Gates = s.Gates[:1] }) // no mass is limited: 600 g are by the parts
	mustContain(t, b.refused(b.request("fitted logger zone=nose g=601"), ByReading), "601 g is more than the whole aircraft weighs by its parts, 600 g")
}

// Scales that do not add up, whichever is read first, pass nothing.
func TestScalesAgainstTheMass(t *testing.T) {
	b := wigeon(t)
	b.do("mass 600", weighed60)
	mustContain(t, b.refused(b.request("rear 430"), ByReading), "add up to 646 g", "597 to 603 g")
	var refusal *Refusal // unlikely as well: nothing is asked whose yes would be refused
	if err := b.try(b.request("rear 4300")); !errors.As(err, &refusal) || refusal.Doubted() || !strings.Contains(refusal.Error(), "add up to 4516 g") {
		t.Errorf("4300 g at the rear: %v", err)
	}
	b = wigeon(t)
	b.do(weighed60, "mass 700")
	if g := b.gate("balance"); g.Standing == Current || b.poise().Verdict() == measuring.In {
		t.Errorf("216 g and 384 g of 700 g: %s, %s", g.Standing, b.poise().Verdict())
	}
	b = wigeon(t)
	b.do(weighed60, "level 400 400")
	if one, other := b.gate("balance").Standing, b.gate("lateral").Standing; one == Current && other == Current {
		t.Error("600 g and 800 g of one aircraft, and both count")
	}
	for _, c := range []struct{ before, after, says string }{ // the scale is good to 3 g, and two readings of it to 4.2 g
		{"mass 600", "mass 604", ""},
		{"mass 600", "mass 605", "the mass is 5 g more than when it was balanced"},
		{"mass 600", "mass 575", "the mass is 25 g less than when it was balanced"},
		{"mass 570|mass 600", "mass 603|mass 602", ""},
		{"mass 600", "mass 625|mass 601", ""},
		{"", "mass 600|mass 603", ""},
		{"", "mass 600|mass 625", "25 g more"},
	} {
		b = wigeon(t, stand)
		do := func(text string) {
			for _, one := range strings.FieldsFunc(text, func(r rune) bool { return r == '|' }) {
				b.do(one)
			}
		}
		do(c.before)
		b.must(readings("balance", "60 mm"))
		do(c.after)
		g, p := b.gate("balance"), b.poise()
		if doubt := strings.Join(p.Unknown, ", "); g.Reason.Text != c.says && !(c.says != "" && strings.Contains(g.Reason.Text, c.says)) ||
			(g.Standing == Current) != (c.says == "") || p.Counts != (c.says == "") || !strings.Contains(doubt, c.says) {
			t.Errorf("%s, balanced, %s: %s %s, %q", c.before, c.after, g.Standing, g.Reason.Text, doubt)
		}
		b.after(time.Minute)
		if b.must(readings("balance", "60 mm")); b.gate("balance").Standing != Current || !b.poise().Counts {
			t.Errorf("%s, balanced, %s and balanced again: %s", c.before, c.after, b.gate("balance").Reason.Text)
		}
	}
	b = wigeon(t, stand) // with 100 g more on record, and 130 g more on the scale
	b.do("mass 600")
	b.must(readings("balance", "60 mm"))
	b.do("fitted logger zone=nose g=100 mm=310", "mass 730")
	mustContain(t, strings.Join(b.poise().Unknown, ", "), "the mass is 30 g more than when it was balanced")
	b = wigeon(t, func(s *steps.Sheet) { s.Gates = s.Gates[:1] })
	mustContain(t, b.refused(b.request("weigh 1450 5000"), ByReading), "6450 g", "600 g")
}

// The intervals, by hand: 1.172 mm of the weighing, 3 g of the sheet's scale and 1 mm of a
// station.
func TestPoiseUncertainty(t *testing.T) {
	for _, c := range []struct {
		mass, x       string
		then, u       float64
		verdict       measuring.Verdict
		withoutChange float64
	}{
		// root of (600/642 x 1.172)² + ((310 - 76.36)/642 x 3)² + (42/642 x 1)², and of 2.83 g
		// of the weighing 16.36/642 each.
		{"42 g", "310 mm", 76.355, 1.549, measuring.Out, 1.172},
		{"9 g", "600 mm", 67.980, 2.862, measuring.Undecided, 1.172},
	} {
		b := wigeon(t)
		b.do("mass 600", weighed60)
		p := b.poise()
		if math.Abs(p.NowU-c.withoutChange) > 0.001 {
			t.Errorf("the weighing is good to %.3f mm, by hand %.3f", p.NowU, c.withoutChange)
		}
		tried, _, err := p.Try([]journal.EquipmentChanged{{Item: "it", Mass: q(c.mass), Arm: q(c.x)}})
		if err != nil {
			t.Fatal(err)
		}
		b.must(ChangeEquipment{Item: "it", Zone: "nose", Change: Fitted, Mass: q(c.mass), Arm: q(c.x)})
		done := b.poise()
		for what, got := range map[string][2]float64{"tried": {tried[0].Then, tried[0].U}, "done": {done.Now, done.NowU}} {
			if math.Abs(got[0]-c.then) > 0.001 || math.Abs(got[1]-c.u) > 0.01 {
				t.Errorf("%s at %s %s: %.3f ± %.3f, by hand %.3f ± %.3f", c.mass, c.x, what, got[0], got[1], c.then, c.u)
			}
		}
		if tried[0].Verdict != c.verdict || done.Verdict() != c.verdict {
			t.Errorf("%s at %s is %s tried and %s done, want %s", c.mass, c.x, tried[0].Verdict, done.Verdict(), c.verdict)
		}
	}
}

// What the parts table does not have, and a part that was lost, leave it open.
func TestPoiseOfWhatNobodyWeighed(t *testing.T) {
	without := func(items ...string) func(*steps.Sheet) {
		return func(s *steps.Sheet) {
			s.Geometry.Parts = slices.DeleteFunc(s.Geometry.Parts, func(c steps.Component) bool { return slices.Contains(items, c.Name) })
		}
	}
	open := func(b weighing, doubt string) {
		t.Helper()
		p := b.poise()
		doubts := strings.Join(append(p.Unknown, p.Assumed...), "; ")
		if p.Verdict() != measuring.Undecided || !strings.Contains(doubts, doubt) {
			t.Errorf("%s; left open: %q, want %q", p.Verdict(), doubts, doubt)
		}
	}
	b := wigeon(t, without("camera"))
	b.do("mass 600", weighed60, "removed camera")
	open(b, "where the camera lay")
	b.do("fitted camera name=X g=80")
	open(b, "where the camera X lies")
	b.do("moved camera mm=-100")
	open(b, "camera")

	b = wigeon(t, without("airframe", "pack", "camera"))
	b.do("mass 600", "weigh 235 365", "removed pack") // (365 x 150 - 235 x 100)/600 = 52.08
	open(b, "where the pack lay")
	if p := b.poise(); math.Abs(p.Station-52.0833) > 0.001 {
		t.Errorf("weighed at %.3f, by hand 52.083", p.Station)
	}

	b = wigeon(t)
	b.do("mass 600", weighed60)
	table := &steps.Triage{Findings: []steps.Finding{{Name: "lost", Title: "Lost", Zones: []string{"nose"}}}}
	b.must(ReportDamage{Triage: table, Seen: []Sighting{{Finding: "lost", Zone: "nose", Severity: steps.Total}}})
	open(b, "nothing was lost or added by damage D1, lost")
}

// A choice that brings a part makes all that weighs stale, ends the release and leaves open
// what it weighs; so does taking it back. One that brings none does not.
func TestAChoiceBringsParts(t *testing.T) {
	for _, brings := range []bool{true, false} {
		b := wigeon(t, func(s *steps.Sheet) {
			if brings {
				s.Geometry.Parts = append(s.Geometry.Parts, steps.Component{Name: "floats", Title: "The floats", Mass: q("80 g"), X: q("250 mm"), Where: steps.Where{With: [][]string{{"floats"}}}})
			}
		})
		b.do("mass 600", weighed60, "level 300 300")
		b.must(GiveRelease{})
		b.after(time.Minute)
		b.must(Start{Procedure: b.docs.Procedures[repairSum], Digest: repairSum, Sheet: b.state.Sheet, SheetDigest: wigeonSum}, Choose{Answer: "floats"})
		standing := func(when string, released bool) {
			t.Helper()
			p := b.poise()
			for _, name := range []string{"balance", "all-up-mass", "lateral"} {
				if g := b.gate(name); (g.Standing == StaleGate) != brings {
					t.Errorf("brings parts %v, %s: gate %s is %s", brings, when, name, g.Says().Text)
				}
			}
			if b.state.Airworthiness(b.now).Released != released || (p.Verdict() == measuring.In) == brings || math.Abs(p.Station-60) > 0.001 {
				t.Errorf("brings parts %v, %s: released %v, %s at %.1f, open: %v", brings, when, b.state.Airworthiness(b.now).Released, p.Verdict(), p.Station, p.Unknown)
			}
		}
		standing("chosen", !brings)
		b.must(Undo{Position: b.state.Size() - 1, Reason: "a slip"})
		standing("taken back", false) // its job is open again
	}
}

// Weights on a tip level it; which tip that was is not on record, and the parts table does
// not speak beside them, not even once they no longer count.
func TestLaidOnATip(t *testing.T) {
	b := wigeon(t, func(s *steps.Sheet) {
		s.Geometry.Parts[2].Y = q("120 mm")
		s.Gates[2].Points, s.Gates[2].Result, s.Gates[2].Limits = nil, measuring.Result{}, measuring.Limits{High: q("4 g")}
	})
	if side, ok := b.state.Sideways(b.now); !ok || side.Gate != "" {
		t.Errorf("before: %+v", side)
	}
	b.must(readings("lateral", "9 g"))
	for _, counts := range []bool{true, false} {
		card, err := b.state.Card(b.now, q("0 m"), q("15 °C"))
		if side := card.Sideways; err != nil || side.Gate != "lateral" || !side.Laid || side.Mass != 9 || side.Counts != counts || side.Standing == "" {
			t.Errorf("counts %v: %+v %v", counts, side, err)
		}
		b.do("moved pack mm=-100")
	}
}

// Grams at a tip are those of the weighing, not of the parts table: 600 g at 20 mm right
// of the centre line are levelled by 24 g at the left tip, 500 mm out.
func TestSideways(t *testing.T) {
	b := wigeon(t, func(s *steps.Sheet) { s.Geometry.Parts[2].Y = q("120 mm") })
	if side, ok := b.state.Sideways(b.now); !ok || side.Gate != "" || !side.Left || math.Abs(side.Mass-12) > 0.001 { // 50 x 120/500
		t.Errorf("by the parts: %+v", side)
	}
	b.do("level 280 320")
	if side, _ := b.state.Sideways(b.now); side.Gate != "lateral" || !side.Left || math.Abs(side.Mass-24) > 0.001 || math.Abs(side.Y-20) > 0.001 || !(side.MassU > 1) {
		t.Errorf("by the scales: %+v", side)
	}
	b.do("moved pack mm=-100")
	if side, _ := b.state.Sideways(b.now); side.Counts || side.Mass != 0 || side.Why.Text == "" {
		t.Errorf("after a move: %+v", side)
	}
}
