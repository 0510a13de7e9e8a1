// Package desk connects the engine, the store and the library: it reads a
// journal, lets package workflow decide, and appends the new entries.
package desk

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"fettle/procedures"
	"fettle/steps"
	"fettle/steps/lists"
	"fettle/store"
	"fettle/store/photos"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// A Desk is one person's access to one store.
type Desk struct {
	Store   store.Store
	Photos  photos.Folder
	Library *procedures.Library
	Now     func() time.Time
	By      string
	Program string
	Written *Written // nil: nothing is remembered outside of the store
	Plan    *Plan    // nil: the last plan is not kept
	Clocks  *Clocks  // nil: they are not compared

	Seat string // of a sitting, of several that one person has here; "": it is none

	PhotosHere bool // photos are kept at this bench alone, though others share the store

	// Read reads a kept document; nil: procedures.Read does. Several desks of one process
	// need not read the same bytes anew.
	Read func(digest string, data []byte) (*procedures.Document, error)

	parsed   parsed
	replayed replayed
	outcomes outcomes
}

// tries is how often to decide at least when other terminals keep adding entries: it is
// decided again for as long as a locked store is waited for.
const tries = 5

// State replays one airframe's journal; its mark may be written in either case. For an unknown mark the error is a
// *workflow.UnknownError with the nearest mark.
func (d *Desk) State(ctx context.Context, mark string) (*workflow.State, error) {
	mark = strings.ToUpper(mark)
	var j journalBytes
	err := d.Store.View(ctx, func(r store.Reader) (err error) {
		if j, err = d.load(r, mark); err == nil && len(j.records) == 0 {
			err = UnknownMark(r, mark)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	s, err := d.fold(ctx, j)
	if err != nil {
		return nil, err
	}
	return d.heed(ctx, s, d.others(mark))
}

// Act decides a request on an airframe's state and appends the entries. It returns
// the new entries and the state after them, and with a *[workflow.PartError] those that
// were recorded all the same. If another terminal added entries in
// the meantime, it reads the journal again and decides afresh.
func (d *Desk) Act(ctx context.Context, s *workflow.State, r workflow.Request, at time.Time) (entries []journal.Entry, after *workflow.State, err error) {
	mark := s.Airframe.Mark
	err = Again(mark, func(again bool) (err error) {
		if again {
			known := KnownOf(s)
			if s, err = d.State(ctx, mark); err != nil {
				return err
			}
			if !known.Goes(s) {
				return older(mark)
			}
		}
		entries, after, err = d.actOnce(ctx, s, r, at)
		return err
	})
	return entries, after, err
}

func (d *Desk) actOnce(ctx context.Context, s *workflow.State, r workflow.Request, at time.Time) ([]journal.Entry, *workflow.State, error) {
	doubt, err := d.compare(ctx, true)
	if err == nil {
		err = d.stands(ctx, s)
	}
	if err == nil && doubt.Changed(s.Doubted()) {
		s, err = d.State(ctx, s.Airframe.Mark)
	}
	if err != nil {
		return nil, nil, err
	}
	if s.SharesBench() {
		s, err = d.Beside(ctx, s, at) // what others say of the bench may be newer than what was read here
	}
	if err != nil {
		return nil, nil, err
	}
	entries, err := s.Decide(r, d.circumstances(at))
	var part *workflow.PartError
	if errors.As(err, &part) && len(part.Record) > 0 {
		entries = part.Record
	} else if err != nil {
		return nil, nil, err
	}
	if err := d.keptElsewhere(ctx, s, entries); err != nil {
		return nil, nil, err
	}
	after, failed := d.append(ctx, s.Airframe.Mark, s, entries)
	if failed != nil {
		return nil, nil, failed
	}
	return entries, after, err
}

// Again tries to write to a journal until nobody else wrote to it in the meantime, for as
// long as a locked store is waited for. again: the journal must be read anew, and decided
// on what it holds now.
func Again(mark string, try func(again bool) error) error {
	begun := time.Now()
	for n := 0; n < tries || time.Since(begun) < store.Patience; n++ {
		if err := try(n > 0); !errors.Is(err, store.ErrConflict) {
			return err
		}
	}
	return &store.Error{Op: "write", Err: fmt.Errorf("%w: the journal of %s grows faster than it is read", store.ErrLocked, mark), Hint: "see what the other terminal does, then try again"}
}

func (d *Desk) circumstances(at time.Time) workflow.Circumstances {
	seat := d.seat()
	return workflow.Circumstances{Now: d.Now(), At: at, By: seat.By, Bench: seat.Bench, Program: d.Program}
}

// seat is who is here, and where benches share the store at which one.
//
//go:noinline
func (d *Desk) seat() workflow.Seat {
	seat := workflow.Seat{By: d.By}
	if _, me := d.me(); me != nil {
		seat.By, seat.Bench = me.By, me.Bench
	}
	if d.Plan != nil {
		d.Plan.sit(&seat, d.Now())
	}
	return seat
}

// Photograph acts like [Desk.Act], with photos of what is recorded. The photos are
// kept first, so that no entry ever names a missing photo.
func (d *Desk) Photograph(ctx context.Context, s *workflow.State, r workflow.Request, files []string, at time.Time) ([]journal.Entry, *workflow.State, error) {
	var kept []photos.Photo
	for _, file := range files {
		p, err := d.Photos.Add(ctx, file)
		if err != nil {
			return nil, nil, err
		}
		kept = append(kept, p)
	}
	entries, state, err := d.Act(ctx, s, r, at)
	if len(entries) == 0 {
		return nil, nil, err
	}
	ctx = context.WithoutCancel(ctx) // the photos belong to what is recorded
	var of []int64
	for _, e := range entries {
		of = append(of, e.Position)
	}
	for _, p := range kept {
		more, after, failed := d.showing(ctx, state, p, at, of...)
		if failed != nil {
			return nil, nil, failed
		}
		entries, state = append(entries, more...), after
	}
	return entries, state, err
}

// KeepPhoto keeps a photo of entries that are recorded.
func (d *Desk) KeepPhoto(ctx context.Context, s *workflow.State, file string, of ...int64) ([]journal.Entry, *workflow.State, error) {
	p, err := d.Photos.Add(ctx, file)
	if err != nil {
		return nil, nil, err
	}
	return d.showing(ctx, s, p, time.Time{}, of...)
}

func (d *Desk) showing(ctx context.Context, s *workflow.State, p photos.Photo, at time.Time, of ...int64) ([]journal.Entry, *workflow.State, error) {
	return d.Act(ctx, s, workflow.KeepPhoto{PhotoKept: journal.PhotoKept{Photo: p.Digest, Name: p.Name, Type: p.Type, Bytes: p.Bytes, Of: of}}, at)
}

// append adds entries to a journal, if it has not grown since it was read, and
// returns the state after them. That state is folded from the stored records, so
// that it is exactly what a reader will find. What fails is not recorded: nothing
// that is read after it makes it fail.
func (d *Desk) append(ctx context.Context, mark string, s *workflow.State, entries []journal.Entry) (*workflow.State, error) {
	records, err := journal.Encode(entries)
	if err != nil {
		return nil, err
	}
	if err := d.noted(&Outcome{Mark: mark, Size: s.Size() + int64(len(records)), sent: records, upon: KnownOf(s)}, d.Store.Append(ctx, mark, s.Size(), records)); err != nil {
		return nil, err
	}
	ctx = context.WithoutCancel(ctx) // they are recorded, and whoever stops the program now is to hear it
	d.Wrote(ctx, mark)
	at := mark
	if !s.HandsOn(entries) {
		at = ""
	}
	_, _ = d.note(ctx, s.PersonOf(entries), at, "", nil, nil)
	stored, err := journal.Decode(records, s.Size())
	if err != nil {
		return nil, err
	}
	after, err := d.replay(ctx, mark, s, stored)
	if err != nil {
		return nil, err
	}
	if heard, err := d.heed(ctx, after, d.others(mark)); err == nil {
		return heard, nil
	}
	return after.Heard(s), nil // it is recorded, and others said that a moment ago
}

// Register registers an airframe of a design.
func (d *Desk) Register(ctx context.Context, mark, design string, options []string, at time.Time) (s *workflow.State, err error) {
	err = Again(mark, func(bool) (err error) {
		s, err = d.registerOnce(ctx, mark, design, options, at)
		return err
	})
	return s, err
}

func (d *Desk) registerOnce(ctx context.Context, mark, design string, options []string, at time.Time) (*workflow.State, error) {
	sheet, err := d.Library.Sheet(design)
	if err != nil {
		return nil, err
	}
	mark = strings.ToUpper(mark)
	if err := workflow.CheckMark(mark); err != nil {
		return nil, err
	}
	if _, err := d.compare(ctx, true); err != nil {
		return nil, err
	}
	var j journalBytes // usually empty: the mark is new
	err = d.Store.View(ctx, func(r store.Reader) (err error) {
		j, err = d.load(r, mark)
		return err
	})
	if err != nil {
		return nil, err
	}
	have, err := d.fold(ctx, j)
	if err != nil {
		return nil, err
	}
	request := workflow.Register{Mark: mark, Sheet: sheet.Sheet, Digest: store.Digest(sheet.Bytes), Options: options}
	entries, err := have.Decide(request, d.circumstances(at))
	if err != nil {
		return nil, err
	}
	if err := d.keep(ctx, sheet); err != nil {
		return nil, err
	}
	return d.append(ctx, mark, have, entries)
}

// Start opens a job on an airframe: a procedure by its name or file, on a zone if
// it takes one. A repair that the triage tables answer open damage with there is
// opened as the plan of these damages.
func (d *Desk) Start(ctx context.Context, s *workflow.State, procedure, zone string, at time.Time) ([]journal.Entry, *workflow.State, error) {
	doc, err := d.Library.Procedure(procedure)
	if err != nil {
		return nil, nil, err
	}
	start := workflow.Start{Procedure: doc.Procedure, Zone: zone}
	damages, err := d.answered(s, doc, start)
	if err != nil {
		return nil, nil, err
	}
	if len(damages) == 0 {
		return d.open(ctx, s, doc, start, at)
	}
	plan, err := d.PlanRepair(ctx, s, damages...)
	if err != nil {
		return nil, nil, err
	}
	return d.StartRepair(ctx, s, plan, at)
}

// Fitting are the procedures that can be started on an airframe now, on some zone if they
// take one. A build is among them as long as none is on record.
func (d *Desk) Fitting(ctx context.Context, s *workflow.State) ([]*procedures.Document, error) {
	sheet, err := d.newest(ctx, s)
	if err != nil {
		return nil, err
	}
	var fitting []*procedures.Document
	for _, doc := range d.Library.Serving(sheet.Sheet) {
		if doc.Procedure.Kind == steps.Build && len(s.Builds()) > 0 {
			continue
		}
		starts := func(zone string) bool {
			start := workflow.Start{Procedure: doc.Procedure, Digest: doc.Digest(), Sheet: sheet.Sheet, SheetDigest: sheet.Digest(), Zone: zone}
			_, err := s.Decide(start, d.circumstances(time.Time{}))
			return err == nil
		}
		if len(doc.Procedure.On) == 0 && starts("") || lists.ContainsFunc(doc.Procedure.On, starts) {
			fitting = append(fitting, doc)
		}
	}
	return fitting, nil
}

// BeforeFlight are the checks of the library that an airframe that is released comes
// to before it flies, in their order.
func (d *Desk) BeforeFlight(s *workflow.State) []string {
	if !s.Airworthiness(d.Now()).ToCheck() { // else nothing of the library is read
		return nil
	}
	var checks []*steps.Procedure
	for _, doc := range d.Library.BeforeFlight() {
		if doc.Serves(s.Sheet) {
			checks = append(checks, doc.Procedure)
		}
	}
	return s.BeforeFlight(checks, d.Now())
}

// answered are the damages that a repair started by hand repairs. The tables mean
// the library's procedure of that name, and no file of another text.
func (d *Desk) answered(s *workflow.State, doc *procedures.Document, start workflow.Start) ([]string, error) {
	if doc.Procedure.Kind != steps.Repair || len(s.Unplanned(d.Now())) == 0 {
		return nil, nil
	}
	triage, _, err := d.Triage(s)
	if err != nil {
		return nil, err
	}
	damages := s.Answered(triage, start, d.Now())
	if len(damages) == 0 {
		return nil, nil
	}
	meant, err := d.Library.Procedure(doc.Name())
	if err != nil || meant.Digest() != doc.Digest() {
		return nil, err
	}
	return damages, nil
}

// open opens a job with the document, which must fit the sheet in force. Both are
// kept in the store, because the journal names them.
func (d *Desk) open(ctx context.Context, s *workflow.State, doc *procedures.Document, start workflow.Start, at time.Time) ([]journal.Entry, *workflow.State, error) {
	start.Procedure, start.Digest = doc.Procedure, doc.Digest()
	sheet, err := d.sheetFor(ctx, s, start)
	if err != nil {
		return nil, nil, err
	}
	if doc.Procedure.Design == "" || doc.Procedure.Design == sheet.Sheet.Name {
		if faults := doc.Against(sheet.Sheet); len(faults) > 0 {
			return nil, nil, faults
		}
	}
	start.Sheet, start.SheetDigest = sheet.Sheet, sheet.Digest()
	written := []*procedures.Document{sheet}
	if !doc.Made { // else it is made each time
		written = append(written, doc)
	}
	if err := d.unclaimed(ctx, s, written...); err != nil {
		return nil, nil, err
	}
	if err := d.keep(ctx, doc, sheet); err != nil {
		return nil, nil, err
	}
	return d.Act(ctx, s, start, at)
}

// keep stores documents that a journal is about to name.
func (d *Desk) keep(ctx context.Context, docs ...*procedures.Document) error {
	for _, doc := range docs {
		if err := d.keepPictures(ctx, doc); err != nil {
			return err
		}
		digest, err := d.Store.Keep(ctx, doc.Bytes)
		if err != nil {
			return err
		}
		d.parsed.add(digest, doc)
	}
	return nil
}

// keepPictures keeps the pictures of a document's steps. Those of a plan lie beside the
// documents of the library that its steps are from, or were kept with an earlier plan.
func (d *Desk) keepPictures(ctx context.Context, doc *procedures.Document) error {
	if doc.Procedure == nil {
		return nil
	}
	for _, s := range doc.Procedure.Steps() {
		p := s.Picture
		if p.Name == "" || d.Photos.Check(p.Digest) == nil {
			continue
		}
		file := cmp.Or(doc.PictureFile(p.Digest), d.Library.PictureFile(p.Digest))
		if file == "" {
			return fmt.Errorf("the picture %s of the step %s is neither kept nor in your library: put it back and try again", p.Name, s.Name)
		}
		kept, err := d.Photos.Add(ctx, file)
		if err == nil && kept.Digest != p.Digest {
			err = fmt.Errorf("the picture %s changed while it was read: try again", p.Name)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// Triage returns the triage tables that answer damage of an airframe, as one, and
// the digest of each.
func (d *Desk) Triage(s *workflow.State) (table *steps.Triage, digests []string, err error) {
	docs, err := d.Library.Tables(s.Airframe.Design)
	if err != nil {
		return nil, nil, err
	}
	var tables []*steps.Triage
	for _, doc := range docs {
		tables, digests = append(tables, doc.Triage), append(digests, store.Digest(doc.Bytes))
	}
	return steps.Asked(tables...), digests, nil
}

// PlanRepair plans the repair of an airframe's open damages, or of those that are
// named.
func (d *Desk) PlanRepair(ctx context.Context, s *workflow.State, only ...string) (workflow.RepairPlan, error) {
	triage, _, err := d.Triage(s)
	if err != nil {
		return workflow.RepairPlan{}, err
	}
	if len(s.OpenDamages(d.Now())) > 0 && len(s.OpenJobs(d.Now())) == 0 { // its job brings the newer sheet
		sheet, err := d.sheetFor(ctx, s, workflow.Start{})
		if err != nil {
			return workflow.RepairPlan{}, err
		}
		s = s.Under(sheet.Sheet)
	}
	return s.PlanRepair(triage, d.repairOf(s), d.Now(), only...)
}

// OpenPlan is the plan of the repair that is open, and its job; false: none is to be
// shown.
func (d *Desk) OpenPlan(s *workflow.State) (plan workflow.RepairPlan, job string, ok bool) {
	triage, _, err := d.Triage(s)
	if err != nil {
		return workflow.RepairPlan{}, "", false
	}
	return s.OpenPlan(triage, d.repairOf(s), d.Now())
}

// repairOf finds the procedures of a plan, and by the name of the design its build.
func (d *Desk) repairOf(s *workflow.State) func(name string) (*steps.Procedure, error) {
	return func(name string) (*steps.Procedure, error) {
		if name == s.Airframe.Design {
			return d.Library.BuildOf(name)
		}
		doc, err := d.Library.Procedure(name)
		if err != nil {
			return nil, err
		}
		return doc.Procedure, nil
	}
}

// StartRepair opens a repair plan as one job, with its own document, or amends the
// open repair by it.
func (d *Desk) StartRepair(ctx context.Context, s *workflow.State, plan workflow.RepairPlan, at time.Time) ([]journal.Entry, *workflow.State, error) {
	doc, err := procedures.Kept(plan.Procedure)
	if err != nil {
		return nil, nil, fmt.Errorf("the composed plan can't be read: %w", err)
	}
	if plan.Amends != nil {
		if faults := doc.Against(s.Sheet); len(faults) > 0 {
			return nil, nil, faults
		}
		if err := d.keep(ctx, doc); err != nil {
			return nil, nil, err
		}
		amend := *plan.Amends
		amend.Procedure, amend.Digest = doc.Procedure, doc.Digest()
		return d.Act(ctx, s, amend, at)
	}
	var damages []string
	for _, m := range plan.Answers {
		damages = append(damages, m.Damage.Name)
	}
	return d.open(ctx, s, doc, workflow.Start{Damages: damages}, at)
}
