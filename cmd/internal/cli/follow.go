package cli

import (
	"cmp"
	"context"
	"fmt"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/screen"
	"fettle/cmd/internal/sitting"
	"fettle/workflow"
)

func (a *app) followCommand() *cobra.Command {
	var plain, short bool
	var hands string
	var runner func() (*runner, error)
	cmd := &cobra.Command{
		Use:   "follow [MARK]",
		Short: "Be led through the open jobs, one step at a time",
		Long: "Be led through the open jobs of an airframe, or without MARK of all airframes, one step at a\n" +
			"time: the caution first, then what to do, then a question with the keys that answer it. Each\n" +
			"answer is recorded at once, so you can leave at any point. Answers can come from a terminal or\n" +
			"a pipe.\n\n" +
			"At every question: q leaves, n puts the step off, l lists what is open and goes to another step,\n" +
			"u takes the last entry back, t writes a note, p keeps a photo, ? shows more and every key.",
		Args:              arguments(0, 1),
		ValidArgsFunction: a.completeMarks,
		RunE: func(cmd *cobra.Command, args []string) error {
			if a.json {
				return usage("follow is a conversation and has no JSON; next --json has the step")
			}
			called, err := runner()
			if err != nil {
				return err
			}
			return a.follow(cmd.Context(), args, plain, short, hands, given(cmd.Flags()), called)
		},
	}
	runner = a.runFlag(cmd)
	stringFlag(cmd.Flags(), &hands, "hands", "", "how `MANY` people there are (else as many as the last plan is for)")
	boolFlag(cmd.Flags(), &short, "short", false, "the short text of each step that has one, for who has built one before; cautions stay whole")
	boolFlag(cmd.Flags(), &plain, "plain", false, "line by line, each thing once and nothing drawn over, also on a terminal")
	return cmd
}

// given are the flags as a command was given them, to go on with.
func given(flags *pflag.FlagSet) string {
	var words []string
	flags.Visit(func(f *pflag.Flag) {
		switch text := f.Value.String(); {
		case f.Value.Type() == "bool":
			words = append(words, "--"+f.Name)
		default:
			words = append(words, "--"+f.Name, quoted(text))
		}
	})
	return strings.Join(words, " ")
}

func (a *app) follow(ctx context.Context, args []string, plain, short bool, people, options string, called *runner) error {
	d, err := a.desk()
	if err != nil {
		return err
	}
	if r, ok := a.kept.Store.(keep.Remote); ok {
		r.Recall(func(time.Time, error) {}) // the sitting says of when what it shows is
		defer func() {
			_, why := d.AsOf()
			a.stale = why != nil
		}()
	}
	mark := ""
	if len(args) > 0 {
		if mark, err = a.markOf(ctx, args); err != nil {
			return err
		}
	} else if marks, err := d.Marks(ctx); err != nil || len(marks) == 0 {
		return cmp.Or(err, noAirframe())
	}
	c, err := a.config()
	if err != nil {
		return err
	}
	_, origin, _ := a.settings(c)[bySetting].value()
	d.Seat = fmt.Sprint(os.Getpid(), "-", time.Now().UnixNano())
	bench := sitting.NewBench(d)
	bench.Follow(ctx)
	bench.Tells = true
	defer bench.Leave()
	s := &sitting.Sitting{
		Desk: d, Bench: bench, Mark: mark, BothUnits: a.bothUnits, Short: short, Options: options, When: a.when,
		Nameless: origin == "default",
		Release: func(ctx context.Context, mark string) (string, error) {
			state, err := d.State(ctx, mark)
			if err != nil {
				return "", err
			}
			slip, err := a.giveRelease(ctx, state, "", time.Time{})
			slip.Checks = nil // the last page of the sitting names them
			return slip.Markdown(a.clock()), err
		},
	}
	n, _, err := a.hands(people)
	if people != "" && err == nil {
		d.Plan.Hands = n // before it is read
	}
	h, unplanned := a.hours(nil, a.time.Now())
	none := h.None()
	if people != "" || unplanned == nil && !none {
		switch {
		case people != "" && err != nil:
			return err
		case people != "" && none && unplanned == nil:
			a.warn("nothing is planned anew without sittings: in the config")
		case unplanned == nil:
			unplanned = err
		}
	}
	if unplanned == nil && !none {
		var work worked
		s.Replan = func(ctx context.Context, fleet []*workflow.State) *workflow.Timetable {
			return a.again(ctx, d, fleet, &work, people)
		}
	}
	lead := func(ctx context.Context, front sitting.Front) error {
		s.Front = front
		if unplanned != nil {
			a.warn("%v; nothing is planned anew", unplanned)
		}
		return s.Lead(ctx)
	}
	ticker := time.NewTicker(time.Second)
	defer ticker.Stop()
	if len(called.words) > 0 {
		moments := func(after, until time.Time) []workflow.Moment { return workflow.Moments(bench.States(), after, until) }
		defer called.beside(moments, a.time.Now, time.Tick(time.Second))()
	}
	if !plain && screen.Fits(a.Streams) {
		return screen.Run(ctx, a.Streams, bench, a.time.Now, func(ctx context.Context, front sitting.Front) error {
			a.screen.Store(&front)
			return lead(ctx, front)
		})
	}
	return lead(ctx, newLines(ctx, a, bench, ticker.C))
}
