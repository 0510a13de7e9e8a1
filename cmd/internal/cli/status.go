package cli

import (
	"cmp"
	"context"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/page"
	"fettle/steps/sorting"
	"fettle/store"
	"fettle/workflow"
)

func (a *app) statusCommand() *cobra.Command {
	var since string
	var watched bool
	cmd := &cobra.Command{
		Use:   "status [MARK]…",
		Short: "Show the board: where each airframe stands",
		Long: "Show the board: where each airframe stands, what is drying, what may fly. A board of many\n" +
			"airframes has one line for each. Those that need somebody come first: a coat that lapsed, a\n" +
			"window that is open, damage. Retired airframes are shown only if you name them.\n" +
			"--watch shows it until it is stopped, anew whenever something is recorded and each minute.\n" +
			"--since good shows of one airframe what changed since its last good flight: equipment,\n" +
			"balance, trims, throws, repairs, readings, conditions. A good flight was released and landed\n" +
			"softly.",
		Args:              arguments(0, -1),
		ValidArgsFunction: a.completeAllMarks,
	}
	stringFlag(cmd.Flags(), &since, "since", "", "what changed since the last `good` flight of one airframe")
	boolFlag(cmd.Flags(), &watched, "watch", false, "show it until it is stopped, anew when something changes")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		switch {
		case watched && cmd.Flags().Changed("since"):
			return usage("--watch and --since don't go together")
		case watched:
			return a.watchBoard(cmd.Context(), args)
		case !cmd.Flags().Changed("since"):
			return a.status(cmd.Context(), args)
		case since != "good":
			return usage("--since takes good: since the last good flight")
		case len(args) > 1:
			return usage("--since good shows one airframe")
		}
		s, err := a.airframeAlone(cmd.Context(), args)
		if err != nil {
			return err
		}
		now := a.time.Now()
		changed, err := s.SinceGood(now)
		if err != nil {
			return err
		}
		return a.show(page.NewSince(s, changed, now))
	}
	return cmd
}

// status shows the board of these airframes, or of all.
func (a *app) status(ctx context.Context, marks []string) error {
	if err := a.recall(); err != nil {
		return err
	}
	a.expires()
	board, unread := a.board(ctx, marks, 0)
	if board == nil {
		return unread
	}
	return cmp.Or(a.show(board), unread)
}

// soonExpires is how long before its end a certificate is spoken of.
const soonExpires = 7 * 24 * time.Hour

// expires says that the certificate of this bench soon ends.
func (a *app) expires() {
	if r, ok := a.kept.Store.(keep.Remote); ok {
		if at := r.Expires(); !at.IsZero() && at.Sub(a.time.Now()) < soonExpires {
			a.warn("this bench's own certificate is good until %s: get a new one in time, and name it as cert: and key: below etcd: in the config", a.clock().At(at))
		}
	}
}

// board is the board of these airframes, or of all; nil: none can be read. It is as crowded as
// one of at least so many.
func (a *app) board(ctx context.Context, marks []string, least int) (*page.Board, error) {
	d, err := a.desk()
	if err != nil {
		return nil, err
	}
	now := a.time.Now()
	claims, unclaimed := d.Claims(ctx)
	tiles, unread := rows(ctx, a, marks, func(s *workflow.State, of int) page.Tile {
		if s.Retired != nil && len(marks) == 0 {
			return page.Tile{}
		}
		if of = max(of, least); a.json {
			of = 0 // JSON has every airframe in full
		}
		return page.NewTile(s, now, of).At(sorting.Delete(slices.Clone(claims), func(c *store.Claim) bool { return c.Mark != s.Airframe.Mark || !s.Claimed(c.Step, now) }))
	})
	if unread = cmp.Or(unread, unclaimed); unread != nil && len(tiles) == 0 {
		return nil, unread
	}
	if len(marks) == 0 && slices.ContainsFunc(tiles, func(t page.Tile) bool { return t.Stands }) {
		page.Lead(tiles, a.beside(ctx), now)
	}
	board := page.NewBoard(tiles)
	return &board, unread
}

// beside are the airframes that can be read, each beside the others.
func (a *app) beside(ctx context.Context) []*workflow.State {
	all, _ := rows(ctx, a, nil, func(s *workflow.State, _ int) *workflow.State { return s }) // what can't be is said
	return all
}

func (a *app) timersCommand() *cobra.Command {
	var watched bool
	var calendar string
	cmd := &cobra.Command{
		Use:   "timers [MARK]…",
		Short: "Show every running clock",
		Long: "Show every running clock. With --watch it is a clock on the wall of the bench, until it is\n" +
			"stopped: on a terminal the clocks count in place, elsewhere each moment of one is a line. It\n" +
			"rings at each, and follows what other terminals record. --ics writes what comes to a calendar,\n" +
			"and cancels what it held before and comes no more; a file that is not one is never overwritten.",
		Args:              arguments(0, -1),
		ValidArgsFunction: a.completeAllMarks,
	}
	flags := cmd.Flags()
	boolFlag(flags, &watched, "watch", false, "count, and ring at each moment of a clock")
	stringFlag(flags, &calendar, "ics", "", "write what comes to a calendar, with alarms: a `FILE`, or - for standard output")
	runner := a.runFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		called, err := runner()
		switch {
		case err != nil:
			return err
		case watched && calendar != "":
			return usage("--watch and --ics don't go together")
		case calendar != "":
			return a.calendar(cmd.Context(), args, calendar)
		case watched:
			return a.watch(cmd.Context(), args, called)
		case len(called.words) > 0:
			return usage("--run goes with --watch")
		}
		if err := a.recall(); err != nil {
			return err
		}
		now := a.time.Now()
		states, unread := rows(cmd.Context(), a, args, func(s *workflow.State, _ int) page.Clocks {
			clocks := page.Clocks{}
			clocks.Add(s, now)
			return clocks
		})
		if unread != nil && len(states) == 0 {
			return unread
		}
		clocks := page.Clocks{Timers: []page.Timer{}}
		for _, of := range states {
			clocks.Join(of)
		}
		if clocks.Stands && len(args) == 0 {
			clocks.Lead(a.beside(cmd.Context()), now)
		}
		return cmp.Or(a.show(clocks), unread)
	}
	return cmd
}
