// Package desk joins the engine to the store and the library: it reads a
// journal, lets the workflow decide, and appends what was decided.
package desk

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"fettle/procedures"
	"fettle/steps"
	"fettle/store"
	"fettle/store/photos"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// A Desk is one person's access to one store.
type Desk struct {
	Store   store.Store
	Path    string // of the file that the store is in
	Photos  photos.Folder
	KeyPath string // of the private key that seals are made with
	Library *procedures.Library
	Now     func() time.Time
	By      string
	Program string

	parsed parsed
}

// tries is how often a decision is taken again when another terminal was
// quicker.
const tries = 5

// State replays one airframe's journal. An airframe that is not there is an
// *workflow.UnknownError with the nearest mark.
func (d *Desk) State(ctx context.Context, mark string) (*workflow.State, error) {
	records, err := d.records(ctx, mark)
	if err != nil {
		return nil, err
	}
	return d.replay(ctx, mark, records)
}

// records are the stored bytes of a journal that there is.
func (d *Desk) records(ctx context.Context, mark string) (records [][]byte, err error) {
	err = d.Store.View(ctx, func(r store.Reader) error {
		if records, err = r.Read(mark, 0); err == nil && len(records) == 0 {
			err = d.unknownMark(r, mark)
		}
		return err
	})
	return records, err
}

// Fleet replays every airframe's journal, in the order of their marks. Those that
// are damaged are left out, and named in an error beside the others.
func (d *Desk) Fleet(ctx context.Context) ([]*workflow.State, error) {
	journals, err := journalsOf(ctx, d.Store)
	if err != nil {
		return nil, err
	}
	var fleet []*workflow.State
	var unread []string
	var why error
	for _, j := range journals {
		state, err := d.State(ctx, j.Mark)
		switch {
		case errors.Is(err, store.ErrDamaged), errors.Is(err, journal.ErrBadEntry):
			unread, why = append(unread, j.Mark), cmp.Or(why, err)
		case err != nil:
			return nil, err
		default:
			fleet = append(fleet, state)
		}
	}
	if why != nil {
		return fleet, fmt.Errorf("not to be read: %s: %w; fettle doctor says what can be saved", strings.Join(unread, ", "), why)
	}
	return fleet, nil
}

// journalsOf are the journals of a store at one moment.
func journalsOf(ctx context.Context, s store.Store) (all []store.Journal, err error) {
	err = s.View(ctx, func(r store.Reader) error {
		all, err = r.Journals()
		return err
	})
	return all, err
}

// recordsOf are the stored bytes of a journal, none if there is no such journal.
func recordsOf(ctx context.Context, s store.Store, mark string) (records [][]byte, err error) {
	err = s.View(ctx, func(r store.Reader) error {
		records, err = r.Read(mark, 0)
		return err
	})
	return records, err
}

func (d *Desk) unknownMark(r store.Reader, mark string) error {
	journals, err := r.Journals()
	if err != nil {
		return err
	}
	known := make([]string, len(journals))
	for i, j := range journals {
		known[i] = j.Mark
	}
	return workflow.UnknownMark(mark, known)
}

// Act has a request decided on the airframe's state and appends what it gives.
// It returns the new entries and the state after them. Where another terminal
// was quicker it decides again.
func (d *Desk) Act(ctx context.Context, mark string, r workflow.Request, at time.Time) ([]journal.Entry, *workflow.State, error) {
	for range tries {
		state, err := d.State(ctx, mark)
		if err != nil {
			return nil, nil, err
		}
		entries, err := state.Decide(r, workflow.Circumstances{Now: d.Now(), At: at, By: d.By, Program: d.Program})
		var refusal *workflow.Refusal
		if errors.As(err, &refusal) && len(refusal.Record) > 0 {
			entries = refusal.Record
		} else if err != nil {
			return nil, nil, err
		}
		refused := err
		err = d.append(ctx, mark, state.Size(), entries)
		if errors.Is(err, store.ErrConflict) {
			continue
		}
		if err == nil {
			err = refused
		}
		if err != nil {
			return nil, nil, err
		}
		after, err := d.State(ctx, mark)
		return entries, after, err
	}
	return nil, nil, fmt.Errorf("the journal of %s changed under every one of %d tries: look again at what the other terminal does", mark, tries)
}

// Photograph acts like [Desk.Act], with photos of what is recorded. They are
// kept first, so that no entry ever names a photo that is not there.
func (d *Desk) Photograph(ctx context.Context, mark string, r workflow.Request, files []string, at time.Time) ([]journal.Entry, *workflow.State, error) {
	var kept []photos.Photo
	for _, file := range files {
		p, err := d.Photos.Add(ctx, file)
		if err != nil {
			return nil, nil, err
		}
		kept = append(kept, p)
	}
	entries, state, err := d.Act(ctx, mark, r, at)
	if err != nil {
		return nil, nil, err
	}
	var of []int64
	for _, e := range entries {
		of = append(of, e.Position)
	}
	for _, p := range kept {
		more, after, err := d.Act(ctx, mark, workflow.KeepPhoto{PhotoKept: journal.PhotoKept{Photo: p.Digest, Name: p.Name, Type: p.Type, Bytes: p.Bytes, Of: of}}, at)
		if err != nil {
			return nil, nil, err
		}
		entries, state = append(entries, more...), after
	}
	return entries, state, nil
}

func (d *Desk) append(ctx context.Context, mark string, size int64, entries []journal.Entry) error {
	records, err := journal.Encode(entries)
	if err != nil {
		return err
	}
	return d.Store.Append(ctx, mark, size, records)
}

// Register brings an airframe of a design under the record.
func (d *Desk) Register(ctx context.Context, mark, design string, options []string, at time.Time) (*workflow.State, error) {
	sheet, err := d.Library.Sheet(design)
	if err != nil {
		return nil, err
	}
	digest := store.Digest(sheet.Bytes)
	request := workflow.Register{Mark: mark, Sheet: sheet.Sheet, Digest: digest, Options: options}
	records, err := recordsOf(ctx, d.Store, mark) // as a rule there are none yet
	if err != nil {
		return nil, err
	}
	have, err := d.replay(ctx, mark, records)
	if err != nil {
		return nil, err
	}
	entries, err := have.Decide(request, workflow.Circumstances{Now: d.Now(), At: at, By: d.By, Program: d.Program})
	if err != nil {
		return nil, err
	}
	if _, err := d.Store.Keep(ctx, sheet.Bytes); err != nil {
		return nil, err
	}
	if err := d.append(ctx, mark, have.Size(), entries); err != nil {
		return nil, err
	}
	return d.State(ctx, mark)
}

// Start opens a job on an airframe: a procedure by its name or file, on a zone
// where it asks for one.
func (d *Desk) Start(ctx context.Context, mark, procedure, zone string, at time.Time) ([]journal.Entry, *workflow.State, error) {
	doc, err := d.Library.Procedure(procedure)
	if err != nil {
		return nil, nil, err
	}
	return d.open(ctx, mark, doc, workflow.Start{Zone: zone}, at)
}

// open opens a job of the document: it must fit the sheet in force, and both
// are kept beside the journal that names them.
func (d *Desk) open(ctx context.Context, mark string, doc *procedures.Document, start workflow.Start, at time.Time) ([]journal.Entry, *workflow.State, error) {
	state, err := d.State(ctx, mark)
	if err != nil {
		return nil, nil, err
	}
	sheet, err := d.sheetFor(ctx, state)
	if err != nil {
		return nil, nil, err
	}
	if doc.Procedure.Design == "" || doc.Procedure.Design == sheet.Sheet.Name {
		if faults := doc.Against(sheet.Sheet); len(faults) > 0 {
			return nil, nil, faults
		}
	}
	if err := d.keep(ctx, doc, sheet); err != nil {
		return nil, nil, err
	}
	start.Procedure, start.Digest = doc.Procedure, store.Digest(doc.Bytes)
	start.Sheet, start.SheetDigest = sheet.Sheet, store.Digest(sheet.Bytes)
	return d.Act(ctx, mark, start, at)
}

func (d *Desk) keep(ctx context.Context, docs ...*procedures.Document) error {
	for _, doc := range docs {
		if _, err := d.Store.Keep(ctx, doc.Bytes); err != nil {
			return err
		}
	}
	return nil
}

// TriageTable is the name of the table that crashes go by.
const TriageTable = "crash-triage"

// PlanRepair plans the repair of an airframe's open damages.
func (d *Desk) PlanRepair(ctx context.Context, mark string) (workflow.RepairPlan, error) {
	state, err := d.State(ctx, mark)
	if err != nil {
		return workflow.RepairPlan{}, err
	}
	triage, err := d.Library.Triage(TriageTable)
	if err != nil {
		return workflow.RepairPlan{}, err
	}
	return state.PlanRepair(triage.Triage, func(name string) (*steps.Procedure, error) {
		doc, err := d.Library.Procedure(name)
		if err != nil {
			return nil, err
		}
		return doc.Procedure, nil
	}, d.Now())
}

// StartRepair opens a plan of repair as one job, of a document of its own.
func (d *Desk) StartRepair(ctx context.Context, mark string, plan workflow.RepairPlan, at time.Time) ([]journal.Entry, *workflow.State, error) {
	data, err := procedures.Write(plan.Procedure)
	if err != nil {
		return nil, nil, err
	}
	doc, err := procedures.Parse(plan.Procedure.Name+".yaml", data)
	if err != nil {
		return nil, nil, fmt.Errorf("the composed plan can't be read: %w", err)
	}
	var damages []string
	for _, m := range plan.Answers {
		damages = append(damages, m.Damage.Name)
	}
	return d.open(ctx, mark, doc, workflow.Start{Damages: damages}, at)
}

// Newer returns the request that moves a job to the library's present
// documents, or to a procedure named.
func (d *Desk) Newer(ctx context.Context, mark, job, procedure string) (workflow.MoveJob, *workflow.State, error) {
	state, err := d.State(ctx, mark)
	if err != nil {
		return workflow.MoveJob{}, nil, err
	}
	open, err := state.Job(job)
	if err != nil {
		return workflow.MoveJob{}, nil, err
	}
	if procedure == "" {
		procedure = open.Procedure.Name
	}
	doc, err := d.Library.Procedure(procedure)
	if err != nil {
		return workflow.MoveJob{}, nil, err
	}
	sheet, err := d.Library.Sheet(state.Airframe.Design)
	if err != nil {
		return workflow.MoveJob{}, nil, err
	}
	if faults := doc.Against(sheet.Sheet); len(faults) > 0 {
		return workflow.MoveJob{}, nil, faults
	}
	if err := d.keep(ctx, doc, sheet); err != nil {
		return workflow.MoveJob{}, nil, err
	}
	return workflow.MoveJob{Job: job, Procedure: doc.Procedure, Digest: store.Digest(doc.Bytes), Sheet: sheet.Sheet, SheetDigest: store.Digest(sheet.Bytes)}, state, nil
}

// sheetFor returns the design sheet that a new job goes by: the library's
// present one, or while another job is open the one that job has.
func (d *Desk) sheetFor(ctx context.Context, state *workflow.State) (*procedures.Document, error) {
	if len(state.OpenJobs(d.Now())) == 0 {
		sheet, err := d.Library.Sheet(state.Airframe.Design)
		var missing *procedures.NotFoundError
		if !errors.As(err, &missing) {
			return sheet, err
		}
	}
	kept, err := d.documents(ctx, []string{state.SheetDigest})
	if err != nil {
		return nil, err
	}
	return kept[state.SheetDigest], nil
}

// parsed holds documents by digest. A digest names its bytes for ever, so that
// what was parsed once need not be parsed again.
type parsed struct {
	mu   sync.Mutex
	docs map[string]*procedures.Document
}

// documents reads the kept documents of these digests.
func (d *Desk) documents(ctx context.Context, digests []string) (map[string]*procedures.Document, error) {
	d.parsed.mu.Lock()
	defer d.parsed.mu.Unlock()
	unread := map[string][]byte{}
	for _, digest := range digests {
		if d.parsed.docs[digest] == nil {
			unread[digest] = nil
		}
	}
	if len(unread) > 0 {
		err := d.Store.View(ctx, func(r store.Reader) (err error) {
			for digest := range unread {
				if unread[digest], err = r.Document(digest); err != nil {
					return fmt.Errorf("reading the document %s: %w", digest, err)
				}
			}
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	if d.parsed.docs == nil {
		d.parsed.docs = map[string]*procedures.Document{}
	}
	for digest, data := range unread {
		doc, err := procedures.Read(digest, data)
		if err != nil {
			return nil, fmt.Errorf("reading the document %s: %w", digest, err)
		}
		d.parsed.docs[digest] = doc
	}
	found := make(map[string]*procedures.Document, len(digests))
	for _, digest := range digests {
		found[digest] = d.parsed.docs[digest]
	}
	return found, nil
}

// replay folds the journal of one airframe, with the documents it names.
func (d *Desk) replay(ctx context.Context, mark string, records [][]byte) (*workflow.State, error) {
	entries, err := journal.Decode(records, 0)
	if err != nil {
		return nil, fmt.Errorf("the journal of %s: %w", mark, err)
	}
	sheets, named := journal.Digests(entries)
	kept, err := d.documents(ctx, slices.Concat(sheets, named))
	if err != nil {
		return nil, err
	}
	docs := workflow.Documents{Sheets: map[string]*steps.Sheet{}, Procedures: map[string]*steps.Procedure{}}
	for _, digest := range sheets {
		if docs.Sheets[digest] = kept[digest].Sheet; docs.Sheets[digest] == nil {
			return nil, fmt.Errorf("the journal of %s: the document %s is no design sheet", mark, digest)
		}
	}
	for _, digest := range named {
		if docs.Procedures[digest] = kept[digest].Procedure; docs.Procedures[digest] == nil {
			return nil, fmt.Errorf("the journal of %s: the document %s is no procedure", mark, digest)
		}
	}
	state, err := workflow.Replay(entries, docs)
	if err != nil {
		return nil, fmt.Errorf("the journal of %s: %w", mark, err)
	}
	return state, nil
}
