package workflow

import (
	"fmt"
	"time"

	"fettle/steps"
)

// A wait may have an end: the step after it must be done no later than so long
// after the step that it counts from. All of it is worked out of the times of
// what was done; no entry says that it is too late.

// counts reports whether what completed the step stands: a step between the one
// that a wait opens again and that wait is done after it.
func (j *Job) counts(stage steps.Stage, i int) bool {
	done, ok := j.done[stage.Steps[i].Name]
	if !ok {
		return false
	}
	for k := i; k < len(stage.Steps); k++ {
		if wait := &stage.Steps[k]; wait.Reopens() {
			first, ok := j.done[wait.Late]
			if ok && done.position < first.position && within(stage, wait.Late, i) {
				return false
			}
		}
	}
	return true
}

// within reports whether the step is at or after the one of that name in its
// stage.
func within(stage steps.Stage, name string, i int) bool {
	for k := range stage.Steps[:i+1] {
		if stage.Steps[k].Name == name {
			return true
		}
	}
	return false
}

// from is what the wait counts from, if that was done and stands.
func (j *Job) from(stage steps.Stage, i int) (completion, bool) {
	wait := &stage.Steps[i]
	name := wait.From
	if name == "" && i > 0 {
		name = stage.Steps[i-1].Name
	}
	_, of, ok := j.Procedure.Step(name)
	if !ok {
		return completion{}, false
	}
	for k := range of.Steps {
		if of.Steps[k].Name == name && j.counts(of, k) {
			return j.done[name], true
		}
	}
	return completion{}, false
}

// ends is when the step after the wait must be done, and whether that step was
// done since the wait began; false: the wait has no end, or has not begun.
func (j *Job) ends(stage steps.Stage, i int) (at time.Time, after completion, ok bool) {
	wait := &stage.Steps[i]
	if wait.By.IsZero() || i+1 == len(stage.Steps) {
		return time.Time{}, completion{}, false
	}
	from, ok := j.from(stage, i)
	by, err := wait.By.Duration()
	if !ok || err != nil {
		return time.Time{}, completion{}, false
	}
	if done, is := j.done[stage.Steps[i+1].Name]; is && done.position > from.position {
		after = done
	} else {
		by -= j.off
	}
	return from.at.Add(by), after, true
}

// reopened returns the wait that opens the step again at the time, because what
// must follow it in time did not; nil: none does.
func (j *Job) reopened(stage steps.Stage, i int, at time.Time) *steps.Step {
	for k := i; k < len(stage.Steps); k++ {
		wait := &stage.Steps[k]
		if !wait.Reopens() || !within(stage, wait.Late, i) {
			continue
		}
		if ends, after, ok := j.ends(stage, k); ok && after.at.IsZero() && at.After(ends) && !j.wrong {
			return wait
		}
	}
	return nil
}

// sinceWords says from what a wait counts.
func sinceWords(stage steps.Stage, i int) string {
	if wait := stage.Steps[i]; wait.From != "" {
		return wait.From
	}
	if i > 0 {
		return stage.Steps[i-1].Name
	}
	return "the beginning"
}

// overdue says that the step comes after a wait that opens nothing again, and
// was done, or is still to be done, too late; "": it is not.
func (j *Job) overdue(stage steps.Stage, i int, at time.Time) string {
	if i == 0 || stage.Steps[i-1].Late != steps.LateSay {
		return ""
	}
	ends, after, ok := j.ends(stage, i-1)
	limit := fmt.Sprintf("no later than %s after %s", stage.Steps[i-1].By, sinceWords(stage, i-1))
	switch {
	case !ok:
		return ""
	case after.at.After(ends):
		return "it was to be done " + limit + ", and was done later"
	case after.at.IsZero() && at.After(ends) && !j.wrong:
		return "it was to be done " + limit + ", and is not done yet"
	}
	return ""
}

// TooLate lists what was done, or is still to be done, too late after a wait that
// only says so.
func (s *State) TooLate(at time.Time) []string {
	var all []string
	for _, job := range s.Jobs {
		for _, stage := range job.Procedure.Stages {
			for i := range stage.Steps {
				if text := job.overdue(stage, i, at); text != "" {
					all = append(all, fmt.Sprintf("%s of %s: %s", stage.Steps[i].Name, job.ID, text))
				}
			}
		}
	}
	return all
}

// deadlines are the running ends of waits at the time.
func (s *State) deadlines(at time.Time) []Timer {
	var all []Timer
	for _, job := range s.Jobs {
		for _, stage := range job.Procedure.Stages {
			for i := range stage.Steps {
				ends, after, ok := job.ends(stage, i)
				if !ok || !after.at.IsZero() || at.After(ends) {
					continue
				}
				from, _ := job.from(stage, i)
				least, _ := stage.Steps[i].For.Duration()
				if least > 0 {
					least += job.off
				}
				t := Timer{Job: job.ID, Name: stage.Steps[i].Name, Then: stage.Steps[i+1].Name, Began: from.at, Opens: from.at.Add(least), Closes: ends}
				if at.Before(t.Opens) {
					t.Ready = t.Opens
				}
				all = append(all, t)
			}
		}
	}
	return all
}
