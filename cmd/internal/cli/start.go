package cli

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/steps/lists"
	"fettle/steps/nearest"
	"fettle/workflow"
	"fettle/workflow/journal"
)

func (a *app) startCommand() *cobra.Command {
	var zone string
	var asBuilt bool
	cmd := &cobra.Command{
		Use:   "start [MARK] PROCEDURE [--zone ZONE]",
		Short: "Start a procedure on an airframe",
		Long: "Start a procedure on an airframe. PROCEDURE is a name in the library, or a file. --as-built in its\n" +
			"place starts the check that takes over an airframe whose build is not on record.",
		Example:           "  fettle start CW-01 causeway-build\n  fettle start CW-01 boom-snapped --zone left-boom\n  fettle start CW-02 --as-built",
		Args:              arguments(0, 2),
		ValidArgsFunction: a.completeStart,
	}
	stringFlag(cmd.Flags(), &zone, "zone", "", "the `ZONE` it is about, for a repair that asks for one")
	boolFlag(cmd.Flags(), &asBuilt, "as-built", false, "start the check that takes the airframe over as built")
	at := atFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return a.start(cmd.Context(), args, zone, asBuilt, *at)
	}
	return cmd
}

func (a *app) start(ctx context.Context, args []string, zone string, asBuilt bool, at string) error {
	s, rest, err := a.airframeWith(ctx, args, 1)
	if err != nil {
		return err
	}
	mark := s.Airframe.Mark
	if asBuilt && len(rest) > 0 {
		return usage("--as-built takes no procedure: fettle start %s --as-built", mark)
	}
	procedure := strings.Join(rest, " ")
	if !asBuilt && procedure == "" {
		if procedure, err = a.askProcedure(ctx, s); err != nil || procedure == "" {
			return err
		}
	}
	when, err := a.when(at)
	if err != nil {
		return err
	}
	return a.startOn(ctx, s, procedure, zone, when)
}

// askProcedure lists the procedures that fit and asks for one; "": none is started.
// Where nobody can answer, the list is of the error.
func (a *app) askProcedure(ctx context.Context, s *workflow.State) (string, error) {
	d, err := a.desk()
	if err != nil {
		return "", err
	}
	mark := s.Airframe.Mark
	fitting, err := d.Fitting(ctx, s)
	if err != nil {
		return "", err
	}
	if len(fitting) == 0 {
		return "", &workflow.Refusal{What: "start", Reasons: []workflow.Reason{{Because: workflow.ByState, Text: "nothing of the library can be started on " + mark + " now"}}}
	}
	var names []string
	missing := page.Missing{Mark: mark, What: "procedure", Command: "fettle start " + mark}
	for _, doc := range fitting {
		names, missing.Can = append(names, doc.Name()), append(missing.Can, page.Named{Name: doc.Name(), Is: doc.Title()})
	}
	if !a.Interactive {
		return "", missingError{missing, nil}
	}
	if err := a.ShowTo(a.Err, page.Fitting{Mark: mark, Procedures: fitting}.Markdown(a.clock())); err != nil {
		return "", err
	}
	prompter := term.NewPrompter(ctx, a.Streams)
	for {
		answer, err := prompter.Ask(ctx, "Which? Its number or name, or Enter for none: ")
		if errors.Is(err, term.ErrEnd) || answer == "" {
			return "", nil
		}
		if err != nil {
			return "", err
		}
		if n, err := strconv.Atoi(answer); err == nil && n >= 1 && n <= len(names) {
			return names[n-1], nil
		}
		if lists.Contains(names, answer) {
			return answer, nil
		}
		if near := nearest.Of(answer, names); near != "" {
			fmt.Fprintf(a.Err, "Did you mean %s?\n", near)
		}
	}
}

// startOn starts the procedure; "": the check that takes the airframe over as built.
func (a *app) startOn(ctx context.Context, s *workflow.State, procedure, zone string, when time.Time) error {
	d, err := a.desk()
	if err != nil {
		return err
	}
	if procedure == "" {
		if procedure, err = d.AsBuilt(s.Sheet); err != nil {
			return err
		}
	}
	mark := s.Airframe.Mark
	entries, state, err := d.Start(ctx, s, procedure, zone, when)
	if err != nil {
		return err
	}
	if a.json {
		return a.showJSON(page.NewNext(state, a.time.Now()))
	}
	job, err := state.Job(journal.JobOf(entries[len(entries)-1].Facts))
	if err != nil {
		return err
	}
	if err := a.sayInForce(s, state, job); err != nil {
		return err
	}
	a.say("%s", page.OpenedLine(mark, job.ID, job.Procedure.Steps()))
	if line := page.RepairLine(state, job, a.time.Now()); line != "" {
		a.say("%s", line)
	}
	return nil
}
