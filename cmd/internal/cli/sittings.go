package cli

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"fettle/steps/sorting"
	"fettle/workflow"
)

// This file reads when somebody will be at the bench, and nowhere else is that read.

const (
	// sittingsAhead is for how many days a sitting that is repeated is looked ahead.
	sittingsAhead = 26 * 7
	// farthestSitting is how many days ahead the day of a sitting may be: beyond it is a slip of the pen.
	farthestSitting = 366
	// longestSitting tells one that goes on after midnight from one that ends before it starts.
	longestSitting = 12 * time.Hour
	// mostSittings is how many can be planned: more than one an hour, day and night, is a slip of the pen, and takes long.
	mostSittings = 24 * sittingsAhead
)

const sittingForms = `write "today 19:00-21:00", "sat 14:00-17:00", "2026-03-07 14:00-17:00" or "every weekday 19:30-21:00"`

// A sayer is who says when somebody is at the bench: whoever asks for a plan, the settings, or the plan that is kept.
type sayer int

const (
	byPlan sayer = iota
	bySettings
	byKept
)

// A statedSitting is one as it was written, and when it is.
type statedSitting struct {
	workflow.Sitting
	text  string
	day   time.Time // of which it is said
	every bool
	over  bool
}

// sittings reads when somebody will be at the bench: in order, and apart. Those that touch become one. On a day of which
// something is said, or where that overlaps, a sitting that is repeated gives way to it. Of a plan's own times those that are
// over are refused; of standing ones they are left out. Those like what was said for one day are assumed beside what is repeated; of a plan
// that is kept, like what is over too, so that its weeks stay as they were shown.
func sittings(texts []string, now time.Time, by sayer) (h *workflow.Hours, err error) {
	h = &workflow.Hours{}
	var all []*statedSitting
	for _, text := range texts {
		text = strings.TrimSpace(text)
		some, err := readSitting(text, now)
		if err != nil {
			return h, err
		}
		if by == byPlan && !slices.ContainsFunc(some, func(s *statedSitting) bool { return !s.over }) {
			return h, isOver(text, now)
		}
		all = append(all, some...)
	}
	sorting.Stable(all, func(i, k int) int {
		a, b := all[i], all[k]
		return a.From.Compare(b.From)
	})
	overlap := func(a, b *statedSitting) bool { return a.From.Before(b.To) && b.From.Before(a.To) }
	var given, stay []*statedSitting
	var once []workflow.Sitting
	every := false
	for i := range all {
		s := all[i]
		if every = every || s.every; s.every {
			continue
		}
		given = append(given, s)
		if by == byKept || !s.over {
			once = append(once, s.Sitting)
		}
	}
	for i := range all {
		s := all[i]
		if !s.over && !(s.every && slices.ContainsFunc(given, func(other *statedSitting) bool { return s.day.Equal(other.day) || overlap(s, other) })) {
			stay = append(stay, s)
		}
	}
	var out []workflow.Sitting
	for i, s := range stay {
		switch {
		case i > 0 && overlap(stay[i-1], s):
			return h, usage("the sittings %q and %q overlap on %s", stay[i-1].text, s.text, s.From.Format("Mon 2 Jan"))
		case i > 0 && stay[i-1].To.Equal(s.From):
			out[len(out)-1].To = s.To
		default:
			out = append(out, s.Sitting)
		}
	}
	if len(out) > mostSittings {
		return h, usage("that is %d sittings in %d weeks; a plan can be for at most %d: write fewer, longer ones", len(out), sittingsAhead/7, mostSittings)
	}
	h.Sittings = out
	if len(once) > 0 && (by == byKept || every) {
		h.Assumed = assumed(once, now)
	}
	return h, nil
}

// assumed are like those that were said for one day, in as many whole weeks later as they take, again and again, for as long as one that is
// repeated is looked ahead.
//
//go:noinline
func assumed(once []workflow.Sitting, now time.Time) (all []workflow.Sitting) {
	span := workflow.WeeksOf(once[0], once[len(once)-1])
	for n := span; n <= sittingsAhead/7; n += span {
		for _, s := range once {
			if s = s.Later(n); s.From.Before(s.To) && s.To.Add(workflow.OvertimeMost).After(now) && (len(all) == 0 || !s.From.Before(all[len(all)-1].To)) {
				all = append(all, s)
			}
		}
	}
	return all
}

// dated are sittings as they are to be kept: one that is not repeated has its date.
func dated(texts []string, now time.Time) (out []string) {
	now = now.In(time.Local)
	for _, text := range texts {
		some, _ := readSitting(text, now)
		for _, s := range some {
			if s.every {
				out = append(out, text)
				break
			}
			out = append(out, s.day.Format(time.DateOnly)+" "+s.From.Format("15:04")+"-"+s.To.Format("15:04"))
		}
	}
	return out
}

func isOver(text string, now time.Time) error {
	return usage("%q is over: it is %s now", text, now.Format("Mon 2 Jan 15:04"))
}

// readSitting is a sitting as somebody writes it, as often as it is repeated, without those that have been over for a while; of
// one whose only day is this one it says so.
func readSitting(text string, now time.Time) ([]*statedSitting, error) {
	words := strings.Fields(strings.ReplaceAll(strings.ToLower(strings.ReplaceAll(text, "–", "-")), " - ", "-"))
	wrong := usage("%q is not a sitting; %s", text, sittingForms)
	every := len(words) == 3 && words[0] == "every"
	if every {
		words = words[1:]
	}
	if len(words) != 2 {
		return nil, wrong
	}
	is, known := daysOf(words[0], every, now)
	begins, ends, ok := strings.Cut(words[1], "-")
	from, okFrom := clockTime(begins)
	to, okTo := clockTime(ends)
	if !known || !ok || !okFrom || !okTo || from == 24*time.Hour {
		return nil, wrong
	}
	if to <= from {
		to += 24 * time.Hour
	}
	if to-from > longestSitting {
		return nil, usage("%q ends before it starts, or is longer than %d h", text, longestSitting/time.Hour)
	}
	var all, over []*statedSitting
	first := -1 // one of yesterday may go on after midnight
	if date, err := time.Parse(time.DateOnly, words[0]); err == nil {
		first = min(first, max(-farthestSitting, int(date.Sub(now)/(24*time.Hour))-1))
	}
	for day := first; day <= farthestSitting && (!every || day <= sittingsAhead); day++ {
		of := time.Date(now.Year(), now.Month(), now.Day()+day, 12, 0, 0, 0, now.Location()) // some nights have no midnight
		if !is(of) {
			continue
		}
		begin, end := wall(of, from), wall(of, to)
		if fault := cmp.Or(begin.fault(), end.fault()); fault != "" && !every {
			return nil, usage("%q: %s", text, fault)
		}
		s := &statedSitting{workflow.Sitting{From: begin.late, To: end.early}, text, of, every, false}
		switch {
		case !s.From.Before(s.To):
		case !s.To.Add(workflow.OvertimeMost).After(now):
			s.over = true
			over = append(over[:0], s)
		default:
			all = append(all, s)
		}
		if len(all) > 0 && !every && all[len(all)-1].To.After(now) {
			break // "sat" is the next one
		}
	}
	if _, err := time.Parse(time.DateOnly, words[0]); err == nil && len(all) == 0 && words[0] > now.Format(time.DateOnly) {
		return nil, usage("%q is more than a year away", text)
	}
	if len(all) == 0 && !every {
		return over, nil
	}
	return all, nil
}

// daysOf tells the days that a word means.
func daysOf(word string, every bool, now time.Time) (func(time.Time) bool, bool) {
	weekend := func(day time.Time) bool { return day.Weekday() == time.Saturday || day.Weekday() == time.Sunday }
	on := func(date string) func(time.Time) bool {
		return func(day time.Time) bool { return day.Format(time.DateOnly) == date }
	}
	for d := time.Sunday; d <= time.Saturday; d++ {
		if len(word) >= 3 && strings.HasPrefix(strings.ToLower(d.String()), word) {
			return func(day time.Time) bool { return day.Weekday() == d }, true
		}
	}
	if every {
		switch word {
		case "day":
			return func(time.Time) bool { return true }, true
		case "weekday":
			return func(day time.Time) bool { return !weekend(day) }, true
		case "weekend":
			return weekend, true
		}
		return nil, false
	}
	switch word {
	case "today":
		return on(now.Format(time.DateOnly)), true
	case "tomorrow":
		return on(time.Date(now.Year(), now.Month(), now.Day()+1, 12, 0, 0, 0, now.Location()).Format(time.DateOnly)), true
	}
	_, err := time.Parse(time.DateOnly, word)
	return on(word), err == nil
}

// clockTime is a time of the day: 19:00, or 24:00 for its end.
func clockTime(text string) (time.Duration, bool) {
	if text == "24:00" {
		return 24 * time.Hour, true
	}
	t, err := time.Parse("15:04", text)
	return time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute, err == nil
}

// A wallTime is what the clock on the wall shows, and when it does.
type wallTime struct {
	shows       string
	early, late time.Time
	never       bool
}

// wall is the moment so long after midnight by the clock on the wall.
func wall(day time.Time, after time.Duration) wallTime {
	shown := time.Date(day.Year(), day.Month(), day.Day(), 0, int(after/time.Minute), 0, 0, time.UTC)
	early, late, never := workflow.OnTheWall(shown, day.Location())
	if never { // what ends then ends as the clocks go forward
		_, early = early.ZoneBounds()
	}
	return wallTime{shown.Format("15:04 on Mon 2 Jan"), early, late, never}
}

// fault is why nobody knows which moment is meant; "": it is known.
//
//go:noinline
func (w wallTime) fault() string {
	switch {
	case w.never:
		return w.shows + " does not exist: the clocks go forward past it; write a time after that"
	case !w.early.Equal(w.late):
		return w.shows + " comes twice: the clocks go back; write a time before or after that hour"
	}
	return ""
}
