package workflow

import (
	"cmp"
	"math"
	"math/big"
	"slices"
	"strconv"
	"strings"

	"fettle/steps"
	"fettle/steps/balance"
	"fettle/steps/lists"
	"fettle/steps/quantity"
	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// A Placed is a part of the airframe at its place, as far as both are known.
type Placed struct {
	Item  string // the equipment that it is; "": a part of the airframe itself
	Name  string // which one of its kind; "": nobody says
	Title string
	Load  balance.Load // in g and mm; without a mass or a station: nobody says
	U, UX float64      // expanded uncertainty of both; 0: as of what the sheet has
}

func (p Placed) known() bool { return p.Load.Mass != nil && p.Load.X != nil }

// A body is one piece of equipment as it is weighed. What is said of its mass holds for
// it whenever that is said.
type body struct {
	Thing
	title string
	mass  *big.Rat // nil: nobody says

	own      bool     // it is the one that the sheet has
	optional bool     // and it may be left off
	x, y     *big.Rat // where the sheet has it; nil: it does not say
}

// A spot is what is aboard of an item and where it lies.
type spot struct {
	body     *body         // nil: nothing
	place    balance.Place // without a station: nobody says
	doubtful bool          // it was off when it was moved, so it may still be
}

// A fitting is what is aboard of an item after a change.
type fitting struct {
	change
	after spot
	said  bool // nothing was changed: it is only said what it weighs
}

// fittings are what is aboard of each item, by time.
type fittings struct {
	first map[string]spot // before anything was recorded
	all   []fitting
	began []change // of what may be left off: the first change
	items []string
}

// before are the spots before an instant.
func (f fittings) before(then instant) map[string]spot {
	at := map[string]spot{}
	for item, s := range f.first {
		at[item] = s
	}
	for _, one := range f.all {
		if then.after(one.change, true) {
			at[one.Item] = one.after
		}
	}
	return at
}

// fittings tell what the record says of the equipment: what lies where, and what it
// weighs. What is not said is not known. The sheet's figures are of its own part alone:
// of what was aboard from the beginning, of what is named before anything was weighed,
// and of what may be left off when it is first fitted. They hold till it is moved.
func (s *State) fittings() fittings {
	f := fittings{first: map[string]spot{}}
	bodies := map[string][]*body{}
	add := func(b *body) *body {
		bodies[b.Item] = append(bodies[b.Item], b)
		return b
	}
	changes := append(slices.Clone(s.changes), s.rebalanced()...)
	sorting.Stable(changes, func(i, k int) int {
		a, b := &changes[i], &changes[k]
		return cmp.Or(a.at.Compare(b.at), cmp.Compare(a.position, b.position))
	})
	for _, e := range s.Sheet.Equipment {
		f.items = append(f.items, e.Name)
		b, there := s.sheetBody(e)
		if !there {
			continue
		}
		first := slices.IndexFunc(changes, func(c change) bool { return c.Item == e.Name })
		add(b)
		if !e.Optional || first < 0 || changes[first].Change != Fitted {
			f.first[e.Name] = spot{body: b, place: balance.Place{X: b.x, U: 1}}
		}
		if e.Optional && first >= 0 {
			f.began = append(f.began, changes[first])
		}
	}
	now := map[string]spot{}
	for item, at := range f.first {
		now[item] = at
	}
	weighed := s.firstWeighed()
	moved, changed := map[*body]bool{}, map[string]bool{}
	for _, c := range changes {
		if !lists.Contains(f.items, c.Item) {
			f.items = append(f.items, c.Item)
		}
		was, is, said := now[c.Item], spot{}, false
		if c.Change == "" { // where the battery lies since, nobody said
			if is = was; is.body != nil {
				is.place, moved[is.body] = balance.Place{}, true
			}
			c.Change = Moved
			now[c.Item], f.all = is, append(f.all, fitting{change: c, after: is})
			continue
		}
		switch {
		case c.Change == Removed && was.body == nil:
		case c.Change == Removed:
			if c.Name != "" && was.body.Name != "" && !sameName(c.Item, c.Name, was.body.Name) {
				is = was // another one is aboard
			}
		case c.Change == Moved:
			if is = was; is.body == nil {
				is.doubtful = true
				if n := len(bodies[c.Item]); n > 0 {
					is.body = bodies[c.Item][n-1]
				} else {
					is.body = add(&body{Thing: Thing{c.Item, c.Name}, title: c.Item})
				}
			}
			is.place = stated(c.Arm)
			moved[is.body] = true
		default:
			is.body = bodyOf(bodies[c.Item], c, !changed[c.Item], weighed)
			if is.body == nil {
				is.body = add(&body{Thing: Thing{c.Item, c.Name}, title: Thing{c.Item, c.Name}.String()})
			}
			switch {
			case !c.Arm.IsZero():
				is.place = stated(c.Arm)
				moved[is.body] = true
			case is.body == was.body && !c.Mass.IsZero():
				is.place, said = was.place, true
			case is.body.own && !moved[is.body]:
				is.place = balance.Place{X: is.body.x, U: 1}
			}
		}
		if weighs := is.body; !c.Mass.IsZero() {
			if weighs == nil {
				weighs = was.body
			}
			if weighs != nil {
				weighs.mass = in(c.Mass, "g")
			}
		}
		changed[c.Item] = true
		now[c.Item] = is
		f.all = append(f.all, fitting{c, is, said})
	}
	return f
}

// rebalanced are the reworks of the balance: the battery is what is moved first, and whether
// it was and where to is known when it is said. They are changes of it of no kind.
func (s *State) rebalanced() []change {
	g, item := s.Sheet.Geometry, s.flightBattery()
	if item == "" {
		return nil
	}
	var all []change
	for _, e := range s.Entries {
		rework, is := e.Facts.(journal.Reworked)
		if !is || rework.Gate != g.Balance.Gate || !s.Live(e.Position) {
			continue
		}
		if said, ok := s.movedFor(e); ok && said.Item == item && !said.Arm.IsZero() {
			continue // where it lies was said already
		}
		all = append(all, change{EquipmentChanged: journal.EquipmentChanged{Item: item}, position: e.Position, at: e.At})
	}
	return all
}

// movedFor is the change of equipment, the last before a rework of the balance and since
// the reading before that, which is what was done in the rework; false: there is none.
func (s *State) movedFor(rework journal.Entry) (journal.EquipmentChanged, bool) {
	for p := rework.Position - 1; p >= 0; p-- {
		switch f := s.Entries[p].Facts.(type) {
		case journal.EquipmentChanged:
			if s.Live(p) {
				return f, true
			}
		case journal.ReadingTaken:
			if f.Gate == s.Sheet.Geometry.Balance.Gate && s.Live(p) {
				return journal.EquipmentChanged{}, false
			}
		}
	}
	return journal.EquipmentChanged{}, false
}

// flightBattery is the equipment that the flight battery is, of which the sheet has the
// travel; "": it does not say.
func (s *State) flightBattery() string {
	for _, part := range s.Sheet.Geometry.Parts {
		if part.Name == s.Sheet.Geometry.Battery.Part && part.In(s.selected) {
			return part.Equipment
		}
	}
	return ""
}

// bodyOf is which of the bodies of an item is fitted; nil: another one.
func bodyOf(bodies []*body, c change, first bool, weighed instant) *body {
	if first && len(bodies) > 0 {
		b := bodies[0]
		if weighed.at.IsZero() || weighed.after(c, true) || c.Name == "" && (c.Mass.IsZero() || b.optional) {
			b.Name = c.Name
			return b
		}
		return nil
	}
	for _, b := range bodies {
		if c.Name != "" && b.Name != "" && sameName(c.Item, b.Name, c.Name) {
			return b
		}
	}
	if c.Name == "" && c.Mass.IsZero() && len(bodies) == 1 {
		return bodies[0]
	}
	return nil
}

// sheetBody is the equipment as the sheet has it; false: this airframe has none of it by
// the options chosen.
func (s *State) sheetBody(e steps.Equipment) (*body, bool) {
	b := &body{Thing: Thing{Item: e.Name}, title: e.Name, own: true, optional: e.Optional}
	var rows []*steps.Component
	has := false
	for i := range s.Sheet.Geometry.Parts {
		if part := &s.Sheet.Geometry.Parts[i]; part.Equipment == e.Name {
			if has = true; part.In(s.selected) {
				rows = append(rows, part)
			}
		}
	}
	if !has {
		return b, true
	}
	sum := balance.Of()
	for i, part := range rows {
		l := load(*part)
		if i == 0 {
			b.title, b.mass, b.x, b.y = part.Title, l.Mass, l.X, l.Y
		}
		if len(rows) > 1 && (l.Mass == nil || l.X == nil) {
			b.mass, b.x, b.y = nil, nil, nil
			return b, true
		}
		if sum = sum.With(l); i > 0 {
			b.mass, b.x, b.y = sum.Mass, ratOf(sum.Station()), ratOf(sum.Side())
		}
	}
	return b, len(rows) > 0
}

func ratOf(r *big.Rat, err error) *big.Rat {
	if err != nil {
		return nil
	}
	return r
}

// load is a row of the parts table.
func load(part steps.Component) balance.Load {
	return balance.Load{Mass: in(part.Mass, "g"), X: in(part.X, "mm"), Y: in(part.Y, "mm")}
}

// stated is a station as it was given: good to half of its last digit, and to no less
// than 1 mm (common practice, no source).
func stated(arm quantity.Quantity) balance.Place {
	return balance.Place{X: in(arm, "mm"), U: StationU(arm)}
}

// StationU is how good a station is that was given so, in mm.
func StationU(arm quantity.Quantity) float64 {
	if arm.IsZero() {
		return 1
	}
	number := strings.TrimRightFunc(arm.Typed(), func(r rune) bool { return r < '0' || r > '9' })
	last := 0.5
	if _, part, ok := strings.Cut(number, "/"); ok {
		if parts, err := strconv.ParseFloat(strings.TrimSpace(part), 64); err == nil && parts > 0 {
			last = 0.5 / parts
		}
	} else if i := strings.LastIndexAny(number, ".,"); i >= 0 {
		last = 0.5 * math.Pow10(i+1-len(number))
	}
	return max(1, last*scaleOf(arm.Unit(), "mm"))
}

// Placed are the parts that the airframe had before the entry: those of the sheet, and of
// equipment what was recorded of it.
func (s *State) Placed(before int64) []Placed {
	then := s.whole()
	if before < s.Size() {
		then = instant{before, s.Entries[before].At}
	}
	f := s.fittings()
	return s.placed(f, f.before(then))
}

func (s *State) placed(f fittings, at map[string]spot) []Placed {
	var all []Placed
	put := func(item string) {
		sp := at[item]
		if sp.body == nil {
			return
		}
		p := Placed{Item: item, Name: sp.body.Name, Title: sp.body.title, Load: balance.Load{Mass: sp.body.mass, X: sp.place.X}, UX: sp.place.U}
		if sp.body.own && p.Load.X != nil && sp.body.x == p.Load.X {
			p.Load.Y = sp.body.y
		}
		all = append(all, p)
	}
	done := map[string]bool{}
	for _, part := range s.Sheet.Geometry.Parts {
		switch {
		case part.Equipment == "" && part.In(s.selected):
			all = append(all, Placed{Title: part.Title, Load: load(part)})
		case part.Equipment != "" && !done[part.Equipment]:
			done[part.Equipment] = true
			put(part.Equipment)
		}
	}
	for _, item := range f.items {
		if !done[item] && slices.ContainsFunc(s.changes, func(c change) bool { return c.Item == item }) {
			put(item)
		}
	}
	return all
}

// Replaced is what a thing took the place of when it was fitted, by the position of its
// entry; "": nothing that is known of.
func (s *State) Replaced(position int64) string {
	f := s.fittings()
	for _, one := range f.all {
		was := f.before(instant{position, one.at})[one.Item].body
		if one.position == position && one.Change == Fitted && was != nil && was != one.after.body {
			return was.Thing.String()
		}
	}
	return ""
}

// in is a quantity in a unit; nil: there is none.
//
//go:noinline
func in(q quantity.Quantity, unit string) *big.Rat {
	r, err := q.Rat(unit)
	if err != nil {
		return nil
	}
	return r
}

// total is what is known of parts together, and what is not known of any.
func total(parts []Placed) (balance.Total, []string) {
	sum := balance.Of()
	var unknown []string
	for _, p := range parts {
		if !p.known() {
			unknown = append(unknown, p.Title)
			continue
		}
		sum = sum.With(p.Load)
	}
	return sum, unknown
}

// A Lack is what nobody said of a thing, so that nothing can be computed of it.
type Lack struct {
	Thing
	Mass, Arm bool // what would do to say of it; neither: only another weighing tells
	words     string
}

func (l Lack) String() string { return l.words }

// since is what was changed since an instant, and what of it is not known.
type since struct {
	u       func(mass *big.Rat) float64 // how good a mass is that is stated, in g
	changes []balance.Change
	grams   *big.Rat // heavier, as far as it is known
	lacks   []Lack
	mass    []Lack // those that leave the mass open
}

// since compares what is aboard now with what was at an instant.
func (s *State) since(f fittings, then instant) since {
	d := since{u: s.statedU, grams: new(big.Rat)}
	was, is := f.before(then), f.before(s.whole())
	for _, item := range f.items {
		if !slices.ContainsFunc(f.all, func(one fitting) bool { return one.Item == item && !one.said && !then.after(one.change, true) }) {
			continue
		}
		a, b := was[item], is[item]
		if a.doubtful || b.doubtful {
			l := Lack{Thing: Thing{Item: item}, words: "whether the " + item + " is on board"}
			d.lacks, d.mass = append(d.lacks, l), append(d.mass, l)
			continue
		}
		if a.body == b.body {
			if a.body != nil {
				d.move(a, b)
			}
			continue
		}
		d.swap(a, true)
		d.swap(b, false)
	}
	return d
}

// move is one body that lies elsewhere.
func (d *since) move(a, b spot) {
	if a.place.X != nil && b.place.X != nil && a.place.X.Cmp(b.place.X) == 0 {
		return
	}
	if d.lacking(a, true, false) || d.lacking(b, false, true) {
		return
	}
	from, to := a.place, b.place
	d.changes = append(d.changes, balance.Change{Mass: b.body.mass, U: d.u(b.body.mass), From: &from, To: &to})
}

// swap is a body that came aboard, or went.
func (d *since) swap(at spot, off bool) {
	if at.body == nil {
		return
	}
	if at.body.mass != nil && off {
		d.grams.Sub(d.grams, at.body.mass)
	} else if at.body.mass != nil {
		d.grams.Add(d.grams, at.body.mass)
	} else {
		d.mass = append(d.mass, lackOf(at, true, false))
	}
	if d.lacking(at, off, true) {
		return
	}
	place := at.place
	c := balance.Change{Mass: at.body.mass, U: d.u(at.body.mass), To: &place}
	if off {
		c.From, c.To = &place, nil
	}
	d.changes = append(d.changes, c)
}

// lacking notes what is not known of a body: where it lies or lay, and what it weighs.
func (d *since) lacking(at spot, then, mass bool) bool {
	arm := at.place.X == nil
	if mass = mass && at.body.mass == nil; !arm && !mass {
		return false
	}
	l := lackOf(at, mass, arm)
	if then && arm { // nothing that is said now tells where it lay then
		l = Lack{Thing: l.Thing, words: "where the " + l.Thing.String() + " lay when it was weighed"}
	}
	d.lacks = append(d.lacks, l)
	return true
}

func lackOf(at spot, mass, arm bool) Lack {
	l := Lack{Thing: at.body.Thing, Mass: mass, Arm: arm}
	switch {
	case mass && arm:
		l.words = "what the " + l.Thing.String() + " weighs and where it lies"
	case mass:
		l.words = "what the " + l.Thing.String() + " weighs"
	default:
		l.words = "where the " + l.Thing.String() + " lies"
	}
	return l
}
