package page

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"fettle/steps"
	"fettle/workflow"
)

// Lessons are what the record says of a procedure, for its author.
type Lessons struct {
	Procedure string   `json:"procedure"`
	Title     string   `json:"title"`
	Revision  int      `json:"revision"`
	Jobs      int      `json:"jobs"`
	Others    int      `json:"jobs_of_others"` // plans of repair, and other procedures that have its steps
	Marks     []string `json:"airframes"`
	Revisions []int    `json:"revisions"`
	Steps     []Lesson `json:"steps"` // the one with most to learn first
	Gone      []Lesson `json:"gone,omitempty"`
	People    []Pace   `json:"pace"`
}

// A Lesson is what the record says of one step.
type Lesson struct {
	Step      string     `json:"step"`
	Title     string     `json:"title,omitempty"`
	Kind      steps.Kind `json:"kind"`
	Done      int        `json:"done"`
	Marks     []string   `json:"airframes,omitempty"`
	Hands     int64      `json:"written_s,omitempty"`
	Took      *TookTimes `json:"took,omitempty"`
	Untimed   []NotTimed `json:"not_timed,omitempty"`
	Lapsed    int        `json:"coats_lapsed"`
	Failed    int        `json:"gates_failed"`
	Undecided int        `json:"gates_undecided"`
	Reworked  int        `json:"reworks"`
	TakenBack int        `json:"taken_back"`
	Teaches   bool       `json:"worth_a_look"`
}

// NotTimed is how often it is not known how long a step took, and why.
type NotTimed struct {
	Times int    `json:"times"`
	Why   string `json:"why"`
}

// TookTimes are how long a step took, in seconds. Below five times Low and High are the
// least and the most, and from then on the quartiles.
type TookTimes struct {
	Median int64 `json:"median_s"`
	Low    int64 `json:"low_s"`
	High   int64 `json:"high_s"`
	Timed  int   `json:"timed"`
}

// A Pace is a person's own pace: 2 is twice the written time.
type Pace struct {
	By    string  `json:"by"`
	Ratio float64 `json:"ratio"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
	Timed int     `json:"timed"`
}

// NewLessons makes the page of what the record says of a procedure.
func NewLessons(p *steps.Procedure, of workflow.Lessons) Lessons {
	ls := Lessons{Procedure: p.Name, Title: p.Title, Revision: p.Revision, Jobs: of.Jobs, Others: of.Others, Marks: of.Marks, Revisions: of.Revisions, Steps: []Lesson{}, People: []Pace{}}
	for _, l := range of.Steps {
		ls.Steps = append(ls.Steps, newLesson(l))
	}
	for _, l := range of.Gone {
		ls.Gone = append(ls.Gone, newLesson(l))
	}
	for _, pace := range of.People {
		ls.People = append(ls.People, Pace{pace.By, pace.Median, pace.Low, pace.High, pace.Count})
	}
	return ls
}

func newLesson(l workflow.Lesson) Lesson {
	hands, _ := l.Step.Hands.Duration()
	out := Lesson{
		Step: l.Step.Name, Title: l.Step.Title, Kind: l.Step.Kind, Done: l.Done, Marks: l.Marks, Hands: int64(hands.Seconds()),
		Lapsed: l.Lapsed, Failed: l.Failed, Undecided: l.Undecided, Reworked: l.Reworked, TakenBack: l.TakenBack, Teaches: l.Teaches(),
	}
	if l.Took.Count > 0 {
		out.Took = &TookTimes{int64(l.Took.Median), int64(l.Took.Low), int64(l.Took.High), l.Took.Count}
	}
	for _, why := range slices.Sorted(maps.Keys(l.Untimed)) {
		out.Untimed = append(out.Untimed, NotTimed{l.Untimed[why], string(why)})
	}
	return out
}

// Markdown is what there is to learn, the most of it first.
func (ls Lessons) Markdown(*Clock) string {
	var l lines
	l.add("# What the record says of %s\n", esc(ls.Procedure))
	l.add("%s, revision %d.\n", esc(ls.Title), ls.Revision)
	var look, never, fine []string
	for _, s := range ls.Steps {
		switch {
		case s.Teaches:
			look = append(look, s.line())
		case s.Done == 0:
			never = append(never, s.Step)
		default:
			fine = append(fine, s.Step)
		}
	}
	if len(look)+len(fine)+len(ls.Gone) == 0 {
		l.add("Nobody has done a step of it yet, on any airframe of this store.\n")
		return l.String()
	}
	l.add("%s\n", ls.counted())
	if len(look) > 0 {
		l.add("## Worth a look\n")
		for _, line := range look {
			l.item("%s", line)
		}
	}
	l.add("\n## The rest\n")
	if len(fine) > 0 {
		l.item("%s without trouble, with minutes as written or too few to tell", many(len(fine), "step"))
	}
	if len(never) > 0 {
		l.item("never done: %s", esc(fewNames(never)))
	}
	var gone []string
	for _, s := range ls.Gone {
		if gone = append(gone, s.Step); s.Teaches {
			gone = gone[:len(gone)-1]
			l.item("no longer in it: %s", s.line())
		}
	}
	if len(gone) > 0 {
		l.item("no longer in it, and done without trouble: %s", esc(fewNames(gone)))
	}
	if len(ls.People) > 0 {
		l.add("\n## Pace\n")
	}
	for _, p := range ls.People {
		l.item("**%s** takes %s of the written minutes (%s%s)", esc(p.By), percent(p.Ratio), between(p.Timed, percent(p.Low), percent(p.High)), timed(p.Timed))
	}
	l.add("\nA step is timed from what the same person recorded before it, on whichever airframe. It is not timed where that does not tell when it began; a break of less than an hour is not told from work. From five times on, the range is that of the middle half. Each step is in `--json` and `--format csv`.\n")
	return l.String()
}

// counted says what the figures rest on.
func (ls Lessons) counted() string {
	text := fmt.Sprintf("Its steps were done in %s on %s", many(ls.Jobs, "job"), many(len(ls.Marks), "airframe"))
	if len(ls.Revisions) > 0 {
		var all []string
		for _, r := range ls.Revisions {
			all = append(all, strconv.Itoa(r))
		}
		text += ", by revision " + strings.Join(all, ", ")
	}
	if ls.Others > 0 {
		text += fmt.Sprintf("; of the jobs, %d by a plan of repair or another procedure that has them", ls.Others)
	}
	return text + "."
}

func (s Lesson) line() string {
	text := fmt.Sprintf("**%s** · done %s on %s", esc(s.Step), times(s.Done), many(len(s.Marks), "airframe"))
	if t := s.Took; t != nil {
		text += fmt.Sprintf("; takes %s (%s%s)", lasting(t.Median), between(t.Timed, lasting(t.Low), lasting(t.High)), timed(t.Timed))
		if s.Hands > 0 {
			text += ", written " + lasting(s.Hands)
		}
	}
	for _, of := range []struct {
		n   int
		one string
	}{{s.Failed, "failed gate"}, {s.Undecided, "undecided gate"}, {s.Lapsed, "lapsed coat"}, {s.Reworked, "rework"}} {
		if of.n > 0 {
			text += "; **" + many(of.n, of.one) + "**"
		}
	}
	if s.TakenBack > 0 {
		text += "; **taken back " + times(s.TakenBack) + "**"
	}
	var why []string
	for _, not := range s.Untimed {
		why = append(why, fmt.Sprintf("%d (%s)", not.Times, not.Why))
	}
	return text + optionally("; not timed: ", strings.Join(why, ", "))
}

//go:noinline
func lasting(seconds int64) string { return Span(time.Duration(seconds) * time.Second) }

func timed(n int) string { return "timed " + times(n) }

//go:noinline
func times(n int) string {
	if n == 1 {
		return "once"
	}
	return many(n, "time")
}

// between is the range of several values, before more words.
func between(n int, low, high string) string {
	if n < 2 {
		return ""
	}
	return low + " to " + high + ", "
}

func percent(ratio float64) string { return fmt.Sprintf("%.0f %%", 100*ratio) }

// mostNames is how many names of many are listed.
const mostNames = 8

func fewNames(names []string) string {
	text := strings.Join(names[:min(mostNames, len(names))], ", ")
	if more := len(names) - mostNames; more > 0 {
		text += fmt.Sprintf(" and %d more", more)
	}
	return text
}

// CSV writes one row for each step, and for each that is no longer in the procedure.
// Times are in seconds.
func (ls Lessons) CSV(w io.Writer) error {
	header := []string{"procedure", "step", "in_procedure", "kind", "done", "airframes", "written_s", "median_s", "low_s", "high_s", "timed", "not_timed",
		"coats_lapsed", "gates_failed", "gates_undecided", "reworks", "taken_back", "worth_a_look"}
	if err := writeRow(w, header); err != nil {
		return err
	}
	for i, s := range slices.Concat(ls.Steps, ls.Gone) {
		hands, took, not := "", make([]string, 3), 0
		if s.Hands > 0 {
			hands = strconv.FormatInt(s.Hands, 10)
		}
		n := 0
		if t := s.Took; t != nil {
			n, took = t.Timed, []string{strconv.FormatInt(t.Median, 10), strconv.FormatInt(t.Low, 10), strconv.FormatInt(t.High, 10)}
		}
		for _, n := range s.Untimed {
			not += n.Times
		}
		row := []string{ls.Procedure, s.Step, strconv.FormatBool(i < len(ls.Steps)), string(s.Kind), strconv.Itoa(s.Done), strings.Join(s.Marks, " "), hands}
		row = append(row, took...)
		for _, count := range []int{n, not, s.Lapsed, s.Failed, s.Undecided, s.Reworked, s.TakenBack} {
			row = append(row, strconv.Itoa(count))
		}
		if err := writeRow(w, append(row, strconv.FormatBool(s.Teaches))); err != nil {
			return err
		}
	}
	return nil
}
