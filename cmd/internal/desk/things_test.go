package desk

import (
	"context"
	"testing"
	"time"

	"fettle/steps"
	"fettle/steps/quantity"
	"fettle/store/memory"
	"fettle/workflow"
)

// A pack that another airframe's record puts in quarantine grounds every airframe that it
// may be aboard, however that one is read, and from when it was found.
func TestWhatAnotherRecordHasInQuarantine(t *testing.T) {
	ctx := t.Context()
	d := newDesk(t, "pilot", memory.New())
	now := d.Now()
	d.Now = func() time.Time { return now }
	mass, err := quantity.Parse("90 g", quantity.Mass)
	if err != nil {
		t.Fatal(err)
	}
	act := func(s *workflow.State, r workflow.Request, at time.Time) *workflow.State {
		t.Helper()
		_, after, err := d.Act(ctx, s, r, at)
		if err != nil {
			t.Fatal(err)
		}
		return after
	}
	fit := workflow.ChangeEquipment{Item: "pack", Change: workflow.Fitted, Name: "A", Zone: "wing", Mass: mass}
	before := build(ctx, t, d)
	gate, err := before.GateReport("span", now)
	if err != nil {
		t.Fatal(err)
	}
	measure := workflow.Measure{Gate: "span", Readings: []workflow.Reading{{Value: half(t, gate.Gate.Limits.High)}}}
	mine := act(act(act(before, fit, time.Time{}), measure, time.Time{}), workflow.GiveRelease{}, time.Time{})
	now = now.Add(time.Hour)
	other, err := d.Register(ctx, "TN-02", "tern", nil, now.Add(-50*time.Minute))
	if err != nil {
		t.Fatal(err)
	}
	other = act(other, fit, now.Add(-40*time.Minute))
	table := &steps.Triage{Findings: []steps.Finding{{Name: "dented", Title: "Dented", Quarantine: steps.Quarantine{Confirm: []string{"It was handed in"}}}}}
	act(other, workflow.ReportDamage{Triage: table, Seen: []workflow.Sighting{{Finding: "dented", Zone: "wing", Severity: steps.Serious}}}, now.Add(-20*time.Minute))

	const want = "the pack A is aboard, and TN-02 (damage D1) says that a pack of this name is in quarantine, or was"
	reads := map[string]func() (*workflow.State, error){
		"by its mark": func() (*workflow.State, error) { return d.State(ctx, "TN-01") },
		"by its name": func() (s *workflow.State, err error) { s, _, err = d.Choose(ctx, "tn-01"); return s, err },
		"among all": func() (*workflow.State, error) {
			all, err := Rows(ctx, d, func(s *workflow.State, _ int) *workflow.State { return s })
			return all[0], err
		},
		"after an entry": func() (*workflow.State, error) { return act(mine, workflow.Note{Text: "seen"}, time.Time{}), nil },
	}
	for _, how := range []string{"by its mark", "by its name", "among all", "after an entry"} {
		s, err := reads[how]()
		if err != nil {
			t.Fatal(err)
		}
		if f := s.Airworthiness(now); f.Released || f.Why.Text != want {
			t.Errorf("%s: %+v", how, f)
		}
		mine = s
	}
	if _, _, err := d.Act(ctx, mine, workflow.GiveRelease{}, time.Time{}); err == nil {
		t.Error("it was released")
	}
	mine = act(mine, workflow.LogFlight{Landing: workflow.Soft}, now.Add(-30*time.Minute))
	if f := mine.Flights[0]; f.Grounded != "" {
		t.Errorf("flown before it was found, it was grounded: %s", f.Grounded)
	}
	mine = act(mine, workflow.LogFlight{Landing: workflow.Soft}, time.Time{})
	if f := mine.Flights[1]; f.Grounded != want {
		t.Errorf("flown with it: %q", f.Grounded)
	}
	if other, err = d.State(context.Background(), "TN-02"); err != nil || other.Airworthiness(now).Why.Text == want {
		t.Errorf("the other one: %+v, %v", other.Airworthiness(now), err)
	}
	fit.Name = "B"
	mine = act(mine, fit, time.Time{})
	if f := mine.Airworthiness(now); f.Why.Text == want {
		t.Error("another pack is aboard now")
	}
}
