package workflow

import (
	"fmt"
	"time"

	"fettle/steps"
)

// An Await is one moment waited for.
type Await struct {
	Job, Name string    // the joint, or the wait step
	What      string    // in words
	Began     time.Time // when the clock began, for showing how far it has come
	Ready     time.Time
	Then      time.Time // the clock time after it, zero where there is none
	ThenWhat  string    // in words
	phase     Phase     // the joint's phase that ends at Ready; "" for a step
}

// Await returns what is to be waited for: of the joint or step of that name,
// or with "" whichever is ready first. What is ready already comes with its
// time in the past.
func (s *State) Await(now time.Time, name string) (Await, error) {
	if reason := s.Untrusted(now); reason != nil {
		return Await{}, &Refusal{What: "waiting", Reasons: []Reason{*reason}}
	}
	var first *Await
	var names []string
	for _, w := range s.awaits(now) {
		names = append(names, w.Name)
		if name != "" && w.Name != name {
			continue
		}
		if first == nil || w.Ready.Before(first.Ready) {
			first = &w
		}
	}
	if name == "" && first != nil {
		return *first, nil
	}
	if first != nil {
		return *first, nil
	}
	if name != "" {
		return s.named(now, name, names)
	}
	return Await{}, unknown("running clock on", s.Airframe.Mark, nil)
}

// named answers for a joint or step that runs no clock now.
func (s *State) named(now time.Time, name string, running []string) (Await, error) {
	for _, j := range s.joints() {
		if j.Name != name {
			continue
		}
		switch s.Phase(j, now) {
		case Open:
			w := j.Window()
			return Await{Job: j.Job, Name: name, What: "joint " + name + " may be closed", Ready: w.Opens, Then: w.Closes, ThenWhat: "close it by"}, nil
		case Late:
			return Await{}, refuse("waiting for "+name, ByLapse, "its coat has lapsed", s.remedy(Remedy{Kind: ToCoatAgain, Joint: name}))
		case Cured:
			return Await{Job: j.Job, Name: name, What: "joint " + name + " is cured", Ready: j.Cures()}, nil
		}
		return Await{}, refuse("waiting for "+name, ByState, "time alone does not open it", s.remedy(Remedy{Kind: ToSeeNext}))
	}
	report, job, err := s.FindStep(name, now)
	if err != nil {
		return Await{}, unknown("running clock", name, running)
	}
	if report.Progress == Done || report.Progress == Ready {
		return Await{Job: job.ID, Name: name, What: "step " + name, Ready: now}, nil
	}
	if at := opens(report); !at.IsZero() {
		return Await{Job: job.ID, Name: name, What: "step " + name + " can be done", Began: now, Ready: at}, nil
	}
	return Await{}, &Refusal{What: "waiting for " + name, Reasons: report.Reasons}
}

// awaits lists the running clocks whose next moment comes by itself.
func (s *State) awaits(now time.Time) []Await {
	var all []Await
	for _, j := range s.joints() {
		w := j.Window()
		switch phase := s.Phase(j, now); phase {
		case Tacking:
			if now.Before(w.Opens) {
				all = append(all, Await{j.Job, j.Name, "joint " + j.Name + " may be closed", j.began(), w.Opens, w.Closes, "close it by", phase})
			}
		case Setting:
			all = append(all, Await{j.Job, j.Name, "joint " + j.Name + " may be handled", j.Joined, j.Handles(), j.Cures(), "cured", phase})
		case Curing:
			all = append(all, Await{j.Job, j.Name, "joint " + j.Name + " is cured", j.Joined, j.Cures(), time.Time{}, "", phase})
		}
	}
	for _, job := range s.Jobs {
		for _, stage := range job.Procedure.Stages {
			i := s.head(job, stage, now)
			if i == len(stage.Steps) || stage.Steps[i].Kind != steps.Wait || stage.Steps[i].Joint != "" {
				continue
			}
			if began, ok := s.waitBegins(job, stage, i, now); ok {
				until, _ := s.waitEnds(job, stage, i, now)
				all = append(all, Await{Job: job.ID, Name: stage.Steps[i].Name, What: fmt.Sprintf("wait %s is over", stage.Steps[i].Name), Began: began, Ready: until})
			}
		}
	}
	return all
}

// began is when the joint's last face was finished.
func (j *Joint) began() time.Time {
	var last time.Time
	for _, c := range j.coats {
		if c.Finished.After(last) {
			last = c.Finished
		}
	}
	return last
}

// AwaitAgain returns the same wait on a newer state: its times may have moved.
// What has become ready meanwhile keeps its time.
func (s *State) AwaitAgain(now time.Time, w Await) (Await, error) {
	for _, running := range s.awaits(now) {
		if running.Job == w.Job && running.Name == w.Name && running.phase == w.phase {
			return running, nil
		}
	}
	if now.Before(w.Ready) {
		return s.Await(now, w.Name)
	}
	return w, nil
}
