package workflow

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// A Proof is what a release rests on, line by line.
type Proof struct {
	Lines []ProofLine
	Rests []int64 // the readings of the critical gates
	// NoCriticalGates is true if the design has no critical gate to rest on.
	NoCriticalGates bool
}

// A ProofLine is one thing that a release needs, and whether it is so.
type ProofLine struct {
	Text string
	Fail *Reason   // nil: it holds
	At   time.Time // the moment that it tells of; zero: none
}

// Reasons says why the proof fails, gates last: what else is to be done may disturb
// them. None: it holds.
// It is not inlined: its copies in all callers would take 6 KB.
//
//go:noinline
func (p Proof) Reasons() []Reason {
	var reasons, gates []Reason
	for _, line := range p.Lines {
		switch {
		case line.Fail == nil:
		case line.Fail.Because == ByGate:
			gates = append(gates, *line.Fail)
		default:
			reasons = append(reasons, *line.Fail)
		}
	}
	return append(reasons, gates...)
}

// add is not inlined: its copies in all callers would take 4 KB.
//
//go:noinline
func (p *Proof) add(text string, fail *Reason) {
	p.Lines = append(p.Lines, ProofLine{Text: text, Fail: fail})
}

// Proof examines whether the airframe may fly at the time. It must have been built or
// taken over as built, every critical gate must have passed, every other one have passed or be conceded, all must be there that was
// thrown away, no job may be open, every damage must be repaired, nothing in quarantine may
// be aboard, what is coated must be joined and every joint that carries load must be cured.
// within is the job that the release belongs to, of which the release step may be left;
// nil: none.
func (s *State) Proof(at time.Time, within *Job) Proof {
	var p Proof
	critical := 0
	for _, g := range s.Gates(at) {
		switch {
		case g.Gate.Work: // it was taken where it was needed
		case g.Gate.Critical:
			critical++
			p.Rests = append(p.Rests, g.Rests...)
			p.add(fmt.Sprintf("critical gate %s is in tolerance", g.Gate.Name), s.notMet(g, at))
		case g.Standing == Conceded:
			p.add(fmt.Sprintf("gate %s is conceded: %s", g.Gate.Name, g.Reason.Text), nil)
		default:
			text := fmt.Sprintf("gate %s is in tolerance", g.Gate.Name)
			if j := g.Finding.Judged; j.Plain && g.Standing == Current {
				text = fmt.Sprintf("gate %s has passed by plain acceptance, %s", g.Gate.Name, j.Says())
			}
			p.add(text, s.notMet(g, at))
		}
	}
	p.NoCriticalGates = critical == 0
	if p.NoCriticalGates {
		p.add("the design has a critical gate", &Reason{Because: ByGate, Text: "the design sheet has no critical gate, so nothing proves the airframe straight", Remedy: Remedy{Kind: ToMarkCritical}})
	}
	for _, reason := range s.undecided(s.Sheet, true) {
		p.add("every choice of the design has one answer", &reason)
	}
	s.provesBuilt(&p, within != nil, at)
	for _, job := range s.Jobs {
		p.add(fmt.Sprintf("job %s is complete", job.ID), s.incomplete(job, within != nil, at))
	}
	zones := s.Zones(at)
	for _, zone := range zones.Lost() {
		p.add(fmt.Sprintf("the %s that was thrown away is made again", zone), s.notMade(zones.Zone(zone), at))
	}
	if reason := s.Unchecked(at); reason != nil { // before the repair, which it would undo: it takes the airframe apart
		p.add("the check after every hard landing, and after every flight that it was not released for, is complete", reason)
	}
	for _, d := range s.Damages {
		p.add(fmt.Sprintf("damage %s (%s, %s) is repaired", d.Damage, d.Finding, d.Zone), s.unrepaired(d, at))
	}
	for _, q := range s.Quarantines {
		p.add(fmt.Sprintf("the quarantine of %s is cleared, or what is in it is off the airframe", q.Damage), s.quarantined(q, at))
		if reason := s.unnamed(q, at); reason != nil && s.quarantined(q, at) == nil && !anyReason(p.Reasons(), func(r Reason) bool { return r.Remedy.Kind == ToFitAnother && r.Remedy.Name == reason.Remedy.Name }) {
			p.add("what is there instead of what was in quarantine is named", reason)
		}
	}
	if reason := s.heldElsewhere(at); reason != nil {
		p.add("nothing aboard is in quarantine by the record of another airframe", reason)
	}
	for _, item := range s.Sheet.Equipment {
		if reason := s.notAboard(item, at); reason != nil || len(item.Aboard) > 0 {
			p.add(fmt.Sprintf("the %s is aboard", item.Name), reason)
		}
	}
	for _, reason := range s.loose(at, func(*Joint) bool { return true }) {
		p.add("what is coated is joined", &reason)
	}
	for _, j := range s.joints() {
		if j.Load && !j.Joined.IsZero() {
			p.add(s.cureOf(j), uncured(j, at))
		}
	}
	return p
}

func (s *State) notMet(g GateReport, at time.Time) *Reason {
	if g.Standing == Current {
		return nil
	}
	do := s.ToMeet(g, at)
	if first := s.BeforePower(g.Gate, at); first != nil && do.Kind == ToMeasure {
		do = first.Remedy
		do.Gate = g.Gate.Name
	}
	return &Reason{Because: ByGate, Text: "gate " + g.Gate.Name + " is " + g.Says().Text, At: g.Says().At, Remedy: do}
}

// underPower reports whether a gate is read with something plugged in or on.
//
//go:noinline
func (s *State) underPower(gate string) bool {
	for i := range s.Sheet.Gates {
		if g := &s.Sheet.Gates[i]; g.Name == gate {
			return steps.AnySetting(g.Needs, s.isGuarded)
		}
	}
	return false
}

// BeforePower is what comes first before a gate is read that is read with something plugged in or on; nil: it can be read now, or is read
// without.
//
//go:noinline
func (s *State) BeforePower(gate steps.Gate, at time.Time) *Reason {
	if s.underPower(gate.Name) {
		if first := s.unsafe(gate, at); len(first) > 0 {
			return &first[0]
		}
	}
	return nil
}

// inTurn puts reasons in the order in which they are seen to: what is read with something plugged in comes last, as it does in a build,
// but while it is plugged in for that, first, and before that is ended.
func (s *State) inTurn(reasons []Reason) {
	power := func(r *Reason) bool { return r.Because == ByGate && s.underPower(r.Remedy.Gate) }
	live := false
	for i := range reasons {
		live = live || reasons[i].Remedy.Kind == ToMeasure && power(&reasons[i])
	}
	sorting.Stable(reasons, func(i, k int) int {
		a, b := power(&reasons[i]), power(&reasons[k])
		switch {
		case a == b:
			return 0
		case a == live:
			return -1
		}
		return 1
	})
}

// incomplete says what is left of a job; nil: nothing. If the release is given
// within a job, release steps are not counted: two jobs with only that step left
// would wait for each other.
func (s *State) incomplete(job *Job, within bool, at time.Time) *Reason {
	left, first := 0, ""
	because := ByState
	for _, stage := range job.Procedure.Stages {
		for i, step := range stage.Steps {
			if s.met(job, stage, i, at) || within && step.Kind.Traits().Releases {
				continue
			}
			left++
			if first == "" {
				first = step.Name
			}
			if left := s.kinds[step.Kind].left; left != "" {
				because = left
			}
		}
	}
	if left == 0 {
		return nil
	}
	text := fmt.Sprintf("job %s is open: %d steps are left, starting with %s", job.ID, left, first)
	if left == 1 {
		text = fmt.Sprintf("job %s is open: %s is left", job.ID, first)
	}
	return &Reason{Because: because, Text: text}
}

func (s *State) unrepaired(d *Damage, at time.Time) *Reason {
	repaired, by := s.Repaired(d, at)
	switch {
	case repaired:
		return nil
	case by != "":
		return &Reason{Because: ByState, Text: fmt.Sprintf("damage %s is not repaired: job %s is open", d.Damage, by), Remedy: s.remedy(Remedy{Kind: ToFinish, Name: by})}
	}
	return &Reason{Because: ByState, Text: fmt.Sprintf("damage %s (%s, %s) is not repaired", d.Damage, d.Finding, d.Zone),
		Remedy: s.remedy(Remedy{Kind: ToPlanRepair})}
}

// cureOf is what the proof says of a joint: of one that was damaged since it does not claim
// that it is as it was.
func (s *State) cureOf(j *Joint) string {
	damages, again := s.Hurt(j)
	if len(damages) == 0 {
		return fmt.Sprintf("joint %s is cured", j.Name)
	}
	var found, joined []string
	for _, d := range damages {
		found = append(found, fmt.Sprintf("%s (%s, %s)", d.Damage, d.Finding, d.Zone))
	}
	for _, other := range again {
		joined = append(joined, other.Name)
	}
	text := fmt.Sprintf("the cure of joint %s is over; damage found there since: %s", j.Name, strings.Join(found, ", "))
	if len(joined) > 0 {
		text += "; joined by the repair: " + strings.Join(joined, ", ")
	}
	return text
}

func uncured(j *Joint, at time.Time) *Reason {
	if cures := j.Cures(); at.Before(cures) {
		return &Reason{Because: ByDrying, Text: fmt.Sprintf("joint %s carries load and is not cured", j.Name), Until: cures}
	}
	return nil
}

// restsInDoubt says which reading under a release is in doubt. That its gate was
// measured again since changes nothing: the release rests on the old reading.
func (s *State) restsInDoubt(r *LastRelease) Cause {
	for _, p := range r.RestsOn {
		f, ok := s.Entries[p].Facts.(journal.ReadingTaken)
		if !ok {
			continue
		}
		if c := s.inDoubt(reading{position: p, at: s.Entries[p].At, ReadingTaken: f}); c != nil {
			return c.Doubts().after(fmt.Sprintf("the release (entry %d) rests on %s (entry %d), which is in doubt: ", r.Position, f.Gate, p))
		}
	}
	return Cause{}
}

// GiveRelease releases the airframe to fly.
type GiveRelease struct {
	Certificate string // the kind and number of the approver's certificate, if any
}

func (r GiveRelease) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	job, step := s.releaseStep(c.At)
	proof := s.ReleaseProof(c.At)
	reasons := proof.Reasons()
	if reason := s.Untrusted(c.Now); reason != nil {
		reasons = append(reasons, *reason)
	}
	if f := s.Airworthiness(c.At); f.Released {
		reasons = append(reasons, Reason{Because: ByState, Text: fmt.Sprintf("it is already released (entry %d), and nothing has disturbed it since", s.Release.Position)})
	}
	if reason := s.datedBefore("a release", c.At); reason != nil {
		reasons = append(reasons, *reason)
	}
	if len(reasons) > 0 {
		return nil, &Refusal{What: "release of " + s.Airframe.Mark, Reasons: reasons}
	}
	var facts []journal.Facts
	work := journal.Work{}
	for _, j := range s.Jobs {
		for _, stage := range j.Procedure.Stages {
			facts = append(facts, s.over(j, stage, "", c.At)...)
		}
	}
	if job != nil {
		work = s.work(job, step.Step)
	}
	jobs, performed := s.workSinceRelease()
	return append(facts, journal.Released{Work: work, RestsOn: proof.Rests, Jobs: jobs, Performed: performed, Certificate: strings.TrimSpace(r.Certificate)}), nil
}

// datedBefore says that the time is before something that is known of the airframe; nil:
// it is not.
func (s *State) datedBefore(what string, at time.Time) *Reason {
	last, ok := s.lastByTime()
	if !ok || !at.Before(last.At) {
		return nil
	}
	return &Reason{Because: ByOrder, At: last.At, Text: fmt.Sprintf("%s cannot be dated before what is known of the airframe: entry %d is later", what, last.Position)}
}

// datedBack is the same of what is dated back. What is done now may be before an entry of a
// wrong clock, and is what corrects that.
func (s *State) datedBack(what string, c Circumstances) *Reason {
	if !c.At.Before(c.Now) {
		return nil
	}
	return s.datedBefore(what, c.At)
}

// lastByTime is the entry of the latest time that says something of the
// airframe; false: there is none. It need not be the one recorded last, which
// may be backdated.
func (s *State) lastByTime() (last journal.Entry, ok bool) {
	for _, e := range s.Entries {
		if !s.effects[e.Facts.Kind()].aside && s.Live(e.Position) && (!ok || e.At.After(last.At)) {
			last, ok = e, true
		}
	}
	return last, ok
}

// workSinceRelease returns the jobs that were worked on since the last release,
// and who worked on them.
func (s *State) workSinceRelease() (jobs, performed []string) {
	since := int64(-1)
	if s.Release != nil {
		since = s.Release.Position
	}
	for _, e := range s.Entries[since+1:] {
		work, ok := journal.WorkOf(e.Facts)
		_, reading := e.Facts.(journal.ReadingTaken)
		if !s.Live(e.Position) || !ok && !reading {
			continue
		}
		if work.Job != "" && !lists.Contains(jobs, work.Job) {
			jobs = append(jobs, work.Job)
		}
		if !lists.Contains(performed, e.By) {
			performed = append(performed, e.By)
		}
	}
	return jobs, performed
}

// releaseStep returns the open job that has a release step left, and that step.
func (s *State) releaseStep(at time.Time) (*Job, StepReport) {
	for _, job := range s.Jobs {
		for _, r := range s.stepsThat(job, at, func(_ steps.Stage, step *steps.Step) bool { return step.Kind.Traits().Releases }) {
			if r.Progress != Done {
				return job, r
			}
		}
	}
	return nil, StepReport{}
}

// Airworthiness says whether the airframe may fly.
type Airworthiness struct {
	Released bool
	Ever     bool  // it was released at least once
	Why      Cause // why it may not fly

	job    string // the open job that alone grounds it
	unread string // the gate that grounds it, where all that do are read anew before each flight
}

// ToCheck reports whether what comes before a flight may be begun: it may fly, or may once
// it is read what is read anew before each flight.
func (f Airworthiness) ToCheck() bool { return f.Released || f.unread != "" }

// Airworthiness returns whether the airframe may fly at the time.
func (s *State) Airworthiness(at time.Time) Airworthiness {
	r := s.Release
	if r == nil {
		return Airworthiness{Why: Cause{Text: "never released"}}
	}
	f := Airworthiness{Ever: true}
	if s.Retired != nil {
		f.Why = s.Retired.Says()
		return f
	}
	if r.At.After(at) {
		f.Why = Cause{"its release is dated later than now", r.At}
		return f
	}
	if open := s.OpenDamages(at); len(open) > 0 {
		f.Why.Text = fmt.Sprintf("damage %s: %s, %s", open[0].Damage, open[0].Finding, open[0].Zone)
		if len(open) > 1 {
			f.Why.Text += fmt.Sprintf(", and %d more", len(open)-1)
		}
		return f
	}
	for _, q := range s.Quarantines {
		if reason := s.quarantined(q, at); reason != nil {
			f.Why.Text = reason.Text
			return f
		}
	}
	if reason := s.heldElsewhere(at); reason != nil {
		f.Why.Text = reason.Text
		return f
	}
	if flight, _, due := s.checkDue(at); due {
		f.Why = flight.says()
		return f
	}
	if i := slices.IndexFunc(s.Flights, func(f Flight) bool { return f.Grounded != "" && f.Position > r.Position }); i >= 0 {
		f.Why = Cause{"it flew while grounded, and was not released since", s.Flights[i].At}
		return f
	}
	if why := s.shiftedByCheck(r, at); !why.IsZero() {
		f.Why = why
		return f
	}
	for _, item := range s.Sheet.Equipment {
		if reason := s.notAboard(item, at); reason != nil {
			f.Why.Text = reason.Text
			return f
		}
	}
	damaged := "" // all is repaired, also marks, which leave gates alone; what was proved knows nothing of it
	if i := slices.IndexFunc(s.Damages, func(d *Damage) bool { return d.Position > r.Position || d.At.After(r.At) }); i >= 0 {
		damaged = fmt.Sprintf("not released since damage %s was found and repaired", s.Damages[i].Damage)
	}
	if s.disturbed != nil && s.disturbed.position > r.Position {
		f.Why.Text = cmp.Or(damaged, fmt.Sprintf("disturbed by %s since the release", s.disturbed.by))
		return f
	}
	var unread GateReport
	for _, g := range s.Gates(at) {
		switch d, _, ok := s.disturbedSince(g.Gate, reading{position: r.Position, at: r.At}); {
		case g.Gate.Work:
		case ok: // a mark on it, which leaves other gates alone
			f.Why.Text = fmt.Sprintf("gate %s was disturbed by %s since the release", g.Gate.Name, d.by)
			return f
		case g.Gate.EachFlight() && (g.Standing == StaleGate || g.Standing == Measuring):
			if unread.Gate.Name == "" {
				unread = g
			}
		case g.Gate.Critical && g.Standing != Current:
			f.Why = g.Says().after("critical gate " + g.Gate.Name + " is ")
			return f
		case !g.Met():
			f.Why = g.Says().after("gate " + g.Gate.Name + " is ")
			return f
		}
	}
	if damaged != "" {
		f.Why.Text = damaged
		return f
	}
	if why := s.restsInDoubt(r); !why.IsZero() {
		f.Why = why
		return f
	}
	for _, reason := range s.loose(at, func(*Joint) bool { return true }) {
		f.Why.Text = reason.Text
		return f
	}
	for _, j := range s.joints() { // a colder bench typed in later makes a cure longer
		if j.Load && !j.Joined.IsZero() {
			if reason := uncured(j, at); reason != nil {
				f.Why.Text = reason.Text
				return f
			}
		}
	}
	if f.unread = unread.Gate.Name; f.unread != "" {
		f.Why = unread.Says().after("critical gate " + f.unread + " is ")
		return f
	}
	if open := s.OpenJobs(at); len(open) > 0 {
		f.Why.Text, f.job = fmt.Sprintf("job %s is open", open[0].ID), open[0].ID
		return f
	}
	f.Released = true
	return f
}

// AirworthinessThen returns whether the airframe might fly at a moment in the past: by
// the entries up to the first that happened later, since of what was typed in later
// nobody knew then, and by all that happened until then. Either grounds it.
func (s *State) AirworthinessThen(at time.Time) (Airworthiness, error) {
	n := slices.IndexFunc(s.Entries, func(e journal.Entry) bool { return e.At.After(at) && !s.effects[e.Facts.Kind()].aside })
	if n < 0 {
		return s.Airworthiness(at), nil
	}
	if n == 0 { // before it was registered
		return Airworthiness{Why: Cause{Text: "it had not been released then"}}, nil
	}
	f, err := s.airworthinessBy(s.Entries[:n:n], at)
	if err != nil || !f.Released {
		return f, err
	}
	byTime := slices.Clone(s.Entries)
	for i, e := range byTime {
		if _, undone := e.Facts.(journal.Undone); e.At.After(at) && !undone {
			byTime[i].Facts = journal.Noted{} // it keeps its position
		}
	}
	if then, err := s.airworthinessBy(byTime, at); err == nil { // else a later entry is what makes sense of an earlier one
		return then, nil
	}
	return f, nil
}

// airworthinessBy is whether the airframe might fly at the time by these entries alone.
func (s *State) airworthinessBy(entries []journal.Entry, at time.Time) (Airworthiness, error) {
	then, err := Replay(entries, s.docs)
	if err != nil {
		return Airworthiness{}, fmt.Errorf("the journal of then, %d entries: %w", len(entries), err)
	}
	then.elsewhere = s.elsewhere
	f := then.Airworthiness(at)
	if !f.Ever {
		f.Why.Text = "it had not been released then"
	}
	return f, nil
}

// ReleaseProof is the proof at the time, within the job whose release step is
// left, if there is one, and with the conditions that this step needs.
func (s *State) ReleaseProof(at time.Time) Proof {
	job, r := s.releaseStep(at)
	p := s.Proof(at, job)
	if job == nil {
		return p
	}
	for _, need := range s.NeedsAt(job, r.Step, at) {
		for _, reason := range s.stands(need, at) {
			p.add(need.String(), &reason)
		}
	}
	return p
}

// notToFly says why a check that comes before a flight is not begun: the airframe is grounded
// by more than an open job, which may be such a check.
func (s *State) notToFly(p *steps.Procedure, at time.Time) *Reason {
	f := s.Airworthiness(at)
	if p.Flight == "" || f.ToCheck() || f.job != "" {
		return nil
	}
	remedy := s.remedy(Remedy{Kind: ToRelease})
	due := s.dueToFly(at)
	if i := slices.IndexFunc(due, func(r Reason) bool { return !r.Remedy.IsZero() }); i >= 0 {
		remedy = due[i].Remedy
	} else if i := slices.IndexFunc(s.Jobs, func(j *Job) bool { return j.Procedure.Name == p.Name && s.Open(j, at) }); i >= 0 { // the release waits for it too
		remedy.Kind, remedy.Name, remedy.Entry = ToBeginAgain, p.Name, s.Jobs[i].Position
		if work := s.workIn(s.Jobs[i].ID); len(work) > 0 {
			remedy.Entry = work[0]
		}
	}
	return &Reason{Because: ByState, Text: "it comes before a flight, and " + s.Airframe.Mark + " is grounded: " + f.Why.Text, At: f.Why.At, Remedy: remedy}
}

// heldFromFlight says why a step of a check that comes before a flight waits, where something is plugged in or on for it: the airframe is
// grounded by more than open jobs, or by those, but for other such checks. What ends that, or measures a gate, does not wait; but once
// nothing but the check itself keeps the release from it, nothing of it is done that would be taken back.
func (s *State) heldFromFlight(j *Job, step *steps.Step, at time.Time) (grounded *Reason, open []Reason) {
	live := func(is steps.Setting) bool { return s.isGuarded(is) }
	if j.Procedure.Flight == "" {
		return nil, nil
	}
	grounded = s.notToFly(j.Procedure, at)
	if len(step.Gates) > 0 || !steps.AnySetting(step.Sets, live) && !steps.AnySetting(s.NeedsAt(j, *step, at), live) ||
		steps.AnySetting(step.Sets, func(is steps.Setting) bool {
			def, _ := s.Sheet.Condition(is.Condition)
			return def.Guarded != "" && !live(is)
		}) {
		if grounded == nil || grounded.Remedy.Kind != ToBeginAgain {
			return nil, nil
		}
		return grounded, nil
	}
	for _, other := range s.OpenJobs(at) {
		if other.Procedure.Flight == "" {
			open = append(open, Reason{Because: ByState, Text: fmt.Sprintf("it comes before a flight, and %s is grounded: job %s is open", s.Airframe.Mark, other.ID), Remedy: s.remedy(Remedy{Kind: ToFinish, Name: other.ID})})
		}
	}
	return grounded, open
}

// BeforeFlight are those of the checks that come before a flight which are to be begun
// before an airframe flies that is released to, but for what is read anew before each flight, by their names in their order: those of
// which no job was opened since its release or its last flight; since its release and
// within a DayLength, where it comes before the flights of a day. What comes before the
// first flight after a release alone comes last, and is not due after it.
func (s *State) BeforeFlight(checks []*steps.Procedure, at time.Time) (names []string) {
	if !s.Airworthiness(at).ToCheck() {
		return nil
	}
	flown, due := s.Release.Position, []string{steps.EachDay, steps.EachFlight, steps.FirstFlight}
	for _, f := range s.Flights {
		if f.Position > flown {
			flown, due = f.Position, due[:2]
		}
	}
	for _, flight := range due {
		counts := func(j *Job) bool { return j.Position > flown }
		if flight == steps.EachDay {
			counts = func(j *Job) bool {
				return j.Position > s.Release.Position && !j.Opened.After(at) && at.Sub(j.Opened) <= DayLength
			}
		}
		for _, check := range checks {
			if check.Flight == flight && !slices.ContainsFunc(s.Jobs, func(j *Job) bool { return j.Procedure.Name == check.Name && counts(j) }) {
				names = append(names, check.Name)
			}
		}
	}
	return names
}

// DayLength is how long a check that comes before the flights of a day counts. It is less
// than from one morning to the next, wherever the day begins (common practice, no source).
const DayLength = 14 * time.Hour
