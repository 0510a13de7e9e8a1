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
func NewBalance(s *workflow.State, p *workflow.Poise, try []journal.EquipmentChanged, at float64) (Balance, error) {
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
func (b *Balance) level(s *workflow.State, p *workflow.Poise) {
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
