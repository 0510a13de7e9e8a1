package workflow

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/balance"
	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/planform"
	"fettle/steps/quantity"
	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// Tried is where it would balance with something else on board.
type Tried struct {
	Thing         Thing
	InPlaceOf     string // what is on board now; "": it is one more
	Without       string // what it is taken for granted is not on board, though it may be; "": nothing
	Mass, Station float64
	Then, U       float64 // with it and all that were tried before it; NaN: not known
	Total         float64 // what it weighs then; NaN: not known
	Verdict       measuring.Verdict
}

// Try is where it would balance with things that are not fitted yet: as it is computed once
// they are, so what is on board of their kind makes room for them.
func (p *Poise) Try(things []journal.EquipmentChanged) (tried []Tried, with *Poise, err error) {
	s := *p.state
	s.memo, with = &memo{}, p
	latest := s.whole().at.Add(-time.Nanosecond)
	without := map[string]string{} // who tries what may be left off knows that none is on board
	for i, f := range things {
		if err := p.state.onBoard(in(f.Arm, "mm"), beside, f.Item); err != nil {
			return nil, p, err
		}
		if most, says := p.state.heaviestThing(); float(f.Mass.Rat("g")) > most {
			return nil, p, &Impossible{fmt.Sprintf("%s of %s is more than the whole aircraft %s", f.Mass, f.Item, says)}
		}
		t := p.thing(f.Item)
		c := change{position: s.Size() + int64(i), at: latest, EquipmentChanged: journal.EquipmentChanged{Item: t.Item, Name: t.Name, Change: Fitted, Mass: f.Mass, Arm: f.Arm}}
		s.changes = append(slices.Clone(s.changes), c)
		if with, err = s.Poise(p.at); err != nil {
			return nil, p, err
		}
		with.Counts = false
		one := Tried{Thing: t, InPlaceOf: s.Replaced(c.position), Mass: float(f.Mass.Rat("g")), Station: float(f.Arm.Rat("mm"))}
		if words := notThen(t.Item); lists.Contains(with.Assumed, words) && !lists.Contains(p.Assumed, words) && without[words] == "" {
			without[words], one.Without = t.Item, t.Item
		}
		with.Assumed = sorting.Delete(with.Assumed, func(words string) bool { return without[words] != "" })
		if one.Then, one.U, one.Total = with.Now, with.NowU, with.Mass; len(with.Unknown) > 0 {
			one.Then = math.NaN()
		}
		one.Verdict = with.verdict(with.Now)
		tried = append(tried, one)
	}
	return tried, with, nil
}

// thing is what a thing to be tried is called in the record: by the name of equipment, with
// its own name behind it, or by a title of the sheet; else it is something else.
func (p *Poise) thing(name string) Thing {
	for _, part := range p.parts {
		item := part.Item
		if item == "" {
			continue
		}
		titled := slices.ContainsFunc(p.state.Sheet.Equipment, func(e steps.Equipment) bool { return e.Name == item && strings.EqualFold(e.Title, name) })
		if titled || strings.EqualFold(part.Title, name) {
			return Thing{Item: item}
		}
	}
	for _, e := range p.state.Sheet.Equipment {
		if own, ok := strings.CutPrefix(name, e.Name); ok && (own == "" || own[0] == ' ') {
			return Thing{e.Name, strings.TrimSpace(own)}
		}
	}
	return Thing{Item: name}
}

// after is where it would balance after one change more, and how well that is known: as it
// is computed once it was made. What it weighs and what is said of that stay.
func (p *Poise) after(c balance.Change) *Poise {
	then := *p
	then.changes = append(slices.Clone(p.changes), c)
	then.now = p.weighing.After(then.changes...)
	then.Now = float(then.now.Station())
	if len(p.Unknown) == 0 {
		then.NowU, _ = p.weighing.Uncertainty(then.changes...)
	}
	return &then
}

// beside is how far off the airframe the middle of a thing may lie that is fitted to it, in
// mm (common practice, no source).
const beside = 50

// onBoard says why nothing lies at a station: the airframe does not reach so far, nor so
// far off. Without bodies the sheet does not say how far that is.
func (s *State) onBoard(x *big.Rat, off float64, what string) error {
	of, known := planform.ExtentOf(s.Sheet.Geometry, s.selected, false)
	if at := float(x, nil); known && len(s.Sheet.Geometry.Bodies) > 0 && !of.Has(at, off) {
		return &Impossible{fmt.Sprintf("%s at %.0f mm is not on the aircraft, which reaches from %.0f to %.0f mm", what, at, of.Front, of.Rear)}
	}
	return nil
}

// mistyped says why the mass of a thing or its place in a zone, that somebody named, is
// probably mistyped; "": neither is.
func (s *State) mistyped(item, zone string, mass, arm quantity.Quantity) string {
	if most, says := s.heaviestThing(); float(mass.Rat("g")) > most {
		return fmt.Sprintf("%s is more than the whole aircraft %s", mass, says)
	}
	x, travel := in(arm, "mm"), s.Sheet.Geometry.Battery
	if x == nil {
		return ""
	}
	if err := s.onBoard(x, beside, "its middle"); err != nil {
		return err.Error()
	}
	if of, known := s.extentOf(zone); known && !of.Has(float(x, nil), beside) {
		return fmt.Sprintf("its middle at %s is not at the %s, which reaches from %.0f to %.0f mm", arm, zone, of.Front, of.Rear)
	}
	battery := slices.ContainsFunc(s.Sheet.Geometry.Parts, func(part steps.Component) bool { return part.Name == travel.Part && part.Equipment == item })
	if battery && (arm.Cmp(travel.From) < 0 || arm.Cmp(travel.To) > 0) {
		return fmt.Sprintf("its middle at %s is outside its travel of %s to %s", arm, travel.From, travel.To)
	}
	return ""
}

// heaviestThing is more than one thing on board weighs, in g, and what of the whole that is.
func (s *State) heaviestThing() (most float64, says string) {
	if g, ok := s.massGate(); ok && !g.Limits.High.IsZero() {
		return float(g.Limits.High.Rat("g")), "may weigh, " + g.Limits.High.String() + " (" + g.Name + ")"
	}
	if parts := s.partsMass(); parts > 0 {
		return parts, "weighs by its parts, " + gramsOf(parts)
	}
	return math.Inf(1), ""
}

// extentOf is from where to where a zone reaches, by its bodies and surfaces; false: nothing
// says.
func (s *State) extentOf(zone string) (planform.Extent, bool) {
	var g steps.Geometry
	for _, b := range s.Sheet.Geometry.Bodies {
		if b.Zone == zone {
			g.Bodies = append(g.Bodies, b)
		}
	}
	for _, surface := range s.Sheet.Geometry.Surfaces {
		if surface.Zone == zone {
			g.Surfaces = append(g.Surfaces, surface)
		}
	}
	return planform.ExtentOf(g, s.selected, false)
}

// Impossible is why what is asked can't be.
type Impossible struct{ Why string }

func (e *Impossible) Error() string { return e.Why }

// An Advice is what would bring the balance where it should be.
type Advice struct {
	Target  float64
	Near    bool     // it balances there, as far as it can be told
	Waits   bool     // nothing is advised before it is weighed as it is: nothing was, or it is computed inside the limits
	Slide   *Slide   // nil: the sheet says nothing of the battery's travel
	Ballast *Ballast // nil: none is needed or none would do
	Off     *Off     // what may be taken off instead of ballast; nil: nothing
	Rest    bool     // ballast is for the rest, with the battery moved
	Refused error    // why no ballast would do
	Lack    *Lack    // what nobody said of the battery, so that nobody knows how far it has to move
}

// Advise says what would bring the balance where it should be: the battery first, and what
// is missing at the end of its travel as ballast, at a station, NaN where the least does;
// false: nothing can be said.
func (p *Poise) Advise(at float64) (Advice, bool) {
	target, ok := p.Target()
	if !ok {
		return Advice{}, false
	}
	a := Advice{Target: target, Near: p.near(target)}
	from := p
	if a.Waits = !p.Weighed || p.Doubtful() && p.stands() == decided; a.Waits && math.IsNaN(at) {
		return a, true
	}
	a.Waits = false
	if slide, ok := p.Slide(target); ok && p.Weighed {
		a.Slide = &slide
		if slide.Short {
			from, a.Rest = slide.then, slide.By != 0
		}
	}
	settled := a.Near || a.Slide != nil && !a.Slide.Short || p.stands() == decided
	var ballast Ballast
	switch given := !math.IsNaN(at); {
	case given && a.Near:
		a.Rest, a.Refused = false, p.state.onBoard(ratOfFloat(at), 0, "ballast")
		return a, true
	case !given && settled:
		a.Rest = false
		return a, true
	case !given && a.Slide == nil && p.packLacks() != nil: // it is moved first, and never lead for it
		a.Lack = p.packLacks()
		return a, true
	case given:
		ballast, a.Refused = from.Ballast(at, target, p.Step())
	default:
		ballast, a.Refused = from.Least(target)
	}
	if a.Refused == nil {
		a.Ballast = &ballast
	}
	if off, ok := from.off(target); ok && math.IsNaN(at) {
		a.Off = &off
	}
	return a, true
}

// An Off is what may be taken off that was fitted and the sheet does not list, if it is ballast.
type Off struct {
	Thing Thing
	Ballast
}

// off is what of that would do, in whole steps of the scale. Nobody knows what it is, so it is
// for who does to say.
func (p *Poise) off(target float64) (Off, bool) {
	for _, part := range p.parts {
		if part.Item == "" || p.state.listed(part.Item) || !part.known() || !(p.Mass > 0) {
			continue
		}
		at, step := float(part.Load.X, nil), p.Step()
		grams := math.Round(p.Mass*(p.Now-target)/(at-target)/step) * step
		if !(grams > 0) || grams > float(part.Load.Mass, nil) {
			continue
		}
		m := ratOfFloat(grams)
		then := p.after(balance.Change{Mass: m, U: p.state.statedU(m), From: &balance.Place{X: part.Load.X, U: part.UX}})
		if p.better(then, target) && then.stands() != outside {
			return Off{Thing{part.Item, part.Name}, Ballast{grams, at, then.Now, then.NowU, then.ends()}}, true
		}
	}
	return Off{}, false
}

// How good a station is.
const (
	outside = iota
	inside  // of the limits, and not by its uncertainty
	decided
)

// rank is how good a station is that is known to u. That of the parts table, of which nobody
// knows how good it is, is taken as it stands.
func (p *Poise) rank(x, u float64) int {
	if math.IsNaN(u) {
		u = 0
	}
	switch {
	case x-u >= p.Low && x+u <= p.High:
		return decided
	case x >= p.Low && x <= p.High:
		return inside
	}
	return outside
}

// stands is how good its station is.
//
//go:noinline
func (p *Poise) stands() int { return p.rank(p.Now, p.NowU) }

// ends is how good its station is, as the end of what is advised.
//
//go:noinline
func (p *Poise) ends() measuring.Verdict {
	return []measuring.Verdict{measuring.Out, measuring.Undecided, measuring.In}[p.stands()]
}

// better reports whether it would balance better after a change than now.
func (p *Poise) better(then *Poise, target float64) bool {
	return math.Abs(then.Now-target) < math.Abs(p.Now-target)-1e-9 && then.stands() >= p.stands()
}

// near reports whether it balances at the target, as far as it can be told: nothing is moved
// for less than the uncertainty, or half a millimetre.
func (p *Poise) near(target float64) bool {
	fine := p.NowU
	if math.IsNaN(fine) {
		fine = 0.5
	}
	if p.stands() < p.rank(target, p.NowU) {
		return false
	}
	one := math.IsInf(p.Low, 0) || math.IsInf(p.High, 0)
	return one || math.Abs(p.Now-target) <= fine
}

// Target is where it should balance, if it is known where it does: in the middle of the
// limits or, in doubt, half the way from there to the forward one, since an aircraft that is
// nose-heavy can be flown. Of one limit it is clear by twice what the balance is good to.
func (p *Poise) Target() (float64, bool) {
	clear := 2.
	if p.NowU > 1 {
		clear = 2 * p.NowU
	}
	middle := (p.Low + p.High) / 2
	switch none := math.IsInf(p.Low, 0); {
	case !p.Sure(), none && math.IsInf(p.High, 0):
		return 0, false
	case none:
		return p.High - clear, true
	case math.IsInf(p.High, 0):
		return p.Low + clear, true
	case p.Doubtful():
		return (p.Low + middle) / 2, true
	}
	return middle, true
}

// A Slide is where the battery has to lie.
type Slide struct {
	Title, Item string
	Unplaced    bool    // nobody says where it lies, so only how far it goes is known
	By          float64 // how far aft, in mm
	Front, Rear float64 // the stations between which it lies then
	Width       float64 // of its bed: the length of the pack of the sheet
	From, To    float64 // its travel
	Outside     bool    // it lies outside of that now
	Short       bool    // no place of its travel is enough
	End         bool    // it is at the end of its travel then
	Then, U     float64 // where it balances then
	Verdict     measuring.Verdict

	then *Poise
}

// Slide is where the battery brings the balance to the target, or as near as its travel lets
// it; false: the sheet says nothing of its travel. It is rounded to whole millimetres forward.
// Where that does the balance no good it stays.
func (p *Poise) Slide(target float64) (Slide, bool) {
	travel := p.state.Sheet.Geometry.Battery
	part, ok := p.battery(travel)
	if !ok || part.Load.Mass == nil {
		return Slide{}, false
	}
	by, err := p.now.Travel(part.Load.Mass, ratOfFloat(target))
	if err != nil {
		return Slide{}, false
	}
	s := Slide{Title: part.Title, Item: part.Item, Width: float(travel.Length.Rat("mm")), From: float(travel.From.Rat("mm")), To: float(travel.To.Rat("mm")), then: p}
	is, far := part.Load.X, math.Floor(float(by, nil)+1e-9)
	moved := func(by float64) *Poise {
		from, to := balance.Place{X: new(big.Rat)}, balance.Place{X: ratOfFloat(by), U: 1} // how far, if nobody says from where
		if is != nil {
			from = balance.Place{X: is, U: part.UX}
			to.X.Add(to.X, is)
		}
		return p.after(balance.Change{Mass: part.Load.Mass, U: p.state.statedU(part.Load.Mass), From: &from, To: &to})
	}
	at := math.NaN()
	if s.Unplaced = is == nil; !s.Unplaced {
		at = float(is, nil)
		s.Outside = at < s.From || at > s.To
		far = min(max(math.Floor(at+float(by, nil)+1e-9), s.From), s.To) - at
	}
	if then := moved(far); !p.near(target) && (s.Unplaced || p.better(then, target)) {
		s.By, s.then = far, then
	}
	s.Then, s.U, s.Verdict = s.then.Now, s.then.NowU, s.then.ends()
	if s.Unplaced {
		return s, true
	}
	at += s.By
	s.Front, s.Rear = at-s.Width/2, at+s.Width/2
	s.End = at <= s.From || at >= s.To
	s.Short = s.then.stands() < min(decided, p.rank(target, s.U)) && (s.End || s.By == 0)
	return s, true
}

//go:noinline
func ratOfFloat(f float64) *big.Rat { return new(big.Rat).SetFloat64(f) }

// Pack is where the middle of the battery lies by what was recorded of it, and how long that
// of the sheet is; false: nobody said, and it lies where the sheet has it if anywhere.
func (p *Poise) Pack() (at, long float64, ok bool) {
	part, there := p.battery(p.state.Sheet.Geometry.Battery)
	said := slices.ContainsFunc(p.state.changes, func(c change) bool { return c.Item == part.Item && !c.Arm.IsZero() })
	if !there || part.Load.X == nil || !said {
		return 0, 0, false
	}
	return float(part.Load.X, nil), float(p.state.Sheet.Geometry.Battery.Length.Rat("mm")), true
}

// battery is the one that is on board, with what is known of it.
func (p *Poise) battery(travel steps.Travel) (Placed, bool) {
	for _, c := range p.state.Sheet.Geometry.Parts {
		if c.Name != travel.Part || travel.Part == "" {
			continue
		}
		i := slices.IndexFunc(p.parts, func(part Placed) bool {
			return part.Item == c.Equipment && (part.Item != "" || part.Title == c.Title)
		})
		if i >= 0 {
			return p.parts[i], true
		}
	}
	return Placed{}, false
}

// packLacks is that nobody said what the battery on board weighs, which has to be known to
// move it; nil: somebody did, or there is none. Where it lies does not matter for how far.
func (p *Poise) packLacks() *Lack {
	part, ok := p.battery(p.state.Sheet.Geometry.Battery)
	if !ok || part.Load.Mass != nil || part.Item == "" {
		return nil
	}
	l := lackOf(spot{body: &body{Thing: Thing{part.Item, part.Name}}}, true, false)
	return &l
}

// A Ballast is a mass that brings the balance to a target.
type Ballast struct {
	Mass, Station float64
	Then, U       float64 // where it balances then
	Verdict       measuring.Verdict
}

// Ballast is the ballast at a station that brings the balance to the target, in whole steps
// of the scale: on the nose-heavy side, or on the other one where that does more good. What
// would end outside of the limits is none.
func (p *Poise) Ballast(at, target, step float64) (Ballast, error) {
	impossible := func(format string, args ...any) (Ballast, error) {
		return Ballast{}, &Impossible{fmt.Sprintf(format, args...)}
	}
	if err := p.state.onBoard(ratOfFloat(at), 0, "ballast"); err != nil {
		return Ballast{}, err
	}
	mass, err := p.now.Ballast(ratOfFloat(at), ratOfFloat(target))
	if math.Abs(at-target) < 1 { // nobody places it closer
		err = balance.ErrAtTarget
	}
	switch {
	case errors.Is(err, balance.ErrAtTarget):
		return impossible("ballast at %s mm moves nothing: that is where it should balance; give a station well ahead of it or behind it", strconv.FormatFloat(at, 'f', -1, 64))
	case errors.Is(err, balance.ErrWrongSide):
		side := "ahead of"
		if p.Now < target {
			side = "behind"
		}
		return impossible("ballast at %.0f mm moves the balance the wrong way; give a station %s %.1f mm", at, side, target)
	case err != nil:
		return impossible("%v", err)
	}
	down, up := math.Floor(float(mass, nil)/step+1e-9)*step, math.Ceil(float(mass, nil)/step-1e-9)*step
	safe, other := down, up
	if at < target {
		safe, other = up, down
	}
	then := func(grams float64) *Poise {
		m := ratOfFloat(grams)
		return p.after(balance.Change{Mass: m, U: p.state.statedU(m), To: &balance.Place{X: ratOfFloat(at), U: 1}})
	}
	grams, best := 0., p
	for _, g := range []float64{safe, other} {
		if g <= 0 {
			continue
		}
		if with := then(g); p.better(with, target) && (grams == 0 || with.stands() > best.stands()) {
			grams, best = g, with
		}
	}
	switch {
	case grams == 0:
		return impossible("no whole step of the scale does it good at %.0f mm: with %s it would balance at %.1f mm; it stays at %.1f mm", at, gramsOf(up), then(up).Now, p.Now)
	case best.stands() == outside:
		return impossible("no whole step of the scale brings it inside the limits at %.0f mm: with %s it would balance at %.1f mm; closer to %.1f mm a step moves it less", at, gramsOf(grams), best.Now, target)
	}
	if g, ok := p.state.massGate(); ok && !g.Limits.High.IsZero() {
		if most := float(g.Limits.High.Rat("g")); p.Mass+grams > most {
			return impossible("that takes %s at %.0f mm, and with %.0f g on board the limit of %.0f g (%s) leaves %.0f g", gramsOf(grams), at, p.Mass, most, g.Name, math.Floor(max(0, most-p.Mass)))
		}
	}
	return Ballast{grams, at, best.Now, best.NowU, best.ends()}, nil
}

// gramsOf is a mass in whole steps of a scale.
func gramsOf(g float64) string {
	return strconv.FormatFloat(math.Round(g*1000)/1000, 'f', -1, 64) + " g"
}

// Least is the least ballast and where: on the centre line, as far from the target as the
// airframe reaches.
func (p *Poise) Least(target float64) (Ballast, error) {
	of, known := planform.ExtentOf(p.state.Sheet.Geometry, p.state.selected, true)
	if !known {
		return Ballast{}, &Impossible{"the sheet does not say where its parts lie"}
	}
	return p.Ballast(float(p.now.Farthest(ratOfFloat(of.Front), ratOfFloat(of.Rear), ratOfFloat(target)), nil), target, p.Step())
}

// Over is by how much it is heavier than its gate allows, or may be by its uncertainty.
type Over struct {
	Gate     string
	Limit    float64 // in g
	By       float64
	Possible bool // it only may be
}

// Over is by how much it is too heavy; false: it is not.
func (p *Poise) Over() (Over, bool) {
	g, ok := p.state.massGate()
	if !ok || g.Limits.High.IsZero() {
		return Over{}, false
	}
	o := Over{Gate: g.Name, Limit: float(g.Limits.High.Rat("g"))}
	if o.By = p.Mass - o.Limit; o.By > 0 {
		return o, true
	}
	o.By, o.Possible = o.By+p.MassU, true
	return o, o.By > 0 && p.MassBy.Gate != ""
}

// Step is the resolution of the scale that it is weighed with, in g.
func (p *Poise) Step() float64 {
	if _, gauge, ok := p.state.scale(); ok {
		return float(gauge.Resolution.Rat("g"))
	}
	return 1
}
