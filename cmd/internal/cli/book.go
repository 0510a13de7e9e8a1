package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/book"
	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/page"
	"fettle/store/photos"
	"fettle/store/wholefile"
	"fettle/workflow"
)

// bookPhoto is the longest side of a photo in a book, in pixels.
const bookPhoto = 1200

func (a *app) bookCommand() *cobra.Command {
	var out string
	var force, full bool
	cmd := &cobra.Command{
		Use:   "book [MARK] -o FILE",
		Short: "Write the whole record as one printable HTML page",
		Long: "Write the record of an airframe as one HTML file that needs no other and can be printed. Page\n" +
			"one: whether it may fly, what is open, its sheet, its build, its flights, each repair with the\n" +
			"critical gates before and after, and its life as a strip. Then its history, what the record does\n" +
			"not show, releases, damage, every sitting at a gate with its limits and verdict, joints with\n" +
			"their times, cautions, parts, jobs, photos without position data, and seals. Earlier sittings\n" +
			"are folded, and not printed. --full adds the steps of each job with their texts, and each\n" +
			"reading by itself. Times are local.",
		Example:           "  fettle book CW-01 -o cw-01.html\n  fettle book CW-01 --full -o cw-01-full.html",
		Args:              arguments(0, 1),
		ValidArgsFunction: a.completeMarks,
	}
	cmd.Flags().StringVarP(&out, "output", "o", "", "the `FILE` to write; - is the standard output")
	boolFlag(cmd.Flags(), &force, "force", false, "write over an older book")
	boolFlag(cmd.Flags(), &full, "full", false, "add the steps of each job with their texts, and each reading by itself")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if out == "" {
			return usage("name the file to write: fettle book -o book.html")
		}
		return a.book(cmd.Context(), args, out, full, force)
	}
	return cmd
}

func (a *app) book(ctx context.Context, args []string, out string, full, force bool) error {
	state, err := a.airframeAlone(ctx, args)
	if err != nil {
		return err
	}
	k, err := a.keeper()
	if err != nil {
		return err
	}
	seals, err := k.Seals(ctx, state)
	if err != nil {
		return err
	}
	var bound bytes.Buffer
	documents, err := a.cited(state)
	if err != nil {
		return err
	}
	var finding func(name string) string
	if triage, _, err := k.Desk.Triage(state); err == nil { // a table that is broken leaves only titles out
		finding = func(name string) string {
			f, _ := triage.Finding(name)
			return f.Title
		}
	}
	err = book.Write(&bound, state, book.Options{Clock: a.clock(), Full: full, Seals: seals, Documents: documents, Finding: finding, Plan: k.Desk.Plan.Last([]*workflow.State{state}), Photo: func(digest string) ([]byte, string, error) {
		data, err := k.Desk.Photos.Read(digest)
		if err != nil {
			return nil, "", err
		}
		return photos.ForBook(ctx, data, bookPhoto)
	}})
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		return err
	}
	if out == "-" {
		_, err := a.Out.Write(bound.Bytes())
		return err
	}
	write := wholefile.Create
	if force && beginsWith(out, book.Begin) { // anything else may be a store, a copy of one or a key
		write = wholefile.Replace
	}
	err = write(ctx, out, 0o644, func(file *os.File) error {
		_, err := file.Write(bound.Bytes())
		return err
	})
	if errors.Is(err, fs.ErrExist) && force {
		return fmt.Errorf("%s is not a book, and --force replaces nothing else: %w", out, keep.ErrExists)
	}
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("the book %s: %w, or replace an older book with --force", out, keep.ErrExists)
	}
	if err != nil {
		return fmt.Errorf("writing the book: %w", err)
	}
	return a.show(page.Bound{Mark: state.Airframe.Mark, File: out})
}
