package cli

import (
	"context"
	"errors"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/page"
	"fettle/steps/lists"
	"fettle/steps/nearest"
	"fettle/steps/quantity"
	"fettle/steps/sorting"
	"fettle/workflow"
	"fettle/workflow/plan"
)

type planOptions struct {
	sittings, consider      []string
	temperature, think, ics string
	hands                   string
	tight, full, unkept     bool
}

func (a *app) planCommand() *cobra.Command {
	var o planOptions
	cmd := &cobra.Command{
		Use:   "plan [MARK]…",
		Short: "Plan what to do in which sitting, so that no drying time is lost",
		Long: "Plan what to do in which sitting over the open jobs of these airframes, or of all, and the repairs\n" +
			"of their damage, from where they stand and with the clocks that run, so that all is finished as\n" +
			"soon as can be: by sitting the times, what to have ready and what dries meanwhile, then what holds\n" +
			"the finish back. No plan finishes before the best possible one; where that is not proven, it is\n" +
			"said how far from it this one is at most. What fits no sitting, or not\n" +
			"the temperature, is left out with what comes after it. Where there is no plan, it is said what is\n" +
			"in conflict. What would help is said too. Nothing is recorded. The plan is kept beside the store,\n" +
			"in a file named like it with .plan at its end, and what is next follows it. You may delete it.\n" +
			"A plan that is only a question (what if?) is asked with --unkept.\n\n" +
			"A sitting is \"today 19:00-21:00\", \"tomorrow …\", \"sat 14:00-17:00\" (the next one), a date as in\n" +
			"\"2026-03-07 14:00-17:00\", or is repeated: \"every weekday 19:30-21:00\", every day, every weekend,\n" +
			"every tue. On a day of which something is said, what is repeated gives way to that. One may end\n" +
			"after midnight. Where they are too few, the same ones are assumed after them, week after week.\n" +
			"Without --sitting they are the list below sittings: in config.yaml, or FETTLE_SITTINGS, which has\n" +
			"a semicolon between two, else those that you gave for the last plan.\n" +
			"With sittings known, follow plans anew when you begin and when you are late, and repair shows its\n" +
			"days. How many people work at once is hands: there, or FETTLE_HANDS. In a plan for several, next\n" +
			"and follow say whose step it is. Follow plans anew for as many as the last plan was for, unless\n" +
			"--hands there, or FETTLE_HANDS, says how many people there are: then next too goes by that. Planned\n" +
			"anew, whoever is at a step stays at it.\n\n" +
			"What a plan takes for granted: a step takes as long as you took for it before, where the record\n" +
			"has it three times, else as your steps compare with what is written, where it has five; of each\n" +
			"window a fifth, and at least 5 min, is left unused at its end, or as much as the work leaves,\n" +
			"since people are slow (--tight leaves nothing; common practice, no source); a choice that is open\n" +
			"gets its first answer, and an option is left out (--consider); the bench is as warm as it was read\n" +
			"last, else at 20 °C (--temperature); a rework takes as long as its measuring. A plan changes no\n" +
			"clock and no window.\n\n" +
			"What is hot, on or plugged in is ended before a sitting is over (for now), and set in the next one\n" +
			"that needs it (once more). No step of the job is done with that; the plan names what records it:\n" +
			"fettle bench MARK --set iron=cold, fettle measure MARK GATE, and fettle clear MARK HOLD, which asks\n" +
			"every line of the hold again. What else it needs, next asks for.",
		Example: "  fettle plan --sitting \"today 19:00-21:00\" --sitting \"sat 14:00-17:00\"\n" +
			"  fettle plan CW-01 CW-02 --sitting \"every weekday 19:30-21:00\" --temperature 18C\n" +
			"  fettle plan CW-01 --sitting \"every sat 14:00-18:00\" --consider working-rudders --hands 2",
		Args:              arguments(0, -1),
		ValidArgsFunction: a.completeAllMarks,
	}
	flags := cmd.Flags()
	flags.StringArrayVar(&o.sittings, "sitting", nil, "when you are at the bench, a `SITTING`; may be repeated (else sittings: in the config)")
	stringFlag(flags, &o.hands, "hands", "", "how `MANY` people work at once (else hands: in the config, or 1)")
	stringFlag(flags, &o.temperature, "temperature", "", "the `TEMPERATURE` at the bench then, such as 18C (else as it was recorded last)")
	flags.StringArrayVar(&o.consider, "consider", nil, "plan with this `ADHESIVE or ANSWER` to an open choice; may be repeated")
	boolFlag(flags, &o.tight, "tight", false, "use windows to their ends, with nothing to spare")
	boolFlag(flags, &o.full, "full", false, "every sitting in full, however many there are")
	boolFlag(flags, &o.unkept, "unkept", false, "show it only: the plan before is kept, and what is next follows that")
	stringFlag(flags, &o.think, "think", "1s", "how long to look for a better plan, a `DURATION`")
	stringFlag(flags, &o.ics, "ics", "", "write the sittings to a calendar of their own: a `FILE`, or - for standard output")
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return a.plan(cmd.Context(), args, o) }
	return cmd
}

func (a *app) plan(ctx context.Context, marks []string, o planOptions) error {
	now := a.time.Now()
	think, err := time.ParseDuration(o.think) // which knows ms
	if err != nil {
		think, err = parseDuration(o.think)
	}
	seconds, number := strconv.ParseFloat(o.think, 64)
	switch {
	case a.json && o.ics == "-":
		return usage("--json and --ics - both write to standard output: name a file for the calendar")
	case number == nil && seconds > 0:
		return usage("--think %s: seconds, or minutes? Write %ss", o.think, o.think)
	case err != nil:
		return usage("--think: %v", err)
	case think <= 0 || think > time.Hour:
		return usage("--think takes more than 0 s, and at most 1 h")
	}
	hands, _, err := a.hands(o.hands)
	if err != nil {
		return err
	}
	h, err := a.hours(o.sittings, now)
	if err != nil {
		return err
	}
	h.Hands, h.Tight, h.Consider = hands, o.tight, o.consider
	if o.temperature != "" {
		q, err := quantity.Parse(o.temperature, quantity.Temperature)
		if err != nil {
			return usage("--temperature: %v", err)
		}
		celsius, err := q.Celsius()
		if err != nil {
			return usage("--temperature: %v", err)
		}
		if celsius < 0 || celsius > 50 {
			return usage("--temperature %s: nobody builds at that; write it like 18C", o.temperature)
		}
		h.Celsius = &celsius
	}
	if h.None() {
		if c, err := a.config(); err == nil {
			if value, origin, from := a.settings(c)[sittingsSetting].value(); origin != "default" {
				return usage("%s: %v", inFile(from, origin), isOver(value, now.In(time.Local)))
			}
		}
		return usage("say when you are at the bench: --sitting \"today 19:00-21:00\", or sittings: in the config file")
	}
	d, err := a.desk()
	if err != nil {
		return err
	}
	var work worked
	fleet, unbegun, begin, others, err := a.fleet(ctx, d, marks, &work)
	if err == nil && len(fleet)+len(unbegun) == 0 {
		var known []string
		if known, err = d.Marks(ctx); err == nil && len(known) == 0 {
			err = noAirframe()
		}
	}
	if err != nil {
		return err
	}
	if err := considered(o.consider, fleet, now); err != nil {
		return err
	}
	byRecord(ctx, d, h, fleet, &work, nil)
	timetable, err := workflow.Schedule(ctx, fleet, now, *h, plan.Options{Think: think})
	if err := ctx.Err(); err != nil { // stopped: the plan that was kept stays
		return err
	}
	var no *workflow.NoPlan
	if n := len(o.sittings); errors.As(err, &no) && no.Why == workflow.NoSitting && n > 0 && len(no.Open)+len(no.Left) == 0 { // in overtime, for which there is nothing
		return isOver(o.sittings[n-1], now.In(time.Local))
	}
	if no != nil {
		for _, s := range others {
			no.Left = append(no.Left, s.Standing(now)...)
		}
	}
	if no != nil && a.json && o.ics != "-" {
		return errors.Join(err, a.showJSON(page.NewNoPlan(no)))
	}
	if err != nil {
		return err
	}
	var beside []string
	if !o.unkept {
		var without []string
		if beside = d.Plan.Beside(fleet, timetable); len(marks) > 0 {
			all, err := d.Marks(ctx)
			if err != nil {
				return err
			}
			without = d.Plan.Without(fleet, all, beside)
		}
		d.Plan.Given = dated(o.sittings, now)
		if err := d.Plan.Keep(ctx, fleet, timetable, without); err != nil {
			a.warn("%v; what is next does not follow it", err)
		}
	}
	names := make([]string, len(fleet))
	for i, s := range fleet {
		names[i] = s.Airframe.Mark
	}
	p := page.NewPlan(names, timetable)
	p.Full, p.Think, p.Columns, p.Beside = o.full, think, a.Wide(), beside
	for _, s := range begin {
		p.ToBegin(s, now)
	}
	for _, s := range others {
		p.Without(s, now)
	}
	inReach := func(of []*workflow.State, w workflow.Lapse) bool {
		return slices.ContainsFunc(of, func(s *workflow.State) bool { return s.Airframe.Mark == w.Mark && s.InReach(w, now) })
	}
	for i := range p.Lapses {
		w := &p.Lapses[i]
		w.Before = !inReach(fleet, w.Lapse) && inReach(begin, w.Lapse)
		w.InReach = w.Before || inReach(fleet, w.Lapse)
	}
	if o.hands == "" && h.Like != nil && h.Like.Hands > hands {
		p.Before = h.Like.Hands
	}
	for _, s := range unbegun {
		if len(marks) > 0 || len(fleet) == 0 {
			p.Unbegun = append(p.Unbegun, strings.TrimSpace("fettle start "+s.Airframe.Mark+" "+a.buildOf(s.Airframe.Design)))
		}
	}
	if o.ics != "" {
		events := p.Calendar()
		err := a.writeCalendar(context.WithoutCancel(ctx), events, nil, o.ics)
		if more := len(p.Sittings) - len(events); err == nil && more > 0 {
			a.warn("the calendar has the sittings that you gave, not the %d that are assumed after them", more)
		}
		if err != nil || !a.json || o.ics == "-" {
			return err
		}
	}
	return a.show(p)
}

// considerable are the adhesives of the airframe and the answers to its choices.
func considerable(w word) []string {
	out := answers(w)
	for _, k := range w.state.Sheet.Adhesives {
		out = append(out, described(k.Name, k.Title))
	}
	return out
}

// considered refuses what is no adhesive and no answer on any of the airframes.
func considered(names []string, fleet []*workflow.State, now time.Time) error {
	var known []string
	for _, s := range fleet {
		for _, w := range considerable(word{state: s, now: now}) {
			name, _, _ := strings.Cut(w, "\t")
			known = append(known, name)
		}
	}
	for _, name := range names {
		if lists.Contains(known, name) {
			continue
		}
		if near := nearest.Of(name, known); near != "" {
			return usage("--consider: no adhesive and no answer is called %q; did you mean %q?", name, near)
		}
		return usage("--consider: no adhesive and no answer is called %q", name)
	}
	return nil
}

// hours are when somebody is at the bench: as given, else by the settings, else as it was given for the last plan.
func (a *app) hours(given []string, now time.Time) (h *workflow.Hours, err error) {
	h = &workflow.Hours{}
	now = now.In(time.Local)
	if len(given) > 0 {
		return sittings(given, now, byPlan)
	}
	c, err := a.config()
	if err != nil {
		return h, err
	}
	value, origin, from := a.settings(c)[sittingsSetting].value()
	if err := c.fault("sittings"); origin == "default" && err == nil {
		if d, err := a.desk(); err == nil {
			h, _ = sittings(d.Plan.Sittings(), now, byKept) // what can't be read is passed over, as all of that file
		}
		return h, nil
	} else if origin == "default" {
		return h, err
	}
	blank := func(text string) bool { return strings.TrimSpace(text) == "" } // after a semicolon at the end
	h, err = sittings(sorting.Delete(strings.Split(value, ";"), blank), now, bySettings)
	if err != nil {
		return h, usage("%s: %v", inFile(from, origin), err)
	}
	return h, nil
}

// sits is when the sitting is over that the settings have now, or had last; zero: they have none.
func (a *app) sits() (over time.Time) {
	now := a.time.Now()
	h, err := a.hours(nil, now)
	if err != nil {
		return over
	}
	for _, s := range h.Any() {
		if !s.From.After(now) {
			over = s.To
		}
	}
	return over
}

// unsettled reports whether neither a setting nor the last plan says when somebody is at the bench.
func (a *app) unsettled() bool {
	h, err := a.hours(nil, a.time.Now())
	return err == nil && h.None()
}

// inFile is where a setting is said, with the file where it is in one.
func inFile(from, origin string) string {
	if origin == "file" {
		from += " in " + configPath()
	}
	return from
}

// hands are how many people work at once: as given, else by the settings. said: by an option or the environment, for now.
func (a *app) hands(given string) (n int, said bool, err error) {
	c, err := a.config()
	if err != nil {
		return 0, false, err
	}
	s := a.settings(c)[handsSetting]
	s.flag = given
	value, origin, from := s.value()
	if err := c.fault("hands"); err != nil && origin == "default" {
		return 0, false, err
	}
	n, err = strconv.Atoi(value)
	if err != nil || n < 1 || n > workflow.MostHands {
		return 0, false, usage("%s takes a number from 1 to %d, not %q", inFile(from, origin), workflow.MostHands, value)
	}
	return n, origin == "flag" || origin == "environment", nil
}

// fleet is what is planned, of these airframes or of all on which something is open: with the check that is due and the repair of
// their damage as if they were begun; those are also given as they are, where it is to begin. Those on which no job was ever open are apart, and so
// are others that may have something to say at once. What was done is noted on the way.
func (a *app) fleet(ctx context.Context, d *desk.Desk, marks []string, work *worked) (fleet, unbegun, begin, others []*workflow.State, err error) {
	now := a.time.Now()
	work.read = true
	read := func(s *workflow.State, _ int) *workflow.State {
		work.note(s, now)
		if s.ToPlan(now) || neverBegun(s) || len(s.Standing(now))+len(s.Timers(now)) > 0 {
			return s
		}
		return nil
	}
	all, err := rows(ctx, a, nil, read)
	found := all
	if len(marks) > 0 {
		if err != nil {
			a.warn("%v; nothing is said of that here", err)
		}
		found, err = rows(ctx, a, marks, func(s *workflow.State, _ int) *workflow.State { return s })
	}
	if err != nil {
		return nil, nil, nil, nil, err
	}
	among := func(all []*workflow.State, s *workflow.State) bool {
		return slices.ContainsFunc(all, func(is *workflow.State) bool { return is.Airframe.Mark == s.Airframe.Mark })
	}
	for _, s := range found {
		switch {
		case s == nil:
		case s.ToPlan(now) || len(marks) > 0 && !neverBegun(s):
			if among(fleet, s) {
				break
			}
			after := d.Repairing(ctx, s)
			if after != s {
				begin = append(begin, s)
			}
			fleet = append(fleet, after)
		case neverBegun(s):
			unbegun = append(unbegun, s)
		}
	}
	for _, s := range all {
		if s != nil && !among(fleet, s) {
			others = append(others, s)
		}
	}
	return fleet, unbegun, begin, others, nil
}

// neverBegun reports whether no job was ever open on the airframe, nor is there damage to repair, or a flight to check it after.
func neverBegun(s *workflow.State) bool {
	return len(s.Jobs) == 0 && s.Retired == nil && len(s.Damages) == 0 && len(s.Flights) == 0
}

// byRecord adds to the hours of a plan what the record has for it: the builder's own pace, and the plan that was shown.
func byRecord(ctx context.Context, d *desk.Desk, h *workflow.Hours, fleet []*workflow.State, work *worked, known []*workflow.State) {
	h.Again, h.Pace, h.Like = true, workflow.PaceOf(work.all(ctx, d, known), d.By), d.Plan.Last(fleet)
}

// thinkAgain is how long a plan is looked for while somebody waits for the next step.
const thinkAgain = 200 * time.Millisecond

// again plans anew what is left at the bench, as near as can be to what was shown, and keeps it: for as many as the last plan was,
// where it is not said for how many, and with what that one had as if begun; without what a plan of others was made without. nil: it is no time of a sitting that the settings know, or there is no plan.
func (a *app) again(ctx context.Context, d *desk.Desk, fleet []*workflow.State, work *worked, people string) *workflow.Timetable {
	now := a.time.Now()
	h, err := a.hours(nil, now)
	if err != nil || !a.sits().After(now) {
		return nil
	}
	known := fleet
	fleet, _ = d.Plan.Followed(fleet, now)
	fleet = d.AsBegun(ctx, fleet)
	byRecord(ctx, d, h, fleet, work, known)
	ctx, cancel := context.WithTimeout(ctx, thinkAgain)
	defer cancel()
	said := false
	if h.Hands, said, err = a.hands(people); err != nil {
		return nil
	}
	if !said && h.Like != nil && h.Like.Hands > 0 {
		h.Hands = h.Like.Hands
	}
	if h.Like != nil && h.Like.Hands == h.Hands && isNew(h.Like, known, fleet, now) {
		return h.Like
	}
	t, err := workflow.Schedule(ctx, fleet, now, *h, plan.Options{Think: thinkAgain})
	if err != nil || ctx.Err() != nil && len(t.Visits) == 0 {
		return nil
	}
	if err := d.Plan.Keep(ctx, fleet, t, nil); err != nil && !work.unkept {
		work.unkept = true
		a.warn("%v; it is followed here, and known nowhere else", err)
	}
	return &t
}

// isNew reports whether the plan that was shown is of this minute and of all that is planned, with nothing recorded since: whoever asked for it
// a moment ago, and may have thought long, is led by that one.
func isNew(t *workflow.Timetable, known, fleet []*workflow.State, now time.Time) bool {
	if age := now.Sub(t.Made); age < 0 || age >= time.Minute || slices.ContainsFunc(t.Visits, func(v workflow.Visit) bool { return !v.Made.IsZero() }) {
		return false
	}
	return !slices.ContainsFunc(known, func(s *workflow.State) bool { return !s.Entries[len(s.Entries)-1].Recorded.Before(t.Made) }) &&
		!slices.ContainsFunc(fleet, func(s *workflow.State) bool { return s.ToPlan(now) && len(t.Planned(s.Airframe.Mark)) == 0 })
}

// days is when a repair can be done, by the settings; nil: they know of no sittings, or can't be read.
func (a *app) days(ctx context.Context, d *desk.Desk, s *workflow.State) (*page.Days, error) {
	now := a.time.Now()
	h, err := a.hours(nil, now)
	none := h.None()
	if err == nil && !none {
		h.Hands, _, err = a.hands("")
	}
	if err != nil {
		a.warn("%v; the repair is shown without its days", err)
		return nil, nil
	}
	if none {
		return nil, nil
	}
	fleet := []*workflow.State{d.Repairing(ctx, s)}
	byRecord(ctx, d, h, fleet, &worked{}, nil)
	t, err := workflow.Schedule(ctx, fleet, now, *h, plan.Options{})
	if errors.As(err, new(*workflow.NoPlan)) {
		return &page.Days{}, nil
	}
	if err != nil {
		return nil, err
	}
	days := page.NewDays(page.NewPlan([]string{s.Airframe.Mark}, t))
	return &days, nil
}
