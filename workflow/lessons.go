package workflow

import (
	"cmp"
	"maps"
	"slices"

	"fettle/steps"
	"fettle/steps/sorting"
)

// Lessons are what the record of a store says of a procedure, for its author.
type Lessons struct {
	Jobs      int      // in which a step of its own was done
	Others    int      // how many of these were of other procedures, such as plans of repair
	Marks     []string // of the airframes
	Revisions []int    // that its own jobs went by
	Steps     []Lesson // all of it, the one with most to learn first
	Gone      []Lesson // steps of other revisions that it no longer has
	People    []PersonPace
}

// A Lesson is what the record says of one step.
type Lesson struct {
	Step    *steps.Step
	Done    int      // times
	Marks   []string // of the airframes, sorted
	Took    Spread   // in seconds
	Untimed map[Untimed]int
	Trouble
}

// A PersonPace is how long a person takes for a step, as part of what is written.
type PersonPace struct {
	By string
	Spread
}

// Off is how many times longer or shorter than written the step takes, at least 1; 0: that
// is not known.
func (l Lesson) Off() float64 {
	hands := handsOf(l.Step).Seconds()
	if hands == 0 || l.Took.Count < enough {
		return 0
	}
	ratio := l.Took.Median / hands
	return max(ratio, 1/ratio)
}

// What is worth a look (common practice, no source).
const (
	enough = 3   // times that a step was timed, before its minutes tell anything
	farOff = 1.5 // how many times longer or shorter than written
)

// Teaches reports whether its author has a reason to look at the step.
func (l Lesson) Teaches() bool { return l.Sum() > 0 || l.Off() >= farOff }

// weight is how much there is to learn: troubles each time that it was done, and how far
// its minutes are off.
func (l Lesson) weight() float64 {
	return float64(l.Sum())/float64(max(l.Done, 1)) + max(l.Off()-1, 0)
}

// LessonsOf gathers what work that is [Timed] says of a procedure. Steps are matched by their
// names in its own jobs, of whatever revision. The digest is that of its file: in other jobs,
// such as plans of repair, a step is matched by where it was written.
func LessonsOf(p *steps.Procedure, digest string, all []WorkDone) Lessons {
	out := Lessons{Steps: make([]Lesson, len(p.Steps()))}
	for i, step := range p.Steps() {
		out.Steps[i] = Lesson{Step: step, Untimed: map[Untimed]int{}}
	}
	took := map[*Lesson][]float64{}
	gone := map[string]*Lesson{}
	counted, jobs := map[*steps.Step]bool{}, map[[2]string]bool{}
	var people []string
	for _, w := range all {
		for _, r := range w.Steps {
			if len(r.Done) == 0 && r.Sum() == 0 {
				continue
			}
			its := r.Procedure.Name == p.Name
			l := out.lesson(r, its)
			own := its || l != nil && l.Step.Origin.Document == digest
			if l == nil && its {
				if gone[r.Step.Name] == nil {
					gone[r.Step.Name] = &Lesson{Step: r.Step, Untimed: map[Untimed]int{}}
				}
				l = gone[r.Step.Name]
			}
			if l == nil {
				continue
			}
			counted[r.Step] = true
			l.add(r.Trouble)
			l.Done += len(r.Done)
			for _, done := range r.Done {
				l.Marks, people = append(l.Marks, done.Mark), append(people, done.By)
				switch {
				case done.Untimed == "":
					took[l] = append(took[l], done.Took.Seconds())
				case done.Untimed != Unattended:
					l.Untimed[done.Untimed]++
				}
				if job := [2]string{done.Mark, done.Job}; own && !jobs[job] {
					jobs[job], out.Marks = true, append(out.Marks, done.Mark)
					if out.Jobs++; !its {
						out.Others++
					}
				}
			}
			if its {
				out.Revisions = append(out.Revisions, r.Procedure.Revision)
			}
		}
	}
	end := func(l *Lesson) { l.Took, l.Marks = spreadOf(took[l]), distinct(l.Marks) }
	for i := range out.Steps {
		end(&out.Steps[i])
	}
	for _, name := range slices.Sorted(maps.Keys(gone)) {
		end(gone[name])
		out.Gone = append(out.Gone, *gone[name])
	}
	sorting.Stable(out.Steps, func(i, k int) int {
		a, b := &out.Steps[i], &out.Steps[k]
		return cmp.Compare(b.weight(), a.weight())
	})
	out.Marks, out.Revisions = distinct(out.Marks), distinct(out.Revisions)
	for _, by := range distinct(people) {
		own := pace(all, by, func(r *StepRecord, _ float64) bool { return counted[r.Step] })
		if own.Count > 0 {
			out.People = append(out.People, PersonPace{by, own})
		}
	}
	return out
}

// lesson is that of the step of a record; nil: it has none.
func (ls *Lessons) lesson(r *StepRecord, its bool) *Lesson {
	was := -1
	for i := range ls.Steps {
		step := ls.Steps[i].Step
		switch {
		case step.Kind != r.Step.Kind:
		case !its && sameOrigin(step, r.Step), its && step.Name == r.Step.Name:
			return &ls.Steps[i]
		case its && step.Was == r.Step.Name:
			was = i
		}
	}
	if was < 0 {
		return nil
	}
	return &ls.Steps[was]
}

// sameOrigin reports whether a step of a plan is that of a document, whose words may not be
// filled in yet.
func sameOrigin(step, planned *steps.Step) bool {
	at, of := step.Origin, planned.Origin
	return of.Step != "" && at.Step == of.Step && at.Document == of.Document && (len(at.Words) == 0 || slices.Equal(at.Words, of.Words))
}

func distinct[T cmp.Ordered](all []T) []T {
	slices.Sort(all)
	return slices.Compact(all)
}
