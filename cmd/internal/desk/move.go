package desk

import (
	"context"
	"errors"
	"fmt"
	"time"

	"fettle/procedures"
	"fettle/workflow"
)

// Newer returns the request that moves a job to the library's present documents,
// or to the named procedure. Where the design sheet becomes another one, it moves
// every open job, each with its own procedure if that fits the sheet, else with the
// library's. What was read for it is kept by [Desk.Move].
func (d *Desk) Newer(ctx context.Context, s *workflow.State, job, procedure string) (workflow.MoveJob, error) {
	open, err := s.Job(job)
	if err != nil {
		return workflow.MoveJob{}, err
	}
	sheet, err := d.newest(ctx, s)
	if err != nil {
		return workflow.MoveJob{}, err
	}
	if err := d.succeeds(ctx, s.Airframe.Mark, s.SheetDigest, sheet); err != nil {
		return workflow.MoveJob{}, err
	}
	doc, err := d.newestOf(ctx, open, procedure)
	if err != nil {
		return workflow.MoveJob{}, err
	}
	if err := d.succeeds(ctx, job, open.Digest, doc); err != nil {
		return workflow.MoveJob{}, err
	}
	written := []*procedures.Document{sheet}
	if doc.Digest() != open.Digest {
		written = append(written, doc)
	}
	if err := d.unclaimed(ctx, s, written...); err != nil {
		return workflow.MoveJob{}, err
	}
	if faults := doc.Against(sheet.Sheet); len(faults) > 0 {
		return workflow.MoveJob{}, faults
	}
	d.remember(doc, sheet)
	move := workflow.MoveJob{Job: job, Procedure: doc.Procedure, Digest: doc.Digest(), Sheet: sheet.Sheet, SheetDigest: sheet.Digest()}
	if move.SheetDigest == s.SheetDigest {
		return move, nil
	}
	refusal := &workflow.Refusal{What: "moving " + job}
	for _, other := range s.OpenJobs(d.Now()) {
		if other.ID == job {
			continue
		}
		fits, faults, err := d.fitting(ctx, other, sheet)
		if err != nil {
			return workflow.MoveJob{}, err
		}
		if len(faults) > 0 {
			refusal.Reasons = append(refusal.Reasons, workflow.Reason{
				Because: workflow.ByState,
				Text:    fmt.Sprintf("job %s is open too, and does not fit the newer design sheet: %s", other.ID, faults[0].Text),
				Remedy:  workflow.Remedy{Kind: workflow.ToFinish, Mark: s.Airframe.Mark, Name: other.ID},
			})
			continue
		}
		d.remember(fits)
		move.Others = append(move.Others, workflow.MovedJob{Job: other.ID, Procedure: fits.Procedure, Digest: fits.Digest()})
	}
	if len(refusal.Reasons) > 0 {
		return workflow.MoveJob{}, refusal
	}
	return move, nil
}

// Move moves the jobs at that time, and keeps the documents that they move to.
func (d *Desk) Move(ctx context.Context, s *workflow.State, move workflow.MoveJob, at time.Time) error {
	digests := []string{move.Digest, move.SheetDigest}
	for _, other := range move.Others {
		digests = append(digests, other.Digest)
	}
	docs, err := d.documents(ctx, digests)
	if err != nil {
		return err
	}
	for _, doc := range docs {
		if err := d.keep(ctx, doc); err != nil {
			return err
		}
	}
	_, _, err = d.Act(ctx, s, move, at)
	return err
}

// remember has documents at hand that are not kept yet.
func (d *Desk) remember(docs ...*procedures.Document) {
	for _, doc := range docs {
		d.parsed.add(doc.Digest(), doc)
	}
}

// fitting is the document that a job goes on with under a sheet: its own, or the
// library's of that name; else the faults of its own.
func (d *Desk) fitting(ctx context.Context, job *workflow.Job, sheet *procedures.Document) (*procedures.Document, procedures.Faults, error) {
	kept, err := d.documents(ctx, []string{job.Digest})
	if err != nil {
		return nil, nil, err
	}
	own := kept[job.Digest]
	faults := own.Against(sheet.Sheet)
	if len(faults) == 0 {
		return own, nil, nil
	}
	// Whatever is wrong with the library's, the job does not fit by itself.
	newer, err := d.newestOf(ctx, job, "")
	if err == nil {
		err = d.succeeds(ctx, job.ID, job.Digest, newer)
	}
	if err == nil && len(newer.Against(sheet.Sheet)) == 0 {
		return newer, nil, nil
	}
	return nil, faults, nil
}

// newestOf is the document that a job can be moved to: the named one, or the
// library's of its name, or its own: where there is none, as of a plan of repair, and
// where that is an embedded one that is not newer.
func (d *Desk) newestOf(ctx context.Context, job *workflow.Job, procedure string) (*procedures.Document, error) {
	if procedure != "" {
		return d.Library.Procedure(procedure)
	}
	kept, err := d.documents(ctx, []string{job.Digest})
	if err != nil {
		return nil, err
	}
	own := kept[job.Digest]
	if len(job.Damages) > 0 {
		return own, nil
	}
	doc, err := d.Library.Procedure(job.Procedure.Name)
	var missing *procedures.NotFoundError
	switch {
	case errors.As(err, &missing):
		return own, nil
	case err == nil && doc.Embedded && notNewer(own, doc) != "":
		return own, nil
	}
	return doc, err
}

// newest is the design sheet that the airframe goes by from its next job on: the
// library's, unless that is an embedded one that is not newer than the sheet in
// force, which somebody wrote to stand in its place.
func (d *Desk) newest(ctx context.Context, s *workflow.State) (*procedures.Document, error) {
	sheet, err := d.Library.Sheet(s.Airframe.Design)
	var missing *procedures.NotFoundError
	switch {
	case errors.As(err, &missing):
	case err != nil:
		return nil, err
	case !sheet.Embedded || sheet.Revision() > s.Sheet.Revision || sheet.Digest() == s.SheetDigest:
		return sheet, nil
	}
	return d.inForce(ctx, s)
}

func (d *Desk) inForce(ctx context.Context, s *workflow.State) (*procedures.Document, error) {
	kept, err := d.documents(ctx, []string{s.SheetDigest})
	if err != nil {
		return nil, err
	}
	return kept[s.SheetDigest], nil
}

// sheetFor returns the design sheet for a new job. A repair that is wanted while
// other jobs are open goes by their sheet, and waits for no move.
func (d *Desk) sheetFor(ctx context.Context, s *workflow.State, start workflow.Start) (*procedures.Document, error) {
	if len(start.Damages) > 0 && len(s.OpenJobs(d.Now())) > 0 {
		return d.inForce(ctx, s)
	}
	sheet, err := d.newest(ctx, s)
	if err != nil {
		return nil, err
	}
	return sheet, d.succeeds(ctx, s.Airframe.Mark, s.SheetDigest, sheet)
}

// succeeds refuses a document in the place of the one that somebody goes by, which has
// that digest, unless it is newer: a revision says one thing, and none goes back.
func (d *Desk) succeeds(ctx context.Context, who, digest string, doc *procedures.Document) error {
	kept, err := d.documents(ctx, []string{digest})
	if err != nil {
		return err
	}
	have := kept[digest]
	why := notNewer(have, doc)
	if why == "" {
		return nil
	}
	reason := workflow.Reason{Because: workflow.ByState, Text: fmt.Sprintf("%s goes by revision %d of %s, and %s", who, have.Revision(), have.Name(), why)}
	if !doc.Embedded {
		reason.Remedy = workflow.Remedy{Kind: workflow.ToRaiseRevision, Name: fileOf(doc)}
	}
	return &workflow.Refusal{What: doc.Name(), Reasons: []workflow.Reason{reason}}
}

// notNewer says why the second document can't come after the first; "": it can, or is
// the same.
func notNewer(have, doc *procedures.Document) string {
	switch {
	case doc.Name() != have.Name(): // which is refused for that
		return ""
	case doc.Revision() < have.Revision():
		return fmt.Sprintf("revision %d is older", doc.Revision())
	case !sameText(have, doc):
		return fmt.Sprintf("this revision %d says something else", doc.Revision())
	}
	return ""
}
