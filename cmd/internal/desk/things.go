package desk

import (
	"context"
	"fmt"
	"slices"
	"sync"

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
func (d *Desk) heed(ctx context.Context, s *workflow.State, others func(context.Context) ([]workflow.Quarantined, error)) (*workflow.State, error) {
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

// quarantining is what the journals say in which something was put in quarantine.
// Damaged journals are left out.
func (d *Desk) quarantining(ctx context.Context) (all []workflow.Quarantined, err error) {
	var mu sync.Mutex
	err = d.folding(ctx, &queue{desk: d, only: journal.Quarantines}, func(_ context.Context, _ item, s *workflow.State, err error) error {
		if err != nil {
			if unreadable(err) {
				err = nil
			}
			return err
		}
		mu.Lock()
		defer mu.Unlock()
		all = append(all, s.Quarantined())
		return nil
	})
	if err != nil {
		return nil, err
	}
	slices.SortFunc(all, workflow.Quarantined.Compare)
	return all, nil
}
