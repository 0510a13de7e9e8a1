package desk

import (
	"context"
	"fmt"

	"fettle/workflow"
	"fettle/workflow/journal"
)

// keptElsewhere refuses to fit what is in quarantine by the record of another airframe
// of the store, or was. All journals are looked through, and only where something is
// fitted by its name.
func (d *Desk) keptElsewhere(ctx context.Context, mark string, entries []journal.Entry) error {
	for _, e := range entries {
		f, ok := e.Facts.(journal.EquipmentChanged)
		if !ok || f.Change == workflow.Removed || f.Name == "" {
			continue
		}
		found, err := Rows(ctx, d, func(s *workflow.State, _ int) string {
			if q := s.Kept(f); q != nil && s.Airframe.Mark != mark {
				return s.Airframe.Mark + " (damage " + q.Damage + ")"
			}
			return ""
		})
		if err != nil && !unreadable(err) {
			return err
		}
		for _, at := range found {
			if at != "" {
				return &workflow.Refusal{What: fmt.Sprintf("fitting the %s", workflow.Thing{Item: f.Item, Name: f.Name}), Reasons: []workflow.Reason{{
					Because: workflow.ByHold,
					Text:    fmt.Sprintf("%s says that a %s of this name is in quarantine, or was; another one is given another name", at, f.Item),
					Remedy:  workflow.Remedy{Kind: workflow.ToFitAnother, Name: f.Item, Mark: mark},
				}}}
			}
		}
	}
	return nil
}
