package screen

import (
	"fmt"
	"time"

	"fettle/cmd/internal/page"
	"fettle/cmd/internal/sitting"
	"fettle/workflow"
)

// clockLine is a running clock in few words, how long it is first. calls says that somebody is
// to do something now.
func clockLine(t sitting.Timer, now time.Time) (words string, calls bool) {
	c := page.Clock{Now: now}
	at, in := c.At, c.In
	switch t.Phase {
	case "":
		switch {
		case now.Before(t.Opens) && t.Then != "":
			return fmt.Sprintf("over in %s, at %s, then %s by %s", in(t.Opens), at(t.Opens), t.Then, at(t.Closes)), false
		case now.Before(t.Opens):
			return fmt.Sprintf("over in %s, at %s", in(t.Opens), at(t.Opens)), false
		}
		return fmt.Sprintf("DO %s, %s left, by %s", t.Then, in(t.Closes), at(t.Closes)), true
	case workflow.HalfCoated:
		return fmt.Sprintf("coat the other face; join by %s, %s left", at(t.Closes), in(t.Closes)), false
	case workflow.Tacking:
		if now.Before(t.Opens) {
			from, until := c.Between(t.Opens, t.Closes)
			return fmt.Sprintf("join in %s, from %s until %s", in(t.Opens), from, until), false
		}
		return fmt.Sprintf("TOUCH IT AGAIN, it was wet; join by %s, %s left", at(t.Closes), in(t.Closes)), true
	case workflow.Open:
		return fmt.Sprintf("JOIN NOW, %s left, until %s", in(t.Closes), at(t.Closes)), true
	case workflow.Late:
		return fmt.Sprintf("LAPSED %s, coat it again", at(t.Closes)), true
	case workflow.Setting:
		return fmt.Sprintf("handle in %s, from %s", in(t.Handles), at(t.Handles)), false
	}
	return fmt.Sprintf("cured in %s, at %s", in(t.Cures), at(t.Cures)), false
}
