package cli

import (
	"context"
	"errors"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/page"
	"fettle/workflow"
	"fettle/workflow/journal"
)

func (a *app) chooseCommand() *cobra.Command {
	var no bool
	cmd := &cobra.Command{
		Use:   "choose [MARK] ANSWER",
		Short: "Answer a choice: of the design, or of how a step is done",
		Long: "Answer a choice of the design, or of how a step is done. While the airframe is built, another\n" +
			"answer may be given until a step that depends on it is done. On a built airframe an option is\n" +
			"fitted by a job, which this command opens: the steps of the build that the option adds.\n" +
			"Where it takes the place of something else, a repair with a step for it is needed.",
		Example:           "  fettle choose CW-01 working-rudders\n  fettle choose SK-01 landing-skid",
		Args:              arguments(0, 2),
		ValidArgsFunction: a.completeAfterMark(answers, nothing),
	}
	boolFlag(cmd.Flags(), &no, "no", false, "ANSWER is an option that the airframe does not get")
	at := atFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return a.choose(cmd.Context(), args, no, *at)
	}
	return cmd
}

func (a *app) choose(ctx context.Context, args []string, no bool, at string) error {
	s, rest, err := a.airframeAnd(ctx, "choose", "answer", openAnswers, args, 1)
	if err != nil {
		return err
	}
	when, err := a.when(at)
	if err != nil {
		return err
	}
	d, err := a.desk()
	if err != nil {
		return err
	}
	entries, state, err := d.Answer(ctx, s, workflow.Choose{Answer: rest[0], No: no}, when)
	if unknown := (*workflow.UnknownError)(nil); errors.As(err, &unknown) && unknown.Nearest == "" {
		unknown.Known = nil // which are listed with what they are
		return a.missing(ctx, s, "choose", "answer", openAnswers, err)
	}
	if err != nil {
		return err
	}
	opened, fits := entries[len(entries)-1].Facts.(journal.JobOpened)
	if !fits {
		return a.show(page.NewRecorded(state, entries, a.time.Now()))
	}
	if a.json {
		return a.showJSON(page.NewNext(state, a.time.Now()))
	}
	job, err := state.Job(opened.Job)
	if err != nil {
		return err
	}
	if err := a.sayInForce(s, state, job); err != nil {
		return err
	}
	a.say("%s", page.OpenedLine(s.Airframe.Mark, opened.Job, job.Procedure.Steps()))
	return nil
}
