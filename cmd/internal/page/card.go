package page

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"fettle/steps/air"
	"fettle/steps/measuring"
	"fettle/steps/planform"
	"fettle/steps/quantity"
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
	Throws   []CardThrow  `json:"throws"`
	Trims    []Trim       `json:"trims"`
	Missing  []string     `json:"missing,omitempty"` // the keys of the sheet without which figures are left out
	Cautions []string     `json:"cautions"`
	Rules    string       `json:"rules"`
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
}

// A CardGround is one thing that a figure rests on.
type CardGround struct {
	What   string    `json:"what"`
	Basis  string    `json:"basis"`
	Entry  int64     `json:"entry,omitempty"`
	At     time.Time `json:"at,omitzero"`
	Source string    `json:"source,omitempty"`
}

// A CardBalance is where the airframe balances, in mm aft of the datum: as it was last
// measured and, where something was changed since, as it is computed.
type CardBalance struct {
	Gate     string    `json:"gate"`
	Datum    string    `json:"datum"`
	Standing string    `json:"standing"`
	Words    string    `json:"words"`
	Station  *float64  `json:"station_mm,omitempty"`
	U        float64   `json:"uncertainty_mm,omitempty"`
	Percent  *float64  `json:"percent_mac,omitempty"`
	Low      *float64  `json:"forward_limit_mm,omitempty"`
	High     *float64  `json:"aft_limit_mm,omitempty"`
	At       time.Time `json:"measured_at,omitzero"`
	Counts   bool      `json:"counts"` // nothing was changed since
	Computed *float64  `json:"computed_mm,omitempty"`

	ComputedU float64 `json:"computed_uncertainty_mm,omitempty"` // 0: nobody knows

	wing planform.Surface
}

func newCardBalance(datum string, p *workflow.Poise) *CardBalance {
	b := &CardBalance{Gate: p.Gate.Name, Datum: datum, Standing: string(p.Standing.Standing), Words: p.Standing.Words(), Low: finite(p.Low), High: finite(p.High), Counts: p.Counts, wing: p.Wing}
	if p.Weighed {
		b.Station, b.U, b.At = finite(p.Station), p.U, p.At
	}
	if !p.Counts {
		b.Computed = finite(p.Now)
		if u := finite(p.NowU); u != nil && len(p.Unknown) == 0 {
			b.ComputedU = *u
		}
	}
	if at, _ := b.Now(); at != nil && b.wing.Area > 0 {
		b.Percent = finite(b.wing.Chord.Percent(*at))
	}
	return b
}

// Now is where it balances now, as measured if that counts, and the uncertainty of that,
// 0 if it is not known; nil: nothing says.
func (b CardBalance) Now() (station *float64, u float64) {
	if b.Counts {
		return b.Station, b.U
	}
	return b.Computed, b.ComputedU
}

// Chord is the mean aerodynamic chord, and how far out it lies, in mm; false: the sheet
// has no wing.
func (b CardBalance) Chord() (chord planform.Chord, y float64, ok bool) {
	return b.wing.Chord, b.wing.Y, b.wing.Area > 0
}

// A CardThrow is how far a control surface goes.
type CardThrow struct {
	Control string       `json:"control"`
	Title   string       `json:"title"`
	Gate    string       `json:"gate"`
	Words   string       `json:"words"` // how the gate stands
	Met     bool         `json:"met"`
	Values  []ThrowValue `json:"values,omitempty"`
	At      time.Time    `json:"measured_at,omitzero"`
}

// A ThrowValue is how far it goes at one point of its gate.
type ThrowValue struct {
	Point string  `json:"point,omitempty"`
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
	// The same as an angle, or as a travel at the chord.
	Other     *float64 `json:"other,omitempty"`
	OtherUnit string   `json:"other_unit,omitempty"`
}

func newThrowValue(s *workflow.State, gate, point string, p measuring.Part) ThrowValue {
	v := ThrowValue{Point: point, Value: p.Value, Unit: p.Unit}
	control, ok := s.Sheet.ControlOf(gate)
	read, err := quantity.ParseIn(strconv.FormatFloat(p.Value, 'f', 6, 64), p.Unit)
	if !ok || err != nil {
		return v
	}
	if other, ok := control.Other(read, quantity.Nearest); ok {
		v.OtherUnit = other.Unit()
		value, _ := other.Float(v.OtherUnit)
		v.Other = &value
	}
	return v
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
			if !slices.Contains(c.Missing, key) {
				c.Missing = append(c.Missing, key)
			}
		}
	}
	for _, f := range card.Figures {
		lacks(f.Missing)
		one := CardFigure{Name: f.Name, Unit: f.Unit, U: f.U, Missing: f.Missing}
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
	c.cautions(card, checks)
	return c
}

// finite is a number; nil: there is none.
func finite(f float64) *float64 {
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return nil
	}
	return &f
}

// cautions are what of the card is no figure and must be known.
func (c *Card) cautions(card workflow.Card, checks []string) {
	for _, f := range card.Exceeded {
		c.Cautions = append(c.Cautions, fmt.Sprintf("full throttle draws more than this is rated for: %s", strings.TrimSuffix(f.Name, "-rating")))
	}
	for _, g := range card.Concessions {
		c.Cautions = append(c.Cautions, fmt.Sprintf("accepted and not met: %s (%s, by %s)", g.Gate.Title, said(g.Reason), g.By))
	}
	if e, ok := c.figure(workflow.EnergyFigure); ok {
		switch air.CarriageOf(*e.Value) {
		case air.WithApproval:
			c.Cautions = append(c.Cautions, "a battery of more than 100 Wh travels by air only if the airline approves it")
		case air.NotByPassenger:
			c.Cautions = append(c.Cautions, "a battery of more than 160 Wh does not travel by air with a passenger")
		}
	}
	if len(checks) > 0 {
		c.Cautions = append(c.Cautions, "to be done before it flies: "+strings.Join(checks, ", "))
	}
}

// figure is the figure of that name, if it is known.
func (c Card) figure(name string) (CardFigure, bool) {
	i := slices.IndexFunc(c.Figures, func(f CardFigure) bool { return f.Name == name && f.Value != nil })
	if i < 0 {
		return CardFigure{}, false
	}
	return c.Figures[i], true
}

// A CardRow is one line of a card: what it is, the figures, and what they rest on.
type CardRow struct{ What, Is, Rests string }

// Rows are the lines of the card. A figure that the sheet lacks something for is in none.
func (c Card) Rows(clock Clock) []CardRow {
	var rows []CardRow
	row := func(what, is, rests string) {
		if is != "" {
			rows = append(rows, CardRow{what, is, rests})
		}
	}
	of := func(what, name string, is ...string) {
		f, ok := c.figure(name)
		if ok {
			row(what, listed(is...), f.basis(clock))
		}
	}
	other := func(name, unit string, scale float64, digits int, round func(float64) float64) string {
		if !clock.BothUnits {
			return ""
		}
		return c.value(name, unit, scale, digits, round)
	}
	of("Mass all up", workflow.MassFigure, c.value(workflow.MassFigure, "g", 1000, 0, nearest), other(workflow.MassFigure, "oz", 1000/28.349523125, 1, nearest))
	of("Wing loading", workflow.LoadingFigure,
		c.value(workflow.LoadingFigure, "g/dm²", 1/air.GramPerDm2, 1, nearest), c.value(workflow.LoadingFigure, "oz/ft²", 1/air.OuncePerFt2, 1, nearest))
	of("Air", workflow.AirFigure, places(c.Altitude, 0)+" m", places(c.Celsius, 1)+" °C", c.value(workflow.AirFigure, "kg/m³", 1, 3, nearest))
	speed := func(name string) string {
		return listed(c.value(name, "m/s", 1, 1, atLeast), c.value(name, "km/h", 1/air.KilometrePerHour, 0, atLeast), other(name, "mph", 1/air.MilePerHour, 0, atLeast))
	}
	of("Stall, level", workflow.StallFigure, speed(workflow.StallFigure))
	if _, ok := c.figure(workflow.StallFigure); ok {
		row("Stall in a bank", "45° "+c.value(workflow.Bank45Figure, "m/s", 1, 1, atLeast)+", 60° "+c.value(workflow.Bank60Figure, "m/s", 1, 1, atLeast), "the stall by the load factor")
		row("Launch", speed(workflow.LaunchFigure), fmt.Sprintf("assumed: %.1f times the stall", workflow.LaunchFactor))
	}
	of("Thrust to weight", workflow.ThrustFigure, c.value(workflow.ThrustFigure, "", 1, 2, atMost))
	var ratings []string
	for _, rated := range []struct{ name, title string }{
		{workflow.ControllerFigure, "controller"}, {workflow.MotorFigure, "motor"}, {workflow.BatteryFigure, "battery"}, {workflow.ConnectorFigure, "connectors"},
	} {
		if v := c.value(rated.name, "A", 1, 1, atMost); v != "" {
			ratings = append(ratings, rated.title+" "+v)
		}
	}
	of("Full throttle", workflow.CurrentFigure, c.value(workflow.CurrentFigure, "A", 1, 1, atLeast)+optionally("; rated: ", strings.Join(ratings, ", ")))
	of("Endurance", workflow.EnduranceFigure, c.value(workflow.EnduranceFigure, "min", 60, 0, atMost)+" to "+c.value(workflow.ReserveFigure, "%", 1, 0, nearest)+" left")
	of("Battery", workflow.EnergyFigure, c.value(workflow.EnergyFigure, "Wh", 1, 1, nearest))
	if b := c.Balance; b != nil {
		b.row(row, clock)
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
			row(t.Title, "no reading counts", t.Words)
			continue
		}
		text := quantity.Written(strings.Join(values, ", "), t.Values[0].Unit)
		if len(others) > 0 {
			text += " (" + quantity.Written(strings.Join(others, ", "), t.Values[0].OtherUnit) + ")"
		}
		row(t.Title, text, measuredAt(t.At, t.Words, t.Met, clock))
	}
	for _, t := range c.Trims {
		row("Trim", t.line(), "measured after the flight of "+clock.At(t.At))
	}
	return rows
}

// row is the balance as one line.
func (b CardBalance) row(add func(what, is, rests string), clock Clock) {
	tail := ""
	if b.Percent != nil {
		tail = ", " + quantity.Written(fmt.Sprintf("%.1f", *b.Percent), "%") + " MAC"
	}
	if b.Low != nil && b.High != nil {
		tail += fmt.Sprintf("; limits %s to %s mm", places(*b.Low, 1), places(*b.High, 1))
	}
	measured := ""
	if b.Station != nil {
		measured = quantity.Written(places(*b.Station, 1)+" ± "+places(b.U, 1), "mm")
	}
	at, u := b.Now()
	computed := ""
	if at != nil {
		computed = places(*at, 1)
	}
	if u > 0 {
		computed += " ± " + places(u, 1)
	}
	switch {
	case at == nil:
		add("Balance", "not known", b.Words)
	case b.Counts:
		add("Balance", measured+tail, "measured "+clock.At(b.At))
	case measured == "":
		add("Balance", quantity.Written(computed, "mm")+tail, "from the sheet: computed of its parts; "+b.Words)
	default:
		add("Balance", quantity.Written(computed, "mm")+tail, "computed; measured "+measured+", "+clock.At(b.At)+", "+b.Words)
	}
}

// measuredAt says when a gate was measured, and how it stands if it was not passed.
func measuredAt(at time.Time, words string, met bool, clock Clock) string {
	if met {
		words = ""
	}
	return "measured " + clock.At(at) + optionally(", ", words)
}

// listed are the words that there are.
func listed(words ...string) string {
	return strings.Join(slices.DeleteFunc(words, func(s string) bool { return s == "" }), ", ")
}

// To which side a figure is rounded: to the safe one where there is one. What only the
// arithmetic of floats has put beyond a number is left out.
func nearest(f float64) float64 { return math.Round(f) }
func atLeast(f float64) float64 { return math.Ceil(f - 1e-9) }
func atMost(f float64) float64  { return math.Floor(f + 1e-9) }

// value is a figure in a unit; "": it is not known.
func (c Card) value(name, unit string, scale float64, digits int, round func(float64) float64) string {
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
func (f CardFigure) basis(clock Clock) string {
	bases := map[string]bool{}
	for _, g := range f.Rests {
		bases[g.Basis] = true
	}
	switch g := f.Rests[0]; {
	case g.Entry > 0 && len(f.Rests) == 1:
		return fmt.Sprintf("measured %s, entry %d", clock.At(g.At), g.Entry)
	case g.Basis == string(workflow.Assumed) && len(f.Rests) == 1:
		return g.Basis + ": " + g.Source
	case len(bases) == 1 && f.Name == workflow.MassFigure:
		return g.Basis + ": " + g.Source
	case len(bases) == 1:
		return g.Basis
	}
	var groups []string
	for _, b := range []workflow.Basis{workflow.Assumed, workflow.FromSheet, workflow.Measured} {
		var things []string
		for _, g := range f.Rests {
			if g.Basis == string(b) && !slices.Contains(things, g.What) {
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
func (c Card) Sources() []string {
	var sources []string
	of := map[string][]string{}
	for _, f := range c.Figures {
		for _, g := range f.Rests {
			if g.Source != "" && of[g.Source] == nil {
				sources = append(sources, g.Source)
			}
			if g.Source != "" && !slices.Contains(of[g.Source], g.What) {
				of[g.Source] = append(of[g.Source], g.What)
			}
		}
	}
	for i, source := range sources {
		sources[i] = strings.Join(of[source], ", ") + ": " + source
	}
	return sources
}

// Markdown is the card as one screen.
func (c Card) Markdown(clock Clock) string {
	var l lines
	if c.Released {
		l.add("# %s may fly: released %s by %s\n", esc(c.Mark), clock.At(c.At), esc(c.By))
	} else {
		l.add("# %s is NOT released: %s\n", esc(c.Mark), esc(c.Why))
		l.add("Speeds are given once it is released.\n")
	}
	for _, text := range c.Cautions {
		l.item("**%s**", esc(text))
	}
	for _, r := range c.Rows(clock) {
		l.item("%s: **%s** (%s)", esc(r.What), esc(r.Is), esc(r.Rests))
	}
	if len(c.Missing) > 0 {
		l.item("left out for want of these in the design sheet: %s", esc(strings.Join(c.Missing, "; ")))
	}
	l.add("\n%s", c.Rules)
	return l.String()
}
