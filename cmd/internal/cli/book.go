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
)

// bookPhoto is the longest side of a photo in a book, in pixels.
const bookPhoto = 1200

func (a *app) bookCommand() *cobra.Command {
	var out string
	var force bool
	cmd := &cobra.Command{
		Use:   "book [MARK] -o FILE",
		Short: "Write the whole record as one printable HTML page",
		Long: "Write the record of an airframe as one HTML file that needs no other and can be printed: its\n" +
			"history, what the record does not show, releases, damage, every reading with its limits, joints\n" +
			"with their times, the steps of each job, photos without position data, and seals. Times are\n" +
			"local.",
		Example:           "  fettle book CW-01 -o cw-01.html",
		Args:              arguments(0, 1),
		ValidArgsFunction: a.completeMarks,
	}
	cmd.Flags().StringVarP(&out, "output", "o", "", "the `FILE` to write; - is the standard output")
	cmd.Flags().BoolVar(&force, "force", false, "write over a file that is there")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if out == "" {
			return usage("name the file to write: fettle book -o book.html")
		}
		return a.book(cmd.Context(), args, out, force)
	}
	return cmd
}

func (a *app) book(ctx context.Context, args []string, out string, force bool) error {
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
	err = book.Write(&bound, state, book.Options{Clock: a.clock(), Seals: seals, Documents: documents, Photo: func(digest string) ([]byte, string, error) {
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
	if force {
		write = wholefile.Replace
	}
	err = write(ctx, out, 0o644, func(file *os.File) error {
		_, err := file.Write(bound.Bytes())
		return err
	})
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("the book %s: %w, or replace it with --force", out, keep.ErrExists)
	}
	if err != nil {
		return fmt.Errorf("writing the book: %w", err)
	}
	return a.show(page.Bound{Mark: state.Airframe.Mark, File: out})
}
