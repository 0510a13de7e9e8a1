package cli

import (
	"context"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/page"
	"fettle/workflow"
	"fettle/workflow/journal"
)

func (a *app) repairCommand() *cobra.Command {
	var start, full, sure bool
	cmd := &cobra.Command{
		Use:   "repair [MARK]",
		Short: "Plan the repair of all damage as one job",
		Long: "Turn all damage that has no job yet into one plan: what the triage table answers and why,\n" +
			"how long it takes, shared steps once, what others rest on first, and at the end the gates\n" +
			"that must be measured again. --full shows every step with the damage that it is there for,\n" +
			"--start opens it as a job. Where a repair is open, it is amended: what is done stays done, as far\n" +
			"as the new damage allows. Where nothing is to be added, the open plan is shown. While a coat is open\n" +
			"that can't be joined any more once it is begun, --start refuses; --sure begins it all the same.",
		Args:              arguments(0, 1),
		ValidArgsFunction: a.completeMarks,
	}
	boolFlag(cmd.Flags(), &full, "full", false, "every step, and why it is there")
	boolFlag(cmd.Flags(), &start, "start", false, "open the plan as a job, or amend the open repair by it")
	boolFlag(cmd.Flags(), &sure, "sure", false, "begin it though an open coat can't be joined any more then")
	at := atFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return a.repair(cmd.Context(), args, start, full, sure, *at)
	}
	return cmd
}

func (a *app) repair(ctx context.Context, args []string, start, full, sure bool, at string) error {
	s, err := a.airframeAlone(ctx, args)
	if err != nil {
		return err
	}
	d, err := a.desk()
	if err != nil {
		return err
	}
	when, err := a.when(at)
	if err != nil {
		return err
	}
	job := ""
	plan, err := d.PlanRepair(ctx, s)
	if err != nil && !start {
		if open, of, ok := d.OpenPlan(s); ok {
			plan, job, err = open, of, nil
		}
	}
	if err != nil {
		return err
	}
	now := s
	var forgone []workflow.Lapse
	if job == "" && !(start && sure) {
		forgone = d.Forgone(ctx, s)
	}
	if start && len(forgone) > 0 {
		return &workflow.Refusal{What: "repair of " + s.Airframe.Mark, Reasons: []workflow.Reason{{Because: workflow.ByLapse,
			Text: page.ForgoneLine(forgone[0], &page.Clock{Now: a.time.Now()}), Remedy: workflow.Remedy{Kind: workflow.ToJoinFirst, Mark: s.Airframe.Mark}}}}
	}
	if start {
		entries, state, err := d.StartRepair(ctx, s, plan, when)
		if err != nil {
			return err
		}
		now = state
		job = journal.JobOf(entries[len(entries)-1].Facts)
		opened, err := state.Job(job)
		if err != nil {
			return err
		}
		if !a.json {
			if err := a.sayInForce(s, state, opened); err != nil {
				return err
			}
		}
	}
	shown := page.NewRepair(s.Airframe.Mark, job, plan, d.Library.WrittenIn(plan.Procedure, ""))
	shown.Full = full
	shown.Forgone = forgone
	if shown.Days, err = a.days(ctx, d, now); err != nil {
		return err
	}
	return a.show(shown)
}
