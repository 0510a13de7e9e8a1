package robot_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow"
	"fettle/workflow/journal"
	"fettle/workflow/robot"
)

// A life is an airframe that is damaged again and again while it is built and after,
// and comes to a release every time.
type life struct {
	*robot.Worker
	random *rand.Rand
	design string
	stood  []robot.Worker // as it stood after each move of its build
	table  *steps.Triage
	queue  *[]workflow.Sighting // what is found, in turn
	tally  *tally
	helper string // who helps; "": nobody
	found  int    // how much is found after a crash

	carried []string // the cells that are repaired and not yet released
	moves   int
}

// A tally is what lives have carried to a release.
type tally struct {
	cells   map[string]int // of each design, zone and procedure, how often
	carried int
	amended int
	apart   int // found during a repair, and repaired by a job of its own
	rebuilt int
	half    int // damaged in the build
}

// move makes one move, and holds what is due against the journal now and then, and what waits against all its reasons.
func (l *life) move() error {
	if l.moves++; l.moves%15 == 0 {
		if err := errors.Join(l.due(), l.waits()); err != nil {
			return err
		}
	}
	return l.Carry(1)
}

// waits holds the steps that wait by what is next against every reason there is: of one whose stage comes after work that is
// left, and not only after time, the others are not said.
func (l *life) waits() error {
	next := l.State.Next(l.Now)
	for _, job := range l.State.OpenJobs(l.Now) {
		for _, whole := range l.State.Steps(job, l.Now) {
			i := slices.IndexFunc(next.Waiting, func(r workflow.StepReport) bool { return r.Job == whole.Job && r.Step.Name == whole.Step.Name })
			if i < 0 {
				continue
			}
			says := next.Waiting[i].Reasons
			if first := whole.Reasons[0]; first.Because == workflow.ByOrder && first.Until.IsZero() && len(says) > 0 {
				whole.Reasons = whole.Reasons[:len(says)]
			}
			if !reflect.DeepEqual(says, whole.Reasons) {
				return fmt.Errorf("%s waits for %v by what is next, and for %v", whole.Step.Name, says, whole.Reasons)
			}
		}
	}
	return nil
}

func (l *life) due() error {
	var says []string
	for _, g := range l.State.Due(l.Now) {
		says = append(says, g.Gate.Name)
	}
	want := read(l.Worker).due(l.Now)
	if more, less := without(says, want), without(want, says); len(more)+len(less) > 0 {
		return fmt.Errorf("after entry %d %v are due, which are not by the journal, and %v are not, which are", l.State.Size()-1, more, less)
	}
	return nil
}

// draw takes what is found next, of what is there.
func (l *life) draw(n int) []workflow.Sighting {
	absent, _ := read(l.Worker).absent(l.Now)
	var seen, left []workflow.Sighting
	for _, s := range *l.queue {
		if len(seen) < n && !slices.Contains(absent, s.Zone) {
			seen = append(seen, s)
		} else {
			left = append(left, s)
		}
	}
	*l.queue = append(left, seen...)
	return seen
}

// inTurn are the sightings in a random order, those first which are the first on their
// zone, or with their answer.
func inTurn(table *steps.Triage, all []workflow.Sighting, random *rand.Rand) []workflow.Sighting {
	random.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
	var first, others []workflow.Sighting
	had := map[string]bool{}
	for _, s := range all {
		row, _ := table.Answer(s.Finding, s.Zone, s.Severity)
		if had["zone "+s.Zone] && had[row.Procedure] {
			others = append(others, s)
			continue
		}
		had["zone "+s.Zone], had[row.Procedure] = true, true
		first = append(first, s)
	}
	return append(first, others...)
}

// crash reports what is found, and opens its repair or amends the open one.
func (l *life) crash(seen []workflow.Sighting) error {
	r := read(l.Worker)
	if err := l.Act(workflow.ReportDamage{Triage: l.table, Seen: seen, OwnWords: true}); err != nil {
		return err
	}
	if l.State.Airworthiness(l.Now).Released {
		return errors.New("it is released with damage")
	}
	open := l.State.OpenRepair(l.Now)
	var before []doneStep
	if open != nil {
		before = slices.DeleteFunc(r.done, func(d doneStep) bool { return d.job != open.ID || !d.completes() })
	}
	plan, err := l.State.PlanRepair(l.table, findProcedure, l.Now)
	if err != nil {
		return err
	}
	if err := planIsSound(l.Worker, plan); err != nil {
		return err
	}
	if open != nil && plan.Amends == nil { // what is done there is not found again: a job of its own
		l.tally.apart++
		open = nil
	}
	if err := begin(l.Worker, plan); err != nil {
		return err
	}
	if open == nil {
		return nil
	}
	l.tally.amended++
	thrown := map[string]bool{}
	for _, a := range plan.Answers {
		for _, z := range a.Retires {
			thrown[z] = true
		}
	}
	reopened := l.State.Entries[l.State.Size()-1].Facts.(journal.JobAmended).Reopens
	after := done(l.Worker)
	for _, d := range before { // called as before: done still, or named as done again
		gone := slices.ContainsFunc(open.Damages, func(name string) bool {
			found, err := l.State.Damage(name)
			return err == nil && thrown[found.Zone] && strings.HasSuffix(d.step.Name, "-"+strings.ToLower(name))
		})
		_, _, still := plan.Procedure.Step(d.step.Name)
		for z := range thrown {
			gone = gone || strings.HasSuffix(d.step.Name, "-"+z)
		}
		if len(d.step.With) > 0 {
			continue // it goes by what is chosen, which is asked again
		}
		if !still && !gone || still && !d.step.Kind.Traits().Passes && !slices.Contains(reopened, d.step.Name) && !slices.Contains(after, d.step.Name) {
			return fmt.Errorf("%s was done, and after the amendment it is neither done nor done again", d.step.Name)
		}
	}
	return nil
}

// repair carries the repair of a crash to its end; now and then more is found meanwhile.
func (l *life) repair(cells []workflow.Sighting) error {
	start, building := l.State.Size(), len(l.State.OpenJobs(l.Now)) > 0
	if err := l.crash(cells); err != nil {
		return err
	}
	more := 0
	if l.random.IntN(3) == 0 {
		more = 1 + l.random.IntN(50)
	}
	job := l.State.OpenRepair(l.Now)
	if job == nil {
		return errors.New("no repair is open")
	}
	id := job.ID
	for n := 1; l.State.OpenRepair(l.Now) != nil; n++ {
		if n > 3000 {
			return errors.New("the repair has no end")
		}
		if n == more {
			second := l.draw(1)
			if err := l.crash(second); err != nil {
				return fmt.Errorf("then %v after %d moves: %w", second, n, err)
			}
			cells = append(cells, second...)
		}
		if err := l.move(); err != nil {
			return err
		}
	}
	if left := l.State.OpenDamages(l.Now); len(left) > 0 {
		return fmt.Errorf("%s is not repaired", left[0].Damage)
	}
	if err := l.due(); err != nil {
		return err
	}
	if due := read(l.Worker).due(l.Now); len(due) > 0 && !building {
		return fmt.Errorf("after the repair %v are due", due)
	}
	for i, c := range cells {
		row, _ := l.table.Answer(c.Finding, c.Zone, c.Severity)
		l.tally.cells[l.design+" "+c.Zone]++
		l.tally.cells[row.Procedure]++
		l.carried = append(l.carried, fmt.Sprint(i, c))
	}
	if building {
		l.tally.half += len(cells)
	}
	return l.repaired(id, start, building || more > 0)
}

// repaired holds the job of a repair against the journal: what its plan promised it
// asked for, and no step was done twice.
func (l *life) repaired(id string, start int64, mixed bool) error {
	r := read(l.Worker)
	var job sheetOfWork
	for _, j := range r.jobs {
		if j.id == id {
			job = j
		}
	}
	times := map[string]int{}
	asked := map[string]bool{}
	for _, d := range r.done {
		if d.job == id && d.completes() {
			times[d.step.Name]++
		}
	}
	for _, e := range r.entries[start:] {
		switch f := e.Facts.(type) {
		case journal.JobAmended:
			for _, name := range f.Reopens {
				times[name]--
			}
		case journal.PartRetired:
			l.tally.rebuilt++
		case journal.ReadingTaken:
			if g, _ := r.sheet.Gate(f.Gate); !g.Work {
				asked[f.Gate] = true
			}
		}
	}
	for _, s := range job.steps {
		if n := times[s.Name]; n > 1 && !s.Kind.Traits().Coats && !s.Kind.Traits().Measures || n < 1 && !s.Kind.Traits().Passes {
			return fmt.Errorf("%s of the repair was done %d times", s.Name, n)
		}
	}
	if mixed {
		return nil
	}
	var coming []string
	for _, s := range job.steps {
		coming = append(coming, s.Disturbs...)
	}
	for _, e := range r.entries[start:] { // the plan as it was made, before anything was done
		if _, ok := e.Facts.(journal.JobOpened); ok {
			then := r.until(e.Position + 1)
			promised := then.due(e.At, coming...)
			var took []string
			for g := range asked {
				took = append(took, g)
			}
			if more, less := without(took, promised), without(promised, took); len(more)+len(less) > 0 {
				return fmt.Errorf("%v were measured and not promised, %v promised and not measured", more, less)
			}
			return nil
		}
	}
	return errors.New("no job was opened")
}

// release asks for a release and waits for what only takes time.
func (l *life) release() error {
	for range 10 {
		if l.State.Airworthiness(l.Now).Released { // by its build, or after a mark that was only looked at
			return l.released()
		}
		err := l.Act(workflow.GiveRelease{})
		if err == nil {
			return l.released()
		}
		var refusal *workflow.Refusal
		if !errors.As(err, &refusal) || slices.ContainsFunc(refusal.Reasons, func(r workflow.Reason) bool { return r.Until.IsZero() }) {
			return err
		}
		for _, r := range refusal.Reasons {
			if r.Until.After(l.Now) {
				l.Now = r.Until
			}
		}
	}
	return errors.New("the release has no end")
}

// released holds a release against the whole journal.
func (l *life) released() error {
	l.tally.carried += len(l.carried)
	l.carried = nil
	r := read(l.Worker)
	if due := r.due(l.Now); len(due) > 0 {
		return fmt.Errorf("it is released, and by the journal %v are due", due)
	}
	for _, check := range []func(record, time.Time) error{builtOnce, waitedForRepair, cured, partsAreGone(l.State, l.Now), offAfterQuarantine} {
		if err := check(r, l.Now); err != nil {
			return err
		}
	}
	return nil
}

// builtOnce: every step of a build was done once, and each that works on what was thrown
// away since once more.
func builtOnce(r record, _ time.Time) error {
	for _, build := range r.jobs {
		if !build.builds() {
			continue
		}
		checks := map[string]bool{}
		for _, stage := range build.procedure.Stages {
			for _, s := range stage.Steps {
				checks[s.Name] = stage.Phase == steps.Recheck
			}
		}
		for _, s := range build.steps {
			does := s.Kind.Traits()
			var at []int64
			for _, d := range r.done {
				if d.job == build.id && d.step.Name == s.Name && d.completes() {
					at = append(at, d.Position)
				}
			}
			if does.Passes || s.Kind == steps.Choose {
				continue
			}
			if len(at) == 0 || len(at) > 1 && !does.Coats && !does.Measures {
				return fmt.Errorf("%s of the build was done %d times", s.Name, len(at))
			}
			if checks[s.Name] || does.Measures || does.Releases {
				continue
			}
			for _, e := range r.entries {
				f, ok := e.Facts.(journal.PartRetired)
				if !ok || r.gone[e.Position] || len(without(s.Disturbs, f.Zones)) == len(without(s.Disturbs, nil)) {
					continue
				}
				if slices.ContainsFunc(r.entries[e.Position+1:], func(e journal.Entry) bool {
					later, ok := e.Facts.(journal.PartRetired)
					return ok && !r.gone[e.Position] && len(without(later.Zones, f.Zones)) < len(without(later.Zones, nil))
				}) { // what was made in its place went too
					continue
				}
				n := 0
				for _, d := range r.done {
					again := d.job == f.Job && strings.HasPrefix(d.step.Name, s.Name) && strings.HasSuffix(d.step.Do, s.Do)
					if d.Position > e.Position && d.completes() && (again || d.job == build.id && d.step.Name == s.Name) {
						n++
					}
				}
				if n != 1 && !(n > 1 && does.Coats) {
					return fmt.Errorf("%v was thrown away in entry %d, and %s, which makes it, was done %d times since", f.Zones, e.Position, s.Name, n)
				}
			}
		}
	}
	return nil
}

// waitedForRepair: while damage was open, no step of a build worked on its zone, or on
// one that was put together with it and rests on it.
func waitedForRepair(r record, _ time.Time) error {
	for _, e := range r.entries {
		found, ok := e.Facts.(journal.DamageFound)
		if !ok || r.gone[e.Position] {
			continue
		}
		closed := int64(-1)
		for _, j := range r.jobs {
			for _, d := range r.done {
				if slices.Contains(j.damages, found.Damage) && d.job == j.id {
					closed = d.Position
				}
			}
		}
		for _, d := range r.done {
			if d.Position < e.Position || d.Position > closed {
				continue
			}
			for _, j := range r.jobs {
				if j.id != d.job || !j.builds() {
					continue
				}
				then := r.until(d.Position)
				for _, z := range d.step.Disturbs {
					sits := z == found.Zone
					for _, s := range j.steps {
						for _, m := range s.Makes {
							sits = sits || m.Zone == z && slices.Contains(m.On, found.Zone) && then.seats(z, found.Zone, 0)
						}
					}
					if sits {
						return fmt.Errorf("%s of the build worked on the %s (entry %d), and the %s is broken (entry %d)", d.step.Name, z, d.Position, found.Zone, e.Position)
					}
				}
			}
		}
	}
	return nil
}

// cured: every joint that carries load was left alone for the time of its adhesive.
func cured(r record, at time.Time) error {
	for _, d := range r.done {
		f, ok := d.Facts.(journal.Joined)
		if !ok || !f.Load {
			continue
		}
		a, _ := r.sheet.Adhesive(r.adhesive(d.job, f.Joint))
		if at.Before(d.At.Add(a.Times.Cure)) {
			return fmt.Errorf("it is released, and the joint %s cures until %s", f.Joint, d.At.Add(a.Times.Cure))
		}
	}
	return nil
}

// partsAreGone: what was thrown away leaves neither a joint nor a reading in the proof.
func partsAreGone(s *workflow.State, at time.Time) func(record, time.Time) error {
	return func(r record, _ time.Time) error {
		proof := s.Proof(at, nil)
		for _, e := range r.entries {
			f, ok := e.Facts.(journal.PartRetired)
			if !ok || r.gone[e.Position] {
				continue
			}
			for _, p := range proof.Rests {
				reading := r.entries[p].Facts.(journal.ReadingTaken)
				if g, _ := r.sheet.Gate(reading.Gate); p < e.Position && len(without(g.Of, f.Zones)) < len(without(g.Of, nil)) {
					return fmt.Errorf("the proof rests on %s of entry %d, and %v was thrown away in entry %d", g.Name, p, f.Zones, e.Position)
				}
			}
			for _, j := range r.jobs {
				for _, d := range r.done {
					joined, ok := d.Facts.(journal.Joined)
					held := r.held(j, joined.Joint)
					if !ok || d.job != j.id || d.Position > e.Position || len(without(held, f.Zones)) == len(without(held, nil)) {
						continue
					}
					again := slices.ContainsFunc(r.done, func(later doneStep) bool {
						other, ok := later.Facts.(journal.Joined)
						return ok && later.Position > e.Position && other.Joint == joined.Joint
					})
					if !again && slices.ContainsFunc(proof.Lines, func(line workflow.ProofLine) bool { return line.Text == "joint "+joined.Joint+" is cured" }) {
						return fmt.Errorf("the proof names the joint %s of entry %d, and %v was thrown away in entry %d", joined.Joint, d.Position, f.Zones, e.Position)
					}
				}
			}
		}
		return nil
	}
}

// offAfterQuarantine: of what was put in quarantine, taken back or not, another one with
// a name is aboard.
func offAfterQuarantine(r record, _ time.Time) error {
	for _, e := range r.entries {
		found, ok := e.Facts.(journal.DamageFound)
		if !ok || found.Quarantine.IsZero() {
			continue
		}
		aboard := ""
		for _, later := range r.entries {
			f, ok := later.Facts.(journal.EquipmentChanged)
			if !ok || r.gone[later.Position] || later.Position < e.Position {
				continue
			}
			for _, item := range r.sheet.Equipment {
				if item.Name == f.Item && item.Zone == found.Zone {
					aboard = f.Name
				}
			}
		}
		if aboard == "" || found.Thing != "" && strings.HasSuffix(found.Thing, " "+aboard) {
			return fmt.Errorf("it is released, and nothing says that %s (%s) is off", found.Damage, found.Finding)
		}
	}
	return nil
}

// until is the journal as it was before the position.
func (r record) until(position int64) record {
	return readEntries(r.entries[:position], r.sheet, r.procedures)
}

// live lives one life: so many crashes while it is built, and so many after.
func (l *life) live(building, after int) error {
	var at []int
	for range building {
		at = append(at, l.random.IntN(len(l.stood)-1))
	}
	if building == 0 {
		*l.Worker = l.stood[len(l.stood)-1]
		l.Second = l.helper
	} else {
		slices.Sort(at)
		*l.Worker = l.stood[at[0]]
		l.Second = l.helper
		for i := range at {
			seen := l.draw(l.found)
			if len(seen) > 0 {
				if err := l.repair(seen); err != nil {
					return fmt.Errorf("crash %d, %v: %w", i+1, seen, err)
				}
			}
			for n := 0; i+1 < len(at) && n < at[i+1]-at[i] && len(l.State.OpenJobs(l.Now)) > 0; n++ {
				if err := l.move(); err != nil {
					return err
				}
			}
		}
		for n := 0; len(l.State.OpenJobs(l.Now)) > 0; n++ {
			if n > 3000 {
				return errors.New("the build has no end")
			}
			if err := l.move(); err != nil {
				return fmt.Errorf("building on: %w", err)
			}
		}
		if err := l.release(); err != nil {
			return err
		}
	}
	for i := range after {
		seen := l.draw(l.found)
		if err := l.repair(seen); err != nil {
			return fmt.Errorf("crash %d after the build, %v: %w", i+1, seen, err)
		}
		if err := l.release(); err != nil {
			return fmt.Errorf("crash %d after the build, %v: %w", i+1, seen, err)
		}
	}
	return nil
}

// Of the matrix cells are carried to a release, in lives with several crashes each, in the
// build, after it, and in the midst of a repair: one life a design, and with FETTLE_LONG so
// many that 200 cells are carried, with each zone and each repair among them.
func TestTheMatrixIsCarried(t *testing.T) {
	t.Parallel()
	want, lives, crashes, each := 16, 4, 1, 4
	long := os.Getenv("FETTLE_LONG") != ""
	if long {
		want, lives, crashes, each = 200, 1000, 2, 8
	}
	tally := &tally{cells: map[string]int{}}
	all := designs(t)
	var found [][]workflow.Sighting
	for i, w := range all {
		table := triage(t, w.State.Airframe.Design)
		found = append(found, inTurn(table, append(sightings(table, w.State.Sheet), ownWords(w.State.Sheet)...), rand.New(rand.NewPCG(uint64(i), 7))))
	}
	for seed := 0; seed < lives && (!long || tally.carried < want || len(tally.missing(all, t)) > 0); seed++ {
		of := &found[seed%len(all)]
		design := all[seed%len(all)].State.Airframe.Design
		helper := ""
		if seed/2%2 == 1 {
			helper = "second"
		}
		l := life{helper: helper, found: each, Worker: &robot.Worker{}, random: rand.New(rand.NewPCG(uint64(seed), 7)), design: design, stood: buildings(t, named(t, design), named(t, design+"-build")), table: triage(t, design), tally: tally, queue: of}
		if err := l.live(crashes*((seed/len(all)+seed)%2), crashes); err != nil {
			t.Errorf("seed %d, %s: %v", seed, design, err)
		}
	}
	t.Logf("%d carried to a release, %d of them found in the build; %d amendments and %d jobs beside an open repair, %d parts thrown away", tally.carried, tally.half, tally.amended, tally.apart, tally.rebuilt)
	if tally.carried < want {
		t.Errorf("%d were carried", tally.carried)
	}
	if !long {
		return
	}
	for _, what := range tally.missing(all, t) {
		t.Errorf("nothing was carried of %s", what)
	}
}

// missing are the zones of designs and the procedures of which nothing was carried.
func (of *tally) missing(designs []*robot.Worker, t *testing.T) []string {
	var names []string
	for _, w := range designs {
		for _, z := range w.State.Sheet.Zones {
			names = append(names, w.State.Airframe.Design+" "+z)
		}
		for _, row := range triage(t, w.State.Airframe.Design).Rows {
			names = append(names, row.Procedure)
		}
	}
	return slices.DeleteFunc(names, func(name string) bool { return of.cells[name] > 0 })
}
