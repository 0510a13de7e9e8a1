package cli

import (
	"context"
	"fmt"
	"sync/atomic"
	"time"

	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/page"
	"fettle/cmd/internal/sitting"
	"fettle/cmd/internal/term"
	"fettle/procedures"
	"fettle/workflow"
)

// version is the program version that entries name.
const version = "0.1"

// A timepiece tells the time and can wait.
type timepiece interface {
	Now() time.Time
	Sleep(ctx context.Context, d time.Duration) error
}

// An app is one run of the program.
type app struct {
	term.Streams
	time   timepiece
	stores keep.Kinds
	self   string // the name by which the program was called; "": it is not run again
	apart  bool   // it was run again

	read func(digest string, data []byte) (*procedures.Document, error) // a kept document; nil: as the desk does

	// From flags; the environment and the config come after them.
	storePath, libraryPath, by string
	json, bothUnits            bool

	configured *config      // the config file; nil until needed
	kept       *keep.Keeper // nil until needed

	stale  bool        // what was last seen of a store that is away was shown
	draws  bool        // over the whole terminal
	looks  atomic.Bool // the journals are looked at, and nobody waits for it
	waited atomic.Bool // it was said that the store is waited for
	bar    atomic.Bool // the last line on the error stream is a bar

	screen atomic.Pointer[sitting.Front] // the whole screen, which hides the error stream; nil: there is none
}

// warn reports what did not stop the command: on the error stream, or on the screen.
func (a *app) warn(format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	if front := a.screen.Load(); front != nil {
		_ = (*front).Tell(page.Escape(text)) // there is nowhere else to tell it
		return
	}
	a.pastBar()
	fmt.Fprintln(a.Err, a.Fold("fettle: "+term.Line(text)))
}

// pastBar ends the line of a bar, if there is one.
func (a *app) pastBar() {
	if a.bar.Swap(false) {
		fmt.Fprintln(a.Err)
	}
}

//go:noinline
func (a *app) clock() *page.Clock {
	return &page.Clock{Now: a.time.Now(), BothUnits: a.bothUnits}
}

// shown is a page: it marshals to JSON and has a text.
type shown interface{ Markdown(*page.Clock) string }

// show prints a page, as JSON if that was asked for.
func (a *app) show(thing shown) error {
	if a.json {
		return a.showJSON(thing)
	}
	return a.Show(thing.Markdown(a.clock()))
}

func (a *app) showJSON(thing any) error {
	data, err := term.JSON(thing, "  ")
	if err == nil {
		_, err = a.Out.Write(a.dated(data))
	}
	return err
}

// dated is a JSON object with the time that it is of, where that was last seen of a store that is away.
func (a *app) dated(data []byte) []byte {
	if !a.stale || a.kept == nil || len(data) < 3 || data[0] != '{' || data[1] == '}' {
		return data
	}
	at, why := a.kept.Desk.AsOf()
	if why == nil {
		return data
	}
	return append([]byte(`{"as_of":"`+at.UTC().Format(time.RFC3339)+`",`), data[1:]...)
}

// say prints one line of what was done.
func (a *app) say(format string, args ...any) {
	fmt.Fprintln(a.Out, a.Fold(term.Line(a.Commands(fmt.Sprintf(format, args...)))))
}

// actOn is act on the airframe of the mark.
func (a *app) actOn(ctx context.Context, mark string, request workflow.Request, at string) error {
	d, err := a.desk()
	if err != nil {
		return err
	}
	s, err := d.State(ctx, mark)
	if err != nil {
		return err
	}
	return a.act(ctx, s, request, at)
}

// begunBy says who began a coat that somebody else recorded as on.
func (a *app) begunBy(before *workflow.State, request workflow.Request, at time.Time) {
	f, _ := request.(workflow.Finish)
	if at.IsZero() {
		at = a.time.Now()
	}
	r, _, err := before.FindStep(f.Step, at)
	if err != nil || r.Begun.By == "" || !f.Began.IsZero() {
		return
	}
	since := r.Begun.Spread
	if since.IsZero() {
		since = r.Begun.Mixed
	}
	a.warn("%s began this coat at %s, and it counts from then: tell them; if yours is another one, take it back and give it with --began", r.Begun.By, a.clock().At(since))
}

// act decides and records a request, and shows what was recorded.
func (a *app) act(ctx context.Context, s *workflow.State, request workflow.Request, at string, photos ...string) error {
	d, err := a.desk()
	if err != nil {
		return err
	}
	when, err := a.when(at)
	if err != nil {
		return err
	}
	entries, state, err := d.Photograph(ctx, s, request, photos, when)
	if err != nil {
		return err
	}
	if len(photos) > 0 && d.PhotosHere {
		a.warn("%s", page.PhotosHere)
	}
	a.begunBy(s, request, when)
	left, _ := d.Left(context.WithoutCancel(ctx), s, state) // it is recorded, whoever is told of it
	for _, of := range left {
		a.warn("%s at %s is at %s, which no longer waits for anybody: tell them", of.By, of.Bench, of.Step)
	}
	return a.show(page.NewRecorded(state, entries, a.time.Now()))
}
