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

// What is said of the bench on one airframe is known on another one, however that is read,
// and also where it was said after that one was read.
func TestWhatAnotherRecordSaysOfTheBench(t *testing.T) {
	ctx := t.Context()
	d := newDesk(t, "builder", memory.New())
	now := d.Now()
	d.Now = func() time.Time { return now }
	var states []*workflow.State
	for _, mark := range []string{"SK-01", "SK-02"} {
		s, err := d.Register(ctx, mark, "skua", nil, time.Time{})
		if err != nil {
			t.Fatal(err)
		}
		states = append(states, s)
	}
	act := func(i int, r workflow.Request) {
		t.Helper()
		now = now.Add(time.Minute)
		_, after, err := d.Act(ctx, states[i], r, time.Time{})
		if err != nil {
			t.Fatal(err)
		}
		states[i] = after
	}
	iron := func(state string) workflow.Request {
		return workflow.ReadBench{Set: []steps.Setting{{Condition: "iron", State: state}}}
	}
	act(0, iron("cold"))
	act(1, iron("hot"))
	for range 3 * tail { // what was said is not among the records that are read first
		act(1, workflow.Note{Text: "swept"})
	}
	if got := states[0].Holds("iron", now); got != "cold" {
		t.Fatalf("read before that, the iron is %q", got)
	}
	reads := map[string]func() (*workflow.State, error){
		"by its mark": func() (*workflow.State, error) { return d.State(ctx, "SK-01") },
		"by its name": func() (s *workflow.State, err error) { s, _, err = d.Choose(ctx, "sk-01"); return s, err },
		"among all": func() (*workflow.State, error) {
			all, err := Rows(ctx, d, func(s *workflow.State, _ int) *workflow.State { return s })
			return all[0], err
		},
		"once more":      func() (*workflow.State, error) { return d.Beside(ctx, states[0], time.Time{}) },
		"after an entry": func() (*workflow.State, error) { act(0, workflow.Note{Text: "seen"}); return states[0], nil },
	}
	for how, read := range reads {
		s, err := read()
		if err != nil {
			t.Fatal(err)
		}
		if mark, state, _ := s.SaidBeside("iron", now); mark != "SK-02" || state != "hot" {
			t.Errorf("%s: the iron is %q, by %q", how, state, mark)
		}
	}
	act(0, iron("cold"))
	if s, err := d.State(ctx, "SK-02"); err != nil || s.Holds("iron", now) != "cold" {
		t.Errorf("the iron is cold by SK-01, and on SK-02 %q, %v", s.Holds("iron", now), err)
	}
	now = now.Add(workflow.SittingLength)
	if all, err := d.active(ctx, "SK-01", now, states[0]); err != nil || len(all) != 0 {
		t.Errorf("a sitting later %d journals are replayed, %v", len(all), err)
	}
}

// What was left hot on another airframe some days ago is known on one that is read by its mark, till somebody says that it is cold, on
// whichever; what rests is not replayed for that, nor what was left longer ago than other journals are read back.
func TestWhatAnotherRecordLeft(t *testing.T) {
	ctx := t.Context()
	d := newDesk(t, "builder", memory.New())
	now := d.Now()
	d.Now = func() time.Time { return now }
	for _, mark := range []string{"SK-01", "SK-02"} {
		if _, err := d.Register(ctx, mark, "skua", nil, time.Time{}); err != nil {
			t.Fatal(err)
		}
	}
	act := func(mark string, r workflow.Request) {
		t.Helper()
		s, err := d.State(ctx, mark)
		if err == nil {
			_, _, err = d.Act(ctx, s, r, time.Time{})
		}
		if err != nil {
			t.Fatal(err)
		}
		now = now.Add(time.Minute)
	}
	left := func(when string, want int) {
		t.Helper()
		s, err := d.State(ctx, "SK-01")
		if err != nil {
			t.Fatal(err)
		}
		if all, err := d.active(ctx, "SK-01", now, s); err != nil || len(all) != want {
			t.Errorf("%s: %d journals are replayed, %v; want %d", when, len(all), err, want)
		}
	}
	iron := func(state string) workflow.Request {
		return workflow.ReadBench{Set: []steps.Setting{{Condition: "iron", State: state}}}
	}
	act("SK-02", iron("hot"))
	for range 3 * tail {
		act("SK-02", workflow.Note{Text: "swept"})
	}
	now = now.Add(3 * 24 * time.Hour)
	left("three days later", 1)
	now = now.Add(workflow.LeftLength)
	left("a fortnight later", 0)
	act("SK-02", iron("hot"))
	now = now.Add(24 * time.Hour)
	left("hot once more", 1)
	act("SK-01", iron("cold"))
	now = now.Add(24 * time.Hour)
	left("cold by the other", 0)
}
