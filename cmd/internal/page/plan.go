package page

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow"
)

// A Plan says what to do in which sitting. Times of work are in minutes.
type Plan struct {
	Marks    []string        `json:"airframes"`
	Made     time.Time       `json:"made"`
	Finish   time.Time       `json:"finish"`         // the last step done, or the last joint cured
	Bound    time.Time       `json:"not_before"`     // no plan finishes sooner
	Best     bool            `json:"best"`           // none does
	Gap      int             `json:"gap_percent"`    // of the time till then, at most
	Kept     bool            `json:"kept,omitempty"` // it is the plan that was kept before
	People   int             `json:"people"`
	Beside   []string        `json:"planned_beside,omitempty"` // airframes that an earlier plan has at the same hours, for the same hands
	Before   int             `json:"people_before,omitempty"`  // of the plan that it takes the place of, where they were more and nobody said that they are not
	Attended int             `json:"attended_min"`
	Idle     int             `json:"idle_min"` // at the bench, between turns
	Sittings []PlanSitting   `json:"sittings"`
	Chain    []workflow.Link `json:"holds_back"`

	Answers []workflow.Answer     `json:"taken_as_answered,omitempty"`
	Moot    []workflow.MootAnswer `json:"considered_in_vain,omitempty"`
	Left    []Reason              `json:"left,omitempty"` // what is hot, on or plugged in now
	Stops   []PlanStop            `json:"stops,omitempty"`
	Help    []PlanHelp            `json:"would_help,omitempty"` // what would plan what fits no sitting
	Lapses  []PlanLapse           `json:"lapses,omitempty"`
	Hasty   []workflow.Hasty      `json:"little_to_spare,omitempty"`
	Pace    *PlanPace             `json:"own_pace,omitempty"` // nil: all goes by the minutes that are written
	Climate []workflow.Climates   `json:"climate"`
	Bench   *float64              `json:"bench,omitempty"`                 // at which it stops nothing, in °C
	Begin   []PlanBegin           `json:"jobs_to_begin,omitempty"`         // what is planned as if it were begun
	Unbegun []string              `json:"to_begin,omitempty"`              // the commands that begin airframes without any job
	Clocks  []NextBeside          `json:"cannot_wait_elsewhere,omitempty"` // on airframes that it was made without
	Full    bool                  `json:"-"`
	Think   time.Duration         `json:"-"` // how long it was looked for, at most
	Columns int                   `json:"-"` // of the page, where that is known
}

// longer is the time to think that is named to whoever gave less.
const longer = 10 * time.Second

// A PlanSitting is what is done in a sitting, and what to have ready for it.
type PlanSitting struct {
	workflow.Sitting
	Turns     []workflow.Turn   `json:"turns"`
	Tools     []string          `json:"tools,omitempty"`
	Materials []string          `json:"materials,omitempty"`
	Set       []string          `json:"set,omitempty"` // how conditions must stand that nothing sets before, in the order that they are needed
	Second    bool              `json:"second_person,omitempty"`
	Leave     []workflow.Left   `json:"leave,omitempty"`    // how conditions stand before anybody leaves
	After     []workflow.Drying `json:"after,omitempty"`    // what still dries when the last turn is over
	Assumed   bool              `json:"assumed,omitempty"`  // nobody gave it: it is like one that was given
	Overtime  bool              `json:"overtime,omitempty"` // it goes on for longer than given, or comes after it
}

// A PlanPace is what of a plan goes by the builder's own minutes.
type PlanPace struct {
	Steps   int `json:"steps"`
	Minutes int `json:"minutes"`
	Written int `json:"written_min"`
}

// A PlanLapse is a window that is open and can't be met in the sittings, or with little to spare.
type PlanLapse struct {
	workflow.Lapse
	InReach bool `json:"in_reach,omitempty"`             // somebody at the bench can meet it now
	Before  bool `json:"before_repair_begins,omitempty"` // and only before the repair that is planned is begun
}

// A PlanStop is a step that the plan does not reach.
type PlanStop struct {
	workflow.Stop
	Reasons []Reason `json:"reasons"`
}

// NewPlan makes the page of a timetable.
func NewPlan(marks []string, t workflow.Timetable) Plan {
	p := Plan{Marks: marks, Made: t.Made, Finish: t.Finish, Bound: t.Bound, Best: t.Proven, Kept: t.Kept, People: max(1, t.Hands), Attended: int(t.Attended / time.Minute), Idle: int(t.Idle / time.Minute),
		Sittings: []PlanSitting{}, Chain: t.Chain, Answers: t.Answers, Moot: t.Moot, Left: newReasons(t.Left), Help: newPlanHelp(t.Free), Hasty: t.Hasty, Climate: slices.Clone(t.Climate), Bench: t.Bench}
	if all := t.Finish.Sub(t.Made); !t.Proven && all > 0 {
		p.Gap = int((100*t.Finish.Sub(t.Bound) + all - 1) / all)
	}
	for _, v := range t.Visits {
		p.Sittings = append(p.Sittings, newPlanSitting(v))
		for _, t := range v.Turns {
			if t.Written == 0 {
				continue
			}
			if p.Pace == nil {
				p.Pace = &PlanPace{}
			}
			p.Pace.Steps++
			p.Pace.Minutes += minutesOf(t.Ends.Sub(t.Begins))
			p.Pace.Written += t.Written
		}
	}
	for _, w := range t.Lapses {
		w.Closes = w.Closes.In(t.Made.Location()) // as all other times of a plan
		p.Lapses = append(p.Lapses, PlanLapse{Lapse: w})
	}
	for i := range p.Climate {
		p.Climate[i].Read = p.Climate[i].Read.In(t.Made.Location())
	}
	for _, s := range t.Stops {
		p.Stops = append(p.Stops, PlanStop{s, newReasons(s.Reasons)})
	}
	return p
}

func newPlanSitting(v workflow.Visit) PlanSitting {
	s := PlanSitting{Sitting: v.Sitting, Turns: v.Turns, Leave: v.Leave, After: v.After, Assumed: v.Added, Overtime: v.Overtime}
	add := func(to *[]string, what string) {
		if what != "" && !lists.Contains(*to, what) {
			*to = append(*to, what)
		}
	}
	var all []steps.Step
	several := false
	for i := range v.Turns {
		several = several || v.Turns[i].Mark != v.Turns[0].Mark
	}
	stands := map[string]string{} // by airframe and condition, as it was needed or set last
	for _, t := range v.Turns {
		all = append(all, steps.Step{Tools: t.Tools, Parts: t.Parts})
		add(&s.Materials, t.With)
		for i, needs := range t.Needs {
			if t.Again == workflow.AgainSafe { // it is ended as everything stands
				break
			}
			if of := t.Mark + " " + needs.Condition; i < len(t.Titles) && stands[of] != needs.State {
				says := t.Titles[i].Title + ": " + needs.State
				if several && !t.Titles[i].Bench { // two airframes have a plug each, and a propeller
					says = t.Mark + " · " + says
				}
				if stands[of] != "" || !lists.Contains(s.Set, says) {
					s.Set = append(s.Set, says)
				}
				stands[of] = needs.State
			}
		}
		for _, sets := range t.Sets {
			stands[t.Mark+" "+sets.Condition] = sets.State
		}
		s.Second = s.Second || t.Second
	}
	var parts []steps.Part
	s.Tools, parts, _ = (&steps.Procedure{Stages: []steps.Stage{{Steps: all}}}).Things() // amounts that can't be added up are left out
	for _, p := range parts {
		add(&s.Materials, amountOf(p)+" × "+p.Name)
	}
	return s
}

// inFull is how many sittings are shown in full where not all are.
const inFull = 1

// Markdown is the plan by sitting, and what holds its finish back.
func (p Plan) Markdown(c *Clock) string {
	var l lines
	switch {
	case len(p.Sittings) == 0 && len(p.Stops) > 0:
		l.add("# Nothing can be planned\n")
	case len(p.Sittings) == 0 && len(p.Unbegun) > 0:
		l.add("# No job is open\n")
	case len(p.Sittings) == 0:
		l.add("# Nothing is left to do\n")
	case len(p.Stops) > 0:
		l.add("# All that can be planned is done by %s\n", c.At(p.Finish))
	default:
		l.add("# Done by %s\n", c.At(p.Finish))
	}
	p.atOnce(&l)
	if len(p.Sittings) > 0 {
		idle := ""
		if p.People > 1 {
			idle = fmt.Sprintf(" for %d people", p.People)
		}
		if p.Idle > 0 {
			idle += ", " + minutes(p.Idle) + " waiting at the bench"
		}
		l.add("%s: %s of work in %s%s.\n", p.how(), worked(p.Attended), many(len(p.Sittings), "sitting"), idle)
	}
	if p.Before > 0 {
		who := "one person"
		if p.People > 1 {
			who = fmt.Sprintf("%d people", p.People)
		}
		l.add("This is for %s. The plan before it was for %d: `--hands %[2]d`, or `hands: %[2]d` in the config file.\n", who, p.Before)
	}
	if len(p.Beside) > 0 {
		l.add("An earlier plan has %s at the same hours, for the same hands: nobody can follow both, so this one is followed alone. To plan all of them together, leave the marks out.\n", esc(strings.Join(p.Beside, ", ")))
	}
	switch look := fmt.Sprintf("`--think %.0fs`", longer.Seconds()); {
	case p.Best || len(p.Sittings) == 0:
	case p.Kept && p.Think < longer:
		l.add("This is the plan that you had: in the time to think, none better was found. To look longer: %s\n", look)
	case p.Kept:
		l.add("This is the plan that you had: in the time to think, none better was found.\n")
	case p.Think < longer:
		l.add("To look longer for a better one: %s\n", look)
	}
	if slices.ContainsFunc(p.Sittings, func(s PlanSitting) bool { return s.Assumed }) {
		l.add("Your sittings are too few for all of it. After them the same ones are assumed, week after week.\n")
	}
	l.harmed(p.Left, c)
	for i := range p.Clocks {
		p.Clocks[i].first(&l, " This plan keeps no time for it.", c)
	}
	p.stops(&l, c)
	for _, w := range p.Lapses {
		if still := ""; w.Lost {
			if w.InReach && w.Closes.After(p.Made) {
				before := ""
				if w.Before {
					before = " before the repair is begun,"
				}
				still = fmt.Sprintf(" It is open until %s: `fettle next %s`%s if you are at the bench and quick enough.", c.At(w.Closes), w.Mark, before)
			}
			text, save := "can't be met in these sittings before its window closes; it is done once more.", saved(w.Lapse, c)
			if !p.Best && p.Gap >= 100 { // nobody knows: a sitting that is planned may do
				text = "is not met before its window closes, and is done once more: in the time to think, no plan that meets it was found."
				if slices.ContainsFunc(p.Sittings, func(s PlanSitting) bool { return !w.Save.From.Before(s.From) && !w.Save.To.After(s.To) }) {
					save = ""
				}
			}
			l.add("**%s** on %s %s%s%s\n", esc(w.Name), esc(w.Mark), text, still, save)
		} else {
			l.add("**%s** on %s can be met with little to spare: its window closes at %s.\n", esc(w.Name), esc(w.Mark), c.At(w.Closes))
		}
	}
	for _, w := range p.Hasty {
		spare := "nothing"
		if w.Spare > 0 {
			spare = minutes(w.Spare)
		}
		l.add("**%s** on %s: %s to spare, less than usual; its window closes at %s. Let nothing come between.\n", esc(w.Name), esc(w.Mark), spare, c.At(w.Closes))
	}
	if slices.ContainsFunc(p.Sittings, func(s PlanSitting) bool { return s.Overtime }) {
		l.add("What is open, hot, on or plugged in can't wait for your next sitting: it is planned in overtime.\n")
	}
	for _, b := range p.Begin {
		l.add("The %s of %s is planned as if it were begun. To begin it:\n\n%s", b.What, esc(b.Mark), command(b.Do))
	}
	if len(p.Unbegun) > 0 {
		l.add("To begin, and plan then:")
		l.commands(p.Unbegun)
	}
	for _, m := range p.Moot {
		why := "no step that is left lets you choose it"
		switch {
		case m.Anyway:
			why = "it is planned anyway"
		case m.Has == steps.No:
			why = esc(m.Mark) + " does without it"
		case m.Has != "":
			why = esc(m.Mark) + " has " + esc(m.Has)
		}
		l.add("`--consider %s` changes nothing: %s.\n", m.Answer, why)
	}
	for i := range p.Sittings {
		if i == inFull && !p.Full && len(p.Sittings) > inFull+1 {
			p.later(&l, p.Sittings[i:], c)
			break
		}
		p.sitting(&l, &p.Sittings[i], c)
	}
	p.heldBack(&l, c)
	p.assumed(&l, c)
	return l.String()
}

// saved says in which sitting an open window would be met.
func saved(w workflow.Lapse, c *Clock) string {
	if w.Save.To.IsZero() {
		return ""
	}
	from := w.Save.From.In(time.Local)
	day := from.Format(time.DateOnly)
	if sameDay(from, c.Now.In(time.Local)) {
		day = "today"
	}
	return fmt.Sprintf(" A sitting from %s to %s would save it: `--sitting \"%s %s-%s\"`.", c.at(w.Save.From, false), c.at(w.Save.To, false), day, from.Format("15:04"), w.Save.To.In(time.Local).Format("15:04"))
}

// stops says what the plan does not reach, once for all that stops for the same reasons, and with which bench it would.
func (p *Plan) stops(l *lines, c *Clock) {
	said := make([]bool, len(p.Stops))
	for _, s := range p.Stops {
		var what []string
		for k, other := range p.Stops {
			if said[k] || (other.Step == "") != (s.Step == "") || !slices.EqualFunc(s.Reasons, other.Reasons, func(a, b Reason) bool { return a.Text == b.Text && a.Do == b.Do }) {
				continue
			}
			said[k] = true
			if s.Step == "" {
				what = append(what, esc(other.Mark))
			} else {
				what = append(what, fmt.Sprintf("**%s** on %s", esc(other.Title), esc(other.Mark)))
			}
		}
		if len(what) == 0 {
			continue
		}
		text := "All of " + strings.Join(what, ", ")
		if s.Step != "" {
			text = strings.Join(what, ", ") + " and what comes after " + map[bool]string{true: "it", false: "them"}[len(what) == 1]
		}
		l.add("%s can't be planned:\n", text)
		l.reasonList(s.Reasons, noWords, c)
		l.add("")
	}
	switch {
	case p.Bench == nil:
	case slices.ContainsFunc(p.Stops, func(s PlanStop) bool { return slices.ContainsFunc(s.Stop.Reasons, byBench) }):
		l.add("To plan with the bench at that: `--temperature %sC`.\n", short(*p.Bench))
	default: // only what comes after what stops needs it
		l.add("What comes after that also needs the bench at %s °C: `--temperature %[1]sC`.\n", short(*p.Bench))
	}
	if len(p.Help) > 0 {
		l.add("To plan all of it:\n")
		l.help(p.Help)
		l.add("")
	}
}

// byBench reports whether another temperature of the bench would help.
func byBench(r workflow.Reason) bool {
	return r.Remedy.Kind == workflow.ToWarmBench || r.Remedy.Kind == workflow.ToCoolBench
}

// marks are the airframes of a sitting, in the order of its turns.
func (s *PlanSitting) marks() []string {
	var all []string
	for _, t := range s.Turns {
		if !lists.Contains(all, t.Mark) {
			all = append(all, t.Mark)
		}
	}
	return all
}

// how says how good a plan is.
func (p *Plan) how() string {
	if p.Best {
		return "Best possible"
	}
	if p.Gap >= 100 {
		return "Nobody knows how far from the best possible"
	}
	from, share := p.Finish.Sub(p.Bound), fmt.Sprint(p.Gap)
	if 100*from < p.Finish.Sub(p.Made) {
		share = "under 1"
	}
	return fmt.Sprintf("At most %s (%s %% of the whole) from the best possible", Span(from), share)
}

// worked is time of work: hours at the bench, not days.
func worked(n int) string {
	if n < 24*60 {
		return minutes(n)
	}
	return fmt.Sprintf("%d h %d min", n/60, n%60)
}

//go:noinline
func minutes(n int) string { return Span(time.Duration(n) * time.Minute) }

// sitting is all of a sitting. One of more turns than there are letters is shown in two.
func (p *Plan) sitting(l *lines, s *PlanSitting, c *Clock) {
	if n := len(letters); len(s.Turns) > n {
		next := s.Turns[n].Begins
		for _, v := range [...]workflow.Visit{{Sitting: workflow.Sitting{From: s.From, To: next}, Turns: s.Turns[:n]}, {Sitting: workflow.Sitting{From: next, To: s.To}, Turns: s.Turns[n:]}} {
			part := newPlanSitting(v)
			part.Assumed, part.Overtime = s.Assumed, s.Overtime
			if v.To == s.To {
				part.Leave, part.After = s.Leave, s.After
			}
			p.sitting(l, &part, c)
		}
		return
	}
	l.add("\n## %s\n", s.hours(c))
	own := *c
	own.Now, c = s.From, &own // its own day goes without saying
	of := p.of()
	who := ""
	if slices.ContainsFunc(s.Turns, func(t workflow.Turn) bool { return len(t.Hands) > 0 }) {
		who = " Who |"
	}
	l.add("| | At |%s Step |\n|---|---|%s---|", who, strings.Repeat("---|", len(who)/len(" Who |")))
	for i, t := range s.Turns {
		by := optionally(" ", whose(t))
		if by != "" {
			by += " |"
		}
		l.add("| %c | %s |%s %s%s%s |", letter(i), clockOf(t.Begins), by, of(t.Mark), turnTitle(t), optionally(" · ", turnWindow(t, c))+optionally(" · ", secondAt(t)))
	}
	l.add("")
	var ready []string
	for _, some := range [][]string{s.Tools, s.Materials} {
		if len(some) > 0 {
			ready = append(ready, esc(strings.Join(some, ", ")))
		}
	}
	if s.Second {
		ready = append(ready, "a second person")
	}
	if len(ready) > 0 {
		l.item("**Have ready:** %s", strings.Join(ready, "; "))
	}
	for i, t := range s.Turns {
		if t.Second {
			l.item("**%c** %s", letter(i), secondWords(t.Alone))
		}
	}
	if len(s.Set) > 0 {
		l.item("**At the bench, in this order:** %s", esc(strings.Join(s.Set, "; ")))
	}
	if leave := s.leave(true, len(p.Marks) > 1, c); leave != "" {
		l.item("**Before you leave:** %s", leave)
	}
	for i, t := range s.Turns {
		if lines := againLines(t); len(lines) > 0 {
			l.item("**%c** is recorded with `%s`", letter(i), strings.Join(lines, "`, `"))
		}
	}
	meanwhile, left := s.dries(of, c)
	if len(meanwhile) > 0 {
		l.item("**Meanwhile:** %s", strings.Join(meanwhile, "; "))
	}
	if len(left) > 0 {
		l.item("**Left to dry and cure:** %s", strings.Join(left, "; "))
	}
	l.add("\n```\n%s```", s.chart(p.Columns))
}

// of says before what is done on which airframe, where there are several.
func (p *Plan) of() func(mark string) string {
	if len(p.Marks) > 1 {
		return func(mark string) string { return esc(mark) + " · " }
	}
	return func(string) string { return "" }
}

// later are sittings on a line each.
func (p *Plan) later(l *lines, all []PlanSitting, c *Clock) {
	l.add("\n## Then\n")
	p.each(l, all, c)
}

func (p *Plan) each(l *lines, all []PlanSitting, c *Clock) {
	for i := range all {
		l.item("%s", p.line(&all[i], c))
	}
}

// line is a sitting on one line: when, and from which step to which.
func (p *Plan) line(s *PlanSitting, c *Clock) string {
	of := p.of()
	first, last := &s.Turns[0], &s.Turns[len(s.Turns)-1]
	text := s.hours(c) + ": " + of(first.Mark) + turnTitle(*first)
	if first != last {
		text += " … " + of(last.Mark) + turnTitle(*last)
	}
	for _, t := range s.Turns {
		switch {
		case !t.Second:
		case first == last:
			text += ", " + clockOf(t.Begins) + " " + secondAt(t)
		default: // of which one it is is not clear from the two that are named
			text += "; at " + clockOf(t.Begins) + " " + of(t.Mark) + turnTitle(t) + ": " + secondAt(t)
		}
	}
	return text + optionally("; before you leave: ", s.leave(false, len(p.Marks) > 1, c))
}

// leave is how the conditions stand before anybody leaves, and when they are needed otherwise again: what is alike on several airframes, as the
// gun of their bench is, once. Marked: with the marks, as in a plan of several.
func (s PlanSitting) leave(again, marked bool, c *Clock) string {
	var all, of []string
	for _, is := range s.Leave {
		text := is.Says()
		if again && !is.Again.IsZero() {
			text += " (until " + c.At(is.Again) + ")"
		}
		k := slices.Index(all, text)
		if k < 0 {
			all, of = append(all, text), append(of, is.Mark)
		} else if !lists.Contains(strings.Split(of[k], ", "), is.Mark) {
			of[k] += ", " + is.Mark
		}
	}
	between := ", "
	if marked {
		between = "; "
		for k := range all {
			all[k] = of[k] + " · " + all[k]
		}
	}
	return esc(strings.Join(all, between))
}

// Days are the sittings in which a repair can be done, as it was planned. None: they have no plan for it.
type Days struct {
	Finish   time.Time          `json:"finish,omitzero"`
	Partly   bool               `json:"partly,omitempty"` // not all of it can be planned
	Sittings []workflow.Sitting `json:"sittings"`

	plan Plan
}

// NewDays are the days of a plan.
func NewDays(p Plan) Days {
	d := Days{Finish: p.Finish, Partly: len(p.Stops) > 0, Sittings: []workflow.Sitting{}, plan: p}
	for _, s := range p.Sittings {
		d.Sittings = append(d.Sittings, s.Sitting)
	}
	return d
}

// days adds them.
func (l *lines) days(d *Days, mark string, c *Clock) {
	switch {
	case d == nil:
		return
	case len(d.Sittings) == 0:
		l.add("\nYour sittings have no plan for it. What would help: `fettle plan %s`", esc(mark))
		return
	}
	if d.Partly {
		l.add("\n## In your sittings, all that can be planned is done by %s\n", c.At(d.Finish))
	} else {
		l.add("\n## In your sittings, done by %s\n", c.At(d.Finish))
	}
	d.plan.atOnce(l)
	d.plan.each(l, d.plan.Sittings, c)
	l.add("\n%s: `fettle plan %s`", map[bool]string{false: "Step by step", true: "Step by step, and what can't be planned"}[d.Partly], esc(mark))
}

// A PlanBegin is a check that is due, or the repair of damage, which is planned as if it were begun.
type PlanBegin struct {
	Mark string `json:"mark"`
	What string `json:"what"`
	Do   string `json:"do"` // the command that begins it
}

// ToBegin adds what of an airframe is planned and not open yet.
func (p *Plan) ToBegin(s *workflow.State, now time.Time) {
	mark := s.Airframe.Mark
	if due := s.Unchecked(now); due != nil && due.Remedy.Kind == workflow.ToStart {
		p.Begin = append(p.Begin, PlanBegin{mark, "check " + due.Remedy.Name, "fettle start " + mark + " " + due.Remedy.Name})
	}
	if len(s.Unplanned(now)) > 0 {
		p.Begin = append(p.Begin, PlanBegin{mark, "repair", "fettle repair " + mark + " --start"})
	}
}

// Without adds what can't wait for a plan on an airframe that it was made without.
func (p *Plan) Without(s *workflow.State, now time.Time) {
	for _, r := range newReasons(s.Standing(now)) {
		if !slices.ContainsFunc(p.Left, func(had Reason) bool { return sameEnd(s, &had.Remedy, &r.Remedy) }) {
			p.Left = append(p.Left, r)
		}
	}
	for _, t := range s.Timers(now) {
		if !t.Closes.Before(now) && !t.Damaged {
			p.Clocks = append(p.Clocks, NextBeside{s.Airframe.Mark, cmp.Or(t.Then, t.Name), t.Opens, t.Closes})
		}
	}
}

// atOnce says what waits for no sitting, and what shows it: what is not begun yet is to be begun for that.
func (p *Plan) atOnce(l *lines) {
	said, do := "", "fettle next"
	for i := range p.Sittings {
		for k := range p.Sittings[i].Turns {
			t := &p.Sittings[i].Turns[k]
			if !t.AtOnce {
				continue
			}
			if at := slices.IndexFunc(p.Begin, func(b PlanBegin) bool { return b.Mark == t.Mark }); said == "" && at >= 0 {
				do = p.Begin[at].Do
			}
			if said != "" {
				said += "; "
			}
			said += t.Title + " (" + t.Mark + ")"
		}
	}
	if said != "" {
		l.add("**At once, before any sitting:** %s. `%s`\n", esc(said), do)
	}
}

// hours are the ends of the sitting.
func (s *PlanSitting) hours(c *Clock) string {
	switch {
	case s.Overtime:
		return hours(s.Sitting, c) + " (overtime)"
	case s.Assumed:
		return hours(s.Sitting, c) + " (assumed)"
	}
	return hours(s.Sitting, c)
}

// hours are the ends of a sitting.
func hours(s workflow.Sitting, c *Clock) string {
	day := s.From.In(time.Local).Format("Mon 2 Jan ")
	if sameDay(s.From.In(time.Local), c.Now.In(time.Local)) {
		day = "Today "
	}
	return day + clockOf(s.From) + "–" + clockOf(s.To)
}

//go:noinline
func clockOf(t time.Time) string {
	local := t.In(time.Local)
	return local.Format("15:04") + zoneOf(local)
}

// waits are how a link of the chain is said that is no work.
func waits(k workflow.Link) string {
	switch k.After {
	case workflow.AfterDrying:
		return "the coat of " + esc(k.Joint) + " dries"
	case workflow.AfterHandling:
		return "the glue of " + esc(k.Joint) + " sets"
	case workflow.AfterCure:
		return "the glue of " + esc(k.Joint) + " cures"
	case workflow.AfterWait:
		return esc(k.Wait) + " is waited for"
	case workflow.AfterVapour:
		return "the vapour of " + esc(k.Joint) + " clears"
	case workflow.AfterLapse:
		return "the coat of " + esc(k.Joint+k.Wait) + " lapses"
	}
	return ""
}

// full reports whether a link of the chain waits for a sitting since the one before is full.
//
//go:noinline
func full(chain []workflow.Link, i int) bool {
	return i > 0 && chain[i].Sitting && waits(chain[i]) == ""
}

// why says why a link of the chain, with what comes before it, does not begin sooner; "": it comes right after that.
func why(chain []workflow.Link, i int) string {
	text := waits(chain[i])
	switch {
	case full(chain, i):
		return "nothing of the sitting is left for " + esc(chain[i].Title)
	case chain[i].Sitting && text != "":
		return text + ", and the next sitting begins"
	}
	return text
}

//go:noinline
func minutesOf(d time.Duration) int { return int(d / time.Minute) }

// longest says for what the finish waits longest, and how often a sitting was full.
func (p *Plan) longest(l *lines, c *Clock) {
	gap := func(i int) time.Duration { return p.Chain[i].Begins.Sub(p.Chain[i-1].Ends) }
	most, n := 0, 0
	for i := range p.Chain {
		if full(p.Chain, i) {
			n++
		}
		if i > 0 && why(p.Chain, i) != "" && (most == 0 || gap(i) > gap(most) || gap(i) == gap(most) && full(p.Chain, most) && !full(p.Chain, i)) {
			most = i
		}
	}
	first, by := p.Chain[0].Begins, "by work alone"
	switch {
	case most > 0 && gap(most) > 0:
		by = fmt.Sprintf("longest from %s until %s: %s", c.At(p.Chain[most-1].Ends), c.At(p.Chain[most].Begins), why(p.Chain, most))
		more := ""
		if full(p.Chain, most) {
			n, more = n-1, " more"
		}
		if n > 0 {
			by += fmt.Sprintf(". At the end of %s nothing is left for what comes next", strings.Replace(many(n, "sitting"), " ", more+" ", 1))
		}
	case len(p.Sittings) > 0 && !first.Before(p.Sittings[0].To):
		by = "by when your sittings are: the last work begins at " + c.At(first)
	}
	if first := p.Chain[0]; first.Before != "" {
		by += "; before that, " + spare(first)
	}
	l.add("\n**The finish is held back** %s.", by)
}

// spare is how much later what comes right before the first link could begin.
func spare(first workflow.Link) string {
	return esc(first.Before) + " could be up to " + minutes(first.Spare) + " later"
}

// heldBack says what holds the finish back: work, and what dries between.
func (p *Plan) heldBack(l *lines, c *Clock) {
	if len(p.Chain) == 0 {
		return
	}
	if !p.Full {
		p.longest(l, c)
		return
	}
	l.add("\n## What holds the finish back\n")
	if first := p.Chain[0]; first.Before != "" {
		l.item("before %s there is time to spare: %s", c.At(first.Begins), spare(first))
	}
	work, count := time.Duration(0), 0
	flush := func() {
		if count > 0 {
			l.item("%s, %s of work", many(count, "step"), worked(int(work/time.Minute)))
		}
		work, count = 0, 0
	}
	for i, k := range p.Chain {
		if text := why(p.Chain, i); text != "" {
			flush()
			from := ""
			if i > 0 {
				from = c.At(p.Chain[i-1].Ends) + " "
			}
			l.item("%suntil %s: %s", from, c.At(k.Begins), text)
		}
		if k.Step != "" {
			work, count = work+k.Ends.Sub(k.Begins), count+1
		}
	}
	flush()
}

// assumed says what the plan rests on beside the record.
func (p *Plan) assumed(l *lines, c *Clock) {
	var said []string
	if n := len(p.Answers); n > 0 && !p.Full {
		said = append(said, many(n, "open choice")+" by the first answer, or as considered")
	}
	for _, a := range p.Answers {
		if !p.Full {
			break
		}
		said = append(said, fmt.Sprintf("%s `%s`: %s", esc(a.Mark), a.Choice, esc(a.Answer)))
	}
	if w := p.Pace; w != nil && w.Minutes != w.Written {
		said = append(said, fmt.Sprintf("%s at your own pace, %s (written: %s)", many(w.Steps, "step"), worked(w.Minutes), worked(w.Written)))
	}
	of := ""
	for i, k := range p.Climate {
		if of += esc(k.Mark); i+1 < len(p.Climate) && k.Same(p.Climate[i+1]) {
			of += ", "
			continue
		}
		said = append(said, of+climate(k, c))
		of = ""
	}
	if len(said) > 0 {
		l.add("\n*Taken as given: %s. Others: `--consider`, `--temperature`. All of it: `--full`.*", strings.Join(said, "; "))
	}
}

// climate is the temperature that something is reckoned with, and where it is from.
func climate(k workflow.Climates, c *Clock) string {
	text := " at " + amount(k.Celsius, "°C")
	switch {
	case k.Given:
		return text
	case k.Read.IsZero():
		return text + " (nobody read it)"
	}
	return text + " (read " + c.At(k.Read) + ")"
}
