package desk_test

import (
	"slices"
	"testing"
	"time"

	"fettle/procedures"
	"fettle/store/memory"
	"fettle/workflow"
	"fettle/workflow/journal"
	"fettle/workflow/robot"

	"fettle/cmd/internal/desk"
)

// An option is fitted to a built airframe by a job that can be carried to its end,
// or is refused because it takes the place of something; then the airframe is
// grounded until what the option adds is measured and it is released again.
func TestOptionsAreFittedLater(t *testing.T) {
	library := procedures.Open("")
	fitted := map[string]bool{}
	for design, options := range map[string][]string{"jetty": {"ailerons", "bolted-wing"}} {
		now := time.Date(2026, 3, 3, 19, 0, 0, 0, time.UTC)
		d := &desk.Desk{Store: memory.New(), Library: library, Now: func() time.Time { return now }, By: "Ro", Program: "0.1"}
		s, err := d.Register(t.Context(), "XX-01", design, nil, time.Time{})
		if err != nil {
			t.Fatal(err)
		}
		carry := func() {
			t.Helper()
			for range 1000 {
				m, err := robot.Next(s, now)
				switch {
				case err != nil:
					t.Fatal(err)
				case m.Over:
					return
				case m.Request == nil:
					now = m.Until
					continue
				}
				if choose, ok := m.Request.(workflow.Choose); ok && len(s.Jobs) > 1 { // the build leaves the options out
					choose.No = false
					m.Request = choose
				}
				now = now.Add(m.Takes)
				if _, after, err := d.Act(t.Context(), s, m.Request, time.Time{}); err == nil {
					s = after
				} else if m.Takes == 0 { // else a sitting ended meanwhile
					t.Fatal(err)
				}
			}
		}
		if _, s, err = d.Start(t.Context(), s, design+"-build", "", time.Time{}); err != nil {
			t.Fatal(err)
		}
		carry()
		for _, option := range options {
			if !s.Airworthiness(now).Released {
				t.Fatalf("%s is not released", design)
			}
			entries, after, err := d.Answer(t.Context(), s, workflow.Choose{Answer: option}, time.Time{})
			if err != nil {
				t.Logf("%s: %v", option, err)
				continue
			}
			s, fitted[option] = after, true
			if _, ok := entries[len(entries)-1].Facts.(journal.JobOpened); !ok || slices.Contains(s.Selection().Has, option) {
				t.Errorf("%s: no job was opened, or it is there before its step", option)
			}
			build := len(s.Jobs[0].Procedure.Steps())
			carry()
			if !slices.Contains(s.Selection().Has, option) || len(s.Jobs[0].Procedure.Steps()) != build {
				t.Errorf("%s: it has %v, and its build %d steps", option, s.Selection().Has, len(s.Jobs[0].Procedure.Steps()))
			}
			if s.Airworthiness(now).Released {
				t.Errorf("%s: it may fly without a new release", option)
			}
			now = now.Add(48 * time.Hour)
			for _, g := range s.Gates(now) {
				if g.Gate.Applies([]string{option}) && len(g.Gate.With) > 0 && !g.Met() && !g.Gate.Work {
					t.Errorf("%s: gate %s is %s", option, g.Gate.Name, g.Standing)
				}
			}
			if _, s, err = d.Act(t.Context(), s, workflow.GiveRelease{}, time.Time{}); err != nil {
				t.Fatalf("%s: %v", option, err)
			}
		}
	}
	if len(fitted) != 1 || !fitted["ailerons"] {
		t.Errorf("fitted: %v", fitted)
	}
}
