package keep

import (
	"context"
	"strings"
	"testing"
	"time"

	"fettle/workflow"
	"fettle/workflow/journal"
)

// The record shows what an entry says of its seal, so that is held against the
// seal too: a good one of fewer entries could pass for one of more.
func TestProveHoldsTheEntryAgainstItsSeal(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	for name, change := range map[string]func(*journal.Sealed){
		"as it was made": func(*journal.Sealed) {},
		"of more":        func(s *journal.Sealed) { s.Size++ },
		"another root":   func(s *journal.Sealed) { s.Root = strings.ToUpper(s.Root) },
	} {
		t.Run(name, func(t *testing.T) {
			k := aFleet(t)
			_, state, err := k.Seal(ctx, stateOf(t, k, "TN-01"))
			if err != nil {
				t.Fatal(err)
			}
			sealed := state.Entries[state.Size()-1].Facts.(journal.Sealed)
			change(&sealed)
			if _, _, err := k.Desk.Act(ctx, state, workflow.RecordSeal{Sealed: sealed}, time.Time{}); err != nil {
				t.Fatal(err)
			}
			v, err := k.Prove(ctx, "TN-01")
			if err != nil {
				t.Fatal(err)
			}
			if good := name == "as it was made"; good != (len(v.Faults) == 0) || !good && v.Seals != 1 {
				t.Errorf("%d seals hold, faults %q", v.Seals, v.Faults)
			}
		})
	}
}
