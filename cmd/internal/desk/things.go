package desk

import (
	"context"
	"fmt"

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

// heed tells a state that was just replayed what other airframes of the store have in
// quarantine. Their journals are read only where something was fitted here by its name.
func (d *Desk) heed(ctx context.Context, s *workflow.State, others func(context.Context) ([]*workflow.State, error)) (*workflow.State, error) {
	if !s.Named() {
		return s, nil
	}
	all, err := others(ctx)
	if err != nil {
		return nil, err
	}
	s.Heed(all)
	return s, nil
}

// quarantining are the airframes in whose journals something was put in quarantine.
// Damaged journals are left out.
func (d *Desk) quarantining(ctx context.Context) ([]*workflow.State, error) {
	var all []*workflow.State
	q := &queue{desk: d}
	for first := true; first || q.next < len(q.marks); first = false {
		var batch []journalBytes
		err := q.batch(ctx, func(r store.Reader, at int) (int, error) {
			records, err := r.Read(q.marks[at], 0)
			if err == nil && journal.Quarantines(records) {
				var j journalBytes
				if j, err = d.complete(r, q.marks[at], records); err == nil {
					batch = append(batch, j)
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
		for _, j := range batch {
			state, err := d.fold(ctx, j)
			switch {
			case err == nil:
				all = append(all, state)
			case !unreadable(err):
				return nil, err
			}
		}
	}
	return all, nil
}
