package page

import (
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// A step that does not fit in before a joint must be joined is shown with the
// time that is left for the joint.
func TestTheTimeLeftForAJointIsSaid(t *testing.T) {
	now := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	s := workflow.Suggestion{Why: "this takes 15 min; joint pod-strips must be joined", JoinBy: now.Add(12 * time.Minute)}
	n := Next{Mark: "CW-01", Step: &Step{Title: "Sand the pod"}, Because: because(s, now)}
	const want = "*This takes 15 min; joint pod-strips must be joined within 12 min.*"
	if text := n.Markdown(&Clock{Now: now}); !strings.Contains(text, want) {
		t.Errorf("%q does not say %q", text, want)
	}
	s.JoinBy = time.Time{}
	if got := because(s, now); got != s.Why {
		t.Errorf("without a time it says %q", got)
	}
}

// A step that the plan has for another day says so wherever it is led to, before what to do.
func TestAStepOfAnotherDaySaysSo(t *testing.T) {
	now := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	n := Next{Mark: "CW-01", Step: &Step{Title: "Heat the iron", Do: "Switch it on."}, Planned: now.Add(24 * time.Hour)}
	const want = "*Planned for Tue 3 Mar 19:00.*"
	if text := n.Action(&Clock{Now: now}); !strings.HasPrefix(strings.TrimSpace(text), want) || !strings.Contains(n.Markdown(&Clock{Now: now}), want) {
		t.Errorf("%q", text)
	}
	if n.Planned = now.Add(workflow.Soon); strings.Contains(n.Action(&Clock{Now: now}), "Planned") {
		t.Error("it is soon, and said")
	}
}

// A step of a plan for several says whose it is, and what the others do meanwhile.
func TestAStepSaysWhoseItIs(t *testing.T) {
	now := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	other := NextShare{Who: 1, Step: "coat-right", Title: "Coat the right root: coat", Planned: now}
	late, warned := other, other
	late.Planned = now.Add(-20 * time.Minute)
	warned.Planned, warned.Cautions = now.Add(30*time.Second), []string{"A blade slips.", "Its vapour burns. Open the window.\n\n- Far from any flame."}
	const page = " `fettle next CW-01 coat-right`"
	for _, test := range []struct {
		planned time.Time
		hands   []int
		others  []NextShare
		want    string
	}{
		{now, []int{2}, nil, "*Planned for person 2.*"},
		{now, []int{1, 2}, nil, "*Planned for person 1 and person 2.*"},
		{now.Add(24 * time.Hour), []int{2}, nil, "*Planned for Tue 3 Mar 19:00, person 2.*"},
		{now, []int{2}, []NextShare{other}, "*Planned for person 2.*\n\n*Meanwhile person 1, at 19:00: Coat the right root: coat.*" + page},
		{now, []int{2}, []NextShare{late}, "*Planned for person 2.*\n\n*Meanwhile person 1, planned for 18:40: Coat the right root: coat.*" + page},
		{now, []int{2}, []NextShare{warned}, "*Planned for person 2.*\n\n*Meanwhile person 1, at 19:00.* **Caution.** Its vapour burns. Open the window. *Coat the right root: coat, by its page:*" + page},
		{now, nil, nil, ""},
	} {
		n := Next{Mark: "CW-01", Step: &Step{Title: "Cut the grip", Do: "Cut it.", Whole: []string{"A blade slips."}}, Planned: test.planned, Whose: (&workflow.State{}).Persons(test.hands), Others: test.others}
		text := strings.TrimSpace(n.Later(&Clock{Now: now}))
		if text != test.want || !strings.Contains(n.Markdown(&Clock{Now: now}), test.want) || !strings.Contains(n.Action(&Clock{Now: now}), test.want) {
			t.Errorf("%q, want %q", text, test.want)
		}
	}
}

// What another person does is found by its name: where two open jobs have a step of that name, with its job.
func TestAShareNamesItsJob(t *testing.T) {
	at := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	one := func(name string) *steps.Procedure {
		return &steps.Procedure{Name: name, Stages: []steps.Stage{{Name: "one", Steps: []steps.Step{{Kind: steps.Do, Name: "look", Title: "Look", Do: "Look."}}}}}
	}
	entry := func(n int64, f journal.Facts) journal.Entry {
		return journal.Entry{Position: n, At: at, Recorded: at, Facts: f}
	}
	docs := workflow.Documents{Sheets: map[string]*steps.Sheet{"sheet": {}}, Procedures: map[string]*steps.Procedure{"check": one("check"), "repair": one("repair")}}
	entries := []journal.Entry{entry(0, journal.Registered{Mark: "CW-01", Sheet: "sheet"}), entry(1, journal.JobOpened{Job: "check", Procedure: "check", Sheet: "sheet"}), entry(2, journal.JobOpened{Job: "repair", Procedure: "repair", Sheet: "sheet"})}
	for n, want := range map[int]string{2: "look", 3: "repair/look"} {
		s, err := workflow.Replay(entries[:n], docs)
		if err != nil {
			t.Fatal(err)
		}
		job := s.Jobs[len(s.Jobs)-1]
		all := sharesNext(s, workflow.Suggestion{Others: []workflow.Share{{Who: 2, Step: s.Steps(job, at)[0], Planned: at}}}, at)
		if len(all) != 1 || all[0].Step != want {
			t.Errorf("%+v, want %s", all, want)
		} else if r, _, err := s.FindStep(all[0].Step, at); err != nil || r.Job != job.ID {
			t.Errorf("%s: %v", all[0].Step, err)
		}
	}
}

// What the plan has ended by now is said with when this sitting needs it again.
func TestWhatTheSittingNeedsAgain(t *testing.T) {
	now := time.Date(2026, 3, 2, 19, 13, 0, 0, time.UTC)
	for again, want := range map[time.Time]string{
		{}:                         "**Caution, at once:** nothing more needs it in this sitting by the plan. ",
		now.Add(18 * time.Minute):  "**Caution, at once:** by the plan it isn't needed until 19:31. ",
		now.Add(-18 * time.Minute): "**Caution, at once:** this step doesn't need it. ",
	} {
		if text := (&Next{EndFirst: []Reason{{Again: again}}}).AtOnce(&Clock{Now: now}); !strings.Contains(text, want) {
			t.Errorf("%q, want %q", text, want)
		}
	}
}

// A step that outlasts the sitting, or is late, says so before it is begun, once: what is ended first says it too.
func TestAStepThatOutlastsTheSittingSaysSo(t *testing.T) {
	now := time.Date(2026, 3, 2, 21, 26, 0, 0, time.UTC)
	for _, test := range []struct {
		next Next
		want string
	}{
		{Next{LeaveBy: now.Add(4 * time.Minute), Takes: 8}, "*The sitting is to be over at 21:30 (4 min), and this takes 8 min.*"},
		{Next{LeaveBy: now.Add(4 * time.Minute), Takes: 29, With: "until it is joined", Behind: 50}, "*The sitting is to be over at 21:30 (4 min), and this takes 29 min until it is joined. It is 50 min behind the plan. Plan again from here: `fettle plan`*"},
		{Next{LeaveBy: now.Add(-time.Minute), Takes: 8}, "*The sitting was to be over at 21:25, and this takes 8 min.*"},
		{Next{LeaveBy: now.Add(4 * time.Minute), Takes: 8, EndFirst: []Reason{{}}, Behind: 12}, "*It is 12 min behind the plan. Plan again from here: `fettle plan`*"},
		{Next{Planned: now.Add(-26 * time.Hour), Behind: 26 * 60, Missed: true}, "*It was planned for Sun 1 Mar 19:26, in a sitting that is over. Plan again: `fettle plan`*"},
	} {
		n := test.next
		n.Mark, n.Step = "CW-01", &Step{Title: "Spread the glue", Do: "Spread it."}
		if text := strings.TrimSpace(n.Later(&Clock{Now: now})); text != test.want || !strings.Contains(n.Action(&Clock{Now: now}), test.want) {
			t.Errorf("%q, want %q", text, test.want)
		}
		if before, _, found := strings.Cut(n.Markdown(&Clock{Now: now}), "# Spread the glue"); !found || !strings.Contains(before, test.want) {
			t.Errorf("%q is not before the step", test.want)
		}
	}
	if text := (&Next{LeaveBy: now}).Later(&Clock{Now: now}); text != "" {
		t.Errorf("%q", text)
	}
}

// What is confirmed before a tool is used comes before it is set hot, in whatever order they are found to be lacking.
func TestAHoldComesBeforeWhatItGuardsIsSet(t *testing.T) {
	var reasons []Reason
	for _, r := range []workflow.Reason{
		{Because: workflow.ByCondition, Remedy: workflow.Remedy{Kind: workflow.ToSetCondition, Mark: "RD-01", Setting: steps.Setting{Condition: "gun", State: "hot"}}},
		{Because: workflow.ByHold, Remedy: workflow.Remedy{Kind: workflow.ToClearUse, Mark: "RD-01", Name: "gun"}},
	} {
		reasons = append(reasons, newReason(r))
	}
	text := Step{Mark: "RD-01", Title: "Heat the gun", Progress: workflow.Waiting, Reasons: reasons}.Markdown(&Clock{})
	if _, after, ok := strings.Cut(text, "fettle clear RD-01 gun"); !ok || !strings.Contains(after, "fettle bench RD-01 --set gun=hot") {
		t.Errorf("%s", text)
	}
}
