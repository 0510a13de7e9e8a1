package workflow

import (
	"context"

	"fettle/workflow/plan"
)

// This file keeps what is hot, on or plugged in so for no longer than it need be.

// brief is a plan in which what sets a condition that nobody leaves behind comes as late, and what ends it as soon, as costs nothing:
// nothing else is over later, and nobody is wanted at two places. Also what sets it once more counts, and what is measured for that.
// What somebody is at now stays.
func (d *draft) brief(ctx context.Context) plan.Result {
	c := d.c
	if row, _ := d.next(); row >= 0 || len(c.rows) == 0 {
		return d.r
	}
	wish := make([]int, len(c.tasks))
	for _, r := range c.rows {
		if r.setter >= 0 {
			wish[r.setter]++
		}
		if r.ender >= 0 {
			wish[r.ender]--
		}
	}
	for i := range c.tasks {
		switch t := &c.tasks[i]; {
		case t.since < 0:
			wish[i] = 0
		case t.again == AgainReady:
			wish[i] = 1
		case t.again == AgainSafe:
			wish[i] = -1
		}
	}
	return plan.Ease(ctx, d.p, d.r, wish, func(starts []int) bool {
		is := *d
		is.r.Starts = starts
		row, _ := is.next()
		return row < 0
	})
}
