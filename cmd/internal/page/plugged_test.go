package page

import (
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// plugged is an airframe whose battery a job has plugged in, and what is left of that job.
func plugged(t *testing.T, mark string, at time.Time) *workflow.State {
	t.Helper()
	sheet := &steps.Sheet{Conditions: []steps.Condition{{Name: "battery", States: []string{"out", "in"}, Guarded: "in"}}}
	is := func(state string) []steps.Setting { return []steps.Setting{{Condition: "battery", State: state}} }
	work := &steps.Procedure{Name: "work", Stages: []steps.Stage{{Name: "one", Steps: []steps.Step{
		{Kind: steps.Do, Name: "plug", Sets: is("in")}, {Kind: steps.Do, Name: "try", Needs: is("in")}, {Kind: steps.Do, Name: "pull", Sets: is("out")}}}}}
	entries := []journal.Entry{}
	for i, f := range []journal.Facts{journal.Registered{Mark: mark, Sheet: "sheet"}, journal.JobOpened{Job: "work", Procedure: "work", Sheet: "sheet"}, journal.ConditionSet{Setting: is("in")[0]}} {
		entries = append(entries, journal.Entry{Position: int64(i), At: at, Recorded: at, Facts: f})
	}
	s, err := workflow.Replay(entries, workflow.Documents{Sheets: map[string]*steps.Sheet{"sheet": sheet}, Procedures: map[string]*steps.Procedure{"work": work}})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// Once the sitting was to be over, the page has the plug pulled, and nothing else: not the step that it is in for.
func TestThePlugComesOutWhenTheSittingIsOver(t *testing.T) {
	now := time.Date(2026, 3, 2, 20, 0, 0, 0, time.UTC)
	s := plugged(t, "CW-01", now.Add(-10*time.Minute))
	s.Sits = func() time.Time { return now }
	r := s.Steps(s.Jobs[0], now)[1]
	for at, want := range map[time.Time][2]bool{now.Add(-time.Minute): {true, false}, now: {false, true}, now.Add(30 * time.Minute): {false, true}} {
		n := NextOf(s, workflow.Suggestion{Step: &r}, at)
		text := n.Markdown(&Clock{Now: at})
		got := [2]bool{strings.Contains(text, "try"), strings.Contains(text, "**Caution, at once:** the sitting was to be over at 20:00. ")}
		if got != want || strings.Contains(text, "fettle bench CW-01 --set battery=out") != want[1] {
			t.Errorf("at %s: %s", at, text)
		}
	}
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

// Where it is somebody else's step, and nobody is known to be there who ends what was left plugged in, whoever reads it is told to, and to stay
// clear after that; never both at once.
func TestNobodyEndsAndStaysClear(t *testing.T) {
	at := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	now := at.Add(24 * time.Hour)
	s := plugged(t, "CW-01", at)
	r := s.Steps(s.Jobs[0], now)[1]
	for name, test := range map[string]struct {
		led       []workflow.Place
		says, not string
	}{
		"nobody is known to be there": {nil, "Once that is done, stay clear of CW-01", "nobody else"},
		"person 2 was led there":      {[]workflow.Place{{Who: 2, Mark: "CW-01", Step: r.Job + "/" + r.Step.Name, Since: now}}, "stay clear of CW-01:** person 2 ends this at once, and nobody else", "--set battery=out"},
		"person 2 was a while ago":    {[]workflow.Place{{Who: 2, Mark: "CW-01", Step: r.Job + "/" + r.Step.Name, Since: now.Add(-workflow.Slip - time.Second)}}, "stay clear of CW-01:** person 2 was to end this at once; they were there last at 18:49. Ask them, and end it only where nobody is there: battery: in, as the journal says, and nothing since says that it is out (2 March 2026); make sure of it, then record it:", "nobody else"},
	} {
		seated := s.Seated(workflow.Seat{By: "Rosa", Who: 1, Known: 1 << 2, Here: 1 << 2, At: test.led})
		text := NextOf(seated, workflow.Suggestion{Step: &r, Hands: []int{2}, ForOthers: true, Theirs: true}, now).Markdown(&Clock{Now: now})
		if !strings.Contains(text, test.says) || strings.Contains(text, test.not) {
			t.Errorf("%s: %s", name, text)
		}
		if answer := NewRecorded(seated, nil, now).Markdown(&Clock{Now: now}); test.led != nil && (!strings.Contains(answer, test.says) || strings.Contains(answer, test.not)) {
			t.Errorf("%s, after a record: %s", name, answer)
		}
	}
}

// Below what is ended at once nothing else is told to be set: nobody has hands at a propeller while the battery is in.
func TestNothingIsSetBeforeWhatIsEndedAtOnce(t *testing.T) {
	set := func(name, to string) Reason {
		return Reason{Reason: workflow.Reason{Text: "it needs " + name + ": " + to, Remedy: workflow.Remedy{Kind: workflow.ToSetCondition, Mark: "CW-01", Setting: steps.Setting{Condition: name, State: to}}}}
	}
	n := Next{Mark: "CW-01", Waiting: []Waiting{{Step: "measure", Reasons: []Reason{set("propeller", "off")}}}}
	for harms, want := range map[int]bool{0: true, 1: false} {
		n.Harms = []Reason{set("battery", "out")}[:harms]
		text := n.Markdown(&Clock{})
		if !strings.Contains(text, "it needs propeller: off") || strings.Contains(text, "--set propeller=off") != want || strings.Contains(text, "--set battery=out") == want {
			t.Errorf("%d ended at once: %s", harms, text)
		}
	}
}

// Who of several is not to make safe what crashed plugged in stays clear of it, and reads of nobody who stays by it.
func TestNobodyStaysByAWreck(t *testing.T) {
	now := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	s := plugged(t, "CW-01", now)
	r := s.Steps(s.Jobs[0], now)[1]
	for atOnce, says := range map[bool]string{false: "stays by CW-01", true: "stay clear of CW-01"} {
		n := NextOf(s, workflow.Suggestion{Step: &r, Hands: []int{1}, Theirs: true, AtOnce: atOnce}, now)
		if text := n.AtOnce(&Clock{Now: now}); !strings.Contains(text, says) || strings.Contains(text, "stays by") == atOnce {
			t.Errorf("at once %t: %q", atOnce, text)
		}
	}
}

// Who is at an open coat is said, by when it must be joined, and how it is taken over.
func TestWhoIsAtAnOpenCoat(t *testing.T) {
	now := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	n := Next{Mark: "CW-01", Held: "person 1 (Ann)", heldAt: [2]string{"coat-right-root", "Coat the right root"}, DueBy: now.Add(35 * time.Minute)}
	text := n.planned(&Clock{Now: now})
	for _, want := range []string{"Person 1 (Ann) is at it: Coat the right root; by 19:35", "`fettle next CW-01 coat-right-root --take`"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q isn't said: %s", want, text)
		}
	}
}
