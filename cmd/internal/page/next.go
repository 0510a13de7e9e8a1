package page

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/store"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// A Next is what to do now, and why everything else waits.
type Next struct {
	Mark     string        `json:"mark"`
	Over     bool          `json:"over"` // no job is open
	Retired  string        `json:"retired,omitempty"`
	Step     *Step         `json:"step,omitempty"`
	Because  string        `json:"because,omitempty"`
	SeeTo    []Reason      `json:"see_to,omitempty"`
	Due      []Reason      `json:"due,omitempty"`              // before it may fly, if no job is open
	Damaged  []Reason      `json:"damaged,omitempty"`          // a check that is due, and what no job repairs, if one is open
	Unsafe   []Reason      `json:"unsafe_elsewhere,omitempty"` // what crashed of other airframes of the bench, and is not made safe
	Waiting  []Waiting     `json:"waiting"`
	Until    time.Time     `json:"until,omitzero"`
	Planned  time.Time     `json:"planned,omitzero"`                // when the last plan has the step
	InVain   []Reason      `json:"in_vain,omitempty"`               // why what the step sets hot, on or plugged in can't be used at the bench as it is
	Outdated bool          `json:"plan_outdated,omitempty"`         // the last plan goes by another choice than was made
	Several  bool          `json:"same_for_all,omitempty"`          // several people are there, and no plan tells them apart: each is told the same step
	Who      []int         `json:"who,omitempty"`                   // does the step, of the several that the last plan is for
	Others   []NextShare   `json:"meanwhile,omitempty"`             // what the others of them do
	Beside   []NextBeside  `json:"cannot_wait_elsewhere,omitempty"` // on other airframes of the bench
	Timers   []Timer       `json:"timers"`
	Warnings []Reason      `json:"warnings,omitempty"`
	Harms    []Reason      `json:"harms,omitempty"`                // what open coats need and the journal says otherwise
	EndFirst []Reason      `json:"end_first,omitempty"`            // what is hot, on or plugged in, and the step takes longer than the sitting
	LeaveBy  time.Time     `json:"leave_by,omitzero"`              // when that is over
	Takes    int           `json:"takes_min,omitempty"`            // of the step, where that is longer than the sitting, with what must follow in it
	With     string        `json:"takes_with,omitempty"`           // what that is
	Behind   int           `json:"behind_min,omitempty"`           // later than planned it would be begun, where that is much
	Missed   bool          `json:"sitting_missed,omitempty"`       // it was planned for a sitting that is over
	Plugged  []NextPlugged `json:"plugged_in_elsewhere,omitempty"` // what somebody stays by on other airframes of the bench
	Begin    string        `json:"-"`                              // the procedure to start, if nothing else is due; "": any
	Full     bool          `json:"-"`                              // with why, tools and what waits
	Command  string        `json:"-"`                              // that shows it
	Begins   bool          `json:"-"`                              // nothing of the job of the step is done
	Checks   []string      `json:"before_flight,omitempty"`        // to be begun before it flies, where it is released

	Theirs string     `json:"theirs,omitempty"`     // who of several are at the step or are to do it, where it is not to be done by whoever asks
	Mine   *NextShare `json:"yours_next,omitempty"` // what whoever asks does next by the plan then
	Whose  string     `json:"-"`                    // whom the plan has the step for, of several, with the names that are known
	Last   string     `json:"last_by,omitempty"`    // who else recorded something of the airframe a moment ago, where no plan tells them apart
	LastAt time.Time  `json:"-"`
	apart  bool       // several people are told apart: by the last plan, or by what each of them was led to
	// unplanned: somebody else is at the step whom no plan has it for
	unplanned bool
	noted     bool   // nobody else is led to the step
	Alone     bool   `json:"-"`                        // several are there, and one of them makes safe what crashed
	Unmade    string `json:"not_safe_until,omitempty"` // how what crashed is when it is safe, where the step leads to that
	First     bool   `json:"-"`                        // what crashed is made safe before anything else is done on it, and the step is none of that
	Asked     bool   `json:"-"`                        // others are at it, who are asked before it is begun all the same
	from      string // who was at the step until it was taken over

	Kept    *Reason `json:"yours_waits_for,omitempty"` // what comes before what else the plan has for whoever asks
	Presses bool    `json:"-"`                         // the step can't wait for anything
	Both    bool    `json:"-"`                         // several are there

	Held   string    `json:"held_by,omitempty"` // who else is at a step that an open coat waits for, where whoever asks is led past it
	heldAt [2]string // that step, and its title
	DueBy  time.Time `json:"due_by,omitzero"` // when that, or what is Theirs, must be joined or done

	Unsettled bool `json:"-"` // no setting says when somebody is at the bench, so that whoever plans must

	Claims []*store.Claim `json:"claims,omitempty"` // of others, who are at steps of it
	free   *Timer         // what is waited for; nil: nothing is
	Took   *store.Claim   `json:"-"` // from which the step was taken over just now; nil: from none
}

// A Waiting is the first open step of a stage, with the reasons why it waits.
type Waiting struct {
	Step     string   `json:"step"`
	Stage    string   `json:"stage"`
	Title    string   `json:"title"`
	Do       string   `json:"do,omitempty"` // of a wait: what to leave alone until it is over
	Reopened string   `json:"reopened,omitempty"`
	Reasons  []Reason `json:"reasons"`
}

// behind reports whether other steps come before it; until they are done its
// other reasons do not matter.
//
//go:noinline
func (w Waiting) behind() bool {
	return slices.ContainsFunc(w.Reasons, func(r Reason) bool { return r.Because == workflow.ByOrder })
}

// NewNext makes the page of what to do now.
func NewNext(s *workflow.State, now time.Time) Next { return NextOf(s, s.Next(now), now) }

// NextOf makes the page of what is suggested.
func NextOf(s *workflow.State, suggestion workflow.Suggestion, now time.Time) Next {
	left := s.LeftBy(suggestion, now)
	end, stay := s.StandsBeside(&suggestion, now)
	end = sorting.Delete(end, func(r workflow.Reason) bool {
		return slices.ContainsFunc(left, func(had workflow.Reason) bool { return sameEnd(s, &had.Remedy, &r.Remedy) })
	})
	all := append(left[:len(left):len(left)], end...)
	n := Next{Mark: s.Airframe.Mark, Command: "fettle next " + s.Airframe.Mark, Over: suggestion.Over, Because: because(suggestion, now), SeeTo: newReasons(suggestion.Resolve),
		Due: newReasons(suggestion.Due), Damaged: newReasons(suggestion.Damaged), Waiting: []Waiting{}, Until: suggestion.Until, Planned: suggestion.Planned, Outdated: suggestion.Outdated, Who: suggestion.Hands, Others: sharesNext(s, suggestion, now), Beside: besideNext(suggestion), Timers: Timers(s, now), Harms: harms(s, all, now)}
	n.Presses, n.Both = suggestion.Presses, s.Several()
	for i := range n.Timers {
		if t := &n.Timers[i]; suggestion.WaitsForDue && t.Opens.After(now) && !t.Closes.IsZero() && !t.Damaged && (n.free == nil || t.Opens.Before(n.free.Opens)) {
			n.free = t
		}
	}
	n.unmade(s, &suggestion, now)
	if end, by := s.EndFirst(suggestion, now); len(end) > 0 {
		n.EndFirst, n.LeaveBy = endFirst(s, end, by, n.Harms, now), by
	}
	if o := s.Overruns(suggestion, now); o != nil {
		n.LeaveBy, n.Takes, n.With = o.By, int(o.Takes/time.Minute), takesWith(o)
	}
	if late := suggestion.Late(now); late > 0 && !suggestion.Presses {
		n.Behind, n.Missed = int(late/time.Minute), suggestion.Missed(now)
	}
	if s.Retired != nil {
		n.Retired, n.Damaged = said(s.Retired.Says()), nil
	}
	if suggestion.Step != nil {
		step := NewStep(s, *suggestion.Step, now)
		n.Step, n.InVain = &step, newReasons(s.InVain(suggestion.Step, now))
		for _, other := range stay {
			n.Plugged = append(n.Plugged, NewPlugged(s, other, now))
		}
		n.Whose, n.Alone, n.Asked = s.Persons(suggestion.Hands), suggestion.AtOnce && s.Several(), suggestion.Asked
		n.Begins = !journal.Any(s.Entries, func(e journal.Entry) bool {
			work, ok := journal.WorkOf(e.Facts)
			return ok && work.Job == step.Job
		})
	}
	for _, is := range s.Minded(&suggestion, now) { // whoever else is there doesn't reach in
		harms, ends := leftToThem(s, &is, &n.Harms), leftToThem(s, &is, &n.EndFirst)
		if (harms || ends) && !n.minded(is.Mark, is.Text) {
			n.Plugged = append(n.Plugged, NewPlugged(s, is, now))
		}
	}
	if people := workflow.PeopleOf(s.Plans); people > 0 && !suggestion.Outdated || s.ToldApart() {
		n.apart = true
	} else {
		n.Last, n.LastAt = s.AtItLast(now)
		n.ToldAlike(people, false)
	}
	n.unplanned = suggestion.Unplanned()
	if r, by := suggestion.Held(); r != nil {
		if n.DueBy = suggestion.DueBy(r); !n.DueBy.IsZero() {
			n.Held, n.heldAt = s.Person(by), [2]string{s.NameOf(r.Job, r.Step.Name, now), turnWords(workflow.Turn{Title: r.Step.Label(), Act: r.Act})}
		}
	} else if suggestion.Theirs && suggestion.Step != nil {
		n.DueBy = suggestion.DueBy(suggestion.Step)
	}
	n.leaveToThem(s, suggestion, now)
	for _, w := range suggestion.Waiting {
		waits := Waiting{Step: w.Step.Name, Stage: w.Stage, Title: w.Step.Label(), Reopened: w.Reopened, Reasons: newReasons(w.Reasons)}
		if w.Step.Kind.Traits().Passes && w.Progress == workflow.Waiting {
			waits.Do = w.Step.Do
		}
		n.Waiting = append(n.Waiting, waits)
	}
	if r := s.Untrusted(now); r != nil {
		n.Warnings = append(n.Warnings, newReason(*r))
	}
	n.onlyFirst(now)
	return n
}

// takesWith is what must follow in the same sitting.
func takesWith(o *workflow.Overrun) string {
	switch {
	case o.Joins:
		return "until it is joined"
	case o.Uses:
		return "with the step that it is for"
	case len(o.Sets) > 0:
		return "with " + strings.Join(o.Sets, ", ") + " before and ended after"
	}
	return ""
}

// Heed puts before the step the cautions of what is plugged in, or set hot, once more for it by no lines of its own.
func (n *Next) Heed(s *workflow.State, now time.Time) {
	if n.Step != nil {
		n.Step.heed(s, now)
	}
}

func (p *Step) heed(s *workflow.State, now time.Time) {
	for _, r := range p.Reasons {
		if r.Remedy.Kind != workflow.ToSetCondition {
			continue
		}
		if by := s.DoneAgain(r.Remedy.Setting, now); by != nil && !lists.Contains(p.again, by) {
			p.again = append(p.again, by)
		}
		for _, caution := range slices.Backward(s.Heeded(r.Remedy.Setting, now)) {
			if !lists.Contains(p.Whole, caution) {
				p.Cautions, p.Whole = append([]string{caution}, p.Cautions...), append([]string{caution}, p.Whole...)
			}
		}
	}
}

// A NextBeside is what can't wait for the step on another airframe of the bench.
type NextBeside struct {
	Mark   string    `json:"airframe"`
	Name   string    `json:"name"` // of the joint, or the step
	Opens  time.Time `json:"opens,omitzero"`
	Closes time.Time `json:"closes"`
}

func besideNext(suggestion workflow.Suggestion) (all []NextBeside) {
	for _, e := range suggestion.Beside {
		name := e.Then
		if name == "" {
			name = e.Name
		}
		all = append(all, NextBeside{e.Mark, name, e.Opens, e.Closes})
	}
	return all
}

// StayFree says what is waited for, though something could be done that takes too long before it. "": nothing is.
//
//go:noinline
func (n *Next) StayFree(c *Clock) string {
	if n.free == nil {
		return ""
	}
	return fmt.Sprintf("Stay free for %s on %s: it opens at %s", cmp.Or(n.free.Then, n.free.Name), n.Mark, c.At(n.free.Opens))
}

// first says that it comes before anything else, and more of it.
//
//go:noinline
func (e *NextBeside) first(l *lines, more string, c *Clock) {
	opens := ""
	if e.Opens.After(c.Now) {
		opens = "from " + c.At(e.Opens) + " "
	}
	l.add("**First, on %s:** %s can't wait: it must be joined or done %suntil %s (%s).%s\n\n%s", esc(e.Mark), esc(e.Name), opens, c.At(e.Closes), c.In(e.Closes), more, command("fettle next "+e.Mark))
}

// A NextPlugged is what somebody stays by on an airframe of the bench, such as a battery that is plugged in.
type NextPlugged struct {
	Mark string `json:"airframe"`
	By   int    `json:"person,omitempty"` // of several by the plan, from 1; 0: who reads it
	who  string // that is, in words
	ends bool   // and ends it at once
	Reason
	Last time.Time     `json:"there_last,omitzero"` // when they were, where they may have gone since
	set  steps.Setting // how it is ended
}

// NewPlugged has whoever is not the one who stays by it not told how to end it: they would pull the plug from under those hands.
// Once they may have gone, it is told to whoever asks them first.
func NewPlugged(s *workflow.State, is workflow.Plugged, now time.Time) NextPlugged {
	who, last, set := "", time.Time{}, is.Remedy.Setting
	if is.By > 0 {
		who, last = s.Person(is.By), s.LastThere(&is, now)
	}
	if is.By > 0 && last.IsZero() {
		is.Remedy = workflow.Remedy{}
	}
	return NextPlugged{is.Mark, is.By, who, is.Ends, newReason(is.Reason), last, set}
}

// leftToThem takes what somebody else minds from what is said to be ended; false: it is not among that.
func leftToThem(s *workflow.State, is *workflow.Plugged, all *[]Reason) bool {
	had := len(*all)
	*all = sorting.Delete(*all, func(r Reason) bool { return !r.At.IsZero() && sameEnd(s, &r.Remedy, &is.Remedy) })
	return len(*all) < had
}

func (p *NextPlugged) caution(c *Clock) string {
	what := ReasonText(p.Reason.Reason, c)
	if !p.Last.IsZero() {
		what = "they were there last at " + c.At(p.Last) + ". Ask them, and end it only where nobody is there: " + what
	}
	head, who := p.stays()
	return "**" + esc(head) + "** " + strings.TrimLeft(esc(who)+" "+what, " ")
}

// stays is the caution that somebody stays by it, or ends it, and who.
func (p *NextPlugged) stays() (head, who string) {
	switch {
	case p.ends && p.Last.IsZero():
		return "Caution, stay clear of " + p.Mark + ":", p.who + " ends this at once, and nobody else:"
	case p.ends:
		return "Caution, stay clear of " + p.Mark + ":", p.who + " was to end this at once;"
	case p.By > 0:
		return "Caution, " + p.who + " stays by " + p.Mark + ":", ""
	}
	return "Caution, stay by " + p.Mark + ":", ""
}

// because says why the step is suggested, with the time that is left for it.
func because(suggestion workflow.Suggestion, now time.Time) string {
	if suggestion.JoinBy.IsZero() {
		return suggestion.Why
	}
	return suggestion.Why + " within " + Span(suggestion.JoinBy.Sub(now))
}

// AtOnce is what comes before any work: what open coats need and do not have, a clock
// that can't be trusted, damage.
func (n *Next) AtOnce(c *Clock) string {
	var l lines
	for _, w := range n.Warnings {
		l.add("**Clock:** %s\n", ReasonText(w.Reason, c))
	}
	l.harmed(n.Harms, c)
	for i := range n.EndFirst {
		r, why := n.EndFirst[i], ""
		if r.By.IsZero() { // the plan ends it before, but for a step that outlasts the sitting
			r.By = n.LeaveBy
		}
		switch again := r.Again; {
		case !r.By.IsZero():
		case again.IsZero():
			why = "nothing more needs it in this sitting by the plan. "
		case again.After(c.Now):
			why = "by the plan it isn't needed until " + c.At(again) + ". "
		default:
			why = "this step doesn't need it. "
		}
		l.item("%s%s%s", r.caution(", and this step takes longer", c), why, ReasonText(r.Reason, c))
	}
	l.stayed(n.Plugged, c)
	if len(n.Harms)+len(n.EndFirst)+len(n.Plugged) > 0 {
		l.add("")
	}
	n.unsafe(&l, c)
	for i, r := range n.Damaged {
		if i == 0 && n.First && n.Both {
			r.Text += oneDoes
		}
		l.add("**First:** %s\n", ReasonText(r.Reason, c))
	}
	if n.Took != nil {
		told := "they are told"
		if n.Took.Silent > 0 {
			told += " once they are heard of"
		}
		l.add("Taken over from %s: %s.\n", esc(ClaimedBy(n.Took, c)), told)
	}
	for _, of := range n.Claims {
		l.add("%s.\n", ClaimLine(of, c))
		if n.Step != nil && of.Step == n.Step.Job+"/"+n.Step.Step {
			l.add("Ask them before you begin it too. To take it over:\n\n%s", command(n.Command+" --take"))
		}
	}
	return l.String()
}

// unmade has it said what crashed and is not made safe: here, but where the step makes it so, and on other airframes.
func (n *Next) unmade(s *workflow.State, suggestion *workflow.Suggestion, now time.Time) {
	for _, is := range s.UnsafeBeside(now) {
		if is.By > 0 {
			n.Plugged = append(n.Plugged, NewPlugged(s, is, now))
		} else {
			n.Unsafe = append(n.Unsafe, newReason(is.Reason))
		}
	}
	r := s.Unsafe(now)
	n.First = s.UnsafeFirst(suggestion, now)
	switch {
	case suggestion.Step != nil && (suggestion.AtOnce || suggestion.Theirs) && (r == nil || r.Remedy.Kind == workflow.ToSeeNext):
		n.Unmade = s.ToMakeSafe(suggestion, now)
	case r != nil && r.Remedy.Kind == workflow.ToSeeNext:
		r.Remedy = workflow.Remedy{} // which shows this page
		n.Damaged = append(newReasons([]workflow.Reason{*r}), n.Damaged...)
	case r != nil: // which says more than the first of them
		n.Damaged = append(newReasons([]workflow.Reason{*r}), n.Damaged[min(1, len(n.Damaged)):]...)
	}
}

const oneDoes = ". One person does this, and whoever else is there stays clear of it"

// onlyFirst leaves out a step that isn't done before what crashed is made safe, or what was to be ended is: the page leads to that, whoever
// shows it.
func (n *Next) onlyFirst(now time.Time) {
	if !n.First {
		return
	}
	n.Step, n.Theirs, n.Because, n.SeeTo, n.InVain, n.Others, n.Mine = nil, "", "", nil, nil, nil, nil
	if n.LeaveBy.IsZero() || n.LeaveBy.After(now) { // it is by the step
		n.EndFirst = nil
	}
}

// BeforeThat is the title of a page that leads to what comes before all else on the airframe of a mark.
const BeforeThat = "Nothing else can be done on %s before that"

// unsafe says what crashed of other airframes and is made safe first, but for what can't wait.
func (n *Next) unsafe(l *lines, c *Clock) {
	first, who := "First", ""
	if n.Presses || len(n.Beside) > 0 {
		first = "Before other work"
	}
	if n.Both {
		who = oneDoes
	}
	for _, r := range n.Unsafe {
		r.Text += who
		l.add("**%s, on %s:** %s\n", first, esc(r.Remedy.Mark), ReasonText(r.Reason, c))
	}
}

// Action is what to do now, without the title and the cautions of the step.
func (n *Next) Action(c *Clock) string {
	if n.Theirs != "" {
		return n.left(c)
	}
	var l lines
	l.WriteString(n.Later(c))
	if n.Step != nil {
		l.WriteString(n.Step.action(c))
	}
	for _, r := range n.SeeTo {
		if r.Because != workflow.ByTouch { // the clock says it, and the question asks for it
			l.item("first: %s", reasonAdvice(r.Reason, c))
		}
	}
	if n.Because != "" && (n.Step == nil || n.Because != n.Step.Reopened && !n.Step.pressed() && n.Step.Begun == nil) { // its clock says that
		l.add("\n*%s.*\n", esc(Capital(n.Because)))
	}
	return l.String()
}

// Later says what the plan has to say of the step: that it is late or outlasts the sitting, and then when and for whom it is planned.
func (n *Next) Later(c *Clock) string { return n.late(c) + n.planned(c) }

// late says that the plan no longer fits, that the step is late, or outlasts the sitting, and that one person makes safe what crashed.
func (n *Next) late(c *Clock) string {
	var text []string
	if n.Asked {
		text = append(text, Capital(esc(n.Whose))+" is to do this: ask them before you begin it too.")
	}
	if n.from != "" {
		text = append(text, Capital(esc(n.from))+" was at it: ask them before you begin this too.")
	}
	if n.Unmade != "" {
		text = append(text, esc(n.Mark)+" is not safe until this is so: "+esc(n.Unmade)+".")
	}
	if n.Alone {
		text = append(text, "One person does this: whoever else is there stays clear of "+esc(n.Mark)+".")
	}
	if n.Takes > 0 && len(n.EndFirst) == 0 { // which says it
		over := "was to be over at " + c.at(n.LeaveBy, false)
		if n.LeaveBy.After(c.Now) {
			over = "is to be over at " + c.at(n.LeaveBy, false) + " (" + c.In(n.LeaveBy) + ")"
		}
		text = append(text, "The sitting "+over+", and this takes "+Span(time.Duration(n.Takes)*time.Minute)+optionally(" ", n.With)+".")
	}
	if n.Last != "" {
		text = append(text, esc(n.Last)+" recorded something of "+esc(n.Mark)+" at "+c.at(n.LastAt, false)+": ask them before you begin this too.")
	}
	same, plan := "", ""
	if n.Several {
		same, plan = ": all of you are told the same step, so agree on who does it", "Plan: "
	}
	if n.Several && n.noted {
		same = ": whoever asks next is led to something else"
	}
	if n.Outdated {
		text, plan = append(text, "The plan no longer fits what was chosen"+same+"."), "Plan again: "
	} else if n.Several {
		text = append(text, "No plan says who of you does what"+same+".")
	}
	if n.Missed {
		text, plan = append(text, "It was planned for "+c.At(n.Planned)+", in a sitting that is over."), "Plan again: "
	} else if n.Behind > 0 {
		text, plan = append(text, "It is "+Span(time.Duration(n.Behind)*time.Minute)+" behind the plan."), "Plan again from here: "
	}
	if plan != "" {
		text = append(text, plan+"`"+n.toPlan()+"`")
	}
	if len(text) == 0 {
		return ""
	}
	return "\n*" + strings.Join(text, " ") + "*\n\n"
}

// planned says that what the step is for can't be done at the bench as it is, or when the step is planned, where nobody is to begin it soon, and for whom of several,
// with what the others do meanwhile.
func (n *Next) planned(c *Clock) string {
	text := ""
	for _, r := range n.InVain {
		text += "\n*What it is for can't be done yet:* " + ReasonText(r.Reason, c) + "\n\n"
	}
	if n.Held != "" {
		text += "\n*" + esc(Capital(n.Held)) + " is at it: " + esc(n.heldAt[1]) + n.due(c) + ". If they are not there:* `fettle next " + n.Mark + " " + n.heldAt[0] + " --take`\n\n"
	}
	if n.Outdated { // which is said first
		return text
	}
	var of []string
	if n.Planned.Sub(c.Now) > workflow.Soon {
		of = append(of, c.At(n.Planned))
	}
	if n.Whose != "" && !n.unplanned {
		of = append(of, esc(n.Whose))
	}
	if len(of) == 0 {
		return text
	}
	text += "\n*Planned for " + strings.Join(of, ", ") + ".*\n\n"
	for _, o := range n.Others {
		cautions := ""
		for _, caution := range o.Cautions {
			if n.Step == nil || !lists.Contains(n.Step.Whole, caution) {
				cautions += "**Caution.** " + tagless(aLineOf(caution)) + " "
			}
		}
		if cautions != "" {
			text += "*" + o.when(c) + ".* " + cautions + "*" + esc(o.Title) + optionally(" on ", o.Mark) + ", by its page:*"
		} else {
			text += "*" + o.when(c) + ": " + esc(o.Title) + optionally(" on ", o.Mark) + ".*"
		}
		text += " `fettle next " + cmp.Or(o.Mark, n.Mark) + " " + o.Step + "`\n\n"
	}
	return text
}

// More is what need not be seen before it is done: why and with what, and what else waits.
func (n *Next) More(c *Clock) string {
	var l lines
	if n.Step != nil {
		l.WriteString(n.Step.behind())
	}
	n.waiting(&l, c)
	return l.String()
}

// Meanwhile is what else waits and why, and what a wait says.
func (n *Next) Meanwhile(c *Clock) string {
	var l lines
	n.waiting(&l, c)
	return l.String()
}

// Markdown is what to do now.
func (n Next) Markdown(c *Clock) string {
	var l lines
	l.WriteString(n.AtOnce(c))
	for i := range n.Beside[:min(1, len(n.Beside))] {
		n.Beside[i].first(&l, "", c)
	}
	switch {
	case n.Retired != "":
		l.add("# %s is %s\n", esc(n.Mark), esc(n.Retired))
		l.add("Nothing is to be done on it. Its record stays; notes and photos can be added.")
		return l.String()
	case n.Over:
		l.add("# No job is open on %s\n", esc(n.Mark))
		if len(n.Due) > 0 && (len(n.Checks) == 0 || slices.ContainsFunc(n.Due, func(r Reason) bool { return r.Because != workflow.ByGate })) {
			due := sorting.Delete(slices.Clone(n.Due), func(r Reason) bool { // said first
				return slices.ContainsFunc(n.Damaged, func(had Reason) bool { return strings.HasPrefix(had.Text, r.Text) })
			})
			if len(due) > 0 {
				l.add("Before it may fly:\n")
				l.reasonList(due, noWords, c)
			}
			return l.String()
		}
		if len(n.Checks) > 0 {
			text := beforeFlight(n.Mark, n.Checks)
			if len(n.Due) > 0 { // which the checks measure
				text = strings.Replace(text, released, "Before it may fly:", 1)
			}
			l.WriteString(text)
			return l.String()
		}
		l.add("Start a procedure; without a name, those that fit are listed:\n\n%s", command(strings.TrimSpace("fettle start "+n.Mark+" "+n.Begin)))
		return l.String()
	case n.Step == nil && n.First:
		l.add("# "+BeforeThat+"\n", esc(n.Mark))
		for _, t := range n.Timers {
			l.item("%s", t.calls(c))
		}
		return l.String()
	case n.Step == nil && !n.Until.IsZero():
		if free := n.StayFree(c); free != "" {
			l.add("# %s (%s)\n", esc(free), c.In(n.free.Opens))
		} else {
			l.add("# Nothing can be done on %s before %s (%s)\n", esc(n.Mark), c.At(n.Until), c.In(n.Until))
		}
	case n.Step == nil:
		l.add("# Nothing can be done on %s now\n", esc(n.Mark))
	case n.Theirs != "":
		l.add("# %s\n\n%s\nIf they are not there, ask, then take it over: `fettle next %s --take`\n", esc(n.Nothing(c)), n.left(c), n.Mark)
		return l.String()
	default:
		n.Step.Full = n.Full
		l.WriteString(n.late(c))
		l.add("%s", n.Step.Markdown(c))
		if n.Because != "" && n.Because != n.Step.Reopened && (n.Full || !n.Step.pressed()) { // its clock says that
			l.add("\n*%s.*\n", esc(Capital(n.Because)))
		}
		l.WriteString(n.planned(c))
	}
	if n.Full {
		n.waiting(&l, c)
		if len(n.Timers) > 0 {
			l.add("\n## Clocks\n")
		}
		for _, t := range n.Timers {
			l.item("%s", t.line(c))
		}
		return l.String()
	}
	if n.Step == nil {
		n.held(&l, c)
	}
	l.add("")
	for _, t := range n.Timers {
		if n.Step == nil || !n.seen(t, c.Now) {
			l.item("%s", t.calls(c))
		}
	}
	switch {
	case n.Step == nil && !n.Until.IsZero():
		l.add("\n%s", command("fettle wait "+n.Mark))
	case n.Step != nil && n.Step.Short == "" && n.Begins:
		l.add("\n*Why, and with what: `%s --full`*", esc(n.Command))
	}
	return l.String()
}

// told reports whether a clock says what the reason says.
func (n *Next) told(r Reason) bool {
	return r.Because == workflow.ByDrying && !r.Until.IsZero() && slices.ContainsFunc(n.Timers, func(t Timer) bool {
		return r.Until.Equal(t.Opens) || r.Until.Equal(t.Handles) || r.Until.Equal(t.Cures)
	})
}

// held is what waits for more than a clock, and what waits say.
func (n *Next) held(l *lines, c *Clock) {
	var reasons []Reason
	var of []string
	for _, w := range n.Waiting {
		if w.behind() {
			continue
		}
		if w.Reopened != "" {
			l.item("`%s` is open again: %s", w.Step, esc(w.Reopened))
		}
		for _, r := range w.Reasons {
			if len(n.Harms) > 0 && r.Remedy.Kind == workflow.ToSetCondition { // what is ended at once comes first: a plug before a propeller
				r.Remedy = workflow.Remedy{}
			}
			if !n.told(r) {
				reasons, of = append(reasons, r), append(of, w.Step)
			}
		}
	}
	waitingList(l, reasons, of, len(n.Warnings) > 0, c)
	n.rest(l)
}

// waitingList lists why steps wait; above: what is wrong with the clock stands above.
func waitingList(l *lines, reasons []Reason, of []string, above bool, c *Clock) {
	if above { // nothing else helps before the clock is set
		var by []Reason
		var at []string
		for i, r := range reasons {
			if r.Because == workflow.ByClock {
				r.Text, r.Remedy = "the clock is wrong", workflow.Remedy{}
				by, at = append(by, r), append(at, of[i])
			}
		}
		reasons, of = by, at
	}
	l.reasonList(reasons, func(i int) string { return "`" + of[i] + "` waits: " }, c)
}

// seen reports whether a clock need not be beside the step: that says it, or it may be
// handled and only cures.
func (n *Next) seen(t Timer, now time.Time) bool {
	return t.Phase == workflow.Curing && !now.Before(t.Handles) || n.Step.pressed() && t.Name == n.Step.Joint.Name && t.Job == n.Step.Job
}

const released = "It is released to fly. Before it does:"

// beforeFlight names the checks that come before an airframe flies.
func beforeFlight(mark string, checks []string) string {
	text := "\n" + released + "\n\n"
	for _, name := range checks {
		text += command("fettle start " + mark + " " + name)
	}
	return text
}

// waiting says why other steps wait, and beside that names the stages that come later.
func (n *Next) waiting(l *lines, c *Clock) {
	var now lines
	var behind, of []string
	var reasons []Reason
	for _, w := range n.Waiting {
		if w.behind() {
			behind = append(behind, esc(w.Stage))
			continue
		}
		if w.Reopened != "" {
			now.item("`%s` is open again: %s", w.Step, esc(w.Reopened))
		}
		for _, r := range w.Reasons {
			reasons, of = append(reasons, r), append(of, w.Step)
		}
	}
	waitingList(&now, reasons, of, len(n.Warnings) > 0, c)
	if now.Len() == 0 { // that more comes later is no news
		return
	}
	l.add("\n## Meanwhile\n\n%s", strings.TrimSuffix(now.String(), "\n"))
	if len(behind) > 0 {
		l.item("later: %s", strings.Join(behind, ", "))
	}
	n.rest(l)
}

// rest adds what waits say: what to leave alone until they are over.
func (n *Next) rest(l *lines) {
	for _, w := range n.Waiting {
		if w.Do != "" && !w.behind() { // what has not begun leaves nothing alone
			l.add("\n**%s**", esc(w.Title))
			l.text(w.Do)
		}
	}
}

// Refusal is a refusal with every reason.
func Refusal(r *workflow.Refusal, c *Clock) string {
	var l lines
	l.add("**Refused:** %s\n", esc(r.What))
	l.reasonList(newReasons(r.Reasons), noWords, c)
	return l.String()
}

// RecordedLine says what was recorded although the rest was refused; "": what was is
// shown by itself.
func RecordedLine(e journal.Entry) string {
	if f, ok := e.Facts.(journal.TouchTested); ok && !f.Ready {
		return fmt.Sprintf("Recorded all the same: joint %s was wet at the touch test (entry %d)", f.Joint, e.Position)
	}
	return ""
}
