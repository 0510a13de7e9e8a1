package cli

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/book"
	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/page"
	"fettle/steps/lists"
	"fettle/workflow"
)

type spreadOptions struct {
	design, point, format string
	life, final           bool
}

func (a *app) spreadCommand() *cobra.Command {
	var o spreadOptions
	cmd := &cobra.Command{
		Use:   "spread [MARK] GATE",
		Short: "Show how the values of a gate lie, over airframes or one life",
		Long: "Show how the values of a gate lie: mean, standard deviation, a chart of the values in the order\n" +
			"of time with the rules that fire on it, what is expected outside the limits and, from 25 values\n" +
			"on, Cp and Cpk. Without MARK each airframe of the design gives one value, as it was built: that\n" +
			"with which the gate was first decided, passed or not, before its first rework, release or\n" +
			"damage. --after-rework takes that with which it passed in the end; of values that were\n" +
			"reworked nothing is expected of those to come. With MARK, or with --life of all airframes, it is every value that was\n" +
			"judged, one a sitting. A value is what the gate judges: the mean at a point, of a pair the\n" +
			"first less the second, or the result. What was taken back or is in doubt is left out, and so\n" +
			"are airframes on which nothing was judged. The limits are those of the newest design sheet.\n\n" +
			"The forecasts take it that values are normally distributed and steady; --format svg draws.",
		Example:           "  fettle spread CW-01 spar-depth",
		Args:              arguments(1, 2),
		ValidArgsFunction: a.completeSpread,
	}
	flags := cmd.Flags()
	stringFlag(flags, &o.design, "design", "", "airframes of this `DESIGN`, where several have the gate")
	stringFlag(flags, &o.point, "point", "", "one `POINT` of the gate, or a pair, A/B; else all that is judged")
	boolFlag(flags, &o.life, "life", false, "every value of each airframe, not only as built")
	boolFlag(flags, &o.final, "after-rework", false, "the value with which each airframe passed in the end")
	a.formats(cmd, &o.format, "", "csv", "svg")
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return a.spread(cmd.Context(), args, o) }
	return cmd
}

func (a *app) spread(ctx context.Context, args []string, o spreadOptions) error {
	switch {
	case o.final && (o.life || len(args) == 2):
		return usage("--after-rework takes one value of each airframe; leave out MARK and --life")
	case len(args) == 2 && o.design != "":
		return usage("an airframe has one design; leave out --design")
	}
	gate, of := args[len(args)-1], "one value an airframe, as built: that with which the gate was first decided, before any rework"
	var drawn []workflow.Drawn
	var unread error
	if len(args) == 2 {
		s, _, err := a.airframeWith(ctx, args, 1)
		if err != nil {
			return err
		}
		if _, err := s.GateReport(gate, a.time.Now()); err != nil {
			return err
		}
		d, err := s.Drawn(gate, workflow.EveryValue, a.time.Now())
		if err != nil {
			return err
		}
		drawn, of = []workflow.Drawn{d}, "every value of "+s.Airframe.Mark+" that was judged, one a sitting"
	} else {
		which := workflow.FirstJudged
		switch {
		case o.life:
			which, of = workflow.EveryValue, "every value that was judged, one a sitting"
		case o.final:
			which, of = workflow.AfterRework, "one value an airframe, as built: that with which the gate passed, or else the last that was judged"
		}
		d, err := a.desk()
		if err != nil {
			return err
		}
		type row struct {
			workflow.Drawn
			err error
		}
		now := a.time.Now()
		var all []row
		all, unread = desk.Rows(ctx, d, func(s *workflow.State, _ int) row {
			d, err := s.Drawn(gate, which, now)
			return row{d, err}
		})
		if unread != nil && len(all) == 0 {
			return unread
		}
		for _, r := range all {
			if r.err != nil {
				return r.err
			}
			drawn = append(drawn, r.Drawn)
		}
		if drawn, err = workflow.OfDesign(drawn, gate, o.design); err != nil {
			return err
		}
	}
	sp, err := workflow.NewSpread(drawn, o.point)
	if err != nil {
		return err
	}
	if !slices.ContainsFunc(sp.Series, func(s workflow.Series) bool { return s.Count > 0 }) {
		text := "no airframe of " + sp.Design + " has a value of " + gate + strings.TrimRight(" "+o.point, " ")
		if len(args) == 2 {
			text = fmt.Sprintf("%s has no value of %s", args[0], gate)
		} else if !o.life {
			text += " as built; --life takes what was judged later as well"
		}
		return noneError(text)
	}
	if o.format == "svg" {
		err = book.WriteChart(a.Out, sp)
	} else {
		err = a.showAs(page.NewSpread(sp, of), o.format)
	}
	return cmp.Or(err, unread)
}

// completeSpread completes a mark or a gate, and a gate after a mark.
func (a *app) completeSpread(cmd *cobra.Command, args []string, text string) (out []string, _ cobra.ShellCompDirective) {
	if len(args) > 1 {
		return nil, noFiles
	}
	a.completing(cmd, func(ctx context.Context, d *desk.Desk) {
		if len(args) == 1 {
			if s, rest, err := a.airframe(ctx, args); err == nil && len(rest) == 0 {
				out = gates(word{desk: d, ctx: ctx, now: a.time.Now(), state: s})
			}
			return
		}
		out = marks(ctx, d, text)
		all, _ := d.Marks(ctx)
		states, _ := a.states(ctx, all[:min(len(all), 8)])
		for _, s := range states {
			for _, g := range gates(word{desk: d, ctx: ctx, now: a.time.Now(), state: s}) {
				name, title, _ := strings.Cut(g, "\t")
				title, _, _ = strings.Cut(title, " · ")
				if g = described(name, title); !lists.Contains(out, g) {
					out = append(out, g)
				}
			}
		}
	})
	return out, directive(out)
}
