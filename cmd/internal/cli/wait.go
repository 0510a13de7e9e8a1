package cli

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/page"
	"fettle/workflow"
)

func (a *app) waitCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "wait [MARK] [JOINT or STEP]",
		Short: "Wait until a clock is ready, with a progress bar and a bell",
		Long: "Wait until a joint can be joined, handled or loaded, or until a wait step is over: the one\n" +
			"named, else whichever comes first. Stopping it does no harm, because the clocks are in the\n" +
			"journal. The exit code is 0 when the clock is ready.",
		Args:              arguments(0, 2),
		ValidArgsFunction: a.completeAfterMark(clocks, nothing),
		RunE: func(cmd *cobra.Command, args []string) error {
			s, rest, err := a.airframeWith(cmd.Context(), args, 1)
			if err != nil {
				return err
			}
			d, err := a.desk()
			if err != nil {
				return err
			}
			name := ""
			if len(rest) > 0 {
				name = rest[0]
			}
			return a.wait(cmd.Context(), d, s, name)
		},
	}
}

// recheck is how often a wait reads the journal again, because another terminal
// may have changed the times.
const recheck = 20 * time.Second

// wait returns nil when the wait is over. The store is open only while the journal
// is read.
func (a *app) wait(ctx context.Context, d *desk.Desk, state *workflow.State, name string) error {
	mark := state.Airframe.Mark
	await, err := state.Await(a.time.Now(), name)
	if err != nil {
		return err
	}
	bar := a.waitBar(mark, await)
	for {
		now := a.time.Now()
		if !now.Before(await.Ready) {
			break
		}
		bar.show(await, now)
		step := time.Second
		if !a.Interactive {
			step = recheck
		}
		if err := a.time.Sleep(ctx, min(step, await.Ready.Sub(now))); err != nil {
			bar.end()
			return err
		}
		if now = a.time.Now(); now.Sub(bar.read) >= recheck || !now.Before(await.Ready) {
			if state, err = d.State(ctx, mark); err != nil {
				bar.end()
				return err
			}
			if await, err = state.AwaitAgain(now, await); err != nil {
				bar.end()
				return err
			}
			bar.read = now
		}
	}
	bar.end()
	fmt.Fprint(a.Err, "\a")
	return a.show(page.NewReady(mark, await))
}

// A waitBar shows the progress of a wait: a bar on a terminal, one line elsewhere.
type waitBar struct {
	app  *app
	read time.Time // when the journal was last read
}

func (a *app) waitBar(mark string, w workflow.Await) *waitBar {
	fmt.Fprintln(a.Err, page.AwaitLine(mark, w, a.clock()))
	return &waitBar{app: a, read: a.time.Now()}
}

func (b *waitBar) show(w workflow.Await, now time.Time) {
	if b.app.Interactive {
		whole := max(w.Ready.Sub(w.Began), time.Second)
		b.app.Bar(float64(now.Sub(w.Began))/float64(whole), page.Span(w.Ready.Sub(now).Round(time.Second))+" left")
	}
}

func (b *waitBar) end() {
	if b.app.Interactive {
		fmt.Fprintln(b.app.Err)
	}
}
