package workflow

import (
	"fettle/steps"
	"fettle/steps/quantity"
	"fettle/workflow/journal"
)

// An effect is what an entry of one kind does to the state.
type effect struct {
	// fold applies an entry that was not taken back.
	fold func(*State, journal.Entry) error
	// stays is what it does even if it was taken back, before the fold; nil: nothing.
	stays func(*State, journal.Entry)
	// disturbs returns the zones that an entry disturbs, even if it was taken
	// back, and the words for what did it; nil: no zones.
	disturbs func(journal.Facts) (by string, zones []string)
	// marks returns the zones that it leaves a mark on, which shifts no part against
	// another; nil: none.
	marks func(journal.Facts) (by string, zones []string)
	// sets returns the conditions that it sets; nil: none.
	sets func(journal.Facts) []steps.Setting
	// ends says that every condition set before it is unknown after it.
	ends bool
	// aside says that it says nothing of the airframe: nothing rests on it, and
	// it rests on nothing.
	aside bool
	// carries returns the entries that rest on it and are taken back with it,
	// besides every later release.
	carries func(*State, journal.Entry) []int64
	// final says why it can't be taken back; nil: it can. It may depend on the
	// state.
	final func(*State, journal.Entry) *Reason
}

// effects has a row for every kind of entry.
func effects() map[string]effect {
	work := effect{fold: (*State).complete, disturbs: workDisturbs, sets: workSets, carries: stepsAfter}
	beside := effect{fold: unchanged, aside: true, carries: nothing}
	return map[string]effect{
		journal.Registered{}.Kind():        {fold: (*State).register, carries: nothing, final: always("a registration cannot be taken back", ToChooseMark)},
		journal.JobOpened{}.Kind():         {fold: (*State).open, carries: aboutJob, final: begun},
		journal.JobMoved{}.Kind():          {fold: (*State).move, carries: movedTogether},
		journal.JobAmended{}.Kind():        {fold: (*State).amend, carries: amendments, final: broughtDone},
		journal.StepDone{}.Kind():          work,
		journal.Begun{}.Kind():             {fold: (*State).begin, carries: nothing},
		journal.Coated{}.Kind():            work,
		journal.Joined{}.Kind():            work,
		journal.HoldCleared{}.Kind():       work,
		journal.Released{}.Kind():          work,
		journal.Witnessed{}.Kind():         {fold: unchanged, carries: whatWasWitnessed},
		journal.Chosen{}.Kind():            {fold: (*State).choose, disturbs: workDisturbs, sets: workSets, carries: restingOnChosen},
		journal.ReadingTaken{}.Kind():      {fold: (*State).read, carries: restingOnReading},
		journal.GaugeChecked{}.Kind():      {fold: (*State).checked, carries: nothing},
		journal.GaugeStudied{}.Kind():      {fold: (*State).study, carries: nothing},
		journal.Reworked{}.Kind():          {fold: (*State).rework, disturbs: reworkDisturbs, carries: gluedBy},
		journal.ConcessionGranted{}.Kind(): {fold: (*State).concede, carries: restingOnConcession},
		journal.TouchTested{}.Kind():       {fold: (*State).touched, carries: nothing},
		journal.BenchRead{}.Kind():         {fold: (*State).readBench, carries: nothing},
		journal.ConditionSet{}.Kind():      {fold: (*State).setCondition, sets: conditionSets, carries: nothing},
		journal.UseCleared{}.Kind():        {fold: (*State).clearUse, sets: useSets, carries: nothing},
		journal.DamageFound{}.Kind():       {fold: (*State).damage, stays: (*State).quarantine, disturbs: damageDisturbs, marks: damageMarks, ends: true, carries: nothing, final: leftByUndo},
		journal.QuarantineCleared{}.Kind(): {fold: (*State).clearQuarantine, carries: nothing},
		journal.EquipmentChanged{}.Kind():  {fold: (*State).changeEquipment, disturbs: equipmentDisturbs, carries: stepThatFitted},
		journal.PartRetired{}.Kind():       {fold: (*State).retire, disturbs: retireDisturbs, carries: whatRetired},
		journal.FlightLogged{}.Kind():      {fold: (*State).fly, stays: (*State).flew, ends: true, carries: nothing},
		journal.Retired{}.Kind():           {fold: (*State).end, ends: true, carries: nothing},
		journal.Noted{}.Kind():             beside,
		journal.PhotoKept{}.Kind():         beside,
		journal.Sealed{}.Kind(): {fold: unchanged, aside: true, carries: nothing,
			final: always("a seal may have been handed out and cannot be taken back", "")},
		journal.Undone{}.Kind(): {fold: (*State).undo, carries: nothing, // Replay knows what it takes back before it folds
			final: always("a correction cannot be taken back", ToDoAgain)},
	}
}

func unchanged(*State, journal.Entry) error { return nil }

// disturbs returns the zones that an entry disturbs, and the words for what did it.
func (s *State) disturbs(e journal.Entry) (by string, zones []string) {
	if disturbs := s.effects[e.Facts.Kind()].disturbs; disturbs != nil {
		return disturbs(e.Facts)
	}
	return "", nil
}

// complete applies an entry that completes a step.
func (s *State) complete(e journal.Entry) error {
	work, _ := journal.WorkOf(e.Facts)
	if f, ok := e.Facts.(journal.Released); ok {
		s.Release = &LastRelease{f, e.At, e.By, e.Position}
	}
	if work.Job == "" { // a release, an answer or a rework outside any job
		return s.make(s.reworks, e)
	}
	job, err := s.Job(work.Job)
	if err != nil {
		return err
	}
	step, _, _ := job.Procedure.Step(work.Step)
	if kind, known := s.kinds[step.Kind]; known && kind.completed != e.Facts.Kind() {
		delete(job.done, work.Step) // the coat of a glue step, which is done once it is joined
	} else {
		job.done[work.Step] = completion{e.Position, e.At, step.Kind}
		s.renew(job, step.Renews, e.At)
	}
	s.set(e, work.Sets...)
	s.use(job, step, e)
	return s.make(job, e)
}

// make applies an entry that coats or joins a joint of the job.
func (s *State) make(job *Job, e journal.Entry) error {
	switch f := e.Facts.(type) {
	case journal.Coated:
		delete(job.begun, f.Step)
		return s.coat(job, f, e)
	case journal.Joined:
		return s.join(job, f, e)
	}
	return nil
}

func (s *State) read(e journal.Entry) error {
	f := e.Facts.(journal.ReadingTaken)
	gauge, _ := s.Sheet.Gauge(f.Gauge)
	gate, _ := s.Sheet.Gate(f.Gate)
	t := reading{e.Position, e.At, f, gauge.Doubt(), gate.For(f.Point).Result, quantity.Quantity{}}
	t.Value, t.chord = thrown(s.Sheet, f)
	s.gate(f.Gate).readings = append(s.gate(f.Gate).readings, t)
	return nil
}

func (s *State) concede(e journal.Entry) error {
	f := e.Facts.(journal.ConcessionGranted)
	s.gate(f.Gate).concession = &concession{e.Position, e.At, f.Reason, e.By}
	return nil
}

func (s *State) touched(e journal.Entry) error {
	f := e.Facts.(journal.TouchTested)
	job, err := s.workOf(f.Job)
	if err != nil {
		return err
	}
	for _, joint := range job.joints[f.Joint] {
		if joint.Joined.IsZero() {
			joint.wet, joint.touched = !f.Ready, e.At
		}
	}
	return nil
}

// undo has equipment disturbed whose fitting or removing is taken back, and what a choice
// brings: what was measured meanwhile was measured with it off, or with it on.
func (s *State) undo(e journal.Entry) error {
	f := e.Facts.(journal.Undone)
	for _, p := range f.TakesBack {
		switch facts := s.Entries[p].Facts.(type) {
		case journal.EquipmentChanged:
			if facts.Change != Moved {
				by, zones := equipmentDisturbs(facts)
				s.disturb(e, "the undo of "+by, zones)
			}
		case journal.Chosen:
			if s.Sheet.Geometry.DependsOn(facts.Choice, facts.Answer) {
				s.rebalance(e, "the undo of the choice of "+facts.Choice)
			}
		}
	}
	return nil
}

func (s *State) setCondition(e journal.Entry) error {
	f := e.Facts.(journal.ConditionSet)
	s.set(e, f.Setting)
	return nil
}

func (s *State) clearUse(e journal.Entry) error {
	s.set(e, useSets(e.Facts)...)
	return nil
}

func workDisturbs(f journal.Facts) (by string, zones []string) {
	work, _ := journal.WorkOf(f)
	return work.Step, work.Disturbs
}

func reworkDisturbs(f journal.Facts) (by string, zones []string) {
	rework := f.(journal.Reworked)
	return "rework of " + rework.Gate, rework.Disturbs
}

func damageDisturbs(f journal.Facts) (by string, zones []string) {
	if f.(journal.DamageFound).Severity == steps.Cosmetic {
		return "", nil // only what its procedure says, beside the mark
	}
	return damageMarks(f)
}

func damageMarks(f journal.Facts) (by string, zones []string) {
	damage := f.(journal.DamageFound)
	return "damage " + damage.Damage + ", " + damage.Finding, []string{damage.Zone}
}

func equipmentDisturbs(f journal.Facts) (by string, zones []string) {
	equipment := f.(journal.EquipmentChanged)
	zones = append([]string{steps.MassZone}, equipment.Disturbs...)
	if equipment.Change != Moved {
		zones = append([]string{steps.Another(equipment.Item)}, zones...)
	}
	return "the " + equipment.Item + " being " + equipment.Change, zones
}

func workSets(f journal.Facts) []steps.Setting {
	work, _ := journal.WorkOf(f)
	return work.Sets
}

func conditionSets(f journal.Facts) []steps.Setting {
	return []steps.Setting{f.(journal.ConditionSet).Setting}
}
