package cli

import (
	"context"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/desk"
	"fettle/procedures"
	"fettle/steps"
	"fettle/workflow"
)

// completionPatience is how long completion reads the store before it gives up.
const completionPatience = 300 * time.Millisecond

const noFiles = cobra.ShellCompDirectiveNoFileComp

// completing calls fn with a desk. Completion shows no errors.
func (a *app) completing(cmd *cobra.Command, fn func(context.Context, *desk.Desk)) {
	d, err := a.desk()
	if err != nil {
		return
	}
	ctx := cmd.Context()
	if ctx == nil {
		ctx = context.Background()
	}
	ctx, cancel := context.WithTimeout(ctx, completionPatience)
	defer cancel()
	fn(ctx, d)
}

func (a *app) completeMarks(cmd *cobra.Command, args []string, _ string) (marks []string, _ cobra.ShellCompDirective) {
	if len(args) == 0 {
		a.completing(cmd, func(ctx context.Context, d *desk.Desk) { marks, _ = d.Marks(ctx) })
	}
	return marks, noFiles
}

// completeOf completes a mark, then a name on that airframe; without a mark,
// the names on the only airframe with an open job.
func (a *app) completeOf(cmd *cobra.Command, args []string, names func(*workflow.State) []string) (out []string, _ cobra.ShellCompDirective) {
	a.completing(cmd, func(ctx context.Context, d *desk.Desk) {
		var s *workflow.State
		var err error
		if len(args) > 0 {
			s, err = d.State(ctx, args[0])
		} else {
			out, _ = d.Marks(ctx)
			s, _, err = d.Choose(ctx, "")
		}
		if err == nil {
			out = append(out, names(s)...)
		}
	})
	return out, noFiles
}

func (a *app) completeSteps(cmd *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	return a.completeOf(cmd, args, func(s *workflow.State) []string {
		return a.openSteps(s, func(steps.Kind) bool { return true })
	})
}

// completeAwaited completes the joints and waits of which a clock runs.
func (a *app) completeAwaited(cmd *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	return a.completeOf(cmd, args, func(s *workflow.State) []string {
		var names []string
		for _, t := range s.Clocks(a.time.Now()) {
			if !slices.Contains(names, t.Name) {
				names = append(names, t.Name)
			}
		}
		return names
	})
}

func (a *app) completeHolds(cmd *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	return a.completeOf(cmd, args, func(s *workflow.State) []string {
		names := a.openSteps(s, func(k steps.Kind) bool { return k.Traits().Confirms })
		for _, a := range s.Sheet.Adhesives {
			if len(a.Hold) > 0 {
				names = append(names, a.Name)
			}
		}
		for _, t := range s.Sheet.Tools {
			if len(t.Hold) > 0 {
				names = append(names, t.Name)
			}
		}
		return names
	})
}

func (a *app) completeAnswers(cmd *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	return a.completeOf(cmd, args, func(s *workflow.State) []string {
		var names []string
		for _, o := range s.Sheet.Options {
			names = append(names, o.Name)
		}
		for _, job := range s.OpenJobs(a.time.Now()) {
			for _, step := range job.Procedure.Steps() {
				for _, m := range step.Methods {
					names = append(names, s.NameOfAnswer(job, m.Name, a.time.Now()))
				}
			}
		}
		return names
	})
}

// openSteps lists the steps whose turn has come.
func (a *app) openSteps(s *workflow.State, want func(steps.Kind) bool) []string {
	var names []string
	now := a.time.Now()
	for _, job := range s.OpenJobs(now) {
		for _, r := range s.Steps(job, now) {
			if (r.Progress == workflow.Ready || r.Progress == workflow.Waiting) && want(r.Step.Kind) {
				names = append(names, s.NameOf(job.ID, r.Step.Name, now))
			}
		}
	}
	return names
}

func (a *app) completeGates(cmd *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	return a.completeOf(cmd, args, func(s *workflow.State) []string {
		var names []string
		for _, g := range s.Gates(a.time.Now()) {
			names = append(names, g.Gate.Name)
		}
		return names
	})
}

func (a *app) completeGauges(cmd *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	return a.completeOf(cmd, args, func(s *workflow.State) []string {
		var names []string
		for _, g := range s.Sheet.Gauges {
			names = append(names, g.Name)
		}
		return names
	})
}

func (a *app) completeStart(cmd *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	if len(args) == 0 {
		return a.completeMarks(cmd, args, "")
	}
	return a.documents((*procedures.Document).Starts), cobra.ShellCompDirectiveDefault
}

func (a *app) completeDesigns(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	return a.documents(func(d *procedures.Document) bool { return d.Sheet != nil }), cobra.ShellCompDirectiveDefault
}

func (a *app) completeDocuments(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	return a.documents(func(*procedures.Document) bool { return true }), cobra.ShellCompDirectiveDefault
}

func (a *app) documents(want func(*procedures.Document) bool) []string {
	library, err := a.library()
	if err != nil {
		return nil
	}
	entries, _ := library.List()
	var names []string
	for _, e := range entries {
		if want(e.Document) {
			names = append(names, e.Document.Name())
		}
	}
	return names
}
