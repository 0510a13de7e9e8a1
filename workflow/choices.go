package workflow

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// selection is what is decided of the airframe under a sheet: what it was
// registered with and what was chosen since, the last answer of each choice.
// A choice that is newer than the registration may be answered by it: where all
// answers but one were options that were not taken, it is that one.
func (s *State) selection(sheet *steps.Sheet) steps.Selection {
	var out steps.Selection
	for _, c := range sheet.Choices() {
		held := c.Held(s.Airframe.Options)
		switch answer, chosen := s.chosen[c.Name]; {
		case chosen && answer == steps.No:
			held = nil
		case chosen:
			if _, known := c.Answer(answer); known {
				held = []string{answer}
			}
		case c.Alone && s.isAnswer(c.Name): // as an answer of a choice that this sheet does not have
			held = []string{c.Name}
		case s.latestOf(c) != "":
			held = []string{s.latestOf(c)}
		case len(held) == 0:
			held = s.leftOf(c)
		}
		out.Has = append(out.Has, held...)
		if len(held) == 0 && !c.Alone {
			out.Open = append(out.Open, c.Names()...)
		}
	}
	return out
}

// isAnswer reports whether an option is the answer to any choice.
func (s *State) isAnswer(option string) bool {
	for _, answer := range s.chosen {
		if answer == option {
			return true
		}
	}
	return false
}

// latestOf is the last answer that was given to a choice of another name which had
// that answer too; "": there is none.
func (s *State) latestOf(c steps.Choice) string {
	at, latest := int64(-1), ""
	for name, answer := range s.chosen {
		if _, ok := c.Answer(answer); ok && answer != name && s.chosenAt[name] > at {
			at, latest = s.chosenAt[name], answer
		}
	}
	return latest
}

// leftOf is the one answer of the choice that the sheet of the registration did
// not have, where it had all others and none was taken.
func (s *State) leftOf(c steps.Choice) []string {
	at, ok := s.docs.Sheets[s.Airframe.Sheet]
	if !ok || c.Alone {
		return nil
	}
	left := sorting.Delete(c.Names(), func(name string) bool {
		o, offered := at.Option(name)
		return offered && o.Choice == ""
	})
	if len(left) != 1 {
		return nil
	}
	return left
}

// Selection is what is decided of the airframe, and the options that an open job
// asks for.
//
//go:noinline
func (s *State) Selection() steps.Selection { return s.selected }

// reselect works out what is decided at the time of the entry, and with it the
// steps of jobs.
func (s *State) reselect(e journal.Entry, jobs ...*Job) {
	s.selected = s.selection(s.Sheet)
	for _, j := range s.Jobs {
		if !lists.Contains(jobs, j) && !s.Open(j, e.At) {
			continue
		}
		for _, step := range j.written.Steps() {
			if step.Choose == "" { // most steps; what is asked for takes a while to find
				continue
			}
			if c := step.Asked(s.Sheet); c.Alone && !s.answered(j, *step) {
				s.selected.Open = append(s.selected.Open, c.Name)
			}
		}
	}
	for _, j := range jobs {
		had := j.Procedure
		if had == j.written {
			had = nil // for no zone yet
		}
		j.Procedure = j.written.ForAgain(had, s.selectionOf(j), j.Zone)
	}
}

// governed are the jobs whose steps follow an answer: the open ones. A build
// that is left open for its release alone does not get the steps of what was
// fitted afterwards by a job of its own.
func (s *State) governed(f journal.Chosen, e journal.Entry) []*Job {
	by, _ := s.Job(f.Job)
	return s.followers(by, e.At)
}

// followers are the jobs whose steps follow an answer that the job asks for at
// the time; nil: that no job does.
func (s *State) followers(by *Job, at time.Time) []*Job {
	later := by != nil && by.Procedure.Kind != steps.Build
	return sorting.Delete(s.OpenJobs(at), func(j *Job) bool { return later && j.Procedure.Kind == steps.Build })
}

// selectionOf is what is decided of the airframe and of the job.
func (s *State) selectionOf(j *Job) steps.Selection {
	out := steps.Selection{Has: lists.Clone(s.selected.Has), Open: lists.Clone(s.selected.Open)}
	for _, step := range j.written.Steps() {
		if len(step.Methods) == 0 || !step.In(out) {
			continue
		}
		if method, chosen := j.methods[step.Name]; chosen {
			out.Has = append(out.Has, method)
			continue
		}
		out.Open = append(out.Open, step.Asked(s.Sheet).Names()...)
	}
	return out
}

// answered reports whether what a choose step asks for is decided.
func (s *State) answered(j *Job, step steps.Step) bool {
	if len(step.Methods) > 0 {
		_, chosen := j.methods[step.Name]
		return chosen
	}
	c := step.Asked(s.Sheet)
	if len(c.Held(s.selected.Has)) > 0 || j.answered[step.Name] {
		return true
	}
	at, chosen := s.chosenAt[c.Name]
	// Of a job that fits it later, what was said before that job is no answer.
	return c.Alone && chosen && (at > j.Position || j.written.Kind == steps.Build)
}

// choose applies a Chosen.
func (s *State) choose(e journal.Entry) error {
	f := e.Facts.(journal.Chosen)
	s.memo = &memo{} // until the answer counts
	jobs, had := s.governed(f, e), s.selected
	for _, j := range s.Jobs {
		if !s.Open(j, e.At) { // it is over: what is chosen later opens none of its steps
			j.keepAnswers()
		}
	}
	s.memo = nil
	if err := s.complete(e); err != nil {
		return err
	}
	if job, err := s.Job(f.Job); err == nil {
		if step, _, ok := job.Procedure.Step(s.StepOf(f.Work)); ok && len(step.Methods) > 0 {
			job.methods[step.Name] = f.Answer
			s.reselect(e, job)
			return nil
		}
	}
	s.chosen[f.Choice], s.chosenAt[f.Choice] = f.Answer, e.Position
	s.reselect(e, jobs...)
	if s.Sheet.Geometry.Alters(had, s.selected) {
		s.rebalance(e, "the choice of "+f.Choice)
	}
	return nil
}

// rebalance has a choice disturb all that weighs: it brought parts, or another wing.
//
//go:noinline
func (s *State) rebalance(e journal.Entry, by string) {
	s.disturb(e, by, []string{steps.MassZone})
	s.handledAt[e.Position] = append(s.handledAt[e.Position], steps.MassZone)
}

// keepAnswers has the choose steps that the job was done by stay met.
func (j *Job) keepAnswers() {
	for _, step := range j.Procedure.Steps() {
		if _, done := j.done[step.Name]; done && step.Choose != "" {
			if j.answered == nil {
				j.answered = map[string]bool{}
			}
			j.answered[step.Name] = true
		}
	}
}

// A Choose answers a choice of the airframe, or of an open job.
type Choose struct {
	Answer string // or job/answer, for a method
	No     bool   // Answer is an option that the airframe does not get
	Sheet  *steps.Sheet
}

func (r Choose) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	if reason := s.Untrusted(c.Now); reason != nil {
		return nil, &Refusal{What: r.Answer, Reasons: []Reason{*reason}}
	}
	asked, err := r.find(s, c.At)
	if err != nil {
		return nil, err
	}
	f := journal.Chosen{Choice: asked.choice.Name, Answer: asked.answer}
	if asked.answer == asked.now {
		return nil, refuse(r.Answer, ByState, fmt.Sprintf("it is the answer to %s already", f.Choice), Remedy{})
	}
	if asked.job == nil && s.Fits(r, c.At) {
		return nil, refuse(r.Answer, ByState, "the airframe is built, and what it has is changed by work: by a repair with a step choose: "+asked.choice.Name, Remedy{})
	}
	if reasons := s.settled(asked, c.At); len(reasons) > 0 {
		return nil, &Refusal{What: r.Answer, Reasons: reasons}
	}
	if asked.job == nil {
		return []journal.Facts{f}, nil
	}
	var facts []journal.Facts
	if asked.report.Progress != Done {
		if err := s.allowed(asked.report, asked.job, c); err != nil {
			return nil, err
		}
		facts = s.waited(asked.job, asked.report.Stage, asked.report.Step.Name, c.At)
	}
	f.Work = s.work(asked.job, asked.report.Step)
	return append(facts, f), nil
}

// An asking is what is asked for an answer that was given.
type asking struct {
	choice      steps.Choice
	answer, now string
	job         *Job // of the step that asks; nil: nobody does
	report      StepReport
}

// find finds what the answer is to: the methods of an open job, then the choices
// of the sheet.
func (r Choose) find(s *State, at time.Time) (asking, error) {
	sheet := r.Sheet
	if sheet == nil {
		sheet = s.Sheet
	}
	of, name, qualified := strings.Cut(r.Answer, "/")
	if !qualified {
		of, name = "", r.Answer
	}
	var found []asking
	var known []string
	for _, j := range s.Jobs {
		if of != "" && j.ID != of || !s.Open(j, at) {
			continue
		}
		for _, report := range s.stepsThat(j, at, func(_ steps.Stage, step *steps.Step) bool { return len(step.Methods) > 0 }) {
			choice := report.Step.Asked(sheet)
			known = append(known, choice.Names()...)
			if _, ok := choice.Answer(name); ok {
				found = append(found, asking{choice, name, j.methods[report.Step.Name], j, report})
			}
		}
	}
	switch {
	case len(found) > 1:
		return asking{}, bad("%s is a method in the jobs %s and %s; write %s/%s", name, found[0].job.ID, found[1].job.ID, found[0].job.ID, name)
	case len(found) == 1 && !r.No:
		return found[0], nil
	}
	for _, choice := range sheet.Choices() {
		if choice.Name == name && !choice.Alone {
			return asking{}, bad("%s is a choice; its answers are %s", name, strings.Join(choice.Names(), ", "))
		}
		known = append(known, choice.Names()...)
	}
	choice, ok := sheet.Choice(name)
	if !ok {
		return asking{}, unknownOf(s.Airframe.Design, "answer", name, known)
	}
	if r.No && !choice.Alone {
		return asking{}, bad("%s is an answer of %s, of which the airframe has one: name the other answer", name, choice.Name)
	}
	out := asking{choice: choice, answer: name}
	if r.No {
		out.answer = steps.No
	}
	if held := choice.Held(s.selection(sheet).Has); len(held) == 1 {
		out.now = held[0]
	} else if answer := s.chosen[choice.Name]; answer == steps.No {
		out.now = answer
	}
	for _, j := range s.Jobs {
		if !s.Open(j, at) {
			continue
		}
		for _, report := range s.stepsThat(j, at, func(_ steps.Stage, step *steps.Step) bool { return step.Choose != "" }) {
			asks := report.Step.Asked(s.Sheet)
			_, can := asks.Answer(name)
			early := j.Procedure.Kind == steps.Build && report.Progress != Ready
			if can && !early && (out.job == nil || report.Progress != Done) {
				out.job, out.report = j, report
			}
		}
	}
	if out.job != nil && out.report.Progress != Done && out.now == out.answer {
		out.now = "" // it was said of another job
	}
	return out, nil
}

// settled says why an answer can't be changed at the time: work that it governs
// is done, in the job that asks, or in another whose steps follow the answer.
func (s *State) settled(a asking, at time.Time) []Reason {
	methods := a.job != nil && len(a.report.Step.Methods) > 0
	for _, j := range s.followers(a.job, at) {
		if a.job == nil || j == a.job || methods || a.now == "" {
			continue
		}
		if step := s.governedBy(a.choice, j); step != "" {
			return []Reason{{Because: ByState, Text: fmt.Sprintf("%s was chosen, and %s, which depends on it, is done in job %s, which is open", a.now, step, j.ID),
				Remedy: s.remedy(Remedy{Kind: ToFinish, Name: j.ID})}}
		}
	}
	if a.now == "" && (a.job == nil || a.report.Progress != Done) {
		return nil
	}
	if step := s.governedBy(a.choice, a.job); step != "" {
		entry := s.restingOnAnswer(a.choice, a.job, 0)[0]
		if at, chosen := s.chosenAt[a.choice.Name]; chosen && s.chosen[a.choice.Name] == a.now {
			entry = at
		}
		if methods {
			entry = a.job.done[a.report.Step.Name].position
		}
		return []Reason{{Because: ByState, Text: fmt.Sprintf("%s was chosen, and %s, which depends on it, is done", a.now, step),
			Remedy: s.remedy(Remedy{Kind: ToTakeBack, Entry: entry})}}
	}
	return nil
}

// governedBy is the first step that is done and that an answer of the choice
// governs: of the job, or of any; "": there is none.
func (s *State) governedBy(c steps.Choice, of *Job) string {
	for _, p := range s.restingOnAnswer(c, of, 0) {
		work, _ := journal.WorkOf(s.Entries[p].Facts)
		return s.StepOf(work)
	}
	return ""
}

// restingOnAnswer returns the live entries from the position on that complete
// steps which an answer of the choice governs: of the job, for methods, else of
// any.
func (s *State) restingOnAnswer(c steps.Choice, of *Job, from int64) []int64 {
	governs := func(name string) bool { _, ok := c.Answer(name); return ok }
	var positions []int64
	for _, e := range s.Entries[from:] {
		work, ok := journal.WorkOf(e.Facts)
		if !ok || !s.Live(e.Position) {
			continue
		}
		job, err := s.Job(work.Job)
		if err != nil || of != nil && job != of {
			continue
		}
		if step, _, ok := job.written.Step(s.StepOf(work)); ok && lists.ContainsFunc(step.Options(), governs) {
			positions = append(positions, e.Position)
		}
	}
	return positions
}

// restingOnChosen returns what is taken back with an answer: the work that it
// governs, and where a step asked for it, what comes after that step.
func restingOnChosen(s *State, e journal.Entry) []int64 {
	f := e.Facts.(journal.Chosen)
	choice, ok := s.Sheet.Choice(f.Choice)
	if !ok || choice.Name != f.Choice {
		choice = steps.Choice{Answers: []steps.Option{{Name: f.Answer}}}
	}
	var of *Job
	if job, err := s.Job(f.Job); err == nil {
		if step, _, ok := job.written.Step(s.StepOf(f.Work)); ok && len(step.Methods) > 0 {
			choice, of = step.Asked(s.Sheet), job
		}
	}
	positions := s.restingOnAnswer(choice, of, e.Position+1)
	if f.Job != "" {
		positions = append(positions, stepsAfter(s, e)...)
	}
	return positions
}

// Undecided says what of the airframe must be chosen before it may be worked on
// under the sheet, or fly: choices of which it has several answers, and where it
// is built those of which it has none.
func (s *State) undecided(sheet *steps.Sheet, built bool) []Reason {
	has := s.selection(sheet).Has
	var reasons []Reason
	for _, c := range sheet.Choices() {
		if c.Alone {
			continue
		}
		held := c.Held(has)
		text := ""
		switch {
		case len(held) > 1:
			text = fmt.Sprintf("it has %s, which exclude each other: both are answers of %s", strings.Join(held, " and "), c.Name)
		case len(held) == 0 && built:
			text = fmt.Sprintf("nobody has said which of %s it has: %s", c.Name, strings.Join(c.Names(), ", "))
		}
		if text != "" {
			names := held
			if len(held) == 0 {
				names = c.Names()
			}
			reasons = append(reasons, Reason{Because: ByState, Text: text, Remedy: s.remedy(Remedy{Kind: ToChoose, Names: names})})
		}
	}
	return reasons
}

// everBuilt reports whether the airframe is built: it was made, or released before
// anybody asked for that.
//
//go:noinline
func (s *State) everBuilt(at time.Time) bool {
	_, made := s.Built(at)
	return made || s.Release != nil
}

// Fits reports whether the answer would change what a built airframe has at the
// time, and no open job asks for it: that takes work.
func (s *State) Fits(r Choose, at time.Time) bool {
	asked, err := r.find(s, at)
	if err != nil || asked.job != nil || asked.answer == asked.now || !s.everBuilt(at) {
		return false
	}
	return asked.now != "" || asked.choice.Alone && asked.answer != steps.No
}

// NameOfAnswer is an answer for a person to type: with the job in front where it
// is a method of several open jobs.
func (s *State) NameOfAnswer(job *Job, answer string, at time.Time) string {
	for _, other := range s.OpenJobs(at) {
		for _, step := range other.Procedure.Steps() {
			if other != job && slices.ContainsFunc(step.Methods, func(m steps.Option) bool { return m.Name == answer }) {
				return job.ID + "/" + answer
			}
		}
	}
	return answer
}

// Unsettled reports whether the answer is to a choice that the sheet in force does
// not have, and that the airframe does not have exactly one answer to.
func (s *State) Unsettled(sheet *steps.Sheet, answer string) bool {
	c, ok := sheet.Choice(answer)
	if have, _ := s.Sheet.Choice(answer); !ok || c.Alone || have.Name == c.Name {
		return false
	}
	return len(c.Held(s.selection(sheet).Has)) != 1
}

// choosesEarly says that a procedure changes what the airframe has while its build
// is still open, which asks for that itself; nil: it doesn't.
func (s *State) choosesEarly(p *steps.Procedure, open []*Job) *Reason {
	if p.Kind == steps.Build || !steps.AnyStep(p.Steps(), func(step *steps.Step) bool { return step.Choose != "" }) {
		return nil
	}
	for _, j := range open {
		if j.Procedure.Kind == steps.Build {
			return &Reason{Because: ByState, Text: "job " + j.ID + " is open, and what the airframe has is chosen there", Remedy: s.remedy(Remedy{Kind: ToFinish, Name: j.ID})}
		}
	}
	return nil
}

// outdated reports whether a plan goes by another choice than was made since, of the airframe or of how a job is done.
func (s *State) outdated(planned []Planned, now time.Time) bool {
	var of *Job
	var selection steps.Selection
	for i := range planned {
		p := &planned[i]
		if of == nil || of.ID != p.Job {
			job, err := s.Job(p.Job)
			if err != nil || !s.Open(job, now) {
				continue
			}
			of, selection = job, s.selectionOf(job)
		}
		if step, _, known := of.written.Step(p.Step); known && (!step.May(selection) || p.Answer != "" && s.answeredElse(of, &step, p.Answer)) {
			return true
		}
	}
	return false
}

// answeredElse reports whether a choose step was answered otherwise.
func (s *State) answeredElse(j *Job, step *steps.Step, answer string) bool {
	if !s.answered(j, *step) {
		return false
	}
	if len(step.Methods) > 0 {
		return j.methods[step.Name] != answer
	}
	held := step.Asked(s.Sheet).Held(s.selected.Has)
	if answer == steps.No {
		return len(held) > 0
	}
	return !lists.Contains(held, answer)
}
