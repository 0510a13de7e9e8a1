package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/book"
	"fettle/cmd/internal/desk"
	"fettle/store/photos"
)

// bookPhoto is how many pixels the longest side of a photo in a book has.
const bookPhoto = 1200

func (a *app) bookCommand() *cobra.Command {
	var out string
	var force bool
	cmd := &cobra.Command{
		Use:   "book [MARK] -o FILE",
		Short: "Write the whole record as one printable page",
		Long: "Write the record of an airframe as one HTML page that needs nothing beside itself: its life, how\n" +
			"it stands, every reading in its limits, photos without position data, seals, the journal.",
		Example:           "  fettle book CW-01 -o cw-01.html",
		Args:              arguments(0, 1),
		ValidArgsFunction: a.completeMarks,
	}
	cmd.Flags().StringVarP(&out, "output", "o", "", "the `FILE` to write; - is the standard output")
	cmd.Flags().BoolVar(&force, "force", false, "write over a file that is there")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if out == "" {
			return usage("say where to: fettle book -o book.html")
		}
		return a.book(cmd.Context(), args, out, force)
	}
	return cmd
}

func (a *app) book(ctx context.Context, args []string, out string, force bool) error {
	d, mark, _, err := a.deskOf(ctx, args)
	if err != nil {
		return err
	}
	state, err := d.State(ctx, mark)
	if err != nil {
		return err
	}
	seals, err := d.Seals(ctx, state)
	if err != nil {
		return err
	}
	var page bytes.Buffer
	err = book.Write(&page, state, book.Options{Clock: a.clock(), Seals: seals, Photo: func(digest string) ([]byte, string, error) {
		data, err := d.Photos.Read(digest)
		if err != nil {
			return nil, "", err
		}
		return photos.ForBook(data, bookPhoto)
	}})
	if err != nil {
		return err
	}
	if out == "-" {
		_, err := a.Out.Write(page.Bytes())
		return err
	}
	if _, err := os.Lstat(out); !force && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("the book %s: %w", out, desk.ErrExists)
	}
	if err := replaceFile(out, page.Bytes()); err != nil {
		return fmt.Errorf("writing the book: %w", err)
	}
	a.say("The book of %s is in %s.", mark, out)
	return nil
}

// replaceFile writes a file whole or not at all.
func replaceFile(path string, data []byte) error {
	file, err := os.CreateTemp(filepath.Dir(path), ".fettle-book-")
	if err != nil {
		return err
	}
	defer func() { _ = os.Remove(file.Name()) }()
	_, err = file.Write(data)
	if err = errors.Join(err, file.Chmod(0o644), file.Sync(), file.Close()); err != nil {
		return err
	}
	return os.Rename(file.Name(), path)
}
