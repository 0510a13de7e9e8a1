package page

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/workflow"
)

// A Use is the hold of an adhesive or a tool, for the builder.
type Use struct {
	Mark    string          `json:"mark"`
	Name    string          `json:"name"`
	Title   string          `json:"title"`
	Caution string          `json:"caution,omitempty"`
	Needs   []steps.Setting `json:"needs,omitempty"`
	Lines   []string        `json:"lines"`
	Cleared bool            `json:"cleared"` // in this sitting

	otherwise []string // who says otherwise, by the need; "": nobody
}

// NewUse makes the page of the hold of an adhesive or a tool.
func NewUse(s *workflow.State, u steps.Use, now time.Time) Use {
	p := Use{Mark: s.Airframe.Mark, Name: u.Name, Title: u.Title, Caution: u.Caution, Needs: u.Needs, Lines: u.Hold, Cleared: len(u.Hold) > 0 && s.Cleared(u, now)}
	for _, need := range u.Needs {
		says := ""
		if state := s.Holds(need.Condition, now); state != "" && state != need.State {
			mark, _, _ := s.SaidBeside(need.Condition, now)
			says = fmt.Sprintf(", but %s says %s: %s", cmp.Or(mark, "the journal"), need.Condition, state)
		}
		p.otherwise = append(p.otherwise, says)
	}
	return p
}

// Markdown is the hold, caution first.
func (p Use) Markdown(*Clock) string {
	var l lines
	l.add("# %s\n", esc(p.Title))
	l.add("%s · before the first use of %s in this sitting\n", esc(p.Mark), esc(p.Name))
	if p.Caution != "" {
		l.caution(p.Caution)
	}
	for i, need := range p.Needs {
		l.item("needs %s%s", esc(need.String()), esc(p.otherwise[i]))
	}
	for i, line := range p.Lines {
		l.add("%d. %s", i+1, strings.TrimSpace(line))
	}
	if p.Cleared {
		l.item("cleared in this sitting")
	}
	return l.String()
}

// careSays is what an adhesive or a tool asks for, in the words of a list.
func careSays(c steps.Care) string {
	says := ""
	for _, need := range c.Needs {
		says += "; needs " + need.String()
	}
	if len(c.Hold) > 0 {
		says += fmt.Sprintf("; a hold of %s before its first use in a sitting", many(len(c.Hold), "line"))
	}
	return says
}

// cautionOf is the caution of what a step is done with: in full until a step was
// done with it in this sitting, then its first line.
func cautionOf(s *workflow.State, u steps.Use, now time.Time) string {
	caution := strings.TrimSpace(u.Caution)
	if s.UsedLately(u.Name, now) {
		caution, _, _ = strings.Cut(caution, "\n")
	}
	return caution
}

// aLineOf is the first sentence of a text, and those after it that fit a line of 80
// characters with it.
func aLineOf(text string) string {
	text, _, _ = strings.Cut(strings.TrimSpace(text), "\n")
	short := ""
	for sentence := range strings.SplitAfterSeq(text, ". ") {
		if short != "" && utf8.RuneCountInString(short+strings.TrimSpace(sentence)) > 80 {
			break
		}
		short += sentence
	}
	return strings.TrimSpace(short)
}

// harms are what is left hot, on or plugged in, and what open coats need and the journal says otherwise, with what to do.
func harms(s *workflow.State, left []workflow.Reason, now time.Time) []Reason {
	all := newReasons(left)
	for _, h := range s.Harms(now) {
		all = sorting.Delete(all, func(r Reason) bool { return !r.At.IsZero() && sameEnd(s, &r.Remedy, &h.Remedy) }) // said once, with the coat
		all = append(all, newReason(workflow.Reason{Because: workflow.ByCondition, Remedy: h.Remedy, Text: fmt.Sprintf(
			"%s needs %s, but %s says %s: %s", h.Coat, h.Need, h.By, h.Need.Condition, h.State)}))
	}
	return all
}

// sameEnd reports whether two remedies set the same condition of the bench, or of an airframe, the same.
//
//go:noinline
func sameEnd(s *workflow.State, a, b *workflow.Remedy) bool {
	def, _ := s.Sheet.Condition(a.Setting.Condition)
	return a.Setting == b.Setting && (def.Bench || a.Mark == b.Mark)
}

// atOnce is what comes before any work, whoever shows the airframe: harms, and what stands hot, on or plugged in though the sitting is
// over, or ends before the next step would be done.
func atOnce(s *workflow.State, now time.Time) []Reason {
	g := s.Next(now)
	beside := s.LeftBy(g, now)
	g.AtOnce = false // what the next step makes safe is said all the same, where that step isn't shown, which is gone by
	left := s.LeftBy(g, now)
	for i := range left {
		if do := &left[i].Remedy; !slices.ContainsFunc(beside, func(r workflow.Reason) bool { return sameEnd(s, &r.Remedy, do) }) {
			do.Kind = workflow.ToSeeNext
		}
	}
	all := harms(s, left, now)
	if r := s.Unsafe(now); r != nil {
		all = append(all, newReason(*r))
	}
	end, by := s.EndFirst(g, now)
	return append(all, endFirst(s, end, by, all, now)...)
}

// endFirst is what is to be ended before the sitting is over, but for what is said already.
func endFirst(s *workflow.State, end []workflow.Reason, by time.Time, said []Reason, now time.Time) (all []Reason) {
	for _, r := range newReasons(end) {
		if by.IsZero() {
			r.Again = s.NeededAgain(r.Remedy.Setting, now)
		}
		if r.By = by; !slices.ContainsFunc(said, func(had Reason) bool { return sameEnd(s, &had.Remedy, &r.Remedy) }) {
			all = append(all, r)
		}
	}
	return all
}

// caution is that it is one, and by when it is heeded, where more is to be said of that.
//
//go:noinline
func (r *Reason) caution(more string, c *Clock) string {
	switch at := c.At(r.By); {
	case r.By.IsZero():
		return "**Caution, at once:** "
	case r.By.After(c.Now):
		return "**Caution, by " + at + ":** the sitting is over then" + more + ". "
	default:
		return "**Caution, at once:** the sitting was to be over at " + at + ". "
	}
}

// harmed writes a caution for each open coat that something is against.
func (l *lines) harmed(all []Reason, c *Clock) {
	for i := range all {
		l.item("%s%s", all[i].caution("", c), ReasonText(all[i].Reason, c))
	}
}

// stayed writes a caution for each thing that somebody stays by.
func (l *lines) stayed(all []NextPlugged, c *Clock) {
	for i := range all {
		l.item("%s", all[i].caution(c))
	}
}

// A past is what stands hot, on or plugged in on the airframes that whoever asks what is next, of all of them, is led past: what they end
// at once, and what somebody stays by, or ends. All that shows several airframes says the same.
type past struct {
	ends  []Reason
	stays []NextPlugged
	bench func(condition string) bool
	over  func(r *Reason) bool // one of the airframes says so: of those that say nothing new the others are not told
	since time.Time            // from when on that page has all that is of the bench
}

func ledPast(fleet []*workflow.State, now time.Time) (said past) {
	s := workflow.Foremost(fleet, now)
	if s == nil {
		return said
	}
	said.since = now.Add(-workflow.SittingLength)
	said.bench = func(condition string) bool {
		def, _ := s.Sheet.Condition(condition)
		return def.Bench
	}
	said.over = func(r *Reason) bool {
		return slices.ContainsFunc(fleet, func(of *workflow.State) bool { return of.SaysSince(r.Remedy.Setting, r.At, now) })
	}
	g := s.Next(now)
	if !g.Theirs {
		s.LeaveFor(&g, now)
	}
	n := NextOf(s, g, now)
	said.ends, said.stays = append(n.Harms, n.EndFirst...), n.Plugged
	return said
}

// minded takes from what is said at once what somebody stays by, and what of the bench is in use, as of this sitting that page knows it.
func (said past) minded(all []Reason) (rest []Reason, stays []NextPlugged) {
	for _, r := range all {
		bench := said.bench != nil && said.bench(r.Remedy.Setting.Condition)
		i := slices.IndexFunc(said.stays, func(p NextPlugged) bool {
			return p.set == r.Remedy.Setting && p.At.Equal(r.At) && !r.At.IsZero() && (bench || p.Mark == r.Remedy.Mark)
		})
		switch {
		case i < 0 && bench && (r.At.After(said.since) || !r.At.IsZero() && said.over(&r)): // it adds what is to be ended
		case i < 0:
			rest = append(rest, r)
		case !slices.ContainsFunc(stays, func(p NextPlugged) bool { return p.Mark == said.stays[i].Mark && p.set == r.Remedy.Setting }):
			stays = append(stays, said.stays[i])
		}
	}
	return rest, stays
}

// sharedNeeds are what each of several adhesives needs.
func sharedNeeds(sheet *steps.Sheet, step steps.Step, adhesives []string) []steps.Setting {
	var shared []steps.Setting
	for i, u := range sheet.UsesOf(steps.Step{}, adhesives...) {
		needs := u.NeedsAt(step)
		if i == 0 {
			shared = needs
		}
		shared = sorting.Delete(slices.Clone(shared), func(n steps.Setting) bool { return !lists.Contains(needs, n) })
	}
	return shared
}

// toolsOf are the tools of a step in words.
func toolsOf(s *steps.Sheet, names []string) []string {
	var all []string
	for _, name := range names {
		t, ok := s.Tool(name)
		switch {
		case !ok:
			all = append(all, name)
		case t.Count > 0:
			all = append(all, fmt.Sprintf("%s (%s, %d there)", t.Title, name, t.Count))
		default:
			all = append(all, fmt.Sprintf("%s (%s)", t.Title, name))
		}
	}
	return all
}
