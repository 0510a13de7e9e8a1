package cli

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/page"
	"fettle/cmd/internal/sitting"
	"fettle/store"
	"fettle/workflow"
)

func (a *app) waitCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "wait [MARK] [JOINT or STEP]",
		Short: "Wait until a clock calls, with a progress bar and a bell",
		Long: "Wait until a clock calls: a joint may be joined, closes in five minutes, may be handled or is\n" +
			"cured, a wait is over, or the lines of a quarantine can be confirmed. Without a name it is the\n" +
			"next moment of the airframe, and without a mark that of all airframes. A joint that is open is\n" +
			"waited for until five minutes before it closes. Then it says what can be done, with the\n" +
			"command. Stopping it does no harm, because the clocks are in the journal. The exit code is 0\n" +
			"when the moment has come.",
		Args:              arguments(0, 2),
		ValidArgsFunction: a.completeAfterMark(running, nothing),
	}
	runner := a.runFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		called, err := runner()
		if err != nil {
			return err
		}
		defer called.end()
		if err := a.recall(); err != nil {
			return err
		}
		d, err := a.desk()
		if err != nil {
			return err
		}
		if len(args) == 0 {
			return a.waitForAny(cmd.Context(), d, called)
		}
		s, rest, err := a.airframeWith(cmd.Context(), args, 1)
		if err != nil {
			return err
		}
		name := ""
		if len(rest) > 0 {
			name = rest[0]
		}
		return a.wait(cmd.Context(), d, s, name, called)
	}
	return cmd
}

// recheck is how often a wait reads the journal again, because another terminal
// may have changed the times.
const recheck = 20 * time.Second

// awaited gives the moment that is waited for, by what stands in the journals now, and
// its airframe.
type awaited func(ctx context.Context, now time.Time) (workflow.Moment, *workflow.State, error)

// wait waits for the next moment of the airframe, or of a joint or step of it.
func (a *app) wait(ctx context.Context, d *desk.Desk, s *workflow.State, name string, r *runner) error {
	started := a.time.Now()
	was, err := s.Await(started, name)
	if err != nil {
		return err
	}
	bench := sitting.NewBench(d)
	bench.Put(s)
	return a.await(ctx, func(ctx context.Context, now time.Time) (m workflow.Moment, _ *workflow.State, err error) {
		if now.After(started) {
			anew, err := bench.Read(ctx, s.Airframe.Mark)
			a.putBack(bench)
			if isAway(err) { // nothing is kept of it
				anew, err = d.Clocked(ctx, s), nil
			}
			if err != nil {
				return m, s, err
			}
			s = anew
		}
		if name == "" {
			m, err = s.Await(started, "")
		} else {
			was, err = s.AwaitAgain(now, was)
			m = was
		}
		return m, s, err
	}, r)
}

// waitForAny waits for the next moment of all airframes.
func (a *app) waitForAny(ctx context.Context, d *desk.Desk, r *runner) error {
	started, bench, said := a.time.Now(), sitting.NewBench(d), ""
	known := false
	return a.await(ctx, func(ctx context.Context, now time.Time) (first workflow.Moment, of *workflow.State, err error) {
		_, err = bench.Refresh(ctx)
		a.putBack(bench)
		switch {
		case isAway(err) && !known:
			return first, nil, err
		case err != nil && !isAway(err) && err.Error() != said:
			said = err.Error()
			a.warn("%v", err)
		}
		known = true
		err = &workflow.UnknownError{What: "running clock"}
		for _, s := range bench.States() {
			if reason := s.Untrusted(now); reason != nil {
				return first, s, &workflow.Refusal{What: "waiting", Reasons: []workflow.Reason{*reason}}
			}
			if all := s.Moments(started, time.Time{}); len(all) > 0 && (of == nil || all[0].At.Before(first.At)) {
				first, of, err = all[0], s, nil
			}
		}
		return first, of, err
	}, r)
}

// putBack says which journals were put back to an older state.
func (a *app) putBack(bench *sitting.Bench) {
	for _, p := range bench.PutBack() {
		a.warn("%s", page.PutBack(p))
	}
}

func isAway(err error) bool { return errors.Is(err, store.ErrAway) || errors.Is(err, store.ErrUnknown) }

// await returns nil when the moment has come, also while the store is away: then it is that of what was
// last seen, on the safe side. The store is open only while journals are read.
func (a *app) await(ctx context.Context, find awaited, r *runner) error {
	read := a.time.Now()
	m, s, err := find(ctx, read)
	if err != nil {
		return err
	}
	_, away := a.kept.Desk.AsOf()
	if read.Before(m.At) {
		if err := a.ShowTo(a.Err, page.Await(s, m, a.clock())); err != nil {
			return err
		}
	}
	for now := read; now.Before(m.At); {
		step := recheck
		if a.Interactive {
			whole := max(m.At.Sub(m.Began), time.Second)
			a.bar.Store(true)
			a.Bar(float64(now.Sub(m.Began))/float64(whole), page.Span(m.At.Sub(now).Round(time.Second))+" left")
			step = time.Second
		}
		every := recheck
		if away != nil {
			every, step = glance, min(step, glance)
		}
		err := a.time.Sleep(ctx, min(step, m.At.Sub(now)))
		if now = a.time.Now(); err == nil && (now.Sub(read) >= every || !now.Before(m.At)) {
			m, s, err = find(ctx, now)
			read = now
			at, why := a.kept.Desk.AsOf()
			switch {
			case away != nil && why == nil:
				a.warn("the store can be reached again")
				a.stale = false
			case why != nil && !a.stale: // there is no copy that it was said of
				a.warn("%s", page.AsOf(at, why, a.clock()))
				a.stale = true
			}
			away = why
		}
		if err != nil {
			a.pastBar()
			return err
		}
	}
	a.pastBar()
	a.stale = false // that it has come is so, whatever was recorded since
	fmt.Fprint(a.Err, "\a")
	r.call(m, a.clock())
	return a.show(page.NewReady(s, m, a.time.Now()))
}
