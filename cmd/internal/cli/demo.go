package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/term"
	"fettle/procedures"
	"fettle/steps"
	"fettle/store"
	"fettle/workflow"
	"fettle/workflow/journal"
	"fettle/workflow/robot"
)

func (a *app) demoCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "demo",
		Short: "Play an evening at the bench on a store of its own",
		Long: "Play an evening at the bench: steps as they look, a join refused as too early, a coat that\n" +
			"lapsed over three days, a gate failed, reworked and passed, and the board at the end. It is\n" +
			"the real program on a new store. Only the clock is the demo's own; it ends at the present, so\n" +
			"you can go on with the same store by hand. On a terminal it goes page by page.",
		Args: arguments(0, 0),
		RunE: func(cmd *cobra.Command, _ []string) error { return a.demo(cmd.Context()) },
	}
}

// A demo plays commands with a clock of its own.
type demo struct {
	app   *app
	path  string
	clock *demoClock
	out   io.Writer
	kept  *keep.Keeper // of all scenes, so that no document is parsed twice
}

// demoClock is a clock that the demo sets; waiting advances it.
type demoClock struct{ now time.Time }

func (c *demoClock) Now() time.Time { return c.now }

func (c *demoClock) Sleep(ctx context.Context, d time.Duration) error {
	c.now = c.now.Add(d)
	return ctx.Err()
}

// A scene is one command of the demo, with words before it, after some time.
type scene struct {
	after   time.Duration // before it
	words   string
	command string
	quiet   bool // do not show it
	code    int
}

func (a *app) demo(ctx context.Context) error {
	path, err := a.demoStore()
	if err != nil {
		return err
	}
	d := &demo{app: a, path: path, clock: &demoClock{}}
	player := &app{Streams: a.Streams, time: d.clock, stores: a.stores, read: a.read, libraryPath: a.libraryPath, storePath: path, by: "builder"}
	if d.kept, err = player.keeper(); err != nil {
		return err
	}
	d.kept.Desk.Written = nil // of a store that is thrown away
	scenes := evening()
	var whole time.Duration
	for _, s := range scenes {
		whole += s.after
	}
	now := a.time.Now().Truncate(time.Minute)
	const waits = 30 * time.Minute // more than the scenes wait for clocks
	d.clock.now = now.Add(-whole - waits)
	evening, turn := d.clock.now, a.pages(ctx, &d.out)
	for i, s := range scenes {
		if s.words != "" && i > 0 {
			if more, err := turn(); err != nil || !more {
				return err
			}
		}
		if i == len(scenes)-1 { // the board, of all airframes
			if err := d.shelf(ctx, evening); err != nil {
				return err
			}
			s.after = now.Sub(d.clock.now) // the demo's clock ends at the real one
		}
		if err := d.play(ctx, s); err != nil {
			return err
		}
	}
	if more, err := turn(); err != nil || !more {
		return err
	}
	_, err = io.WriteString(a.Out, goOn(path))
	return err
}

// goOn says how to go on with the store of the demo.
func goOn(path string) string {
	store := oneLine(term.Clean(quoted(path)))
	return fmt.Sprintf("\nThat was the demo. To go on by hand, with the same store and the real clock:\n\n  fettle --store %s follow CW-01\n\n"+
		"(from a checkout: go run ./cmd/fettle --store %s follow CW-01)\n", store, store)
}

// pages gives the demo where it writes, and what turns a page: on a terminal what was
// written is shown as much at a time as has room, and Enter goes on; elsewhere it goes
// straight through. more is false if somebody leaves.
func (a *app) pages(ctx context.Context, out *io.Writer) (turn func() (more bool, err error)) {
	if *out = a.Out; !a.Interactive {
		return func() (bool, error) { return true, nil }
	}
	var written bytes.Buffer
	*out = &written
	prompter := term.NewPrompter(ctx, a.Streams)
	return func() (bool, error) {
		defer written.Reset()
		lines := strings.SplitAfter(strings.Trim(written.String(), "\n")+"\n", "\n")
		for lines = lines[:len(lines)-1]; len(lines) > 0; {
			n := a.Room(lines)
			if _, err := io.WriteString(a.Out, "\n"+strings.Join(lines[:n], "")); err != nil {
				return false, err
			}
			lines = lines[n:]
			answer, err := prompter.Ask(ctx, "Enter goes on, q leaves ")
			if errors.Is(err, term.ErrEnd) {
				err = nil
				answer = "q"
			}
			if err != nil || answer == "q" {
				return false, err
			}
		}
		return true, nil
	}
}

// demoStore is a new file: the one that --store names, which must not exist, or a
// temporary one.
func (a *app) demoStore() (string, error) {
	if a.storePath != "" {
		if _, err := os.Stat(a.storePath); err == nil {
			return "", usage("%s exists, but the demo needs a new store; name a new file or leave out --store", a.storePath)
		}
		return a.storePath, nil
	}
	dir, err := os.MkdirTemp("", "fettle-demo-")
	if err != nil {
		return "", fmt.Errorf("making a place for the demo: %w", err)
	}
	return filepath.Join(dir, "demo.db"), nil
}

func (d *demo) play(ctx context.Context, s scene) error {
	d.clock.now = d.clock.now.Add(s.after)
	out := d.out
	if s.words != "" {
		fmt.Fprint(out, d.app.Fold(fmt.Sprintf("\n--- %s · %s\n", d.clock.now.In(time.Local).Format("Mon 2 Jan 15:04"), s.words)))
	}
	if s.command == "" {
		return nil
	}
	streams := d.app.Streams
	streams.In, streams.Out, streams.Err, streams.Interactive = strings.NewReader(""), out, out, false
	args := splitCommand(s.command)
	if s.quiet {
		var discarded strings.Builder
		streams.Out, streams.Err = &discarded, &discarded
	} else {
		fmt.Fprint(out, d.app.Fold("\n$ fettle "+s.command+"\n"))
	}
	code := (&app{Streams: streams, time: d.clock, stores: d.app.stores, kept: d.kept}).run(ctx, args)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if code != s.code {
		return fmt.Errorf("the demo's command %q ended with %d, not %d", s.command, code, s.code)
	}
	if code != exitDone && !s.quiet {
		fmt.Fprintf(out, "(exit code %d)\n", code)
	}
	return nil
}

// splitCommand splits at spaces outside double quotes.
func splitCommand(line string) []string {
	var args []string
	for i, part := range strings.Split(line, `"`) {
		if i%2 == 1 {
			args = append(args, part)
		} else {
			args = append(args, strings.Fields(part)...)
		}
	}
	return args
}

// shelf adds two more airframes to the store, as a careful builder would have built
// them, side by side: one is released, the other is being repaired.
func (d *demo) shelf(ctx context.Context, evening time.Time) error {
	desk := d.kept.Desk
	l := &history{library: desk.Library, keep: func(data []byte) error {
		_, err := desk.Store.Keep(ctx, data)
		return err
	}}
	l.Worker = robot.Worker{Now: evening.AddDate(0, 0, -40), By: desk.By, Program: desk.Program, Documents: workflow.Documents{
		Sheets: map[string]*steps.Sheet{}, Procedures: map[string]*steps.Procedure{}}}
	store := func(mark string) error {
		records, err := journal.Encode(l.State.Entries)
		if err != nil {
			return err
		}
		return desk.Store.Append(ctx, mark, 0, records)
	}
	err := l.build("CW-02")
	if err == nil {
		err = store("CW-02")
	}
	if err != nil {
		return err
	}
	beside := slices.Clone(l.State.Entries)
	registered := beside[0].Facts.(journal.Registered)
	registered.Mark = "CW-03"
	beside[0].Facts = registered
	if l.State, err = workflow.Replay(beside, l.Documents); err != nil {
		return err
	}
	l.Now = evening.Add(-26 * time.Hour)
	if err := l.start("boom-snapped", "left-boom"); err != nil {
		return err
	}
	if err := l.Carry(8); err != nil {
		return err
	}
	return store("CW-03")
}

// A history is a journal that the robot writes; it is stored when it is complete.
type history struct {
	robot.Worker
	library *procedures.Library
	keep    func([]byte) error
}

// build registers the airframe and builds it to its release.
func (l *history) build(mark string) error {
	sheet, err := l.library.Sheet("causeway")
	if err != nil {
		return err
	}
	digest := store.Digest(sheet.Bytes)
	l.Documents.Sheets[digest] = sheet.Sheet
	if err := l.keep(sheet.Bytes); err != nil {
		return err
	}
	if l.State, err = workflow.Replay(nil, l.Documents); err != nil {
		return err
	}
	if err := l.Act(workflow.Register{Mark: mark, Sheet: sheet.Sheet, Digest: digest}); err != nil {
		return err
	}
	if err := l.start("causeway-build", ""); err != nil {
		return err
	}
	return l.Carry(1000)
}

func (l *history) start(procedure, zone string) error {
	doc, err := l.library.Procedure(procedure)
	if err != nil {
		return err
	}
	digest := store.Digest(doc.Bytes)
	l.Documents.Procedures[digest] = doc.Procedure
	if err := l.keep(doc.Bytes); err != nil {
		return err
	}
	return l.Act(workflow.Start{Procedure: doc.Procedure, Digest: digest, Sheet: l.State.Sheet, SheetDigest: l.State.SheetDigest, Zone: zone})
}

// evening is what the demo plays on CW-01.
func evening() []scene {
	const minute = time.Minute
	quiet := func(after time.Duration, command string) scene {
		return scene{after: after, command: command, quiet: true}
	}
	return []scene{
		{words: "a new airframe; its build begins", command: "airframe add CW-01 --design causeway --with working-rudders"},
		{command: "start CW-01 causeway-build"},
		{words: "read the thermometer once a sitting", command: "bench --temperature 18C --humidity 55%"},
		{words: "the first step is a hold: each line has its own answer", command: "next CW-01"},
		quiet(20*minute, "clear CW-01 house-rules --line 1 --line 2 --line 3"),
		quiet(3*minute, "done CW-01 make-safe"),
		quiet(2*minute, "done CW-01 air-the-bench"),
		quiet(15*minute, "done CW-01 count-parts"),
		quiet(10*minute, "done CW-01 label-parts"),
		quiet(15*minute, "done CW-01 flatten-table"),
		quiet(10*minute, "done CW-01 weigh-parts"),
		quiet(15*minute, "done CW-01 try-on-scrap"),
		quiet(4*minute, "clear CW-01 knife --line 1 --line 2"),
		quiet(20*minute, "done CW-01 make-washout-strips"),
		quiet(15*minute, "done CW-01 make-bed"),
		quiet(12*minute, "done CW-01 dry-fit-wing"),
		quiet(20*minute, "done CW-01 draw-cradles"),
		quiet(20*minute, "done CW-01 cut-cradles"),
		{after: minute, words: "a coat; the caution comes first", command: "next CW-01"},
		{after: 2 * minute, words: "the glue has a hold, asked once a sitting", command: "clear CW-01 contact --line 1 --line 2 --line 3"},
		{after: 4 * minute, command: "done CW-01 coat-left-root"},
		{after: 5 * minute, command: "done CW-01 coat-right-root"},
		{after: 3 * minute, words: "too early", command: "done CW-01 join-wing", code: exitRefused},
		{after: minute, words: "something else can be done while it dries", command: "next CW-01"},
		{words: "but the telephone rings, and three days go by"},
		{after: 72 * time.Hour, words: "a new sitting: the bench is read again, the window is open, and nothing is hot", command: "bench --temperature 20C --humidity 50% --set ventilation=on --set iron=cold --set gun=cold --set charger=off"},
		{after: minute, words: "the coat has lapsed, and its step is open again", command: "next CW-01"},
		{after: 2 * minute, words: "the hold has lapsed with the sitting", command: "clear CW-01 contact --line 1 --line 2 --line 3"},
		quiet(4*minute, "done CW-01 coat-left-root"),
		quiet(4*minute, "done CW-01 coat-right-root"),
		{words: "the program can wait for you", command: "wait CW-01 wing-roots"},
		{after: 2 * minute, command: "done CW-01 join-wing --touch dry"},
		quiet(31*minute, "done CW-01 mark-spar-lines"),
		quiet(4*minute, "clear CW-01 knife --line 1 --line 2"),
		quiet(15*minute, "done CW-01 cut-top-slot"),
		quiet(15*minute, "done CW-01 cut-bottom-slot"),
		{after: 4 * minute, words: "a gate: the slots are measured, and one end is too deep", command: "measure CW-01 spar-depth top-left=4.6mm top-root=4.5mm top-right=4.7mm bottom-left=4.6mm bottom-root=4.6mm bottom-right=5.9mm"},
		{after: minute, words: "measuring again until it fits is refused", command: "measure CW-01 spar-depth bottom-right=4.8mm", code: exitRefused},
		{after: 10 * minute, words: "the slot is lined and cut again", command: "done CW-01 rework:spar-depth"},
		{after: 3 * minute, words: "inches are fine too", command: `measure CW-01 spar-depth top-left=4.6mm top-root=4.5mm top-right=4.7mm bottom-left=4.6mm bottom-root=4.6mm "bottom-right=11/64 in"`},
		quiet(3*minute, "measure CW-01 spar-over-spar top-left=60mm bottom-left=60mm top-root=60mm bottom-root=60.5mm top-right=60mm bottom-right=60mm"),
		quiet(2*minute, "measure CW-01 spar-ends top-left=70mm top-right=70mm bottom-left=70.5mm bottom-right=70mm"),
		quiet(3*minute, "clear CW-01 saw --line 1 --line 2 --line 3"),
		quiet(15*minute, "done CW-01 cut-spars"),
		quiet(4*minute, "clear CW-01 epoxy --line 1 --line 2 --line 3"),
		quiet(8*minute, `done CW-01 coat-top-slot --mixed "8 min ago"`),
		{after: 5 * minute, words: "the spar is in; its epoxy sets while the pod goes on", command: "done CW-01 join-top-spar"},
		{after: minute, words: "the board of all three airframes", command: "status"},
	}
}
