package desk

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"sync"
	"time"

	"fettle/steps"
	"fettle/store"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// keptElsewhere refuses to fit what is in quarantine by the record of another airframe
// of the store, or was. Other journals are read only where something is fitted by its
// name.
func (d *Desk) keptElsewhere(ctx context.Context, s *workflow.State, entries []journal.Entry) error {
	for _, e := range entries {
		f, ok := e.Facts.(journal.EquipmentChanged)
		if !ok || f.Change == workflow.Removed || f.Name == "" {
			continue
		}
		others, err := d.quarantining(ctx)
		if err != nil {
			return err
		}
		if held := s.HeldBy(others, f); len(held) > 0 {
			return &workflow.Refusal{What: fmt.Sprintf("fitting the %s", held[0].Thing), Reasons: []workflow.Reason{{
				Because: workflow.ByHold,
				Text:    held[0].Says() + "; another one is given another name",
				Remedy:  workflow.Remedy{Kind: workflow.ToFitAnother, Name: f.Item, Mark: s.Airframe.Mark},
			}}}
		}
	}
	return nil
}

// others reads other airframes of a store: those in whose journals something was put in
// quarantine, and those that may have spoken of the bench lately.
type others struct {
	quarantining func(context.Context) (*workflow.Elsewhere, error)
	active       func(ctx context.Context, left *workflow.State) ([]*workflow.State, error) // what was left so long ago, only where one airframe is told
}

// others reads them each time, but for the airframe of the mark.
func (d *Desk) others(mark string) others {
	return others{d.quarantining, func(ctx context.Context, left *workflow.State) ([]*workflow.State, error) {
		return d.active(ctx, mark, d.Now(), left)
	}}
}

// readOnce are others that are read once, by whoever comes first. What was left on one of them long ago is said where that one is shown.
func (o others) readOnce(ctx context.Context) others {
	all := once(ctx, func(ctx context.Context) ([]*workflow.State, error) { return o.active(ctx, nil) })
	return others{once(ctx, o.quarantining), func(ctx context.Context, _ *workflow.State) ([]*workflow.State, error) { return all(ctx) }}
}

func once[T any](ctx context.Context, read func(context.Context) (T, error)) func(context.Context) (T, error) {
	all := sync.OnceValues(func() (T, error) { return read(ctx) })
	return func(context.Context) (T, error) { return all() }
}

// heed tells a state that was just replayed what other airframes of the store have in
// quarantine, and what they say of the bench. Their journals are read only where something
// was fitted here by its name, or where a condition of the sheet belongs to the bench.
func (d *Desk) heed(ctx context.Context, s *workflow.State, others others) (*workflow.State, error) {
	s = s.Seated(d.seat())
	d.Plan.Tell(s)
	if s.Named() {
		all, err := others.quarantining(ctx)
		if err != nil {
			return nil, err
		}
		s.Heed(all)
	}
	if !s.SharesBench() {
		return s, nil
	}
	all, err := others.active(ctx, s)
	if err != nil {
		return nil, err
	}
	return s.Beside(all), nil
}

// Beside tells a state that was read before what others say of the bench now, for an act
// of that time, zero: now, and what stands on them, whatever the sheet of this one has.
func (d *Desk) Beside(ctx context.Context, s *workflow.State, at time.Time) (*workflow.State, error) {
	if at.IsZero() {
		at = d.Now()
	}
	all, err := d.active(ctx, s.Airframe.Mark, at, s)
	if err != nil {
		return nil, err
	}
	return s.Beside(all), nil
}

// quarantining is what the journals say in which something was put in quarantine. No
// more of them is kept, and none is replayed: they may be all of a large store.
func (d *Desk) quarantining(ctx context.Context) (*workflow.Elsewhere, error) {
	var all workflow.Elsewhere
	return &all, d.picked(ctx, func(r store.Reader, mark string) (j journalBytes, read int, err error) {
		records, err := r.Read(mark, 0)
		if read = size(records); err != nil || !journal.Quarantines(records) {
			return j, read, err
		}
		j.mark = mark
		if j.entries, err = journal.Handling(records); err != nil {
			return j, read, fmt.Errorf("the journal of %s: %w", mark, err)
		}
		sheets, _ := journal.Digests(j.entries)
		j.documents, err = d.parsed.read(r, sheets)
		return j, read, err
	}, func(j journalBytes) error {
		if err := d.parse(j.documents); err != nil {
			return err
		}
		docs, err := d.named(ctx, j.mark, j.entries, false)
		if err == nil {
			err = all.AddEntries(j.entries, docs.Sheets)
		}
		if err != nil {
			return fmt.Errorf("the journal of %s: %w", j.mark, err)
		}
		return nil
	})
}

// tail is how many of the latest records of a journal are read first.
const tail = 8

// active are the airframes whose journals may say something of the bench that counts at the time, or of which others do something by a plan
// for several, or on which something may have been left hot, on or plugged in, as far as an airframe tells (nil: that is not looked for),
// but for the airframe of the mark. Of what says nothing only the latest records are read, and one that has not grown since it was replayed
// is not replayed again.
func (d *Desk) active(ctx context.Context, but string, at time.Time, teller *workflow.State) ([]*workflow.State, error) {
	stated, coated, left := at.Add(-workflow.SittingLength), at.Add(-workflow.CoatLength), at.Add(-workflow.LeftLength)
	replayed := map[string]*workflow.State{}
	var rests func(steps.Setting, time.Time) bool
	tellers := []*workflow.State{teller}
	if teller != nil {
		always := map[steps.Setting]bool{}
		rests = func(is steps.Setting, since time.Time) bool {
			if !always[is] {
				always[is] = workflow.Rests(is, at, at, tellers)
			}
			return always[is] || workflow.Rests(is, since, at, tellers)
		}
	}
	err := d.picked(ctx, func(r store.Reader, mark string) (j journalBytes, read int, err error) {
		length, err := r.Size(mark)
		if err != nil || mark == but {
			return j, 0, err
		}
		shares := d.Plan.shares(mark, at)
		for n, known := int64(tail), false; !known; n *= 4 {
			from := max(0, length-n)
			records, err := r.Read(mark, from)
			if err != nil {
				return j, 0, err
			}
			read += size(records)
			says := shares
			if known = says; !says {
				says, known = journal.SaysOfBench(records, stated, coated, left, rests)
			}
			if !says {
				if from == 0 {
					break
				}
				continue
			}
			if had := d.replayed.of(mark, length); had != nil {
				replayed[mark], tellers = had, append(tellers, had)
				break
			}
			j, err = d.load(r, mark)
			return j, read + size(j.records), err
		}
		return j, read, nil
	}, func(j journalBytes) error {
		s, err := d.fold(ctx, j)
		if err == nil {
			d.replayed.put(s)
			replayed[j.mark], tellers = s, append(tellers, s)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	all := make([]*workflow.State, 0, len(replayed))
	for _, mark := range slices.Sorted(maps.Keys(replayed)) {
		is := *replayed[mark]
		d.Plan.Tell(&is)
		all = append(all, &is)
	}
	return all, nil
}

// picked calls use with what pick reads of each journal, unless that is nothing; pick
// returns how many bytes it read. Damaged journals are left out.
func (d *Desk) picked(ctx context.Context, pick func(r store.Reader, mark string) (j journalBytes, read int, err error), use func(journalBytes) error) error {
	q := &queue{desk: d}
	for first := true; first || q.next < len(q.marks); first = false {
		var batch []journalBytes
		err := q.batch(ctx, func(r store.Reader, at int) (int, error) {
			j, read, err := pick(r, q.marks[at])
			if err == nil && j.mark != "" {
				batch = append(batch, j)
			}
			if err != nil && !unreadable(err) {
				return 0, err
			}
			return read, nil
		})
		if err != nil {
			return err
		}
		for _, j := range batch {
			if err := use(j); err != nil && !unreadable(err) {
				return err
			}
		}
	}
	return nil
}

// replayed keeps airframes that were replayed to hear what they say of the bench.
type replayed struct {
	mu     sync.Mutex
	states map[string]*workflow.State // by mark
}

// of is the state of the journal of that size, nil if it is not at hand.
func (r *replayed) of(mark string, size int64) *workflow.State {
	r.mu.Lock()
	defer r.mu.Unlock()
	if s := r.states[mark]; s != nil && s.Size() == size {
		return s
	}
	return nil
}

// forget drops them.
func (r *replayed) forget() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.states = nil
}

func (r *replayed) put(s *workflow.State) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.states == nil {
		r.states = map[string]*workflow.State{}
	}
	r.states[s.Airframe.Mark] = s
}
