package robot_test

import (
	"slices"
	"time"

	"fettle/steps"
	"fettle/workflow"
	"fettle/workflow/journal"
	"fettle/workflow/robot"
)

// A record is the whole journal of an airframe, read entry by entry with a pencil: what
// the tests hold the engine against. It asks nothing of package workflow but the
// entries, and keeps little that it can look up again.
type record struct {
	entries    []journal.Entry
	gone       map[int64]bool // taken back
	sheet      *steps.Sheet
	procedures map[string]*steps.Procedure // by digest
	has        []string                    // the options of the airframe, and the methods that were chosen
	jobs       []sheetOfWork               // in the order opened
	done       []doneStep                  // the entries that complete steps, of those that stand
	joints     map[[2]string][]string      // by job and joint: the zones that it holds, as far as looked up
}

// read is the journal of the worker's airframe.
func read(w *robot.Worker) record {
	return readEntries(w.State.Entries, w.State.Sheet, w.Documents.Procedures)
}

func readEntries(entries []journal.Entry, sheet *steps.Sheet, documents map[string]*steps.Procedure) record {
	r := record{entries: entries, gone: map[int64]bool{}, sheet: sheet, procedures: documents, joints: map[[2]string][]string{}}
	for _, e := range r.entries {
		if u, ok := e.Facts.(journal.Undone); ok {
			for _, p := range u.TakesBack {
				r.gone[p] = true
			}
		}
	}
	r.has, r.jobs, r.done = r.choices(), r.opened(), r.completed()
	for i := range r.jobs {
		for _, s := range r.jobs[i].procedure.Steps() {
			if r.applies(s.Where) {
				r.jobs[i].steps = append(r.jobs[i].steps, s)
			}
		}
	}
	return r
}

// A done step is an entry that completes one.
type doneStep struct {
	journal.Entry
	job  string
	step *steps.Step
}

// A sheetOfWork is one job, with the procedure that it goes by last.
type sheetOfWork struct {
	id        string
	procedure *steps.Procedure
	steps     []*steps.Step // that are on this airframe
	damages   []string
	opened    int64
}

func (j sheetOfWork) builds() bool { return j.procedure.Kind == steps.Build }

func (r record) opened() []sheetOfWork {
	var all []sheetOfWork
	for _, e := range r.entries {
		switch f := e.Facts.(type) {
		case journal.JobOpened:
			all = append(all, sheetOfWork{id: f.Job, procedure: r.procedures[f.Procedure], damages: f.Damages, opened: e.Position})
		case journal.JobAmended:
			for i := range all {
				if all[i].id == f.Job && !r.gone[e.Position] {
					all[i].procedure, all[i].damages = r.procedures[f.Procedure], f.Damages
				}
			}
		}
	}
	return slices.DeleteFunc(all, func(j sheetOfWork) bool { return r.gone[j.opened] })
}

func (r record) choices() []string {
	var has []string
	for _, e := range r.entries {
		switch f := e.Facts.(type) {
		case journal.Registered:
			has = append(has, f.Options...)
		case journal.Chosen:
			if !r.gone[e.Position] {
				has = append(has, f.Answer)
			}
		}
	}
	return has
}

// chosen is the last position at which something was chosen that decides on these
// options; -1: it was at registration, or nothing was.
func (r record) chosen(options []string) int64 {
	last := int64(-1)
	for _, e := range r.entries {
		if f, ok := e.Facts.(journal.Chosen); ok && !r.gone[e.Position] {
			for _, o := range options {
				c, _ := r.sheet.Choice(o)
				if f.Choice == o || f.Choice == c.Name {
					last = e.Position
				}
			}
		}
	}
	return last
}

// applies reports whether what is so governed is on the airframe.
func (r record) applies(where steps.Where) bool {
	overlap := func(a, b []string) bool {
		return slices.ContainsFunc(a, func(o string) bool { return slices.Contains(b, o) })
	}
	for _, any := range where.With {
		if !overlap(any, r.has) {
			return false
		}
	}
	for _, o := range where.Without { // what a step asks for and is not answered may still be chosen
		c, _ := r.sheet.Choice(o)
		asked := slices.ContainsFunc(r.jobs, func(j sheetOfWork) bool {
			return slices.ContainsFunc(j.procedure.Steps(), func(s *steps.Step) bool { return s.Choose == c.Name })
		})
		if slices.Contains(r.has, o) || asked && r.chosen([]string{o}) < 0 && !overlap(r.has, c.Names()) {
			return false
		}
	}
	return true
}

// reopened is the last position at which an amendment of the job has the step done again; -1: none has.
func (r record) reopened(job, step string) int64 {
	last := int64(-1)
	for _, e := range r.entries {
		if f, ok := e.Facts.(journal.JobAmended); ok && !r.gone[e.Position] && f.Job == job && slices.Contains(f.Reopens, step) {
			last = e.Position
		}
	}
	return last
}

func (r record) completed() []doneStep {
	var all []doneStep
	now := map[string]*steps.Procedure{}
	for _, e := range r.entries {
		switch f := e.Facts.(type) {
		case journal.JobOpened:
			now[f.Job] = r.procedures[f.Procedure]
		case journal.JobAmended:
			if !r.gone[e.Position] {
				now[f.Job] = r.procedures[f.Procedure]
			}
		case journal.StepDone, journal.Joined, journal.HoldCleared, journal.Coated, journal.Chosen, journal.Released:
			work, _ := journal.WorkOf(f)
			if p := now[work.Job]; p != nil && !r.gone[e.Position] {
				step, _, _ := p.Step(work.Step)
				all = append(all, doneStep{e, work.Job, &step})
			}
		}
	}
	return all
}

// completes reports whether the entry is the one that completes its step, and not the
// coat of one that glues.
func (d doneStep) completes() bool {
	_, coat := d.Facts.(journal.Coated)
	return !coat || !d.step.Kind.Traits().Joins
}

// disturbs are the zones that an entry disturbs, and whether it is but a mark.
func disturbs(f journal.Facts) (zones []string, mark bool) {
	switch f := f.(type) {
	case journal.DamageFound:
		return []string{f.Zone}, f.Severity == steps.Cosmetic
	case journal.PartRetired:
		return f.Zones, false
	case journal.EquipmentChanged:
		return append([]string{steps.MassZone}, f.Disturbs...), false
	case journal.Reworked:
		return f.Disturbs, false
	}
	work, _ := journal.WorkOf(f)
	return work.Disturbs, false
}

// absent are the zones of which nothing is there: the build has not begun them, or they
// were thrown away and are not made again. Unfinished are those that are being made, or
// are not put together with what they rest on.
func (r record) absent(at time.Time) (absent, unfinished []string) {
	for _, zone := range r.sheet.Zones {
		thrown, by := int64(-1), ""
		for _, e := range r.entries {
			if f, ok := e.Facts.(journal.PartRetired); ok && !r.gone[e.Position] && slices.Contains(f.Zones, zone) {
				thrown, by = e.Position, f.Job
			}
		}
		made := func(j sheetOfWork) (makes, all, begun bool) {
			all = true
			says := slices.ContainsFunc(j.steps, func(s *steps.Step) bool {
				return s.MakesZone(zone) && slices.Contains(s.Disturbs, zone)
			})
			for i, s := range j.steps {
				if !s.MakesZone(zone) {
					continue
				}
				makes = true
				is := slices.ContainsFunc(r.done, func(d doneStep) bool {
					return d.job == j.id && d.step.Name == s.Name && d.completes() && d.Position > r.reopened(j.id, s.Name)
				})
				begun = begun || slices.ContainsFunc(r.done, func(d doneStep) bool {
					zones, _ := disturbs(d.Facts)
					return d.job == j.id && d.step.Name == s.Name && (slices.Contains(zones, zone) || !says)
				})
				all = all && (is || s.Kind.Traits().Passes && r.passed(j, i, at))
			}
			return makes, all, begun
		}
		if thrown >= 0 {
			again := false
			for _, j := range r.jobs {
				if makes, all, _ := made(j); j.id == by && makes && all {
					again = true
				}
			}
			if !again {
				absent = append(absent, zone)
				continue
			}
		}
		for _, j := range r.jobs {
			makes, all, begun := made(j)
			switch {
			case !j.builds() || !makes:
			case !begun && !all:
				absent = append(absent, zone)
			case !all:
				unfinished = append(unfinished, zone)
			}
			if j.builds() && makes && !slices.Contains(unfinished, zone) && !r.together(zone, j, thrown) {
				unfinished = append(unfinished, zone)
			}
		}
	}
	return absent, unfinished
}

// passed reports whether the time of a wait is over.
func (r record) passed(j sheetOfWork, i int, at time.Time) bool {
	of := j.steps
	s := of[i]
	from := s.From
	if from == "" && i > 0 {
		from = of[i-1].Name
	}
	var since time.Time
	for _, d := range r.done {
		if d.job == j.id && (s.Joint == "" && d.step.Name == from || s.Joint != "" && d.step.Joint == s.Joint && d.step.Kind.Traits().Joins) {
			since = d.At
		}
	}
	wait, err := s.For.Duration()
	if s.Joint != "" {
		a, _ := r.sheet.Adhesive(r.adhesive(j.id, s.Joint))
		if wait, err = a.Times.Cure, nil; s.Until == steps.UntilHandling {
			wait = a.Times.Handling
		}
	}
	return err == nil && !since.IsZero() && !at.Before(since.Add(wait))
}

// adhesive is what the joint of the job was coated with last.
func (r record) adhesive(job, joint string) string {
	with := ""
	for _, e := range r.entries {
		if f, ok := e.Facts.(journal.Coated); ok && !r.gone[e.Position] && f.Job == job && f.Joint == joint {
			with = f.Adhesive
		}
	}
	return with
}

// held are the zones that the joint of the job holds.
func (r record) held(j sheetOfWork, joint string) []string {
	if zones, looked := r.joints[[2]string{j.id, joint}]; looked {
		return zones
	}
	var zones []string
	for _, s := range j.steps {
		if s.Joint == joint && s.Kind.Traits().Glues() {
			zones = append(zones, s.Disturbs...)
			if s.Kind.Traits().Joins && !slices.ContainsFunc(s.Makes, func(m steps.Made) bool { return slices.Contains(s.Disturbs, m.Zone) }) {
				for _, m := range s.Makes {
					zones = append(zones, m.Zone)
				}
			}
		}
	}
	r.joints[[2]string{j.id, joint}] = zones
	return zones
}

// together reports whether the zone was put together with each that the build has it
// rest on, or was made in its place.
func (r record) together(zone string, build sheetOfWork, since int64) bool {
	stageOf := func(zone string) string {
		for _, stage := range build.procedure.Stages {
			for _, s := range stage.Steps {
				if s.MakesZone(zone) {
					return stage.Name
				}
			}
		}
		return ""
	}
	var rests []string
	for _, s := range build.steps {
		for _, m := range s.Makes {
			if m.Zone == zone {
				rests = append(rests, m.On...)
			}
		}
	}
	for _, on := range rests {
		own, other := stageOf(zone), stageOf(on)
		if other == "" || own == other || slices.Contains(build.procedure.Before(own), other) {
			continue
		}
		from := since
		for _, e := range r.entries {
			if f, ok := e.Facts.(journal.PartRetired); ok && !r.gone[e.Position] && slices.Contains(f.Zones, on) {
				from = max(from, e.Position)
			}
		}
		if !r.seats(zone, on, from) {
			return false
		}
	}
	return true
}

// seats reports whether a step that puts the two together was done since.
func (r record) seats(zone, on string, since int64) bool {
	both := func(zones []string) bool { return slices.Contains(zones, zone) && slices.Contains(zones, on) }
	jobs := map[string]sheetOfWork{}
	glued := map[string]bool{} // where a join puts them together, a dry fit does not
	for _, j := range r.jobs {
		jobs[j.id] = j
		glued[j.id] = slices.ContainsFunc(j.steps, func(s *steps.Step) bool { return s.Kind.Traits().Joins && both(r.held(j, s.Joint)) })
		for _, s := range j.procedure.Steps() { // or will be, whichever way is chosen
			asks := func(of *steps.Step) bool {
				return slices.ContainsFunc(of.Methods, func(m steps.Option) bool { return len(s.With) == 1 && slices.Contains(s.With[0], m.Name) })
			}
			glued[j.id] = glued[j.id] || s.Kind.Traits().Joins && both(s.Disturbs) && slices.ContainsFunc(j.procedure.Steps(), asks)
		}
	}
	return slices.ContainsFunc(r.done, func(d doneStep) bool {
		does, zones := d.step.Kind.Traits(), d.step.Disturbs
		switch job, known := jobs[d.job]; {
		case d.Position < since || !d.completes():
			return false
		case does.Joins && known:
			zones = r.held(job, d.step.Joint)
		case glued[d.job] || does.Coats || does.Passes || does.Measures || does.Confirms:
			return false
		}
		return both(zones)
	})
}

// due are the gates that must be measured before it may fly, with what is still going
// to be disturbed.
func (r record) due(at time.Time, coming ...string) []string {
	absent, unfinished := r.absent(at)
	overlap := func(a, b []string) bool {
		return slices.ContainsFunc(a, func(z string) bool { return slices.Contains(b, z) })
	}
	var left []string // what the build measures by itself
	for _, j := range r.jobs {
		for _, s := range j.steps {
			if j.builds() && !slices.ContainsFunc(r.done, func(d doneStep) bool { return d.job == j.id && d.step.Name == s.Name }) {
				left = append(left, s.Gates...)
			}
		}
	}
	var names []string
	for _, g := range r.sheet.Gates {
		zones := g.Of
		if g.Mass {
			zones = append(slices.Clone(zones), steps.MassZone)
		}
		taken, met := r.taken(g, zones, at)
		switch {
		case g.Work || !r.applies(g.Where) || overlap(g.Of, absent):
		case met && !overlap(zones, coming):
		case slices.Contains(left, g.Name) && (!taken || overlap(g.Of, unfinished)):
		default:
			names = append(names, g.Name)
		}
	}
	return names
}

// taken reports whether the gate was ever read, and whether it was at every point since
// all that may have changed it. The robot reads nothing that is out of tolerance.
func (r record) taken(g steps.Gate, zones []string, at time.Time) (ever, met bool) {
	changed, when := r.chosen(g.Options()), time.Time{}
	stands := map[string]string{}   // conditions that say whether equipment is aboard
	denied := map[string][]string{} // what was said of them since and taken back
	for _, e := range r.entries {
		of, mark := disturbs(e.Facts)
		if u, ok := e.Facts.(journal.Undone); ok {
			for _, p := range u.TakesBack {
				if f, is := r.entries[p].Facts.(journal.EquipmentChanged); is && f.Change != workflow.Moved {
					zones, _ := disturbs(f)
					of = append(of, zones...)
				}
			}
		}
		work, _ := journal.WorkOf(e.Facts)
		if f, ok := e.Facts.(journal.ConditionSet); ok {
			work.Sets = append(work.Sets, f.Setting)
		}
		for _, item := range r.sheet.Equipment {
			for _, is := range item.Aboard {
				for _, set := range work.Sets {
					was, said := stands[is.Condition]
					other := func(state string) bool { return state != set.State }
					if set.Condition == is.Condition && (said && was != set.State || !said && set.State != is.State || slices.ContainsFunc(denied[set.Condition], other)) {
						of = append(append(slices.Clone(of), steps.MassZone, item.Zone), item.Disturbs...)
					}
				}
			}
		}
		for _, set := range work.Sets {
			if r.gone[e.Position] {
				denied[set.Condition] = append(denied[set.Condition], set.State)
			} else {
				stands[set.Condition], denied[set.Condition] = set.State, nil
			}
		}
		if f, ok := e.Facts.(journal.Reworked); ok && f.Gate == g.Name && !r.gone[e.Position] {
			changed = max(changed, e.Position)
		}
		if !slices.ContainsFunc(of, func(z string) bool { return slices.Contains(zones, z) }) || mark && len(g.Of) > 1 {
			continue
		}
		if changed = max(changed, e.Position); !r.gone[e.Position] && e.At.After(when) {
			when = e.At
		}
	}
	at0 := map[string]int{}
	for _, e := range r.entries {
		f, ok := e.Facts.(journal.ReadingTaken)
		if !ok || r.gone[e.Position] || f.Gate != g.Name {
			continue
		}
		ever = true
		old := g.Validity.Days > 0 && !at.Before(e.At.AddDate(0, 0, g.Validity.Days))
		if e.Position > changed && !e.At.Before(when) && !old {
			at0[f.Point]++
		}
	}
	for _, p := range g.PointNames() {
		if at0[p] < max(1, g.Repeat) {
			return ever, false
		}
	}
	return ever, ever
}
