package cli

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/page"
	"fettle/workflow"
)

type doneOptions struct {
	at, began, mixed, touch, with, thing string
	way                                  int
	photos                               []string
	witness                              workflow.Witness
}

func (a *app) doneCommand() *cobra.Command {
	var o doneOptions
	cmd := &cobra.Command{
		Use:   "done [MARK] STEP",
		Short: "Record that a step was done",
		Long: "Record that a step was done: a plain step, a coat, a join, a wait that is over, or a\n" +
			"measure step whose gates have passed. A glue step whose adhesive dries first is given\n" +
			"twice: when the coat is on, and when it is pressed. STEP may be written\n" +
			"JOB/STEP. A rework is recorded as " + page.ReworkStep + "GATE.",
		Example:           "  fettle done CW-01 coat-left-root --began \"8 min ago\"\n  fettle done CW-01 join-wing --touch dry\n  fettle done CW-01 rework:spar-depth",
		Args:              arguments(0, 2),
		ValidArgsFunction: a.completeAfterMark(dueSteps, nothing),
	}
	flags := cmd.Flags()
	stringFlag(flags, &o.began, "began", "", "a coat: `WHEN` spreading began (else the step's attended time before it was done)")
	stringFlag(flags, &o.mixed, "mixed", "", "a coat of two parts: `WHEN` they were mixed (else when spreading began)")
	flags.IntVar(&o.way, "way", 0, "a rework that has several ways: the `NUMBER` of the one that was taken")
	stringFlag(flags, &o.with, "with", "", "a coat that may be of several adhesives: the `ADHESIVE` that is used")
	stringFlag(flags, &o.touch, "touch", "", "a join, or the press of a glue step: what the touch test found, `dry or wet`; wet holds the join back")
	nameFlag(cmd, &o.thing)
	witnessFlags(cmd, &o.witness)
	at, photos := atFlag(cmd), photoFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		o.at, o.photos = *at, *photos
		return a.done(cmd.Context(), args, o)
	}
	return cmd
}

// nameFlag is the name of what a step fits.
func nameFlag(cmd *cobra.Command, to *string) {
	stringFlag(cmd.Flags(), to, "name", "", "a step that fits a battery or the like: the `NAME` written on it")
}

// witnessFlags are the two answers of a step that wants a second person.
func witnessFlags(cmd *cobra.Command, to *workflow.Witness) {
	stringFlag(cmd.Flags(), &to.Second, "second", "", "a step that wants a second person: `WHO` that was")
	cmd.Flags().IntVar(&to.Alone, "alone", 0, "such a step, done alone: the `NUMBER` of the way that was used instead")
}

func (a *app) done(ctx context.Context, args []string, o doneOptions) error {
	s, rest, err := a.airframeAnd(ctx, "done", "step", dueSteps, args, 1)
	if err != nil {
		return err
	}
	name := rest[0]
	request := workflow.Request(nil)
	if gate, ok := strings.CutPrefix(name, page.ReworkStep); ok {
		if o.witness != (workflow.Witness{}) {
			return usage("a rework does not ask for a second person")
		}
		if o.thing != "" {
			return usage("a rework fits no equipment that has a name")
		}
		rework := workflow.Rework{Gate: gate, Way: o.way, With: o.with, Touch: o.touch}
		if rework.Began, err = a.when(o.began); err != nil {
			return err
		}
		if rework.Mixed, err = a.when(o.mixed); err != nil {
			return err
		}
		request = rework
	} else if o.way != 0 {
		return usage("--way is for a rework: " + page.ReworkStep + "GATE")
	} else {
		finish := workflow.Finish{Step: name, Touch: o.touch, With: o.with, Thing: o.thing, Witness: o.witness}
		if finish.Began, err = a.when(o.began); err != nil {
			return err
		}
		if finish.Mixed, err = a.when(o.mixed); err != nil {
			return err
		}
		request = finish
	}
	return a.act(ctx, s, request, o.at, o.photos...)
}
