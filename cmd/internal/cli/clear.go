package cli

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/nearest"
	"fettle/workflow"
)

func (a *app) clearCommand() *cobra.Command {
	var lines []int
	var witness workflow.Witness
	var thing string
	cmd := &cobra.Command{
		Use:   "clear [MARK] HOLD",
		Short: "Clear a safety hold, line by line",
		Long: "Clear a hold, the quarantine of a damage (D1), or what an adhesive or a tool asks for before\n" +
			"its first use in a sitting (contact, knife). You are asked about each line, or name each line\n" +
			"you confirm with --line. A hold is cleared whole or not at all. One that plugged something in,\n" +
			"or stood before that, is cleared once more when that is plugged in again; before a first time too\n" +
			"where that is in a later sitting.",
		Example:           "  fettle clear CW-01 knife\n  fettle clear CW-01 knife --line 1 --line 2",
		Args:              arguments(0, 2),
		ValidArgsFunction: a.completeAfterMark(holds, nothing),
	}
	cmd.Flags().IntSliceVar(&lines, "line", nil, "the `NUMBER` of a line that you confirm; may be repeated")
	nameFlag(cmd, &thing)
	witnessFlags(cmd, &witness)
	at := atFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return a.clear(cmd.Context(), args, lines, witness, thing, *at)
	}
	return cmd
}

func (a *app) clear(ctx context.Context, args []string, confirmed []int, witness workflow.Witness, thing, at string) error {
	s, rest, err := a.clearing(ctx, args)
	if err != nil {
		return err
	}
	use, ofUse := a.useNamed(s, rest[0])
	switch {
	case (isDamage(rest[0]) || ofUse) && witness != workflow.Witness{}:
		return usage("only a hold of a job asks for a second person")
	case (isDamage(rest[0]) || ofUse) && thing != "":
		return usage("only a hold of a job fits anything")
	case isDamage(rest[0]):
		return a.clearQuarantine(ctx, s, rest[0], confirmed, at)
	case ofUse:
		return a.clearUse(ctx, s, use, confirmed, at)
	}
	request := workflow.Clear{Step: rest[0], Thing: thing, Witness: witness}
	report, _, err := s.FindStep(rest[0], a.time.Now())
	if err != nil {
		return a.unknownHold(s, err)
	}
	// If it is not a hold that may be cleared now, Act says why; there is no point
	// in asking first.
	_, again := s.Again(report, a.time.Now())
	if report.Step.Kind.Traits().Confirms && (again || report.Progress == workflow.Ready) {
		if len(confirmed) == 0 {
			if err := a.ShowTo(a.Err, page.NewStep(s, report, a.time.Now()).Markdown(a.clock())); err != nil {
				return err
			}
		}
		request.Lines = report.Step.Confirm
		if s, request.Answers, err = a.answers(ctx, s, confirmed, report.Step.Confirm); err != nil {
			return err
		}
	}
	return a.act(ctx, s, request, at)
}

// unknownHold is the error of a name that is no step: it may be meant for the hold of an
// adhesive or a tool.
func (a *app) unknownHold(s *workflow.State, err error) error {
	var unknown *workflow.UnknownError
	if !errors.As(err, &unknown) {
		return err
	}
	known := lists.Clone(unknown.Known)
	for _, adhesive := range s.Sheet.Adhesives {
		known = append(known, adhesive.Name)
	}
	for _, tool := range s.Sheet.Tools {
		known = append(known, tool.Name)
	}
	return &workflow.UnknownError{What: "hold", Name: unknown.Name, Nearest: nearest.Of(unknown.Name, known)}
}

// answers returns the answer to each line: from the command line, or from a person
// who is asked. Asking takes time, so that the airframe is read again after it.
func (a *app) answers(ctx context.Context, s *workflow.State, confirmed []int, lines []string) (*workflow.State, []bool, error) {
	if len(confirmed) > 0 {
		answers, err := answersOf(confirmed, len(lines))
		return s, answers, err
	}
	answers, err := askLines(ctx, term.NewPrompter(ctx, a.Streams), lines)
	if err != nil {
		return s, nil, err
	}
	d, err := a.desk()
	if err != nil {
		return s, nil, err
	}
	s, err = d.State(ctx, s.Airframe.Mark)
	return s, answers, err
}

func answersOf(confirmed []int, lines int) ([]bool, error) {
	answers := make([]bool, lines)
	for _, n := range confirmed {
		if n < 1 || n > lines {
			s := "s"
			if lines == 1 {
				s = ""
			}
			return nil, usage("there is no line %d; the hold has %d line%s", n, lines, s)
		}
		answers[n-1] = true
	}
	return answers, nil
}

// askLines asks for each line of a hold and stops at the first that is not
// confirmed.
func askLines(ctx context.Context, p *term.Prompter, lines []string) ([]bool, error) {
	answers := make([]bool, len(lines))
	for i := 0; i < len(lines); {
		answer, err := p.Ask(ctx, fmt.Sprintf("%d. %s [y/n] ", i+1, term.Line(lines[i])))
		if errors.Is(err, term.ErrEnd) {
			return answers, nil
		}
		if err != nil {
			return nil, err
		}
		yes, ok := term.YesNo(answer)
		switch {
		case !ok:
			continue
		case !yes:
			return answers, nil
		}
		answers[i] = true
		i++
	}
	return answers, nil
}

// clearing reads the airframe, and what is to be cleared there. A damage alone
// looks like a mark.
func (a *app) clearing(ctx context.Context, args []string) (*workflow.State, []string, error) {
	if len(args) == 1 && isDamage(args[0]) {
		s, _, err := a.airframe(ctx, nil)
		return s, args, err
	}
	return a.airframeAnd(ctx, "clear", "hold", holds, args, 1)
}

// isDamage reports whether a name looks like that of a damage, such as D1.
//
//go:noinline
func isDamage(name string) bool {
	return len(name) > 1 && name[0] == 'D' && strings.Trim(name[1:], "0123456789") == ""
}

// useNamed is the adhesive or the tool of that name, if it has a hold. A step of
// the name that is open comes first.
func (a *app) useNamed(s *workflow.State, name string) (steps.Use, bool) {
	use, err := s.Use(name)
	if err != nil || len(use.Hold) == 0 {
		return steps.Use{}, false
	}
	report, _, err := s.FindStep(name, a.time.Now())
	return use, err != nil || report.Progress == workflow.Done
}

// clearUse clears the hold of an adhesive or a tool, line by line.
func (a *app) clearUse(ctx context.Context, s *workflow.State, use steps.Use, confirmed []int, at string) error {
	if len(confirmed) == 0 {
		if err := a.ShowTo(a.Err, page.NewUse(s, use, a.time.Now()).Markdown(a.clock())); err != nil {
			return err
		}
	}
	s, answers, err := a.answers(ctx, s, confirmed, use.Hold)
	if err != nil {
		return err
	}
	return a.act(ctx, s, workflow.ClearUse{Of: use.Name, Answers: answers, Lines: use.Hold}, at)
}

// clearQuarantine clears a quarantine, line by line.
func (a *app) clearQuarantine(ctx context.Context, s *workflow.State, damage string, confirmed []int, at string) error {
	request := workflow.ClearQuarantine{Damage: damage}
	if q, ok := s.Quarantine(damage); ok && q.Open() && !a.time.Now().Before(q.Until) { // else Act says why not
		var err error
		if s, request.Answers, err = a.answers(ctx, s, confirmed, q.Lines); err != nil {
			return err
		}
	}
	return a.act(ctx, s, request, at)
}
