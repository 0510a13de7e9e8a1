package cli

import (
	"context"
	"time"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/page"
	"fettle/workflow"
)

func (a *app) releaseCommand() *cobra.Command {
	var only bool
	var certificate string
	cmd := &cobra.Command{
		Use:   "release [MARK]",
		Short: "Release an airframe to fly, if the record proves it fit",
		Long: "Release an airframe to fly. Every critical gate must have passed and not be stale, every\n" +
			"job must be complete, every joint that carries load cured. Whatever is missing is listed.\n" +
			"The release names the readings it rests on. With --proof nothing is released.\n\n" + page.LocalRules,
		Args:              arguments(0, 1),
		ValidArgsFunction: a.completeMarks,
	}
	stringFlag(cmd.Flags(), &certificate, "certificate", "", "`KIND AND NUMBER` of the certificate of who releases, where one is held")
	boolFlag(cmd.Flags(), &only, "proof", false, "only show the proof")
	at := atFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return a.release(cmd.Context(), args, certificate, only, *at)
	}
	return cmd
}

func (a *app) release(ctx context.Context, args []string, certificate string, only bool, at string) error {
	state, err := a.airframeAlone(ctx, args)
	if err != nil {
		return err
	}
	if only {
		if at != "" {
			return usage("--proof shows how it is now; it takes no --at")
		}
		proof := page.Prove(state, a.time.Now())
		if err := a.show(proof); err != nil {
			return err
		}
		if len(proof.Reasons) > 0 {
			return &silentError{exitRefused}
		}
		return nil
	}
	when, err := a.when(at)
	if err != nil {
		return err
	}
	slip, err := a.giveRelease(ctx, state, certificate, when)
	if err != nil {
		return err
	}
	return a.show(slip)
}

// giveRelease releases an airframe to fly, and seals its record.
func (a *app) giveRelease(ctx context.Context, state *workflow.State, certificate string, when time.Time) (page.Proof, error) {
	k, err := a.keeper()
	if err != nil {
		return page.Proof{}, err
	}
	entries, state, err := k.Desk.Act(ctx, state, workflow.GiveRelease{Certificate: certificate}, when)
	if err != nil {
		return page.Proof{}, err
	}
	slip := page.NewSlip(state, entries[len(entries)-1])
	slip.Seal, slip.Checks = a.sealed(ctx, k, state), k.Desk.BeforeFlight(state)
	return slip, nil
}
