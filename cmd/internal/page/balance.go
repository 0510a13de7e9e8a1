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
)

// A Balance is where an airframe balances, and what would bring it where it should. All
// stations are in mm aft of the datum, negative ahead of it.
type Balance struct {
	Mark    string       `json:"mark"`
	Gate    string       `json:"gate"`
	Datum   string       `json:"datum"`
	Low     *float64     `json:"forward_limit_mm,omitempty"`
	High    *float64     `json:"aft_limit_mm,omitempty"`
	LowMAC  *float64     `json:"forward_limit_percent_mac,omitempty"`
	HighMAC *float64     `json:"aft_limit_percent_mac,omitempty"`
	Weighed *Station     `json:"last_weighing,omitempty"`
	At      time.Time    `json:"weighed_at,omitzero"`
	Counts  bool         `json:"weighing_counts"`
	Now     Station      `json:"now"`
	Verdict string       `json:"verdict"`
	Mass    float64      `json:"mass_g"`
	Again   string       `json:"weigh_again,omitempty"` // why it has to be weighed again
	MassU   float64      `json:"mass_uncertainty_g,omitempty"`
	MassBy  string       `json:"mass_from"`
	Unknown []string     `json:"unknown,omitempty"`
	Assumed []string     `json:"assumed,omitempty"`
	Remedy  []string     `json:"state,omitempty"` // the commands that say what is not known
	Tried   []BalanceTry `json:"tried,omitempty"`
	Target  *Station     `json:"target,omitempty"`
	Aim     string       `json:"aim,omitempty"`
	Slide   *Slide       `json:"battery,omitempty"`
	Ballast *Ballast     `json:"ballast,omitempty"`
	Refused string       `json:"no_ballast,omitempty"` // why there is none
	Tip     *float64     `json:"at_tip_g,omitempty"`
	Side    string       `json:"tip,omitempty"`
	Y       *float64     `json:"right_mm,omitempty"` // of the centre line
	YBy     string       `json:"right_from,omitempty"`
	YAt     time.Time    `json:"right_weighed_at,omitzero"`
	YAgain  string       `json:"right_weigh_again,omitempty"` // why it has to be weighed again
	Scales  string       `json:"scales,omitempty"`            // that it is weighed on
	Measure string       `json:"measure,omitempty"`
}

// A Station is a place aft of the datum.
type Station struct {
	X       float64  `json:"station_mm"`
	U       *float64 `json:"uncertainty_mm,omitempty"`
	Percent *float64 `json:"percent_mac,omitempty"`
}

// A BalanceTry is what one more thing on board would do.
type BalanceTry struct {
	Name    string  `json:"name"`
	Mass    float64 `json:"mass_g"`
	Station float64 `json:"station_mm"`
	Then    Station `json:"then"`
	Verdict string  `json:"verdict"`
}

// A Slide is where the battery has to lie.
type Slide struct {
	Title string  `json:"title"`
	By    float64 `json:"aft_mm"`
	Front float64 `json:"front_mm"`
	Rear  float64 `json:"rear_mm"`
	Width float64 `json:"width_mm"`
	Short bool    `json:"end_of_travel"`
	Then  Station `json:"then"`
}

// A Ballast is a mass at a station.
type Ballast struct {
	Mass    float64 `json:"mass_g"`
	Station float64 `json:"station_mm"`
	Then    Station `json:"then"`
}

func stationOf(x, u float64, wing planform.Surface) Station {
	s := Station{X: x, U: finite(u)}
	if wing.Area > 0 {
		s.Percent = finite(wing.Chord.Percent(x))
	}
	return s
}

// NewBalance makes the page; try are parts to be tried, and at a station for ballast, NaN
// for the least.
func NewBalance(s *workflow.State, p workflow.Poise, try []workflow.Placed, at float64) (Balance, error) {
	b := Balance{Mark: s.Airframe.Mark, Gate: p.Gate.Name, Datum: s.Sheet.Geometry.Datum, Low: finite(p.Low), High: finite(p.High),
		Counts: p.Counts, At: p.At, Now: stationOf(p.Now, p.NowU, p.Wing), Verdict: string(p.Verdict()), Mass: p.Mass, MassU: p.MassU, MassBy: massFrom(p.MassBy),
		Unknown: p.Unknown, Assumed: p.Assumed, Remedy: toSay(s.Airframe.Mark, p.Lacks)}
	if p.Wing.Area > 0 {
		b.LowMAC, b.HighMAC = finite(p.Wing.Chord.Percent(p.Low)), finite(p.Wing.Chord.Percent(p.High))
	}
	if p.Weighed {
		w := stationOf(p.Station, p.U, p.Wing)
		b.Weighed = &w
	}
	b.level(s, p)
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
		b.Tried = append(b.Tried, BalanceTry{t.Name, t.Mass, t.Station, stationOf(t.Then, t.U, p.Wing), string(t.Verdict)})
	}
	target, ok := then.Target()
	switch {
	case !ok && !p.Sure() && !math.IsNaN(at):
		return b, &workflow.Impossible{Why: "nobody knows where it balances (" + b.Again + "), so no ballast is worked out"}
	case !ok:
		return b, nil
	}
	aim := stationOf(target, math.NaN(), p.Wing)
	b.Target, b.Aim = &aim, "the middle of the range"
	if p.Doubtful() {
		b.Aim = "half the way from the middle to the forward limit, since it is not weighed as it is: nose-heavy is the safe side"
	}
	if slide, ok := then.Slide(target); ok {
		b.Slide = &Slide{slide.Title, slide.By, slide.Front, slide.Rear, slide.Width, slide.Short, stationOf(slide.Then, then.NowU, p.Wing)}
	}
	ballast, err := workflow.Ballast{}, error(nil)
	switch given := !math.IsNaN(at); {
	case given:
		ballast, err = then.Ballast(at, target, p.Step())
	case b.Slide == nil || b.Slide.Short:
		ballast, err = then.Least(target, p.Step())
	default:
		return b, nil
	}
	if err != nil {
		b.Refused = err.Error()
		return b, err
	}
	b.Ballast = &Ballast{ballast.Mass, ballast.Station, stationOf(ballast.Then, then.NowU, p.Wing)}
	return b, nil
}

// level says where it balances across, and what levels it.
func (b *Balance) level(s *workflow.State, p workflow.Poise) {
	side, ok := s.Sideways(p.Asked())
	if !ok {
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
	b.Tip, b.Side = finite(math.Round(side.Mass/p.Step())*p.Step()), "right"
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
	return weighAgain(p)
}

// weighAgain says why the balance has to be weighed again; "": it stands.
func weighAgain(p workflow.Poise) string {
	switch by := p.Shift(); {
	case p.Counts:
		return ""
	case !p.Weighed:
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
	return ", taking it that " + said(workflow.Cause{Text: strings.Join(p.Assumed, ", "), At: p.At})
}

// massFrom says what a mass is from.
func massFrom(m workflow.WeighedMass) string {
	switch {
	case m.Gate == "":
		return "assumed: the sum of the parts table"
	case m.Worked:
		return "measured at " + m.Gate + ", before work or damage that may have changed it"
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

func (s Station) words() string {
	text := places(s.X, 1)
	if s.U != nil {
		text += " ± " + places(math.Ceil(*s.U*10)/10, 1)
	}
	text = quantity.Written(text, "mm")
	if s.Percent != nil {
		text += fmt.Sprintf(" (%.1f %% MAC)", *s.Percent)
	}
	return text
}

// Markdown is the page.
func (b Balance) Markdown(clock Clock) string {
	var l lines
	line := func(format string, args ...any) { l.item("%s", esc(fmt.Sprintf(format, args...))) }
	l.add("# %s: balance\n", esc(b.Mark))
	line("Stations are in mm aft of the datum, negative ahead of it. The datum: %s", b.Datum)
	if b.Weighed != nil {
		line("Last weighing: %s, %s", b.Weighed.words(), clock.At(b.At))
	}
	with := fmt.Sprintf("%.0f g", b.Mass)
	if u := math.Ceil(b.MassU); u > 0 {
		with = fmt.Sprintf("%.0f ± %.0f g", b.Mass, u)
	}
	now := b.Now.words()
	if len(b.Unknown) > 0 && b.Weighed != nil {
		now = "not known"
	}
	line("Now: %s, with %s (%s): %s", now, with, b.MassBy, b.Verdict)
	if b.Low != nil && b.High != nil {
		mac := ""
		if b.LowMAC != nil && b.HighMAC != nil {
			mac = fmt.Sprintf(", %.1f to %.1f %% MAC", *b.LowMAC, *b.HighMAC)
		}
		line("Limits: %s to %s mm%s (gate %s)", places(*b.Low, 1), places(*b.High, 1), mac, b.Gate)
	}
	if b.Again != "" {
		l.item("**%s**", esc(b.Again))
	}
	for _, try := range b.Tried {
		line("With %s, %s g at %s mm: %s, %s", try.Name, places(try.Mass, 1), places(try.Station, 1), try.Then.words(), try.Verdict)
	}
	if len(b.Tried) > 0 {
		line("Nothing of that is recorded; what follows is with it on board")
	}
	if b.Target != nil {
		line("Aim at %s: %s", b.Target.words(), b.Aim)
	}
	if s := b.Slide; s != nil {
		way, spacer := "stays where it is", ""
		switch {
		case s.By < 0:
			way, spacer = fmt.Sprintf("%.0f mm forward", -s.By), fmt.Sprintf(", or put a spacer of %.0f mm behind it", -s.By)
		case s.By > 0:
			way, spacer = fmt.Sprintf("%.0f mm aft", s.By), fmt.Sprintf(", or put a spacer of %.0f mm ahead of it", s.By)
		}
		line("%s: %s, from %.0f to %.0f mm; cut its bed %.0f mm wide there%s. Then it balances at %s", s.Title, way, s.Front, s.Rear, s.Width, spacer, s.Then.words())
		if s.Short {
			line("That is the end of its travel, and not far enough")
		}
	}
	if m := b.Ballast; m != nil {
		if m.Mass == 0 {
			line("No ballast is needed")
		} else {
			line("Ballast, without moving anything: %.0f g at %.0f mm. Then it balances at %s", m.Mass, m.Station, m.Then.words())
		}
	}
	if b.Refused != "" {
		line("No ballast alone would do: %s", b.Refused)
	}
	switch by := b.YBy; {
	case b.YAgain != "":
		line("Sideways: not known; what %s said no longer counts: %s", by, b.YAgain)
	case b.Tip != nil && *b.Tip == 0:
		line("Level sideways, by %s", by)
	case b.Tip != nil:
		line("Sideways, by %s: %.0f g at the %s tip would level it", by, *b.Tip, b.Side)
	}
	if b.Scales != "" {
		line("Scales: %s", b.Scales)
	}
	for _, say := range b.Remedy {
		l.add("\n%s", command(say))
	}
	if b.Measure != "" {
		l.add("\n%s", command(b.Measure))
	}
	return l.String()
}
