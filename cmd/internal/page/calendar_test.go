package page_test

import (
	"testing"
	"time"

	"fettle/cmd/internal/page"
	"fettle/workflow"
)

// Two quarantines of one damage, as two parts of a joint, are two events.
func TestCalendarNames(t *testing.T) {
	now := time.Date(2026, 3, 3, 19, 0, 0, 0, time.UTC)
	s, err := workflow.Replay(nil, workflow.Documents{})
	if err != nil {
		t.Fatal(err)
	}
	for _, minutes := range []time.Duration{20, 10} {
		s.Quarantines = append(s.Quarantines, &workflow.Quarantine{Damage: "D1", Lines: []string{"cold"}, Since: now, Until: now.Add(minutes * time.Minute)})
	}
	events := page.Calendar(s, now)
	if len(events) != 2 || events[0].UID == events[1].UID || !events[0].Start.Before(events[1].Start) {
		t.Errorf("%+v", events)
	}
}
