package cli

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/page"
	"fettle/steps"
	"fettle/steps/quantity"
	"fettle/workflow"
)

type gaugeOptions struct{ reads, of, note, at string }

func (a *app) gaugeCommand() *cobra.Command {
	var o gaugeOptions
	cmd := &cobra.Command{
		Use:   "gauge [MARK] [GAUGE]",
		Short: "Record the check of a gauge, or show when each was last checked",
		Long: "Record what a gauge reads on a reference of known size: a gauge block, a weight, the shank of\n" +
			"a drill. It is good if it reads that size to within its uncertainty. A gauge that is not good\n" +
			"is refused until a check finds it good, and its readings since the check before are in doubt:\n" +
			"those gates must be measured again. Without --reads and --of the gauge is shown; without a\n" +
			"name, every gauge. A check is part of one airframe's record. If the gauge was used on others,\n" +
			"record it there too.",
		Example:           "  fettle gauge CW-01 depth --reads 10.02mm --of 10mm --note \"a gauge block\"",
		Args:              arguments(0, 2),
		ValidArgsFunction: a.completeAfterMark(gauges, nothing),
	}
	flags := cmd.Flags()
	stringFlag(flags, &o.reads, "reads", "", "the `VALUE` that the gauge reads")
	stringFlag(flags, &o.of, "of", "", "the size of the reference, a `VALUE`")
	stringFlag(flags, &o.note, "note", "", "`WORDS` about the check: what it was held against")
	at := atFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		o.at = *at
		return a.gauge(cmd.Context(), args, o)
	}
	cmd.AddCommand(a.studyCommand())
	return cmd
}

func (a *app) gauge(ctx context.Context, args []string, o gaugeOptions) error {
	s, rest, err := a.airframeWith(ctx, args, 1)
	if err != nil {
		return err
	}
	if len(rest) == 0 {
		return a.gauges(s, o)
	}
	if len(rest) > 1 {
		return usage("unexpected argument %q; a check takes one gauge", rest[1])
	}
	report, err := s.GaugeReport(rest[0], a.time.Now())
	if err != nil {
		return err
	}
	if o == (gaugeOptions{}) {
		return a.show(page.NewGauge(report))
	}
	request, err := o.request(report.Gauge)
	if err != nil {
		return err
	}
	return a.act(ctx, s, request, o.at)
}

// gauges shows every gauge of an airframe.
func (a *app) gauges(s *workflow.State, o gaugeOptions) error {
	all := page.Gauges{Mark: s.Airframe.Mark, Gauges: []page.Gauge{}}
	var names []string
	for _, g := range s.Sheet.Gauges {
		report, err := s.GaugeReport(g.Name, a.time.Now())
		if err != nil {
			return err
		}
		all.Gauges = append(all.Gauges, page.NewGauge(report))
		names = append(names, g.Name)
	}
	if o != (gaugeOptions{}) {
		return usage("name the gauge of %s: %s", all.Mark, strings.Join(names, ", "))
	}
	return a.show(all)
}

func (o gaugeOptions) request(gauge steps.Gauge) (workflow.CheckGauge, error) {
	r := workflow.CheckGauge{Gauge: gauge.Name, Note: o.note}
	if o.reads == "" || o.of == "" {
		return r, usage("a check needs both what the gauge reads and the true size of the reference")
	}
	var err error
	if r.Reads, err = quantity.ParseIn(o.reads, gauge.Resolution.Unit()); err != nil {
		return r, usage("%v", err)
	}
	if r.Of, err = quantity.ParseIn(o.of, gauge.Resolution.Unit()); err != nil {
		return r, usage("%v", err)
	}
	return r, nil
}
