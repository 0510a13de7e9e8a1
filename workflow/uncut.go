package workflow

import (
	"slices"

	"fettle/steps"
)

// begun is a scheduler of the same that has made nothing yet.
//
//go:noinline
func (of *scheduler) begun() *scheduler {
	is := *of
	is.byStep, is.coats, is.glue = map[stepOf]int{}, map[stepOf]int{}, map[stepOf]*steps.Adhesive{}
	is.root = of
	is.heeded, is.fixed = map[string]bool{}, map[heatOf]bool{}
	return &is
}

// made is a scheduler with the tasks of every airframe, of which nothing is cut yet. What was made once is taken again where the sittings
// are the same: what is cut changes none of it.
func (of *scheduler) made() (*scheduler, error) {
	if of.uncut == nil || of.uncut.weeks != of.weeks {
		c := of.begun()
		if err := c.hours(); err != nil {
			return c, err
		}
		if err := c.work(); err != nil {
			return c, err
		}
		c.setting()
		of.uncut = c
	}
	return of.uncut.copied(of), nil
}

// copied is one that can be settled otherwise.
func (c *scheduler) copied(of *scheduler) *scheduler {
	is := *c
	is.asked = of.asked
	is.fixed = map[heatOf]bool{}
	is.numbers, is.tasks = slices.Clone(c.numbers), slices.Clone(c.tasks)
	is.delays, is.ties = slices.Clip(c.delays), slices.Clip(c.ties)
	is.eithers, is.eitherBy = slices.Clip(c.eithers), slices.Clip(c.eitherBy)
	is.stops, is.answers = slices.Clip(c.stops), slices.Clip(c.answers)
	n := 0
	for i := range c.tasks {
		n += len(c.tasks[i].before)
	}
	all := make([]uint64, 0, n)
	for i := range is.tasks {
		t := &is.tasks[i]
		from := len(all)
		all = append(all, t.before...)
		t.before = all[from:len(all):len(all)]
	}
	rows := make([]row, len(c.rows))
	is.rows = make([]*row, len(rows))
	for at := range rows {
		rows[at] = *c.rows[at]
		rows[at].all = slices.Clip(rows[at].all)
		is.rows[at] = &rows[at]
	}
	return &is
}
