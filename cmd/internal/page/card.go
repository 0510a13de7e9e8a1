package page

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/air"
	"fettle/steps/lists"
	"fettle/steps/quantity"
	"fettle/steps/sorting"
	"fettle/workflow"
)

// A Card is what a pilot wants to know of an airframe before it flies.
type Card struct {
	Mark     string       `json:"mark"`
	Title    string       `json:"title"`
	Released bool         `json:"released"`
	Why      string       `json:"why,omitempty"` // it is not released
	By       string       `json:"released_by,omitempty"`
	At       time.Time    `json:"released_at,omitzero"`
	Altitude float64      `json:"altitude_m"`
	Celsius  float64      `json:"temperature_c"`
	Figures  []CardFigure `json:"figures"`
	Balance  *CardBalance `json:"balance,omitempty"`
	Sideways *CardSide    `json:"sideways,omitempty"`
	Throws   []CardThrow  `json:"throws"`
	Trims    []Trim       `json:"trims"`
	Missing  []string     `json:"missing,omitempty"` // the keys of the sheet without which figures are left out
	Say      []string     `json:"say,omitempty"`     // the commands that say what figures are not known for
	Cautions []string     `json:"cautions"`
	Launch   string       `json:"launch,omitempty"` // how it comes into the air, by the sheet
	Rules    string       `json:"rules"`

	digits int // of a gram, that its scale shows
}

// A CardFigure is one number of a card with what it rests on.
type CardFigure struct {
	Name    string       `json:"name"`
	Value   *float64     `json:"value,omitempty"` // none: the sheet lacks something
	Unit    string       `json:"unit,omitempty"`
	U       float64      `json:"uncertainty,omitempty"`
	Basis   string       `json:"basis,omitempty"` // the weakest of what it rests on
	Rests   []CardGround `json:"rests_on,omitempty"`
	Missing []string     `json:"missing,omitempty"`
	Unknown []string     `json:"unknown,omitempty"` // what else it is not known for
	Words   string       `json:"gate,omitempty"`    // how the gate stands that measured it, if it was not passed
}

// A CardGround is one thing that a figure rests on.
type CardGround struct {
	What   string    `json:"what"`
	Basis  string    `json:"basis"`
	Entry  int64     `json:"entry,omitempty"`
	At     time.Time `json:"at,omitzero"`
	Source string    `json:"source,omitempty"`
}

// NewCard makes the page of a card. The checks come before the airframe flies.
func NewCard(s *workflow.State, card workflow.Card, checks []string) Card {
	c := Card{Mark: s.Airframe.Mark, Title: s.Sheet.Title, Released: card.Airworthiness.Released, Why: said(card.Airworthiness.Why),
		Altitude: card.Outside.Height, Celsius: math.Round((card.Outside.Temperature-273.15)*1e6) / 1e6, By: card.Release.By, At: card.Release.At, Figures: []CardFigure{}, Throws: []CardThrow{}, Cautions: []string{}, Rules: LocalRules}
	lacks := func(keys []string) {
		for _, key := range keys {
			if s.Sheet.Geometry.IsZero() {
				key, _, _ = strings.Cut(key, ":") // none of it is there
			}
			if !lists.Contains(c.Missing, key) {
				c.Missing = append(c.Missing, key)
			}
		}
	}
	for i := range card.Figures {
		f := &card.Figures[i]
		lacks(f.Missing)
		one := CardFigure{Name: f.Name, Unit: f.Unit, U: f.U, Missing: f.Missing, Unknown: f.Unknown, Words: f.Standing}
		if f.Known() {
			one.Value, one.Basis = finite(f.Value), string(f.Weakest())
			for _, g := range f.Rests {
				one.Rests = append(one.Rests, CardGround{g.What, string(g.Basis), g.Entry, g.At, g.Source})
			}
		}
		c.Figures = append(c.Figures, one)
	}
	if b := card.Balance; b == nil {
		lacks([]string{"geometry: balance"})
	} else {
		c.Balance = newCardBalance(s.Sheet.Geometry.Datum, b)
	}
	c.Say, c.digits = toSay(s.Airframe.Mark, card.Lacks), s.MassDigits()
	c.Sideways = newCardSide(card.Sideways)
	c.Trims = newTrims(card.Trims)
	for _, t := range card.Throws {
		one := CardThrow{Control: t.Control.Name, Title: t.Report.Gate.Title, Gate: t.Report.Gate.Name, Words: t.Report.Words(), Met: t.Report.Met(), At: t.Report.Last}
		for _, p := range t.Parts {
			if p.Known {
				one.Values = append(one.Values, newThrowValue(s, t.Report.Gate.Name, strings.Join(p.Of, ""), p))
			}
		}
		c.Throws = append(c.Throws, one)
	}
	c.Launch = s.Sheet.Geometry.Launch
	c.cautions(card, checks)
	return c
}

// finite is a number; nil: there is none.
//
//go:noinline
func finite(f float64) *float64 {
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return nil
	}
	return &f
}

// caution adds one.
// It is not inlined: its copies in its caller would take 1 KB.
//
//go:noinline
func (c *Card) caution(format string, args ...any) {
	c.Cautions = append(c.Cautions, fmt.Sprintf(format, args...))
}

// cautions are what of the card is no figure and must be known, the gravest first.
func (c *Card) cautions(card workflow.Card, checks []string) {
	for _, f := range card.Exceeded {
		c.caution("full throttle draws more than this is rated for, or may: %s", strings.TrimSuffix(f.Name, "-rating"))
	}
	if say := twice(c.Mark, card.Twice); say != "" {
		c.caution("%s", say)
	}
	if len(checks) > 0 {
		c.caution("to be done before it flies: %s", strings.Join(checks, ", "))
	}
	if f, ok := c.figure(workflow.MarginFigure); ok && *f.Value-f.U <= 0 {
		c.caution("by the estimate it balances behind its neutral point, or may: it could not be flown")
	}
	if f, ok := c.figure(workflow.LaunchFigure); ok && *f.Value > workflow.ThrowSpeed && c.Launch != steps.OnWheels && c.Launch != steps.ByBungee {
		c.caution("a throw gives at most %d m/s: thrown, it wants %s m/s of wind from ahead, else a bungee or less mass", workflow.ThrowSpeed, places(atLeast((*f.Value-workflow.ThrowSpeed)*10)/10, 1))
	}
	if len(card.Exchanged) > 0 {
		c.caution("not what the sheet has: %s; what the card says of it and of the drive is assumed, and gates are judged by the battery of the sheet", strings.Join(card.Exchanged, ", "))
	}
	for _, g := range card.Concessions {
		c.caution("accepted and not met: %s (%s, by %s)", g.Gate.Title, said(g.Reason), g.By)
	}
	if e, ok := c.figure(workflow.EnergyFigure); ok {
		switch air.CarriageOf(*e.Value) {
		case air.WithApproval:
			c.caution("a battery of more than 100 Wh travels by air only if the airline approves it")
		case air.NotByPassenger:
			c.caution("a battery of more than 160 Wh does not travel by air with a passenger")
		}
	}
}

// figure is the figure of that name, if it is known.
// It is not inlined: its copies in all callers would take 2 KB.
//
//go:noinline
func (c *Card) figure(name string) (*CardFigure, bool) {
	for i := range c.Figures {
		if f := &c.Figures[i]; f.Name == name && f.Value != nil {
			return f, true
		}
	}
	return nil, false
}

// unknown says what a figure is not known for, but for what the sheet lacks; "": nothing.
func (c *Card) unknown(name string) string {
	for i := range c.Figures {
		if f := &c.Figures[i]; f.Name == name {
			return strings.Join(f.Unknown, ", ")
		}
	}
	return ""
}

// A CardRow is one line of a card: what it is, the figures, and what they rest on.
type CardRow struct {
	What, Is, Rests string
	rank            int // the higher, the sooner it is left out where there is no room
}

// Rows are the lines of the card. A figure that the sheet lacks something for is in none.
func (c *Card) Rows(clock *Clock) []CardRow {
	var rows []CardRow
	row := func(rank int, what, is, rests string) {
		if is != "" {
			rows = append(rows, CardRow{what, is, rests, rank})
		}
	}
	unknown := func(rank int, what, name string) {
		if why := c.unknown(name); why != "" {
			row(rank, what, "not known", why)
		}
	}
	of := func(rank int, what, name string, is ...string) {
		if f, ok := c.figure(name); ok {
			row(rank, what, listed(is...), f.basis(clock))
		}
		unknown(rank, what, name)
	}
	other := func(name, unit string, scale float64, digits int, round func(float64) float64) string {
		if !clock.BothUnits {
			return ""
		}
		return c.value(name, unit, scale, digits, round)
	}
	of(1, "Mass all up", workflow.MassFigure, c.value(workflow.MassFigure, "g", 1000, c.digits, nearest), other(workflow.MassFigure, "oz", 1000/28.349523125, 1, nearest))
	of(6, "Wing loading", workflow.LoadingFigure,
		c.value(workflow.LoadingFigure, "g/dm²", 1/air.GramPerDm2, 1, nearest), c.value(workflow.LoadingFigure, "oz/ft²", 1/air.OuncePerFt2, 1, nearest))
	said := 7
	if c.Altitude != 0 || c.Celsius != 15 {
		said = 3
	}
	of(said, "Air", workflow.AirFigure, places(c.Altitude, 0)+" m", places(c.Celsius, 1)+" °C", c.value(workflow.AirFigure, "kg/m³", 1, 3, nearest))
	speed := func(name string) string {
		return listed(c.value(name, "m/s", 1, 1, atLeast), c.value(name, "km/h", 1/air.KilometrePerHour, 0, atLeast), other(name, "mph", 1/air.MilePerHour, 0, atLeast))
	}
	of(1, "Stall, level", workflow.StallFigure, speed(workflow.StallFigure))
	if _, ok := c.figure(workflow.StallFigure); ok {
		row(5, "Stall in a bank", "45° "+c.value(workflow.Bank45Figure, "m/s", 1, 1, atLeast)+", 60° "+c.value(workflow.Bank60Figure, "m/s", 1, 1, atLeast), "the stall by the load factor")
		row(1, "Launch", speed(workflow.LaunchFigure), fmt.Sprintf("assumed: %.1f times the stall", workflow.LaunchFactor))
	}
	of(5, "Thrust to weight", workflow.ThrustFigure, c.value(workflow.ThrustFigure, "", 1, 2, atMost))
	var ratings []string
	for _, rated := range []struct{ name, title string }{
		{workflow.ControllerFigure, "controller"}, {workflow.MotorFigure, "motor"}, {workflow.BatteryFigure, "battery"}, {workflow.ConnectorFigure, "connectors"},
	} {
		if f, ok := c.figure(rated.name); ok {
			rating := rated.title + " " + c.value(rated.name, "A", 1, 1, atMost)
			if f.Basis == string(workflow.Assumed) {
				rating += " (assumed)"
			}
			ratings = append(ratings, rating)
		}
	}
	if f, ok := c.figure(workflow.CurrentFigure); ok {
		rests := f.basis(clock)
		switch {
		case f.Basis == string(workflow.Measured):
			rests = measuredAt(f.Rests[0].At, f.Words, f.Words == "", clock)
		case f.Basis == string(workflow.Assumed):
			rests = "current assumed"
		}
		is := listed(c.value(workflow.CurrentFigure, "A", 1, 1, atLeast), c.value(workflow.LoadedFigure, "V", 1, 1, atMost))
		if v, ok := c.figure(workflow.LoadedFigure); ok && v.Words != "" {
			rests += ", voltage " + v.Words
		}
		if len(ratings) > 0 && f.Basis != string(workflow.FromSheet) {
			rests += "; ratings from the sheet"
		}
		row(4, "Full throttle", is+optionally("; rated: ", strings.Join(ratings, ", ")), rests)
	}
	unknown(4, "Full throttle", workflow.CurrentFigure)
	energy := c.value(workflow.EnergyFigure, "Wh", 1, 1, nearest)
	if _, ok := c.figure(workflow.EnduranceFigure); ok {
		of(2, "Endurance", workflow.EnduranceFigure, c.value(workflow.EnduranceFigure, "min", 60, 0, atMost)+" at "+c.value(workflow.CruiseFigure, "A", 1, 1, nearest)+" to "+c.value(workflow.ReserveFigure, "%", 1, 0, nearest)+" left"+optionally(", of ", energy))
	} else if c.unknown(workflow.EnduranceFigure) == "" {
		of(2, "Battery", workflow.EnergyFigure, energy)
	}
	unknown(2, "Endurance", workflow.EnduranceFigure)
	if b := c.Balance; b != nil {
		is, rests := b.row(clock)
		row(1, "Balance", is, rests)
		if p := b.Pack; p != nil {
			row(3, "Battery lies", lengths(clock, 0, p.Front, p.Rear), "middle at "+lengths(clock, 0, p.Middle)+", by the record")
		}
	}
	if c.Sideways != nil {
		is, rests := c.Sideways.row(clock)
		row(8, "Sideways", is, rests)
	}
	if f, ok := c.figure(workflow.ReceiverFigure); ok {
		row(8, "Receiver", c.value(workflow.ReceiverFigure, "V", 1, 2, atMost), measuredAt(f.Rests[0].At, f.Words, f.Words == "", clock))
	}
	if f, ok := c.figure(workflow.MarginFigure); ok {
		margin := places(math.Floor(*f.Value+1e-9), 0)
		if u := math.Ceil(f.U - 1e-9); u > 0 {
			margin += " ± " + places(u, 0)
		}
		row(4, "Static margin", quantity.Written(margin, "% MAC"), "estimate; neutral point at "+c.value(workflow.NeutralFigure, "mm", 1, 0, nearest))
	}
	for _, t := range c.Throws {
		var values, others []string
		for _, v := range t.Values {
			values = append(values, strings.TrimSpace(strings.ReplaceAll(v.Point, "-", " ")+" "+places(v.Value, 1)))
			if v.Other != nil {
				others = append(others, places(*v.Other, 1))
			}
		}
		if len(values) == 0 {
			row(2, t.Title, "no reading counts", t.Words)
			continue
		}
		is := quantity.Written(strings.Join(values, ", "), t.Values[0].Unit)
		if one := t.Values[0]; len(values) > 1 && !slices.ContainsFunc(t.Values, func(v ThrowValue) bool { return v.Value != one.Value }) {
			is, others = "each "+quantity.Written(places(one.Value, 1), one.Unit), others[:min(len(others), 1)]
		}
		if len(others) > 0 {
			is += " (" + quantity.Written(strings.Join(others, ", "), t.Values[0].OtherUnit) + ")"
		}
		row(2, t.Title, is, measuredAt(t.At, t.Words, t.Met, clock))
	}
	for _, t := range c.Trims {
		if t.Out {
			continue
		}
		row(3, "Trim", t.line(), "measured after the flight of "+clock.At(t.At))
	}
	return rows
}

// measuredAt says when a gate was measured, and how it stands if it was not passed.
func measuredAt(at time.Time, words string, met bool, clock *Clock) string {
	if met {
		words = ""
	}
	return "measured " + clock.At(at) + optionally(", ", words)
}

// listed are the words that there are.
func listed(words ...string) string {
	return strings.Join(sorting.Delete(words, func(s string) bool { return s == "" }), ", ")
}

// To which side a figure is rounded: to the safe one where there is one. What only the
// arithmetic of floats has put beyond a number is left out.
func nearest(f float64) float64 { return math.Round(f) }
func atLeast(f float64) float64 { return math.Ceil(f - 1e-9) }
func atMost(f float64) float64  { return math.Floor(f + 1e-9) }

// value is a figure in a unit; "": it is not known.
func (c *Card) value(name, unit string, scale float64, digits int, round func(float64) float64) string {
	f, ok := c.figure(name)
	if !ok {
		return ""
	}
	step := math.Pow10(digits)
	text := places(round(*f.Value*scale*step)/step, digits)
	if unit == "" {
		return text
	}
	return quantity.Written(text, unit)
}

// basis is what the figure rests on, the weakest first, each thing once.
func (f *CardFigure) basis(clock *Clock) string {
	bases := map[string]bool{}
	for _, g := range f.Rests {
		bases[g.Basis] = true
	}
	switch g := f.Rests[0]; {
	case g.Entry > 0 && len(f.Rests) == 1:
		if g.Basis == string(workflow.Computed) {
			return fmt.Sprintf("computed: weighed %s, %s", clock.At(g.At), g.Source)
		}
		return fmt.Sprintf("%s %s, entry %d", g.Basis, clock.At(g.At), g.Entry)
	case g.Basis == string(workflow.Assumed) && len(f.Rests) == 1, len(bases) == 1 && f.Name == workflow.MassFigure:
		return g.Basis + optionally(": ", g.Source)
	case len(bases) == 1:
		return g.Basis
	}
	var groups []string
	for _, b := range slices.Backward(workflow.Bases()) {
		var things []string
		for _, g := range f.Rests {
			if g.Basis == string(b) && !lists.Contains(things, g.What) {
				things = append(things, g.What)
			}
		}
		if len(things) > 0 {
			groups = append(groups, string(b)+": "+strings.Join(things, ", "))
		}
	}
	return strings.Join(groups, "; ")
}

// Sources say where figures of the sheet are from, and why others are assumed, each once.
func (c *Card) Sources() []string {
	var sources []string
	if c.Balance != nil && c.Balance.Datum != "" {
		sources = append(sources, "datum, from which stations count aft and are negative ahead of it: "+c.Balance.Datum)
	}
	of := map[string][]string{}
	for _, f := range c.Figures {
		for _, g := range f.Rests {
			if g.Source != "" && of[g.Source] == nil {
				sources = append(sources, g.Source)
			}
			if g.Source != "" && !lists.Contains(of[g.Source], g.What) {
				of[g.Source] = append(of[g.Source], g.What)
			}
		}
	}
	for i, source := range sources {
		if of[source] == nil {
			continue
		}
		sources[i] = strings.Join(of[source], ", ") + ": " + source
	}
	return sources
}

// Markdown is all of the card.
func (c Card) Markdown(clock *Clock) string {
	var l lines
	l.WriteString(c.text(clock, math.MaxInt, math.MaxInt))
	if sources := c.Sources(); len(sources) > 0 {
		l.add("\n## Where figures come from\n")
		for _, s := range sources {
			l.item("%s", esc(s))
		}
	}
	return l.String()
}

// longest is how long a reason is on a screen before it is cut: two lines or so.
const longest = 150

// Screen is as much of the card as fits, the most important, and says what is left out.
func (c Card) Screen(clock *Clock, fits func(markdown string) bool) string {
	for keep := len(c.Cautions) + len(c.Rows(clock)) + 1; ; keep-- {
		if text := c.text(clock, keep, longest); keep == 0 || fits(text) {
			return text
		}
	}
}

// text is the card with so many of its lines, and none of their reasons longer than that.
func (c *Card) text(clock *Clock, keep int, most int) string {
	type item struct {
		what, text string
		rank       int
	}
	var items []item
	for i, text := range c.Cautions {
		rank := 1
		if i > 2 {
			rank = 3
		}
		items = append(items, item{"", "**" + esc(cut(text, most)) + "**", rank})
	}
	for _, r := range c.Rows(clock) {
		items = append(items, item{r.What, fmt.Sprintf("%s: **%s** (%s)", esc(r.What), esc(cut(r.Is, most)), esc(cut(r.Rests, most))), r.rank})
	}
	if len(c.Missing) > 0 {
		items = append(items, item{"what the sheet lacks", "left out for want of these in the design sheet: " + esc(cut(strings.Join(c.Missing, "; "), most)), 6})
	}
	ranks := make([]int, 0, len(items))
	for _, i := range items {
		ranks = append(ranks, i.rank)
	}
	sorting.Stable(ranks, func(i, k int) int { return ranks[i] - ranks[k] })
	var l lines
	if c.Released {
		l.add("# %s may fly: released %s by %s\n", esc(c.Mark), clock.At(c.At), esc(cut(c.By, most)))
	} else {
		l.add("# %s is NOT released: %s\n", esc(c.Mark), esc(cut(c.Why, most)))
		l.item("speeds are given once it is released")
	}
	var left []string
	cautions := 0
	for _, i := range items {
		at := lists.Index(ranks, i.rank)
		switch ranks[at] = -1; { // of those of a rank the first stay
		case at < keep:
			l.item("%s", i.text)
		case i.what == "":
			cautions++
		default:
			left = append(left, strings.ToLower(i.what[:1])+i.what[1:])
		}
	}
	if cautions > 0 {
		left = append([]string{fmt.Sprintf("**%d of the %d cautions**", cautions, len(c.Cautions))}, left...)
	}
	if len(left) > 0 {
		l.item("not on this screen: %s. All: `fettle card %s --full`", fitting(left, most), esc(c.Mark))
	}
	for _, say := range c.Say {
		l.add("\n%s", command(say))
	}
	l.add("\n%s", c.Rules)
	return l.String()
}
