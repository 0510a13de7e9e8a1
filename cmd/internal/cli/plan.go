package cli

import (
	"context"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/page"
	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/nearest"
	"fettle/steps/quantity"
	"fettle/workflow"
	"fettle/workflow/plan"
)

type planOptions struct {
	sittings, consider      []string
	temperature, think, ics string
	hands                   int
	tight, full             bool
}

func (a *app) planCommand() *cobra.Command {
	var o planOptions
	cmd := &cobra.Command{
		Use:   "plan [MARK]…",
		Short: "Plan what to do in which sitting, so that no drying time is lost",
		Long: "Plan what to do in which sitting over the open jobs of these airframes, or of all, from where they\n" +
			"stand and with the clocks that run, so that all is finished as soon as can be: by sitting the times,\n" +
			"what to have ready and what dries meanwhile, then what holds the finish back. No plan finishes before\n" +
			"the best possible one; where that is not proven, it is said how far from it this one is at most.\n" +
			"Where there is no plan, it is said what is in conflict, and what would free it. Nothing is recorded.\n" +
			"The plan is kept beside the store, in a file named like it with .plan at its end, and what is next\n" +
			"follows it. You may delete it.\n\n" +
			"A sitting is \"today 19:00-21:00\", \"tomorrow …\", \"sat 14:00-17:00\" (the next one), a date as in\n" +
			"\"2026-03-07 14:00-17:00\", or is repeated: \"every weekday 19:30-21:00\", every day, every weekend, every\n" +
			"tue. On a day of which something is said, what is repeated gives way to that. One may end after\n" +
			"midnight. The standing ones are sittings: in config.yaml, or FETTLE_SITTINGS, apart by a semicolon.\n\n" +
			"What a plan takes for granted: a step takes as long as you took for it before, where the record tells,\n" +
			"else as long as is written; of each window a fifth, and at least 5 min, is left unused at its end,\n" +
			"since people are slow (--tight leaves nothing; common practice, no source); a choice that is open gets\n" +
			"its first answer, and an option is left out (--consider); the bench is as warm as it was read last,\n" +
			"else at 20 °C (--temperature). A plan changes no clock and no window.",
		Example: "  fettle plan --sitting \"today 19:00-21:00\" --sitting \"sat 14:00-17:00\"\n" +
			"  fettle plan CW-01 CW-02 --sitting \"every weekday 19:30-21:00\" --temperature 18C\n" +
			"  fettle plan CW-01 --sitting \"every sat 14:00-18:00\" --consider epoxy --hands 2",
		Args:              arguments(0, -1),
		ValidArgsFunction: a.completeAllMarks,
	}
	flags := cmd.Flags()
	flags.StringArrayVar(&o.sittings, "sitting", nil, "when you are at the bench, a `SITTING`; may be repeated (else sittings: in the config)")
	flags.IntVar(&o.hands, "hands", 1, "how `MANY` people work at once")
	flags.StringVar(&o.temperature, "temperature", "", "the `TEMPERATURE` at the bench then, such as 18C (else as it was recorded last)")
	flags.StringArrayVar(&o.consider, "consider", nil, "an `ADHESIVE`, or an answer to an open choice, to plan with; may be repeated")
	flags.BoolVar(&o.tight, "tight", false, "use windows to their ends, with nothing to spare")
	flags.BoolVar(&o.full, "full", false, "every sitting in full, however many there are")
	flags.StringVar(&o.think, "think", "1s", "how long to look for a better plan, a `DURATION`")
	flags.StringVar(&o.ics, "ics", "", "write the sittings to a calendar of their own: a `FILE`, or - for standard output")
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return a.plan(cmd.Context(), args, o) }
	return cmd
}

func (a *app) plan(ctx context.Context, marks []string, o planOptions) error {
	now := a.time.Now()
	think, err := parseDuration(o.think)
	switch {
	case err != nil:
		return err
	case think <= 0 || think > time.Hour:
		return usage("--think takes from 1 ms to 1 h")
	case o.hands < 1 || o.hands > 9:
		return usage("--hands takes a number from 1 to 9")
	}
	h := workflow.Hours{Hands: o.hands, Tight: o.tight, Consider: o.consider}
	if o.temperature != "" {
		q, err := quantity.Parse(o.temperature, quantity.Temperature)
		if err != nil {
			return usage("--temperature: %v", err)
		}
		celsius, err := q.Celsius()
		if err != nil {
			return usage("--temperature: %v", err)
		}
		h.Celsius = &celsius
	}
	if h.Sittings, err = a.hours(o.sittings, now); err != nil {
		return err
	}
	if len(h.Sittings) == 0 {
		return usage("say when you are at the bench: --sitting \"today 19:00-21:00\", or sittings: in the config file")
	}
	found, unread := rows(ctx, a, marks, func(s *workflow.State, _ int) *workflow.State {
		if len(marks) == 0 && len(s.OpenJobs(now)) == 0 {
			return nil
		}
		return s
	})
	if unread != nil {
		return unread
	}
	fleet := slices.DeleteFunc(found, func(s *workflow.State) bool { return s == nil })
	if err := considered(o.consider, fleet, now); err != nil {
		return err
	}
	if h.Pace, err = a.pace(ctx); err != nil {
		return err
	}
	timetable, err := workflow.Schedule(ctx, fleet, now, h, plan.Options{Think: think})
	if err != nil {
		return err
	}
	d, err := a.desk()
	if err != nil {
		return err
	}
	if err := d.Plan.Keep(ctx, fleet, timetable); err != nil {
		a.warn("%v; what is next does not follow it", err)
	}
	names := make([]string, len(fleet))
	for i, s := range fleet {
		names[i] = s.Airframe.Mark
	}
	p := page.NewPlan(names, timetable)
	p.Full = o.full
	if o.ics == "" {
		return a.show(p)
	}
	return a.writeCalendar(ctx, p.Calendar(), nil, o.ics)
}

// considered refuses what is no adhesive and no answer on any of the airframes.
func considered(names []string, fleet []*workflow.State, now time.Time) error {
	var known []string
	for _, s := range fleet {
		for _, k := range s.Sheet.Adhesives {
			known = append(known, k.Name)
		}
		for _, answer := range answers(word{state: s, now: now}) {
			name, _, _ := strings.Cut(answer, "\t")
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

// hours are when somebody is at the bench: as given, else by the settings.
func (a *app) hours(given []string, now time.Time) ([]workflow.Sitting, error) {
	now = now.In(time.Local)
	if len(given) > 0 {
		return sittings(given, now, false)
	}
	c, err := a.config()
	if err != nil {
		return nil, err
	}
	value, origin, _ := a.settings(c)[sittingsSetting].value()
	if origin == "default" {
		return nil, nil
	}
	return sittings(strings.Split(value, ";"), now, true)
}

// How often a step must have been timed before it is planned by that, and how many steps before all are (common practice,
// no source).
const (
	timedOnce  = 3
	timedInAll = 5
)

// pace is how long whoever is at the bench takes for a step: by how long that step took, else by how all steps compare with
// what is written, where the record has enough of either. What can't be read is left out.
func (a *app) pace(ctx context.Context) (func(*steps.Procedure, *steps.Step) (time.Duration, bool), error) {
	d, err := a.desk()
	if err != nil {
		return nil, err
	}
	all, err := a.worked(ctx)
	if err != nil && len(all) == 0 {
		return nil, err
	}
	every := workflow.Pace(all, d.By, func(*steps.Procedure, *steps.Step) bool { return true })
	return func(p *steps.Procedure, step *steps.Step) (time.Duration, bool) {
		hands, err := step.Hands.Duration()
		of := workflow.Pace(all, d.By, func(other *steps.Procedure, s *steps.Step) bool { return other.Name == p.Name && s.Name == step.Name })
		known := of.Count >= timedOnce
		if !known {
			of, known = every, every.Count >= timedInAll
		}
		return time.Duration(of.Median * float64(hands)), known && err == nil && hands > 0
	}, nil
}
