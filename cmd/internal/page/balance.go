package page

import (
	"fmt"
	"math"
	"strings"
	"time"

	"fettle/steps/measuring"
	"fettle/steps/planform"
	"fettle/steps/quantity"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// A Balance is where an airframe balances, and what would bring it where it should. All
// stations are in mm aft of the datum, negative ahead of it.
type Balance struct {
	Mark    string       `json:"mark"`
	Gate    string       `json:"gate"`
	Datum   string       `json:"datum"`
	Zero    float64      `json:"gate_zero_mm,omitempty"` // the station from which the gate is read
	Reads   string       `json:"gate_title"`
	Low     *float64     `json:"forward_limit_mm,omitempty"`
	High    *float64     `json:"aft_limit_mm,omitempty"`
	LowMAC  *float64     `json:"forward_limit_percent_mac,omitempty"`
	HighMAC *float64     `json:"aft_limit_percent_mac,omitempty"`
	Weighed *Station     `json:"last_weighing,omitempty"`
	At      time.Time    `json:"weighed_at,omitzero"`
	Counts  bool         `json:"weighing_counts"`
	Now     *Station     `json:"now,omitempty"` // none: not known
	Verdict string       `json:"verdict"`
	Mass    *float64     `json:"mass_g,omitempty"`      // none: nobody says what something on board weighs
	Again   string       `json:"weigh_again,omitempty"` // why it has to be weighed again
	MassU   float64      `json:"mass_uncertainty_g,omitempty"`
	MassBy  string       `json:"mass_from"`
	Over    string       `json:"over_mass_limit,omitempty"`
	Unknown []string     `json:"unknown,omitempty"`
	Assumed []string     `json:"assumed,omitempty"`
	Rests   []string     `json:"interval_assumes,omitempty"` // what its interval takes from common practice
	Remedy  []string     `json:"state,omitempty"`            // the commands that say what is not known
	Tried   []BalanceTry `json:"tried,omitempty"`
	Target  *Station     `json:"target,omitempty"`
	Aim     string       `json:"aim,omitempty"`
	Near    bool         `json:"as_near_as_can_be_told,omitempty"`
	Stays   bool         `json:"may_stay,omitempty"`    // it is in tolerance as it is
	Waits   bool         `json:"weigh_first,omitempty"` // nothing is advised before it is weighed as it is
	Slide   *Slide       `json:"battery,omitempty"`
	Ballast *Ballast     `json:"ballast,omitempty"`
	Off     *Ballast     `json:"take_off,omitempty"`      // of what was fitted, if it is ballast
	Refused string       `json:"no_ballast,omitempty"`    // why there is none
	Lacks   string       `json:"battery_lacks,omitempty"` // what nobody said of it, so that nothing is advised
	Tip     *float64     `json:"at_tip_g,omitempty"`
	Side    string       `json:"tip,omitempty"`
	Y       *float64     `json:"right_mm,omitempty"` // of the centre line
	YBy     string       `json:"right_from,omitempty"`
	YAt     time.Time    `json:"right_weighed_at,omitzero"`
	YLaid   float64      `json:"laid_on_a_tip_g,omitempty"`   // which tip is not on record
	YAgain  string       `json:"right_weigh_again,omitempty"` // why it has to be weighed again
	Scales  string       `json:"scales,omitempty"`            // that it is weighed on
	Measure string       `json:"measure,omitempty"`
	Twice   string       `json:"on_board_twice,omitempty"` // what to type where something was on board already

	off    string // what of that is taken
	digits int    // of a gram, that its scale shows
}

// A Station is a place aft of the datum.
type Station struct {
	X       float64  `json:"station_mm"`
	Read    *float64 `json:"as_gate_reads_mm,omitempty"` // where the gate is not read from the datum
	U       *float64 `json:"uncertainty_mm,omitempty"`
	Percent *float64 `json:"percent_mac,omitempty"`
}

// A BalanceTry is what one more thing on board would do, or another one.
type BalanceTry struct {
	Name      string   `json:"name"`
	InPlaceOf string   `json:"in_place_of,omitempty"`     // what is on board now
	Without   string   `json:"taken_off_board,omitempty"` // what may be on board, and it is taken that it is not
	Mass      float64  `json:"mass_g"`
	Station   float64  `json:"station_mm"`
	Then      *Station `json:"then,omitempty"` // none: not known
	Total     *float64 `json:"total_mass_g,omitempty"`
	Verdict   string   `json:"verdict"`
}

// words are what it would do.
func (t BalanceTry) words(and string, digits int, c Clock) string {
	mass := "a mass that is not known"
	if t.Total != nil {
		mass = masses(c, digits, *t.Total)
	}
	text := fmt.Sprintf("%s %s, %s at %s", and, t.Name, masses(c, 1, t.Mass), lengths(c, 1, t.Station))
	text += optionally(", in place of the ", t.InPlaceOf)
	if t.Without != "" {
		text += ", taking it that no " + t.Without + " is on board"
	}
	return fmt.Sprintf("%s: %s, with %s, %s", text, t.Then.words(c), mass, t.Verdict)
}

// A Slide is where the battery has to lie.
type Slide struct {
	Title string  `json:"title"`
	By    float64 `json:"aft_mm"`
	Front float64 `json:"front_mm"`
	Rear  float64 `json:"rear_mm"`
	Width float64 `json:"width_mm"`
	From  float64 `json:"travel_from_mm"`
	To    float64 `json:"travel_to_mm"`
	End   bool    `json:"end_of_travel"`
	Short bool    `json:"not_far_enough"`
	Then  Station `json:"then"`
	Ends  string  `json:"verdict"` // on that

	Unplaced bool `json:"unplaced,omitempty"` // where it lies is not on record: the stations are none

	outside bool   // it lies outside of its travel now
	item    string // the equipment that it is
}

// A Ballast is a mass at a station.
type Ballast struct {
	Mass    float64 `json:"mass_g"`
	Station float64 `json:"station_mm"`
	Rest    bool    `json:"with_battery_moved"`
	Then    Station `json:"then"`
	Ends    string  `json:"verdict"` // on that
}

// stationIf is a station that may not be known.
func stationIf(s Station, lacks []string) *Station {
	if math.IsNaN(s.X) || len(lacks) > 0 {
		return nil
	}
	return &s
}

func stationOf(x, u float64, wing planform.Surface, zero float64) Station {
	s := Station{X: x, U: finite(u)}
	if wing.Area > 0 {
		s.Percent = finite(wing.Chord.Percent(x))
	}
	if zero != 0 {
		s.Read = finite(x - zero)
	}
	return s
}

// NewBalance makes the page; try are parts to be tried, and at a station for ballast, NaN
// for the least.
func NewBalance(s *workflow.State, p workflow.Poise, try []journal.EquipmentChanged, at float64) (Balance, error) {
	b := Balance{Mark: s.Airframe.Mark, Gate: p.Gate.Name, Reads: p.Gate.Title, Zero: p.Zero, Datum: s.Sheet.Geometry.Datum, Low: finite(p.Low), High: finite(p.High),
		Counts: p.Counts, At: p.At, Now: stationIf(stationOf(p.Now, p.NowU, p.Wing, p.Zero), p.Unknown), Verdict: string(p.Verdict()), Mass: finite(p.Mass), MassBy: massFrom(p.MassBy),
		Unknown: p.Unknown, Assumed: p.Assumed, Remedy: toSay(s.Airframe.Mark, p.Lacks)}
	if b.Mass != nil {
		b.MassU = p.MassU
	}
	if p.Wing.Area > 0 {
		b.LowMAC, b.HighMAC = finite(p.Wing.Chord.Percent(p.Low)), finite(p.Wing.Chord.Percent(p.High))
	}
	if p.Weighed {
		w := stationOf(p.Station, p.U, p.Wing, p.Zero)
		b.Weighed = &w
	}
	b.level(s, p)
	b.Twice, b.digits = twice(b.Mark, p.MassBy.Twice), s.MassDigits()
	b.Again = weighAgain(p)
	if asked := len(try) > 0 && p.Standing.NeedsRework(); !asked && (b.Again != "" || p.Verdict() != measuring.In) { // who only asks has reworked nothing
		b.Scales = scalesText(p.Gate.Result)
		_, b.Measure = Remedy(s.ToMeet(p.Standing, p.Asked()))
	}
	tried, then, err := p.Try(try)
	if err != nil {
		return b, err
	}
	for _, t := range tried {
		b.Tried = append(b.Tried, BalanceTry{t.Thing.String(), t.InPlaceOf, t.Without, t.Mass, t.Station, stationIf(stationOf(t.Then, t.U, p.Wing, p.Zero), nil), finite(t.Total), string(t.Verdict)})
	}
	if o, over := then.Over(); over {
		b.Over = fmt.Sprintf("too heavy: over the limit of %s (%s) by %s", quantity.Written(places(o.Limit, b.digits), "g"), o.Gate, quantity.Written(upTo(o.By, b.digits), "g"))
		if o.Possible || len(then.MassBy.Twice) > 0 {
			b.Over = "perhaps " + b.Over
		}
	}
	a, ok := then.Advise(at)
	b.Rests = then.Practice(a.Slide != nil || a.Ballast != nil)
	switch given := !math.IsNaN(at); {
	case given && !p.Sure():
		return b, &workflow.Impossible{Why: "nobody knows where it balances (" + b.Again + "), so no ballast is worked out"}
	case given && a.Refused != nil:
		return b, a.Refused
	case !ok:
		return b, nil
	case a.Waits:
		b.Waits = true
		return b, nil
	}
	aim := stationOf(a.Target, math.NaN(), p.Wing, p.Zero)
	b.Target, b.Near, b.Stays = &aim, a.Near, then.Verdict() == measuring.In
	switch {
	case b.Low == nil || b.High == nil:
		b.Aim = "clear of the limit by twice what it is accurate to"
	case then.Doubtful():
		b.Aim = "half the way from the middle to the forward limit, since it is not weighed as it is: nose-heavy is the safe side"
	default:
		b.Aim = "the middle of the range"
	}
	if s := a.Slide; s != nil {
		b.Slide = &Slide{s.Title, s.By, s.Front, s.Rear, s.Width, s.From, s.To, s.End, s.Short, stationOf(s.Then, s.U, p.Wing, p.Zero), string(s.Verdict), s.Unplaced, s.Outside, s.Item}
	}
	if o := a.Off; o != nil && len(try) == 0 { // who only tries it fits less of it
		b.Off, b.off = &Ballast{o.Mass, o.Station, a.Rest, stationOf(o.Then, o.U, p.Wing, p.Zero), string(o.Verdict)}, o.Thing.String()
	}
	if m := a.Ballast; m != nil {
		b.Ballast = &Ballast{m.Mass, m.Station, a.Rest, stationOf(m.Then, m.U, p.Wing, p.Zero), string(m.Verdict)}
	}
	if b.moving() != "" && p.Standing.NeedsRework() {
		b.Measure = "" // what is moved is its rework, and recorded as that
	}
	if a.Lack != nil {
		b.Lacks, b.Remedy = a.Lack.String(), append(b.Remedy, toSay(b.Mark, []workflow.Lack{*a.Lack})...)
	}
	if a.Refused != nil {
		b.Refused = a.Refused.Error()
	}
	return b, nil
}

// level says where it balances across, and what levels it, in whole steps of the scale;
// nothing of what the scales can't tell from level.
func (b *Balance) level(s *workflow.State, p workflow.Poise) {
	side, ok := s.Sideways(p.Asked())
	if !ok {
		return
	}
	if side.Laid {
		b.YBy, b.YAt, b.YLaid = "gate "+side.Gate, side.At, side.Mass
		if !side.Counts {
			b.YAgain = said(side.Why)
		}
		return
	}
	b.Y, b.YBy = finite(side.Y), "the parts table"
	if side.Gate != "" {
		b.YBy = "gate " + side.Gate
	}
	if b.YAt = side.At; side.Gate != "" && !side.Counts {
		b.YAgain = said(side.Why)
		return
	}
	grams := math.Round(side.Mass/p.Step()) * p.Step()
	if side.Mass <= side.MassU {
		grams = 0
	}
	b.Tip, b.Side = &grams, "right"
	if side.Left {
		b.Side = "left"
	}
}

// moved is what the record says of the balance after equipment was changed; "": nothing.
func moved(s *workflow.State, now time.Time) string {
	p, err := s.Poise(now)
	if err != nil || !p.Weighed || math.Round(p.Shift()) == 0 && p.Sure() {
		return ""
	}
	return strings.TrimSuffix(weighAgain(p)+"; "+twice(s.Airframe.Mark, p.MassBy.Twice), "; ")
}

// balanceLine is the command that says where it balances and what would put that right.
func balanceLine(mark string) string { return "fettle balance " + mark }

// advised leads on to the advice of a command, if there is one.
//
//go:noinline
func (l *lines) advised(line string) {
	if line != "" {
		l.item("where it balances, and what to move: `%s`", line)
	}
}

// weighAgain says why the balance has to be weighed again; "": it stands.
func weighAgain(p workflow.Poise) string {
	switch by := p.Shift(); {
	case p.Counts:
		return ""
	case !p.Weighed && len(p.Unknown) == 0:
		return "nothing was weighed, so this is computed from the parts table alone: weigh it"
	case len(p.Unknown) > 0:
		return "not known: " + strings.Join(p.Unknown, ", ") + ": weigh again"
	case math.Round(by) == 0:
		return "computed where the last weighing had it" + granted(p) + ": weigh again"
	default:
		side := "aft"
		if by < 0 {
			side = "ahead"
		}
		return fmt.Sprintf("computed %.0f mm %s of the last weighing%s: weigh again", math.Abs(by), side, granted(p))
	}
}

// granted is what is taken for granted of the weighing and of what came after it.
func granted(p workflow.Poise) string {
	if len(p.Assumed) == 0 {
		return ""
	}
	return ", taking it that " + strings.Join(p.Assumed, ", ")
}

// twice says what to type instead where something was fitted that was on board already.
func twice(mark string, all []workflow.Twice) string {
	var texts []string
	for _, t := range all {
		texts = append(texts, fmt.Sprintf("by the mass that was weighed, a %s was on board before this one was fitted. If it was: `fettle undo %s %d`, then `fettle equip %s removed %s`, and fit this one again",
			t.Item, mark, t.Entry, mark, t.Item))
	}
	return strings.Join(texts, "; ")
}

// massFrom says what a mass is from.
func massFrom(m workflow.WeighedMass) string {
	switch {
	case m.Gate == "":
		return "assumed: the sum of the parts table"
	case len(m.Assumed) > 0 && m.Changed:
		return "measured at " + m.Gate + ", and changed since by the record, taking it that " + strings.Join(m.Assumed, ", ")
	case m.Worked:
		return "measured at " + m.Gate + ", before work, damage or a change that may have made it another"
	case m.Changed:
		return "measured at " + m.Gate + ", and changed since by the record"
	}
	return "measured at " + m.Gate
}

// toSay are the commands that say what nobody said of things.
func toSay(mark string, lacks []workflow.Lack) []string {
	var all []string
	for _, l := range lacks {
		line := "fettle equip " + mark + " moved " + l.Item
		if l.Mass {
			line = "fettle equip " + mark + " fitted " + l.Item
		}
		if l.Name != "" {
			line += fmt.Sprintf(" --name %q", l.Name)
		}
		switch {
		case l.Mass && l.Arm:
			line += " --mass " + Blank + " --arm " + Blank
		case l.Mass:
			line += " --mass " + Blank
		case l.Arm:
			line += " --arm " + Blank
		default:
			continue
		}
		all = append(all, line)
	}
	return all
}

// moving is the command that records the battery where it is advised to lie, which is what
// its rework is; "": none is.
func (b Balance) moving() string {
	s := b.Slide
	if s == nil || b.Near || s.Unplaced || s.By == 0 || s.item == "" || len(b.Tried) > 0 {
		return ""
	}
	return fmt.Sprintf("fettle equip %s moved %s --arm %.0fmm", b.Mark, s.item, (s.Front+s.Rear)/2)
}

// lengths are stations or distances in mm, and in inches too where both are wanted.
//
//go:noinline
func lengths(c Clock, digits int, mm ...float64) string {
	return inBoth(c, "mm", digits, "in", 1/25.4, mm...)
}

// masses are grams, and ounces too where both are wanted.
func masses(c Clock, digits int, grams ...float64) string {
	return inBoth(c, "g", digits, "oz", 1/28.349523125, grams...)
}

// upTo is a number that is not rounded down.
func upTo(f float64, digits int) string {
	step := math.Pow10(digits)
	return places(math.Ceil(f*step-1e-9)/step, digits)
}

func inBoth(c Clock, unit string, digits int, other string, scale float64, values ...float64) string {
	join := func(unit string, digits int, scale float64) string {
		var texts []string
		for _, v := range values {
			texts = append(texts, places(v*scale, digits))
		}
		return quantity.Written(strings.Join(texts, " to "), unit)
	}
	text := join(unit, digits, 1)
	if c.BothUnits {
		text += " (" + join(other, 2, scale) + ")"
	}
	return text
}

// words are the station as the gate reads it, and where that is not from the datum as a
// station too.
func (s *Station) words(c Clock) string {
	if s == nil {
		return "not known"
	}
	x, more := s.X, []string(nil)
	if s.Read != nil {
		x, more = *s.Read, append(more, lengths(c, 1, s.X)+" from the datum")
	} else if c.BothUnits {
		more = append(more, digitsNear(s.X/25.4, 2, "in"))
	}
	if s.Percent != nil {
		more = append(more, places(*s.Percent, 1)+" % MAC")
	}
	u := 0.
	if s.U != nil {
		u = *s.U
	}
	text := quantity.Written(interval(x, u), "mm")
	if s.Read != nil {
		text += " as the gate reads it"
	}
	if len(more) > 0 {
		text += " (" + strings.Join(more, ", ") + ")"
	}
	return text
}

// limits are those of the gate, as it reads them.
func (b Balance) limits(c Clock) string {
	both := func(low, high *float64, by float64) []float64 {
		var all []float64
		for _, limit := range []*float64{low, high} {
			if limit != nil {
				all = append(all, *limit-by)
			}
		}
		return all
	}
	read := both(b.Low, b.High, b.Zero)
	if len(read) == 0 {
		return ""
	}
	text := lengths(c, 1, read...)
	switch {
	case b.Low == nil:
		text = "at most " + text
	case b.High == nil:
		text = "at least " + text
	}
	if b.Zero != 0 {
		text += " as the gate reads it, " + lengths(c, 1, both(b.Low, b.High, 0)...) + " from the datum"
	}
	var percents []string
	for _, p := range both(b.LowMAC, b.HighMAC, 0) {
		percents = append(percents, places(p, 1))
	}
	if len(percents) > 0 {
		text += ", " + strings.Join(percents, " to ") + " % MAC"
	}
	return text
}

// Markdown is the page.
func (b Balance) Markdown(clock Clock) string {
	var l lines
	line := func(format string, args ...any) { l.item("%s", esc(fmt.Sprintf(format, args...))) }
	l.add("# %s: balance\n", esc(b.Mark))
	line("Stations are in mm aft of the datum, negative ahead of it. The datum: %s", b.Datum)
	if b.Zero != 0 {
		line("The gate is read from %s: %s", lengths(clock, 1, b.Zero), b.Reads)
	}
	if b.Weighed != nil {
		line("Last weighing: %s, %s", b.Weighed.words(clock), clock.At(b.At))
	}
	mass := "a mass that is not known"
	if b.Mass != nil {
		mass = masses(clock, b.digits, *b.Mass)
		if b.MassU > 0 {
			mass = places(*b.Mass, b.digits) + " ± " + quantity.Written(upTo(b.MassU, b.digits), "g")
			if clock.BothUnits {
				mass += fmt.Sprintf(" (%.2f oz)", *b.Mass/28.349523125)
			}
		}
		mass += " (" + b.MassBy + ")"
	}
	line("Now: %s, with %s: %s", b.Now.words(clock), mass, b.Verdict)
	if limits := b.limits(clock); limits != "" {
		line("Limits: %s (gate %s)", limits, b.Gate)
	}
	if b.Again != "" {
		l.item("**%s**", esc(b.Again))
	}
	if b.Twice != "" {
		line("%s", b.Twice)
	}
	for i, try := range b.Tried {
		and := "With"
		if i > 0 {
			and = "And with"
		}
		line("%s", try.words(and, b.digits, clock))
	}
	if b.Over != "" {
		l.item("**%s**", esc(b.Over))
	}
	if len(b.Tried) > 0 {
		line("Nothing of that is recorded; what follows is with it on board")
	}
	if b.Target != nil && !b.Near {
		if b.Stays {
			line("It may stay as it is: it is inside the limits. To bring it closer to the aim:")
		}
		line("Aim at %s: %s", b.Target.words(clock), b.Aim)
	}
	b.advice(clock, line)
	switch by := b.YBy; {
	case b.YLaid > 0:
		line("Sideways: by %s %s was laid on a tip, %s, and which tip is not on record%s", by, masses(clock, 1, b.YLaid), clock.At(b.YAt), optionally("; it no longer counts: ", b.YAgain))
	case b.YAgain != "":
		line("Sideways: not known; what %s said no longer counts: %s", by, b.YAgain)
	case b.Tip == nil, *b.Tip == 0 && b.YAt.IsZero():
	case *b.Tip == 0:
		line("Level sideways, as far as the scales can tell, by %s", by)
	default:
		line("Sideways, by %s: %s at the %s tip would level it", by, masses(clock, 1, *b.Tip), b.Side)
	}
	if b.Scales != "" {
		line("Scales: %s", b.Scales)
	}
	for _, say := range b.Remedy {
		l.add("\n%s", command(say))
	}
	if say := b.moving(); say != "" {
		l.add("\nWhen the battery is in place, say so before it is weighed again:\n\n%s", command(say))
	}
	if b.Measure != "" {
		l.add("\n%s", command(b.Measure))
	}
	return l.String()
}

// advice says what would put it right.
func (b Balance) advice(clock Clock, line func(format string, args ...any)) {
	ends := func(at Station, verdict string) string {
		switch measuring.Verdict(verdict) {
		case measuring.Out:
			return "Then it balances at " + at.words(clock) + ": outside the limits"
		case measuring.Undecided:
			return "Then it balances at " + at.words(clock) + ": too close to a limit to decide"
		}
		return "Then it balances at " + at.words(clock)
	}
	if b.Waits && b.Weighed != nil {
		line("It is inside the limits as it is computed: nothing has to be moved before it is weighed")
	}
	if b.Near {
		line("It balances where it should, as near as can be told: nothing has to be moved, and no ballast is needed")
	}
	if s := b.Slide; s != nil && s.Unplaced && !b.Near {
		way := "aft"
		if s.By < 0 {
			way = "forward"
		}
		line("%s: %s %s of where it lies, if its travel lets it. %s", s.Title, lengths(clock, 0, math.Abs(s.By)), way, ends(s.Then, s.Ends))
		line("Where it lies is not on record. Say where it lies then, and weigh again: `fettle equip %s moved %s --arm %s`", b.Mark, s.item, Blank)
	} else if s != nil && !b.Near {
		bed, spacer := "from "+lengths(clock, 0, s.Front, s.Rear), ", with a spacer of" // it may have to be moved again
		if b.Counts && len(b.Tried) == 0 {
			spacer = ", or put a spacer of"
			bed += fmt.Sprintf("; cut its bed there as wide as your pack is long (the sheet's: %s)", lengths(clock, 0, s.Width))
		}
		travel := ""
		if s.outside {
			travel = fmt.Sprintf(", outside its travel of %s for its middle", lengths(clock, 0, s.From, s.To))
		}
		switch by := lengths(clock, 0, math.Abs(s.By)); {
		case s.By < 0:
			line("%s: %s forward, %s%s %s behind it. %s", s.Title, by, bed, spacer, by, ends(s.Then, s.Ends))
		case s.By > 0:
			line("%s: %s aft, %s%s %s ahead of it. %s", s.Title, by, bed, spacer, by, ends(s.Then, s.Ends))
		default:
			line("%s: stays where it is%s; no place of its travel is better", s.Title, travel)
		}
		switch {
		case s.Short && s.By != 0:
			line("That is the end of its travel, and not far enough")
		case s.End && s.By != 0:
			line("That is the end of its travel, and inside the limits")
		}
	}
	how := "without moving anything"
	if b.Slide != nil && b.Slide.Short && b.Slide.By != 0 {
		how = "with the battery at the end of its travel"
	}
	if m := b.Off; m != nil {
		line("If the %s at %s is ballast, first take %s of it off. %s", b.off, lengths(clock, 1, m.Station), masses(clock, 1, m.Mass), ends(m.Then, m.Ends))
	}
	if m := b.Ballast; m != nil {
		line("Ballast, %s: %s at %s. %s", how, masses(clock, 1, m.Mass), lengths(clock, 1, m.Station), ends(m.Then, m.Ends))
	}
	if b.Lacks != "" {
		line("How far the battery has to move is not known, as nobody said %s; no ballast is worked out before that", b.Lacks)
	}
	if b.Refused != "" {
		line("No ballast would do, %s: %s", how, b.Refused)
	}
	if b.Target != nil && !b.Near && b.Slide == nil && b.Ballast == nil && b.Refused == "" && b.Lacks == "" {
		line("It is inside the limits as it is computed: no ballast is needed")
	}
}
