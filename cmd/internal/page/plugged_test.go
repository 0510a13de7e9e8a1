package page

import (
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// plugged is an airframe whose battery a job has plugged in, what is left of that job, and what happened since.
func plugged(t *testing.T, mark string, at time.Time, since ...journal.Facts) *workflow.State {
	t.Helper()
	sheet := &steps.Sheet{Conditions: []steps.Condition{{Name: "battery", States: []string{"out", "in"}, Guarded: "in"}}}
	is := func(state string) []steps.Setting { return []steps.Setting{{Condition: "battery", State: state}} }
	work := &steps.Procedure{Name: "work", Stages: []steps.Stage{{Name: "one", Steps: []steps.Step{
		{Kind: steps.Do, Name: "plug", Sets: is("in")}, {Kind: steps.Do, Name: "try", Needs: is("in")}, {Kind: steps.Do, Name: "pull", Sets: is("out")}}}}}
	entries := []journal.Entry{}
	for i, f := range append([]journal.Facts{journal.Registered{Mark: mark, Sheet: "sheet"}, journal.JobOpened{Job: "work", Procedure: "work", Sheet: "sheet"}, journal.ConditionSet{Setting: is("in")[0]}}, since...) {
		entries = append(entries, journal.Entry{Position: int64(i), At: at, Recorded: at, Facts: f})
	}
	s, err := workflow.Replay(entries, workflow.Documents{Sheets: map[string]*steps.Sheet{"sheet": sheet}, Procedures: map[string]*steps.Procedure{"work": work}})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// Whoever is told what is plugged in on another airframe stays by it, and is told how to end it; not where the plan has somebody else there
// by now who is known to be at the bench: whoever pulls the plug then pulls it from under their hands.
func TestWhoStaysByWhatIsPluggedIn(t *testing.T) {
	now := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	there := plugged(t, "CW-02", now)
	alone := plugged(t, "CW-01", now).Beside([]*workflow.State{there})
	with := alone.Seated(workflow.Seat{By: "Rosa", Who: 1, Known: 1 << 2, Here: 1 << 2})
	r := alone.Steps(alone.Jobs[0], now)[1]
	share := func(who int, mark string, planned time.Time) workflow.Share {
		return workflow.Share{Who: who, Mark: mark, Step: r, Planned: planned}
	}
	for name, test := range map[string]struct {
		s      *workflow.State
		others []workflow.Share
		by     int
	}{
		"nobody":             {with, nil, 0},
		"somebody is":        {with, []workflow.Share{share(2, "CW-02", now)}, 2},
		"since a while":      {with, []workflow.Share{share(2, "CW-02", now.Add(-5*time.Minute))}, 2},
		"not yet":            {with, []workflow.Share{share(2, "CW-02", now.Add(time.Minute))}, 0},
		"they are here":      {with, []workflow.Share{share(2, "", now)}, 0},
		"they are at CW-3":   {with, []workflow.Share{share(2, "CW-03", now)}, 0},
		"nobody knows of it": {alone, []workflow.Share{share(2, "CW-02", now)}, 0},
	} {
		s := test.s
		n := NextOf(s, workflow.Suggestion{Step: &r, Others: test.others}, now)
		text := n.AtOnce(&Clock{Now: now})
		says, pulls := "**Caution, stay by CW-02:**", strings.Contains(text, "fettle bench CW-02")
		if test.by > 0 {
			says = "**Caution, person 2 stays by CW-02:**"
		}
		if len(n.Plugged) != 1 || n.Plugged[0].By != test.by || !strings.Contains(text, says) || pulls == (test.by > 0) {
			t.Errorf("%s: %+v; %q", name, n.Plugged, text)
		}
	}
}

// Whoever has nothing to do while another one is at an airframe is told that they stay by what is plugged in there; by what came down hard
// so nobody stays: that one person ends it.
func TestNobodyStaysByAWreck(t *testing.T) {
	now := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	for name, test := range map[string]struct {
		since []journal.Facts
		says  string
	}{
		"plugged in":     {nil, "**Caution, person 2 stays by CW-01:** "},
		"came down hard": {[]journal.Facts{journal.FlightLogged{Landing: workflow.Hard, Check: "look"}}, "**Caution, stay clear of CW-01:** person 2 ends this at once, and nobody else: "},
	} {
		s := plugged(t, "CW-01", now, test.since...).Seated(workflow.Seat{By: "Rosa", Who: 1, Known: 1 << 2, Here: 1 << 2})
		r := s.Steps(s.Jobs[0], now)[1]
		n := NextOf(s, workflow.Suggestion{Step: &r, Hands: []int{2}, Theirs: true, AtOnce: true}, now)
		if text := n.AtOnce(&Clock{Now: now}); len(n.Plugged) != 1 || !strings.Contains(text, test.says) || strings.Contains(text, "fettle bench") {
			t.Errorf("%s: %+v; %q", name, n.Plugged, text)
		}
	}
}
