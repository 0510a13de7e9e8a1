package workflow

import (
	"errors"
	"math"
	"strconv"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fettle/steps"
	"fettle/steps/quantity"
)

// A thing of the model has its true mass and station, which nobody knows.
type modelThing struct {
	name    string
	mass, x float64
	own     bool // it is the sheet's
	moved   bool // from where the sheet has it
}

// A model is an airframe as it really is, and what of it is not on record yet.
type model struct {
	weighing
	base    *modelThing
	aboard  map[string]*modelThing
	bodies  map[string][]*modelThing
	changed map[string]bool
	weighed bool
	late    map[string]struct { // what happened and is not entered, by what it is about
		at time.Time
		r  Request
	}
	slips   []int64 // entries of what never happened
	untold  bool    // something was refused that happened
	checked *[2]int // how often the balance was sure, and how often of that after a change
}

// How far off what is said and read may be. Of at most 16 things that are each off by a
// quarter of their uncertainty, the sum is within the root of the sum of the squares.
const (
	massOff    = 0.75 // of the scale's 3 g
	stationOff = 0.25 // of 1 mm
)

// sum is the true mass and where it really balances.
func (m *model) sum() (mass, x float64) {
	mass, x = m.base.mass, m.base.mass*m.base.x
	for _, thing := range m.aboard {
		if thing != nil {
			mass, x = mass+thing.mass, x+thing.mass*thing.x
		}
	}
	return mass, x / mass
}

// Whatever is weighed, fitted, moved, removed and taken back, in whatever order it is
// entered: what the record computes lies within the interval that it says of what is
// really there, or it says that something is not known or taken for granted.
func TestRandomWeighings(t *testing.T) {
	t.Parallel()
	start := wigeon(t, stand)
	var checked [2]int
	round := func(t *rapid.T) {
		m := &model{weighing: weighing{&bench{t: start.t, now: start.now, state: start.state, by: start.by, docs: start.docs}}, checked: &checked,
			aboard: map[string]*modelThing{}, bodies: map[string][]*modelThing{}, changed: map[string]bool{}, late: map[string]struct {
				at time.Time
				r  Request
			}{}}
		off := func(by float64) float64 { return rapid.Float64Range(-by, by).Draw(t, "off") }
		m.base = &modelThing{mass: 400 + off(20), x: 150 + off(30)}
		pack, camera := &modelThing{mass: 150 + off(massOff), x: -150 + off(stationOff), own: true}, &modelThing{mass: 50 + off(massOff), x: 10 + off(stationOff), own: true}
		m.bodies["pack"], m.bodies["camera"], m.aboard["pack"] = []*modelThing{pack}, []*modelThing{camera}, pack
		if rapid.Bool().Draw(t, "with the camera") {
			m.aboard["camera"] = camera
		}
		for range rapid.IntRange(2, 14).Draw(t, "length") {
			m.after(time.Duration(rapid.IntRange(1, 30).Draw(t, "minutes")) * time.Minute)
			m.act(t)
			m.check(t)
		}
		m.settle()
		m.check(t)
		for _, what := range []string{"weigh", "move", "fit", "remove"} { // and whatever came before, weighed and changed
			m.after(time.Minute)
			if what == "weigh" {
				m.read(t, what, "")
			} else {
				m.change(t, what, rapid.SampledFrom([]string{"pack", "logger"}).Draw(t, "item"))
			}
			m.settle()
			m.check(t)
		}
	}
	often(t, round)
	for range 3 { // where few of them were drawn
		if checked[1] < 8 {
			often(t, round)
		}
	}
	if checked[1] < 8 {
		t.Errorf("the balance was sure %d times, and %d times after a change", checked[0], checked[1])
	}
}

// settle enters what is not on record yet, and takes back what never happened.
func (m *model) settle() {
	for about, l := range m.late {
		m.enter(l.r, l.at)
		delete(m.late, about)
	}
	for _, p := range m.slips {
		if err := m.try(Undo{Position: p, Reason: "a slip"}); err != nil {
			m.untold = true
		}
	}
	m.slips = nil
}

func (m *model) enter(r Request, at time.Time) {
	if err := m.tryAt(r, at); err != nil {
		m.untold = true
	}
}

// record enters it now, or later.
func (m *model) record(t *rapid.T, about string, r Request) {
	if _, waits := m.late[about]; !waits && rapid.IntRange(0, 5).Draw(t, "later") == 0 {
		m.late[about] = struct {
			at time.Time
			r  Request
		}{m.now, r}
		return
	}
	m.enter(r, time.Time{})
}

func (m *model) act(t *rapid.T) {
	pick := func(what string, of ...string) string { return rapid.SampledFrom(of).Draw(t, what) }
	switch what := pick("what", "weigh", "weigh", "weigh", "half", "stand", "stand", "mass", "fit", "fit", "fit", "move", "move", "move", "remove", "remove", "slip", "settle", "settle", "crash"); what {
	case "settle":
		m.settle()
	case "slip": // it is entered, and never happened
		item := pick("item", "pack", "camera")
		slip := ChangeEquipment{Item: item, Change: pick("change", Fitted, Removed, Moved), Arm: q(pick("arm", "-180 mm", "200 mm"))}
		if _, waits := m.late[item]; waits {
			return
		}
		if m.try(slip) == nil {
			m.slips = append(m.slips, m.state.Size()-1)
		}
	case "crash": // and something broke off
		table := &steps.Triage{Findings: []steps.Finding{{Name: "chipped", Title: "Chipped", Zones: []string{"tail"}}}}
		if m.try(ReportDamage{Triage: table, Seen: []Sighting{{Finding: "chipped", Zone: "tail", Severity: steps.Slight}}}) == nil {
			m.base.mass -= 5
			m.base.x -= 3
		}
	case "weigh", "half", "stand", "mass":
		m.read(t, what, pick("scale", "front", "rear"))
	default:
		item := pick("item", "pack", "camera", "logger")
		if _, waits := m.late[item]; !waits {
			m.change(t, what, item)
		}
	}
}

// read weighs it, or a half of it.
func (m *model) read(t *rapid.T, what, scale string) {
	mass, x := m.sum()
	if x < -90 || x > 140 || mass < 505 || mass > 895 {
		return // the scales could not carry it so, or the sheet not be its own
	}
	m.weighed = true
	rear := mass * (x + 100) / 250
	gram := func(point string, g float64) Reading { return Reading{point, asQuantity(math.Round(g), "g")} }
	r := Measure{Gate: "balance", Sure: true}
	switch all := map[string]Reading{"front": gram("front", mass-rear), "rear": gram("rear", rear)}; what {
	case "weigh":
		r.Readings = []Reading{all["front"], all["rear"]}
	case "half":
		r.Readings = []Reading{all[scale]}
	case "stand":
		r.Gauge, r.Readings = "stand", []Reading{{"", asQuantity(math.Round(x*5)/5, "mm")}}
	case "mass":
		r.Gate, r.Readings = "all-up-mass", []Reading{gram("", mass)}
	}
	if rapid.IntRange(0, 5).Draw(t, "later") == 0 {
		if _, waits := m.late["a reading"]; !waits {
			m.record(t, "a reading", r)
			return
		}
	}
	_ = m.try(r) // a reading that is refused says nothing
}

// change fits, moves or removes a thing, and says of it what it likes.
func (m *model) change(t *rapid.T, what, item string) {
	says := func(what string) bool { return rapid.Bool().Draw(t, what) }
	place := float64(rapid.IntRange(-180, 200).Draw(t, "place"))
	is := m.aboard[item]
	r := ChangeEquipment{Item: item}
	mass, arm := says("mass"), rapid.IntRange(0, 3).Draw(t, "arm") > 0
	lie := func(thing *modelThing) {
		if arm {
			r.Arm, thing.moved = asQuantity(place, "mm"), true
		}
		thing.x = place + rapid.Float64Range(-stationOff, stationOff).Draw(t, "off")
	}
	switch {
	case what != "fit" && is == nil:
		return
	case what == "remove":
		r.Change, m.aboard[item] = Removed, nil
	case what == "move":
		r.Change = Moved
		lie(is)
		is.moved = true
	default:
		r.Change = Fitted
		r.Name = rapid.SampledFrom([]string{"", "A", "B"}).Draw(t, "name")
		thing := m.which(item, r.Name, mass)
		if thing == nil {
			thing = &modelThing{name: r.Name, mass: float64(rapid.IntRange(10, 60).Draw(t, "grams"))}
			if item == "pack" {
				thing.mass += 120
			}
			thing.mass += rapid.Float64Range(-massOff, massOff).Draw(t, "off")
			m.bodies[item] = append(m.bodies[item], thing)
		}
		switch {
		case arm:
			lie(thing)
		case thing == is && mass: // it stays where it is
		case thing.own && !thing.moved: // where the sheet has it
			thing.x = map[string]float64{"pack": -150, "camera": 10}[item] + rapid.Float64Range(-stationOff, stationOff).Draw(t, "off")
		default:
			lie(thing)
		}
		if item == "logger" && !m.changed[item] {
			r.Zone, mass = "nose", true
		}
		is, m.aboard[item] = thing, thing
	}
	if mass {
		r.Mass = asQuantity(math.Round(is.mass), "g")
	}
	m.changed[item] = true
	m.record(t, item, r)
}

// which is the thing that is fitted, as whoever enters it means it; nil: a new one.
func (m *model) which(item, name string, mass bool) *modelThing {
	bodies := m.bodies[item]
	for _, b := range bodies {
		if name != "" && b.name == name {
			return b
		}
	}
	if first := !m.changed[item] && len(bodies) > 0; first && (!m.weighed || name == "" && (!mass || item == "camera")) {
		bodies[0].name = name
		return bodies[0]
	}
	if name == "" && !mass && len(bodies) == 1 {
		return bodies[0]
	}
	return nil
}

func (m *model) check(t *rapid.T) {
	if m.untold || len(m.late)+len(m.slips) > 0 {
		return // the record is not what happened
	}
	mass, x := m.sum()
	g, err := m.state.GateReport("balance", m.now)
	if err != nil {
		t.Fatal(err)
	}
	if g.Standing == Current && (x < 50 || x > 70) {
		t.Fatalf("gate balance is passed, and it balances at %.2f mm", x)
	}
	p, err := m.state.Poise(m.now)
	if err != nil {
		if errors.Is(err, ErrUnbalanced) {
			t.Fatal(err)
		}
		return
	}
	if !p.Weighed || !p.Sure() || math.IsNaN(p.NowU) {
		return
	}
	m.checked[0]++
	if len(p.changes) > 0 {
		m.checked[1]++
	}
	if !(math.Abs(p.Now-x) <= p.NowU+0.05) {
		t.Fatalf("it balances at %.2f mm, and the record has it at %.2f ± %.2f mm (%s)", x, p.Now, p.NowU, p.Verdict())
	}
	if !p.MassBy.Worked && len(p.MassBy.Unknown) == 0 && !(math.Abs(p.Mass-mass) <= p.MassU+0.1) {
		t.Fatalf("it weighs %.2f g, and the record has %.2f ± %.2f g: %+v", mass, p.Mass, p.MassU, p.MassBy)
	}
}

func asQuantity(v float64, unit string) quantity.Quantity {
	return q(strconv.FormatFloat(v, 'f', -1, 64) + " " + unit)
}
