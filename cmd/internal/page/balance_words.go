package page

import (
	"fmt"
	"math"
	"strings"

	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/workflow"
)

// words are what it would do.
func (t BalanceTry) words(and string, digits int, c *Clock) string {
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
func weighAgain(p *workflow.Poise) string {
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
func granted(p *workflow.Poise) string {
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
func lengths(c *Clock, digits int, mm ...float64) string {
	return inBoth(c, "mm", digits, "in", 1/25.4, mm...)
}

// masses are grams, and ounces too where both are wanted.
//
//go:noinline
func masses(c *Clock, digits int, grams ...float64) string {
	return inBoth(c, "g", digits, "oz", 1/28.349523125, grams...)
}

// upTo is a number that is not rounded down.
func upTo(f float64, digits int) string {
	step := math.Pow10(digits)
	return places(math.Ceil(f*step-1e-9)/step, digits)
}

func inBoth(c *Clock, unit string, digits int, other string, scale float64, values ...float64) string {
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
func (s *Station) words(c *Clock) string {
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
func (b Balance) limits(c *Clock) string {
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
func (b Balance) Markdown(clock *Clock) string {
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
func (b Balance) advice(clock *Clock, line func(format string, args ...any)) {
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
