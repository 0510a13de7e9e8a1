package cli

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/procedures"
	"fettle/store"
	"fettle/store/photos"
	"fettle/store/seal"
	"fettle/store/wholefile"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// The exit codes. They are part of what the program promises.
const (
	exitDone        = 0
	exitFault       = 1
	exitUsage       = 2
	exitRefused     = 3
	exitNotFound    = 4
	exitStore       = 5
	exitUnsure      = 6
	exitInterrupted = 130
)

const exitHelp = `Exit codes: 0 done; 1 fault; 2 usage, or a document with faults; 3 refused (a gate, a hold
or a window says no); 4 not found; 5 the store is locked, damaged, foreign, full, out of reach
or newer than the program, and nothing was recorded; 6 the same, but something was recorded or
may have been: look before doing it again; 130 stopped by Ctrl-C (nothing is lost).`

// usageError is a mistake in the command line.
type usageError struct{ text string }

func (u usageError) Error() string { return u.text }

// Not inlined: its many copies would make the program larger.
//
//go:noinline
func usage(format string, args ...any) error { return usageError{fmt.Sprintf(format, args...)} }

// missingError is an argument that is missing, or unknown, with what it may be.
type missingError struct {
	page.Missing
	wrong error // nil: it is missing
}

func (m missingError) Error() string {
	if m.wrong != nil {
		return m.wrong.Error()
	}
	return "the " + m.What + " is missing"
}

func (m missingError) Unwrap() error { return m.wrong }

// exitCode is the one place where errors become exit codes.
func exitCode(err error) int {
	var (
		use      usageError
		missed   missingError
		refusal  *workflow.Refusal
		noPlan   *workflow.NoPlan
		unknown  *workflow.UnknownError
		missing  *procedures.NotFoundError
		faults   procedures.Faults
		kind     *procedures.KindError
		storage  *store.Error
		loss     *keep.LossError
		silent   *silentError
		became   *outcomeError
		none     noneError
		which    *desk.AmbiguousError
		notFound = errors.Is(err, store.ErrNotFound)
	)
	switch {
	case err == nil:
		return exitDone
	case errors.As(err, &silent):
		return silent.code
	case errors.As(err, &became) && became.unsure, errors.Is(err, store.ErrUnknown):
		return exitUnsure
	case errors.Is(err, context.Canceled):
		return exitInterrupted
	case errors.As(err, &use), errors.As(err, &missed) && missed.wrong == nil, errors.As(err, &which), errors.Is(err, workflow.ErrBadRequest), errors.Is(err, keep.ErrExists), errors.Is(err, keep.ErrItself), errors.Is(err, keep.ErrCluster), errors.Is(err, store.ErrSetup), errors.Is(err, keep.ErrNoKey), errors.Is(err, seal.ErrKey), errors.Is(err, seal.ErrExposed), errors.Is(err, wholefile.ErrNotFile), errors.Is(err, wholefile.ErrTooLarge), errors.Is(err, keep.ErrNotCarried), errors.As(err, new(*keep.HeldError)), isNotPhoto(err):
		return exitUsage
	case errors.As(err, &refusal), errors.As(err, &noPlan), errors.As(err, &loss), errors.Is(err, keep.ErrApart):
		return exitRefused
	case errors.As(err, &unknown), errors.As(err, &missing), errors.As(err, &none), notFound, errors.Is(err, fs.ErrNotExist), errors.Is(err, photos.ErrMissing):
		return exitNotFound
	case errors.Is(err, journal.ErrUnknownEntry), errors.Is(err, journal.ErrBadEntry), errors.As(err, &storage),
		errors.Is(err, store.ErrFull), errors.Is(err, store.ErrReadOnly), errors.Is(err, photos.ErrNoFolder), wholefile.IsFull(err):
		return exitStore
	case errors.As(err, &faults), errors.As(err, &kind): // of a document of one's own; those that are kept are the store's
		return exitUsage
	}
	return exitFault
}

// An outcomeError is a failure of the store, said with what became of what was to be recorded.
type outcomeError struct {
	error
	says   string
	unsure bool // it was recorded, or may have been
}

func (o *outcomeError) Error() string { return o.says }

func (o *outcomeError) Unwrap() error { return o.error }

// outcome says of a failure of the store what became of what was to be recorded: whatever failed
// does not know.
func (a *app) outcome(cmd *cobra.Command, err error) error {
	if a.kept == nil || !errors.As(err, new(*store.Error)) {
		return err
	}
	became, unknown := a.kept.Desk.Outcome(), errors.Is(err, store.ErrUnknown)
	says, advice := "nothing was recorded", "write down what is done meanwhile and when, and record it later with --at"
	switch {
	case became == nil && !unknown:
		locked := errors.Is(err, store.ErrLocked) || errors.Is(err, store.ErrOlder)
		if !locked && !errors.Is(err, store.ErrAway) || !records(cmd) {
			return err
		}
		if locked {
			return &outcomeError{error: err, says: says + ": " + err.Error()}
		}
	case unknown || became.Unknown:
		says, advice = "it is not known whether it was recorded", "look before doing it again"
		if became != nil {
			advice += ": " + page.LookAt(became.Mark)
		}
	default:
		says, advice = fmt.Sprintf("%s is recorded up to entry %d; then", became.Mark, became.Size-1), "look before doing anything again: "+page.LookAt(became.Mark)
	}
	return &outcomeError{err, says + ": " + err.Error() + "; " + advice, became != nil || unknown}
}

// records reports whether a command records what was done at the bench: it takes a time for it.
func records(cmd *cobra.Command) bool {
	at := cmd.Flags().Lookup("at")
	if at == nil {
		return false
	}
	what, _ := pflag.UnquoteUsage(at)
	return what == "WHEN"
}

// isNotPhoto reports whether a named file is not a photo that can be kept.
func isNotPhoto(err error) bool {
	for _, kind := range []error{photos.ErrNotPhoto, photos.ErrTooLong, photos.ErrTooLarge, photos.ErrTooManyParts} {
		if errors.Is(err, kind) {
			return true
		}
	}
	return false
}

// report shows an error on the error stream. What was typed is in it as one line.
func report(s term.Streams, c *page.Clock, err error, typed []string) {
	var silent *silentError
	if errors.As(err, &silent) {
		return
	}
	var part *workflow.PartError
	if errors.As(err, &part) {
		for _, err := range part.Refused {
			report(s, c, err, typed)
		}
		for _, e := range part.Record {
			if line := page.RecordedLine(e); line != "" {
				fmt.Fprintln(s.Err, s.Fold(term.Line(line)))
			}
		}
		return
	}
	var refusal *workflow.Refusal
	if errors.As(err, &refusal) {
		_ = s.ShowTo(s.Err, page.Refusal(refusal, c)) // nothing is left to report a failure to
		return
	}
	var none *workflow.NoPlan
	if errors.As(err, &none) {
		_ = s.ShowTo(s.Err, page.NewNoPlan(none).Markdown(c))
		return
	}
	var missed missingError
	if errors.As(err, &missed) {
		_ = s.ShowTo(s.Err, missed.Markdown(c))
		return
	}
	if errors.Is(err, context.Canceled) {
		fmt.Fprintln(s.Err, s.Fold("fettle: stopped; nothing is lost, and nothing more was recorded"))
		return
	}
	text := err.Error()
	for _, word := range typed {
		if i := strings.IndexByte(word, '='); i > 0 && strings.HasPrefix(word, "--") {
			word = word[i+1:]
		}
		if named := oneLine(word); named != word {
			text = strings.ReplaceAll(text, word, named)
		}
	}
	var bad *workflow.BadRequestError
	if errors.As(err, &bad) && !bad.Remedy.IsZero() {
		advice, command := page.Remedy(bad.Remedy)
		text += "; " + advice
		if command != "" {
			text += ": " + command
		}
	}
	var file *fs.PathError
	if errors.As(err, &file) && file.Path == os.Stdout.Name() { // what is written there comes after what is recorded
		text = fmt.Sprintf("the output could not be written: %v; what was to be recorded is recorded, so look before doing it again", file.Err)
	} else if wholefile.IsFull(err) && !errors.Is(err, store.ErrFull) { // who says so says what to do
		text += "; free some space and try again"
	}
	fmt.Fprintln(s.Err, s.Fold("fettle: "+term.Clean(s.Commands(text))))
}

// oneLine shows the line breaks in a name as codes: what comes after one would look like a
// message of its own.
func oneLine(name string) string { return strings.NewReplacer("\n", `\n`, "\r", `\r`).Replace(name) }

// silentError is a failure that was already shown.
type silentError struct{ code int }

func (*silentError) Error() string { return "" }
