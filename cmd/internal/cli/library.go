package cli

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/book"
	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/procedures"
	"fettle/steps"
	"fettle/steps/lists"
	"fettle/store"
	"fettle/store/photos"
	"fettle/store/wholefile"
	"fettle/workflow"
)

func (a *app) libraryCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "library",
		Short: "List and show design sheets and procedures",
		Args:  onlyCommands,
		RunE:  func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(
		&cobra.Command{
			Use:   "list",
			Short: "List all documents: the embedded ones and your own",
			Args:  arguments(0, 0),
			RunE: func(*cobra.Command, []string) error {
				library, err := a.library()
				if err != nil {
					return err
				}
				entries, faults := library.List()
				return a.show(page.NewLibrary(entries, faults))
			},
		},
		a.showCommand(),
		a.lessonsCommand(),
		&cobra.Command{
			Use:     "schema",
			Short:   "Print a JSON Schema of the documents, for an editor",
			Example: "  fettle library schema > fettle.schema.json",
			Args:    arguments(0, 0),
			RunE: func(*cobra.Command, []string) error {
				schema, err := procedures.Schema()
				if err != nil {
					return err
				}
				_, err = a.Out.Write(schema)
				return err
			},
		},
		&cobra.Command{
			Use:               "copy NAME FILE",
			Short:             "Begin a document of your own with the text of another",
			Example:           "  fettle library copy boom-snapped my-boom.yaml",
			Args:              arguments(2, 2),
			ValidArgsFunction: a.completeDocuments,
			RunE:              func(cmd *cobra.Command, args []string) error { return a.copyDocument(cmd.Context(), args[0], args[1]) },
		},
	)
	return cmd
}

func (a *app) showCommand() *cobra.Command {
	var parts, full bool
	var with []string
	var format, design string
	cmd := &cobra.Command{
		Use:   "show NAME",
		Short: "Show one document; --full shows every word of it",
		Long: "Show one document; --full shows every word of it, as whoever works by it will see it.\n\n" +
			"--format html prints it to work from on paper, A4: every step with its cautions, drawings of\n" +
			"where the gauge goes, boxes to tick and lines to fill. The drawings are made of the geometry of\n" +
			"the design sheet and the places of the points (at:) of a gate; without these a gate has none.",
		Example:           "  fettle library show causeway\n  fettle library show causeway-build --format html > build.html",
		Args:              arguments(1, 1),
		ValidArgsFunction: a.completeDocuments,
	}
	a.formats(cmd, &format, "", "html")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		library, err := a.library()
		if err != nil {
			return err
		}
		doc, err := library.Find(args[0])
		if err != nil {
			return err
		}
		switch paper := format == "html"; {
		case full && parts:
			return usage("--full conflicts with --parts")
		case paper && (full || parts):
			return usage("--format html has all of it; leave --full and --parts out")
		case !parts && !paper && len(with) > 0:
			return usage("--with goes with --parts or --format html")
		case !paper && design != "":
			return usage("--design goes with --format html")
		case paper:
			return a.paper(cmd.Context(), library, doc, design, with)
		case full:
			return a.showAs(page.NewFullDocument(doc, library.OriginOf(doc), library.SheetsOf(doc)), format)
		case !parts:
			return a.showAs(page.NewDocument(doc, library.OriginOf(doc)), format)
		case doc.Procedure == nil:
			return usage("%s is not a procedure; only a procedure has tools and parts to list", args[0])
		}
		things, err := page.NewThings(doc.Procedure.For(steps.Selection{Has: with}, ""))
		if err != nil {
			return err
		}
		return a.showAs(things, format)
	}
	boolFlag(cmd.Flags(), &full, "full", false, "every step as at the bench, every gate with its limits, for proof-reading")
	boolFlag(cmd.Flags(), &parts, "parts", false, "of a procedure: its tools, and its parts added up")
	cmd.Flags().StringSliceVar(&with, "with", nil, "with --parts or --format html: the `OPTIONS` of the airframe")
	stringFlag(cmd.Flags(), &design, "design", "", "with --format html: the `DESIGN` whose limits and drawings a procedure for several has")
	return cmd
}

// paper writes a document to work from on paper, by one design sheet.
func (a *app) paper(ctx context.Context, library *procedures.Library, doc *procedures.Document, design string, with []string) error {
	sheet := doc.Sheet
	if sheet == nil && doc.Procedure != nil {
		sheets := library.SheetsOf(doc)
		var names []string
		for _, s := range sheets {
			names = append(names, s.Name)
			if s.Name == design || design == "" && len(sheets) == 1 {
				sheet = s
			}
		}
		switch {
		case sheet == nil && design != "":
			return usage("%s does not serve the design %q; it serves %s", doc.Name(), design, strings.Join(names, ", "))
		case sheet == nil && len(sheets) > 1:
			return usage("%s serves %s; say with --design whose limits and drawings it is to have", doc.Name(), strings.Join(names, ", "))
		}
	}
	draws := func(digest string) ([]byte, string, error) {
		data, err := photos.Load(ctx, doc.PictureFile(digest))
		if err != nil {
			return nil, "", err
		}
		return photos.ForBook(ctx, data, bookPhoto)
	}
	return book.WriteDocument(a.Out, page.NewFullDocument(doc, library.OriginOf(doc), library.SheetsOf(doc)), sheet, with, draws)
}

func (a *app) lessonsCommand() *cobra.Command {
	var format string
	cmd := &cobra.Command{
		Use:   "lessons PROCEDURE",
		Short: "Show what the record says of a procedure, for its author",
		Long: "Show what the records of all airframes here say of the steps of a procedure: how long they\n" +
			"took against what is written, lapsed coats, failed gates, reworks and what was taken back. What\n" +
			"there is most to learn from comes first. A step is timed from what the same person recorded\n" +
			"before it, on whichever airframe; after a break, during a wait or typed in later it is not.\n" +
			"Plans of repair count for each document that one of their steps was written in.",
		Example:           "  fettle library lessons causeway-build\n  fettle library lessons causeway-build --format csv > lessons.csv",
		Args:              arguments(1, 1),
		ValidArgsFunction: a.completeProcedures,
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.lessons(cmd.Context(), args[0], format)
		},
	}
	a.formats(cmd, &format, "", "csv")
	return cmd
}

// lessons shows what the records of the store say of a procedure, by its name or file.
func (a *app) lessons(ctx context.Context, name, format string) error {
	library, err := a.library()
	if err != nil {
		return err
	}
	doc, err := library.Find(name)
	if err != nil {
		return err
	}
	if doc.Procedure == nil {
		return usage("%s is not a procedure; only a procedure has steps that were done", name)
	}
	now := a.time.Now()
	type worked struct {
		workflow.WorkDone
		err error
	}
	found, unread := rows(ctx, a, nil, func(s *workflow.State, _ int) worked {
		done, err := s.WorkDone(now)
		return worked{done, err}
	})
	if unread != nil && len(found) == 0 {
		return unread
	}
	var all []workflow.WorkDone
	for _, w := range found {
		if w.err != nil {
			return w.err
		}
		all = append(all, w.WorkDone)
	}
	workflow.Timed(all)
	return cmp.Or(a.showAs(page.NewLessons(doc.Procedure, workflow.LessonsOf(doc.Procedure, store.Digest(doc.Source), all)), format), unread)
}

// copyDocument writes the text of a document into a new file, and its pictures beside it.
func (a *app) copyDocument(ctx context.Context, name, file string) error {
	library, err := a.library()
	if err != nil {
		return err
	}
	doc, err := library.Find(name)
	if err != nil {
		return err
	}
	if ext := filepath.Ext(file); ext != ".yaml" && ext != ".yml" {
		return usage("name a file that ends with .yaml, such as %s.yaml", doc.Name())
	}
	if _, err := os.Lstat(file); err == nil { // before pictures are written for it
		return fmt.Errorf("the file %s: %w", file, keep.ErrExists)
	}
	var pictures []string
	for _, from := range doc.PictureFiles() {
		name := filepath.Base(from)
		data, err := photos.Load(ctx, from)
		if err != nil {
			return fmt.Errorf("the picture %s: %w", name, err)
		}
		to := filepath.Join(filepath.Dir(file), name)
		if have, err := photos.Load(ctx, to); err == nil && bytes.Equal(have, data) {
			continue
		}
		if err := writeNew(ctx, to, data); err != nil {
			return err
		}
		pictures = append(pictures, name)
	}
	if err := writeNew(ctx, file, doc.Source); err != nil {
		return err
	}
	return a.show(page.Begun{Pictures: pictures, Name: doc.Name(), File: file, Revision: doc.Revision(), Key: doc.NameKey(), InPlace: doc.Embedded && doc.Triage == nil, Uses: doc.Uses()})
}

// writeNew writes a file that is not there yet.
func writeNew(ctx context.Context, file string, data []byte) error {
	err := wholefile.Create(ctx, file, 0o644, func(to *os.File) error {
		_, err := to.Write(data)
		return err
	})
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("the file %s: %w", file, keep.ErrExists)
	}
	if err != nil {
		return fmt.Errorf("writing %s: %w", file, err)
	}
	return nil
}

// cited lists the documents that an airframe goes by, with where each is from.
func (a *app) cited(s *workflow.State) ([]page.Cited, error) {
	d, err := a.desk()
	if err != nil {
		return nil, err
	}
	return page.Cite(s, d.Origin, d.Library.WrittenIn), nil
}

// sayInPlace says which of these documents of one's own are in force in the place
// of embedded ones.
func (a *app) sayInPlace(s *workflow.State, digests ...string) error {
	cited, err := a.cited(s)
	for _, c := range cited {
		if c.Replaces > 0 && lists.Contains(digests, c.Digest) {
			a.say("%s", page.Capital(c.Line()))
		}
	}
	return err
}

// sayInForce says which design sheet a job brought into force with it, and what of one's
// own the job goes by.
func (a *app) sayInForce(before, after *workflow.State, job *workflow.Job) error {
	if after.SheetDigest != before.SheetDigest {
		if err := a.show(page.NewSheetInForce(after.Airframe.Mark, before.Sheet, after.Sheet)); err != nil {
			return err
		}
	}
	return a.sayInPlace(after, after.SheetDigest, job.Digest)
}

func (a *app) checkCommand() *cobra.Command {
	return &cobra.Command{
		Use:               "check [FILE…]",
		Short:             "Check the documents you write, or your whole library",
		Args:              arguments(0, -1),
		ValidArgsFunction: completeFiles,
		RunE: func(cmd *cobra.Command, args []string) error {
			library, err := a.library()
			if err != nil {
				return err
			}
			var report procedures.Report
			if len(args) == 0 {
				report, err = library.CheckAll(cmd.Context())
			} else {
				report, err = library.Check(cmd.Context(), args...)
			}
			if err != nil {
				return err
			}
			return a.showCheck(report)
		},
	}
}

func (a *app) showCheck(report procedures.Report) error {
	check := page.NewCheck(report)
	if a.json {
		if err := a.showJSON(check); err != nil {
			return err
		}
	} else if _, err := fmt.Fprint(a.Out, term.Clean(check.Plain())); err != nil {
		return err
	}
	if len(report.Faults) > 0 {
		return &silentError{exitUsage}
	}
	return nil
}
