package main

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/workflow"
)

type auditOptions struct {
	filter           workflow.AuditFilter
	from, to, format string
}

func (a *app) auditCommand() *cobra.Command {
	var o auditOptions
	cmd := &cobra.Command{
		Use:   "audit [MARK]",
		Short: "Show what was measured, by whom, with what, how near to the limit",
		Long: "Show every reading, gate by gate: when, by whom, with what, as typed, the limits in force\n" +
			"then, the margin, what became of it and which release rested on it; a page of summary first,\n" +
			"which says too what the record does not show.",
		Example:           "  fettle audit CW-01 --critical\n  fettle audit CW-01 --gate boom-gap --format csv > boom-gap.csv",
		Args:              arguments(0, 1),
		ValidArgsFunction: a.completeMarks,
	}
	flags := cmd.Flags()
	flags.StringVar(&o.filter.Gate, "gate", "", "readings of this `GATE`")
	flags.StringVar(&o.filter.Zone, "zone", "", "readings of gates of this `ZONE`")
	flags.StringVar(&o.filter.Job, "job", "", "readings taken for this `JOB`")
	flags.StringVar(&o.from, "from", "", "readings from this `DAY` on: 2026-03-03")
	flags.StringVar(&o.to, "to", "", "readings to the end of this `DAY`")
	flags.BoolVar(&o.filter.Critical, "critical", false, "readings of critical gates only")
	flags.BoolVar(&o.filter.Failures, "failures", false, "readings out of tolerance or undecided only")
	flags.StringVar(&o.format, "format", "text", "`text, md, json or csv`")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return a.audit(cmd.Context(), args, o)
	}
	return cmd
}

func (a *app) audit(ctx context.Context, args []string, o auditOptions) error {
	var err error
	if o.filter.From, err = day(o.from, 0); err != nil {
		return err
	}
	if o.filter.To, err = day(o.to, 1); err != nil {
		return err
	}
	d, mark, _, err := a.deskOf(ctx, args)
	if err != nil {
		return err
	}
	state, err := d.State(ctx, mark)
	if err != nil {
		return err
	}
	now := a.time.Now()
	readings, err := state.Audit(o.filter, now)
	if err != nil {
		return err
	}
	summary, err := state.AuditSummary(now)
	if err != nil {
		return err
	}
	return a.showAudit(page.NewAudit(state, summary, readings, o.filter != workflow.AuditFilter{}), o.format)
}

func (a *app) showAudit(audit page.Audit, format string) error {
	switch format {
	case "text":
		return a.show(audit)
	case "json":
		return a.showJSON(audit)
	case "csv":
		return audit.CSV(a.Out)
	case "md":
		_, err := fmt.Fprint(a.Out, term.Clean(audit.Markdown(a.clock())))
		return err
	}
	return usage("%q is no format; write text, md, json or csv", format)
}

// day is the beginning of a day, or of the day so many days after it.
func day(text string, after int) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	t, err := time.ParseInLocation("2006-01-02", text, time.Local)
	if err != nil {
		return t, usage("%q is no day; write 2026-03-03", text)
	}
	return t.AddDate(0, 0, after), nil
}
