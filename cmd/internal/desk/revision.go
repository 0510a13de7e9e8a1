package desk

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"fettle/procedures"
	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/store"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// unclaimed makes sure that no job of the store was begun with another text of
// the same name and revision as one of these documents: a revision says one
// thing. Embedded documents are left out, as nobody can raise their revision
// here, and so is one that a job of this airframe was begun with.
func (d *Desk) unclaimed(ctx context.Context, s *workflow.State, docs ...*procedures.Document) error {
	docs = sorting.Delete(docs, func(doc *procedures.Document) bool {
		return doc.Embedded || journal.Any(s.Entries, func(e journal.Entry) bool {
			f, ok := e.Facts.(journal.JobOpened)
			return ok && (f.Sheet == doc.Digest() || f.Procedure == doc.Digest())
		})
	})
	if len(docs) == 0 {
		return nil
	}
	jobs, err := d.jobs(ctx)
	if err != nil {
		return err
	}
	for _, doc := range docs {
		for _, j := range jobs {
			begun := j.Procedure
			if doc.Sheet != nil {
				begun = j.Sheet
			} else if !strings.HasPrefix(j.Job, doc.Name()) {
				continue
			}
			with, err := d.documents(ctx, []string{begun})
			if err != nil {
				return err
			}
			if !sameText(with[begun], doc) {
				return &workflow.Refusal{What: doc.Name(), Reasons: []workflow.Reason{{
					Because: workflow.ByState,
					Text:    fmt.Sprintf("job %s of %s was begun with revision %d of %s, and this revision %d says something else", j.Job, j.mark, doc.Revision(), doc.Name(), doc.Revision()),
					Remedy:  workflow.Remedy{Kind: workflow.ToRaiseRevision, Name: fileOf(doc)},
				}}}
			}
		}
	}
	return nil
}

// fileOf is the file of a document, if it was read from one.
func fileOf(doc *procedures.Document) string {
	if doc.File == doc.Digest() {
		return "its file"
	}
	return doc.File
}

// sameText reports whether the second document may have its name and revision
// beside the first. What another document wrote may have moved in that.
func sameText(have, doc *procedures.Document) bool {
	if have.Kind() != doc.Kind() || have.Name() != doc.Name() || have.Revision() != doc.Revision() || have.Digest() == doc.Digest() {
		return true
	}
	if doc.Procedure == nil {
		return false
	}
	return slices.EqualFunc(have.Procedure.Stages, doc.Procedure.Stages, func(a, b steps.Stage) bool {
		return a.Name == b.Name && a.Title == b.Title && a.Phase == b.Phase && lists.Equal(a.After, b.After) && slices.EqualFunc(a.Steps, b.Steps, steps.Step.Alike)
	})
}

// A begunJob is the opening of a job, on whichever airframe.
type begunJob struct {
	journal.JobOpened
	mark string
}

// jobs are the openings of all jobs of the store, with each pair of documents
// once. A damaged journal has none.
func (d *Desk) jobs(ctx context.Context) ([]begunJob, error) {
	q := &queue{desk: d}
	var all []begunJob
	known := map[[2]string]bool{}
	for first := true; first || q.next < len(q.marks); first = false {
		err := q.batch(ctx, func(r store.Reader, at int) (int, error) {
			records, err := r.Read(q.marks[at], 0)
			if err == nil {
				var named []journal.Entry
				named, err = journal.Naming(records)
				for _, e := range named {
					if f, ok := e.Facts.(journal.JobOpened); ok && !known[[2]string{f.Procedure, f.Sheet}] {
						known[[2]string{f.Procedure, f.Sheet}] = true
						all = append(all, begunJob{f, q.marks[at]})
					}
				}
			}
			if err != nil && !unreadable(err) {
				return 0, err
			}
			return size(records), nil
		})
		if err != nil {
			return nil, err
		}
	}
	return all, nil
}
