package cli

import (
	"fmt"
	"iter"
	"slices"
	"strings"

	"fettle/cmd/internal/page"
	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// dueSteps are the steps whose turn has come and that done records, and the reworks of
// gates that have not passed.
func dueSteps(w word) []string {
	out := readySteps(w, func(k steps.Traits) bool { return k.Attended && !k.Confirms && !k.Measures })
	for job, r := range ready(w) {
		unmet := func(g workflow.GateReport) bool { return !g.Met() }
		if r.Step.Kind.Traits().Measures && !slices.ContainsFunc(w.state.GatesOf(job, r.Step, w.now), unmet) {
			out = append(out, described(w.state.NameOf(job.ID, r.Step.Name, w.now), r.Step.Title))
		}
	}
	for _, g := range w.state.Gates(w.now) {
		if g.Standing == workflow.Failed || g.Standing == workflow.Undecided {
			out = append(out, described(page.ReworkStep+g.Gate.Name, g.Gate.Title, g.Standing.Words()))
		}
	}
	for _, t := range w.state.Trims() {
		offer := described(page.ReworkStep+t.Rework, "trim of "+t.Control.Name)
		if t.Rework != "" && !t.Out && !lists.Contains(out, offer) {
			out = append(out, offer)
		}
	}
	return out
}

// ready are the steps whose turn has come.
func ready(w word) iter.Seq2[*workflow.Job, workflow.StepReport] {
	return func(yield func(*workflow.Job, workflow.StepReport) bool) {
		for _, job := range w.state.OpenJobs(w.now) {
			for _, r := range w.state.Steps(job, w.now) {
				if r.Progress == workflow.Ready && !yield(job, r) {
					return
				}
			}
		}
	}
}

func readySteps(w word, want func(steps.Traits) bool) []string {
	var out []string
	for job, r := range ready(w) {
		if want(r.Step.Kind.Traits()) {
			out = append(out, described(w.state.NameOf(job.ID, r.Step.Name, w.now), r.Step.Title))
		}
	}
	return out
}

// dueGates are those that have not passed: that a step asks for whose turn has come, or that
// were measured; where no job is open, all.
func dueGates(w word) []string {
	due := map[string]bool{}
	for job, r := range ready(w) {
		for _, g := range w.state.GatesOf(job, r.Step, w.now) {
			due[g.Gate.Name] = true
		}
	}
	over := len(w.state.OpenJobs(w.now)) == 0
	var out []string
	for _, g := range w.state.Gates(w.now) {
		if !g.Met() && (over || due[g.Gate.Name] || g.Standing == workflow.Failed || g.Standing == workflow.Undecided) {
			out = append(out, described(g.Gate.Name, g.Gate.Title, g.Standing.Words()))
		}
	}
	return out
}

// openAnswers are those to the choices whose turn has come; where there are none, all.
func openAnswers(w word) []string {
	var out []string
	for job, r := range ready(w) {
		choice := r.Step.Asked(w.state.Sheet)
		for _, o := range choice.Answers {
			out = append(out, described(w.state.NameOfAnswer(job, o.Name, w.now), o.Title))
		}
		if choice.Alone {
			out = append(out, described(choice.Name+" --no", "do without it"))
		}
	}
	if len(out) == 0 {
		return answers(w)
	}
	return out
}

// holds are those that wait to be cleared: of jobs, of adhesives and tools, of quarantines.
func holds(w word) []string {
	out := readySteps(w, func(k steps.Traits) bool { return k.Confirms })
	use := func(name, title string, hold []string) {
		if u, err := w.state.Use(name); err == nil && len(hold) > 0 && !w.state.Cleared(u, w.now) {
			out = append(out, described(name, title))
		}
	}
	for _, a := range w.state.Sheet.Adhesives {
		use(a.Name, a.Title, a.Hold)
	}
	for _, t := range w.state.Sheet.Tools {
		use(t.Name, t.Title, t.Hold)
	}
	for _, q := range w.state.Quarantines {
		if q.Open() {
			out = append(out, described(q.Damage, q.Says()))
		}
	}
	return out
}

// answers are those that may be given to a choice.
func answers(w word) []string {
	var out []string
	for _, o := range w.state.Sheet.Options {
		out = append(out, described(o.Name, o.Title))
	}
	for _, job := range w.state.OpenJobs(w.now) {
		for _, step := range job.Procedure.Steps() {
			for _, m := range step.Methods {
				out = append(out, described(w.state.NameOfAnswer(job, m.Name, w.now), m.Title))
			}
		}
	}
	return out
}

func gates(w word) []string {
	var out []string
	for _, g := range w.state.Gates(w.now) {
		out = append(out, described(g.Gate.Name, g.Gate.Title, g.Standing.Words()))
	}
	return out
}

// points are those of the gate before that have no reading in the command yet.
func points(w word) []string {
	gate, found := w.state.Sheet.Gate(w.before[0])
	if !found {
		return nil
	}
	var out []string
	for _, point := range lists.Concat(gate.Points, gate.Or.Points) {
		given := lists.ContainsFunc(w.before, func(arg string) bool { return strings.HasPrefix(arg, point+"=") })
		if !given || gate.For(point).Repeat > 1 {
			out = append(out, point+"=")
		}
	}
	return out
}

func gauges(w word) []string {
	var out []string
	for _, g := range w.state.Sheet.Gauges {
		out = append(out, described(g.Name, g.Title))
	}
	return out
}

// running are the joints and steps that time alone brings on.
func running(w word) []string {
	var out []string
	for _, t := range w.state.Clocks(w.now) {
		when := ""
		if !t.Ready.IsZero() {
			when = (&page.Clock{Now: w.now}).At(t.Ready)
		}
		out = append(out, described(t.Name, string(t.Phase), when))
	}
	return out
}

// shownEntries is how many entries are offered to be taken back.
const shownEntries = 20

// entries are the latest that can be taken back, the last first.
func entries(w word) []string {
	var out []string
	all := page.NewJournal(w.state).Entries
	for _, e := range slices.Backward(all) {
		undo := workflow.Undo{Position: e.Position, Reason: "asked"}
		if len(out) == shownEntries {
			break
		}
		if e.Undone || e.Kind == (journal.Undone{}).Kind() {
			continue
		}
		if _, err := w.state.Decide(undo, workflow.Circumstances{Now: w.now, By: w.desk.By, Program: w.desk.Program}); err == nil {
			out = append(out, described(fmt.Sprint(e.Position), e.Says, (&page.Clock{Now: w.now}).At(e.At)))
		}
	}
	return out
}

func openJobs(w word) []string {
	var out []string
	for _, j := range w.state.OpenJobs(w.now) {
		out = append(out, described(j.ID, j.Procedure.Title))
	}
	return out
}

// fitting are the procedures that can be started.
func fitting(w word) []string {
	docs, _ := w.desk.Fitting(w.ctx, w.state)
	var out []string
	for _, d := range docs {
		out = append(out, described(d.Name(), d.Title()))
	}
	return out
}

func equipment(w word) []string {
	var out []string
	for _, e := range w.state.Sheet.Equipment {
		out = append(out, described(e.Name, e.Title))
	}
	return out
}

// surfaces are the control surfaces, each with where it can stand.
func surfaces(w word) []string {
	var out []string
	for _, c := range w.state.Controls() {
		for _, way := range w.state.Sheet.Geometry.Ways(c) {
			out = append(out, described(c.Name+"-"+way+"=", c.Title))
		}
	}
	return out
}

// settings are the conditions, then the states of one.
func settings(w word) []string {
	var out []string
	name, _, named := strings.Cut(w.text, "=")
	for _, c := range w.state.Sheet.Conditions {
		switch {
		case !named:
			out = append(out, described(c.Name+"=", c.Title))
		case c.Name == name:
			for _, state := range c.States {
				out = append(out, name+"="+state)
			}
		}
	}
	return out
}

// findings are the zones, then what can be found at one, then how bad.
func findings(w word) []string {
	zone, found, named := strings.Cut(w.text, "=")
	if !named {
		return each(w.state.Sheet.Zones, "", "=")
	}
	triage, _, err := w.desk.Triage(w.state)
	if err != nil {
		return nil
	}
	var out []string
	if finding, _, named := strings.Cut(found, ":"); named {
		return each(triage.Possible(finding, zone), zone+"="+finding+":", "")
	}
	for _, f := range triage.Findings {
		if len(f.Zones) == 0 || lists.Contains(f.Zones, zone) {
			out = append(out, described(zone+"="+f.Name+":", f.Title))
		}
	}
	return out
}

func each(words []string, before, after string) []string {
	var out []string
	for _, w := range words {
		out = append(out, before+w+after)
	}
	return out
}

// zones are those of the airframe, or those on which the procedure before may be started.
func zones(w word) []string {
	if len(w.before) > 0 {
		if doc, err := w.desk.Library.Procedure(w.before[0]); err == nil && len(doc.Procedure.On) > 0 {
			return sorting.Delete(lists.Clone(doc.Procedure.On), func(z string) bool { return !lists.Contains(w.state.Sheet.Zones, z) })
		}
	}
	return w.state.Sheet.Zones
}

// adhesives are those that the step before may be glued with.
func adhesives(w word) []string {
	if len(w.before) == 0 {
		return nil
	}
	r, job, err := w.state.FindStep(w.before[0], w.now)
	if err != nil {
		return nil
	}
	var out []string
	for _, a := range w.state.AdhesivesOf(job, r.Step, w.now) {
		if len(a.Unfit) == 0 {
			out = append(out, described(a.Name, a.Title))
		}
	}
	return out
}
