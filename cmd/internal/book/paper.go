package book

import (
	"bufio"
	_ "embed"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"fettle/cmd/internal/page"
	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/planform"
	"fettle/steps/sorting"
)

// A paper is a document to work from with a pencil: every step with its cautions, its
// drawing, boxes to tick and lines to fill.
type paper struct {
	page.Document
	Over, Title, About string
	Revision           int
	Design             string  // the sheet that its limits are from
	Plans              []*plan // that its drawings show
	Zones              *planned
	Choices            []paperChoice
	Glues              []paperUse
	Things             *page.Things
	Stages             []paperStage
	Gates              []paperGate // of a design sheet
	Text               string      // of a triage table, Markdown
	Steps              int
}

// A paperChoice is a choice with a box an answer.
type paperChoice struct {
	Title   string
	Answers []steps.Option
}

// A paperUse is what a glue or a tool asks for: in full, or where it was said before.
type paperUse struct {
	steps.Use
	Clocks string // of a glue
	Needs  []string
	Before string // the step where it stands in full; "": here
	First  string // of its caution, where it stands in full before
}

type paperStage struct {
	N     int
	Title string
	After []string
	Steps []paperStep
}

// A paperStep is one step.
type paperStep struct {
	N        string
	Step     steps.Step
	Picture  picture
	Only     string // on which airframes
	Uses     []paperUse
	With     []string // tools, parts, conditions, time
	Sets     []string
	Blanks   []blank
	Gates    []paperGate
	Due      []paperGate // that may have to be measured again
	Choice   paperChoice
	Second   bool
	Alone    []string
	Releases bool
}

// A blank is a line to fill.
type blank struct {
	Says  string
	Ways  []string // of which one holds, with a box each
	Lines []string
}

// A paperGlue is a glue that a joint may be coated with, and where its coats are.
type paperGlue struct {
	name   string
	wheres []steps.Where
}

// A paperGate is a gate with a line a reading.
type paperGate struct {
	Title, Limits, Gauge, Unit, How, Only string
	Passes                                string
	Critical                              bool
	Where                                 *planned
	Points                                []paperPoint
	Needs                                 []string
	Reworks                               []steps.Rework
	Result                                string // what the readings come to, where that is judged
	ByHand                                string // and how that is worked out
	Or                                    *paperGate
}

// A paperPoint is one point with its readings.
type paperPoint struct {
	N, Name, Where string
	Readings       []int
}

// A pencil fills a paper.
type pencil struct {
	sheet  *steps.Sheet
	page   *paper
	joints map[string][]paperGlue // the glues of each
	titles map[string]string      // of the answers to choices, of the sheet and of the job
	choice map[string]string      // which each answers
	drawn  func(steps.Picture) picture
	has    []string         // the options of the airframe; none: it has all steps, each with its options
	plans  map[string]*plan // by what has to be there
}

// WriteDocument writes a document as an HTML page to be printed: a procedure as a sheet to
// work from, by the limits of the design sheet. A selection without options has all steps.
// Draws returns a picture of a step, scaled; it may be nil.
func WriteDocument(w io.Writer, d page.FullDocument, sheet *steps.Sheet, has []string, draws func(digest string) ([]byte, string, error)) error {
	p := &paper{Document: d.Document, Over: "Document", Text: ""}
	if sheet != nil {
		p.Design = fmt.Sprintf("%s, revision %d", sheet.Name, sheet.Revision)
	}
	m := &maker{o: Options{Photo: draws, Clock: &page.Clock{}}, pictures: map[string]picture{}}
	at := pencil{sheet, p, map[string][]paperGlue{}, map[string]string{}, map[string]string{}, m.ofStep, has, map[string]*plan{}}
	if sheet != nil {
		p.Zones = at.plan(steps.Where{}).zones(sheet.Zones)
	}
	switch {
	case d.Procedure != nil:
		if err := at.procedure(p, d.Procedure); err != nil {
			return err
		}
	case d.Sheet != nil:
		p.Over, p.Title, p.About, p.Revision = "Design sheet", d.Sheet.Title, d.Sheet.About, d.Sheet.Revision
		p.Choices = at.choices()
		for _, a := range d.Sheet.Adhesives {
			p.Glues = append(p.Glues, at.use(a.Name))
		}
		for _, g := range d.Sheet.Gates {
			if at.there(g) {
				p.Gates = append(p.Gates, at.gate(g))
			}
		}
	default:
		p.Over, p.Title, p.About, p.Revision = "Triage table", d.Triage.Title, d.Triage.About, d.Triage.Revision
		p.Text = d.Markdown(&page.Clock{})
	}
	calls := m.cardCalls()
	maps.Copy(calls, map[string]any{"md": markdown, "short": short, "plain": plain, "listed": listed, "either": either, "many": many})
	out := bufio.NewWriterSize(w, 1<<16)
	if err := fill(cleaner{out}, layout("card.gohtml", "paper.gohtml"), calls, p); err != nil {
		return fmt.Errorf("writing the document %s: %w", d.Name, err)
	}
	return out.Flush()
}

func (at pencil) procedure(p *paper, of *steps.Procedure) error {
	p.Over = map[string]string{steps.Build: "Build sheet", steps.Repair: "Repair sheet", steps.Check: "Check sheet", steps.Shared: "Steps for others to use"}[of.Kind]
	p.Title, p.About, p.Revision = of.Title, of.About, of.Revision
	if len(at.has) > 0 {
		of = of.For(steps.Selection{Has: at.has}, steps.Here)
	}
	things, err := page.NewThings(of)
	if err != nil {
		return err
	}
	p.Things = &things
	if at.sheet != nil {
		p.Choices = at.choices()
	}
	var asked []steps.Choice
	if at.sheet != nil {
		asked = at.sheet.Choices()
	}
	for _, s := range of.Steps() {
		if len(s.Methods) > 0 {
			asked = append(asked, s.Asked(at.sheet))
		}
		for _, name := range s.Adhesives {
			glues := at.joints[s.Joint]
			i := slices.IndexFunc(glues, func(g paperGlue) bool { return g.name == name })
			if i < 0 {
				i, glues = len(glues), append(glues, paperGlue{name: name})
			}
			glues[i].wheres = append(glues[i].wheres, s.Where)
			at.joints[s.Joint] = glues
		}
	}
	for _, c := range asked {
		for _, o := range c.Answers {
			at.titles[o.Name], at.choice[o.Name] = titled(o.Title, o.Name), c.Name
		}
	}
	titles := map[string]string{}
	for i, stage := range of.Stages {
		titles[stage.Name] = fmt.Sprintf("%d %s", i+1, titled(stage.Title, stage.Name))
	}
	for i, stage := range of.Stages {
		out := paperStage{N: i + 1, Title: titled(stage.Title, stage.Name)}
		for _, name := range stage.After {
			out.After = append(out.After, titles[name])
		}
		said := map[string]string{} // where the caution of what is used stands in full
		for j, s := range stage.Steps {
			out.Steps = append(out.Steps, at.step(fmt.Sprintf("%d.%d", i+1, j+1), s, said))
			p.Steps++
		}
		p.Stages = append(p.Stages, out)
	}
	return nil
}

// plan is the airframe on which something is. Where nothing says what it has, it has what that
// needs, and of each choice that is left the first answer: a design of two wings has one.
func (at pencil) plan(on steps.Where) *plan {
	has := at.has
	if len(has) == 0 {
		for _, any := range on.With {
			has = append(has, any[0])
		}
	}
	key := strings.Join(has, " ")
	made, known := at.plans[key]
	if !known {
		made = at.planWith(has)
		at.plans[key] = made
	}
	return made
}

func (at pencil) planWith(has []string) *plan {
	drawn := ""
	if len(at.has) == 0 {
		for _, c := range at.sheet.Choices() {
			first := c.Answers[0]
			if c.Alone || len(c.Held(has)) > 0 {
				continue
			}
			without := planform.Outlines(at.sheet.Geometry, steps.Selection{Has: has})
			has = append(has, first.Name)
			if len(planform.Outlines(at.sheet.Geometry, steps.Selection{Has: has})) != len(without) {
				drawn += " Drawn: " + sentence(titled(first.Title, first.Name))
			}
		}
	}
	made := newPlan(fmt.Sprintf("plan-%d", len(at.page.Plans)), at.sheet.Geometry, steps.Selection{Has: has})
	if made == nil {
		return nil
	}
	made.Key += drawn
	for _, p := range at.page.Plans {
		if p.Key == made.Key && slices.Equal(p.Shapes, made.Shapes) {
			return p
		}
	}
	at.page.Plans = append(at.page.Plans, made)
	return made
}

func (at pencil) choices() []paperChoice {
	var all []paperChoice
	for _, c := range at.sheet.Choices() {
		all = append(all, choiceOf(c))
	}
	return all
}

func choiceOf(c steps.Choice) paperChoice {
	out := paperChoice{plain(c.Name), slices.Clone(c.Answers)}
	if c.Alone {
		out.Answers = append(out.Answers, steps.Option{Title: "Do without it"})
	}
	return out
}

// use is what a glue or a tool asks for.
func (at pencil) use(name string) paperUse {
	u, _ := at.sheet.Use(name)
	out := paperUse{Use: u, Needs: at.settings(u.Needs)}
	out.Title = titled(u.Title, name)
	if a, ok := at.sheet.Adhesive(name); ok {
		out.Clocks = page.AdhesiveText(a)
	}
	return out
}

// settings are conditions in words.
func (at pencil) settings(all []steps.Setting) (says []string) {
	for _, s := range all {
		title := plain(s.Condition)
		if at.sheet != nil {
			if c, ok := at.sheet.Condition(s.Condition); ok && c.Title != "" {
				title = small(c.Title)
			}
		}
		says = append(says, title+": "+s.State)
	}
	return says
}

// only says on which airframes something is, unless it is said which this one is.
func (at pencil) only(w steps.Where) string {
	if len(at.has) > 0 {
		return ""
	}
	var parts []string
	for _, any := range w.With {
		parts = append(parts, "with "+strings.Join(plains(any), " or "))
	}
	if len(w.Without) > 0 {
		parts = append(parts, "without "+strings.Join(plains(w.Without), " or "))
	}
	return strings.Join(parts, ", ")
}

func (at pencil) step(n string, s steps.Step, said map[string]string) paperStep {
	does := s.Kind.Traits()
	out := paperStep{N: n, Step: s, Picture: at.drawn(s.Picture), Only: at.only(s.Where), Second: s.WantsSecond(), Alone: s.WaysAlone(), Releases: does.Releases, Sets: at.settings(s.Sets)}
	if at.sheet != nil {
		for _, u := range at.sheet.UsesOf(s, s.Adhesives...) {
			use := at.use(u.Name)
			use.First, _, _ = strings.Cut(strings.TrimSpace(u.Caution), "\n")
			text := u.Caution + strings.Join(u.Hold, "\n") // of two glues in one tin it is one
			if use.Before = said[text]; use.Before == "" {
				said[text] = n
			}
			out.Uses = append(out.Uses, use)
		}
		out.With = append(out.With, at.tools(s.Tools)...)
	} else {
		out.With = append(out.With, plains(s.Tools)...)
	}
	for _, p := range s.Parts {
		size := p.Size.String()
		if p.Count > 0 {
			size = strconv.Itoa(p.Count)
		}
		out.With = append(out.With, p.Name+": "+size)
	}
	for _, need := range at.settings(s.Needs) {
		out.With = append(out.With, "needs "+need)
	}
	out.Blanks = at.blanks(s)
	if s.Choose != "" || len(s.Methods) > 0 {
		if at.sheet != nil || len(s.Methods) > 0 {
			out.Choice = choiceOf(s.Asked(at.sheet))
		}
	}
	if at.sheet == nil {
		return out
	}
	for _, name := range s.Gates {
		if g, ok := at.sheet.Gate(name); ok && at.there(g) {
			out.Gates = append(out.Gates, at.gate(g))
		} else if name == steps.Stale {
			for _, g := range at.sheet.Gates {
				if !g.Work && at.there(g) {
					out.Due = append(out.Due, at.gate(g))
				}
			}
		}
	}
	return out
}

func (at pencil) tools(names []string) []string {
	var all []string
	for _, name := range names {
		u, _ := at.sheet.Use(name)
		all = append(all, small(titled(u.Title, name)))
	}
	return all
}

// blanks are the lines for the times of a glue step and of a wait.
func (at pencil) blanks(s steps.Step) []blank {
	var all []blank
	does := s.Kind.Traits()
	mixed := func(a steps.Adhesive) bool { return a.Times.Mixed }
	if does.Coats {
		lines := []string{"date", "begun at", "coat on at", "°C", "batch of the glue"}
		if at.any(s, mixed) {
			lines = sorting.Insert(lines, 1, "mixed at")
		}
		all = append(all, blank{Says: "Coat of joint " + plain(s.Joint), Lines: lines})
	}
	if does.Joins {
		says, ways := at.ways("Join "+plain(s.Joint), s, clocks)
		lines := []string{"may be joined until", "date", "joined at", "may be handled from", "cured from"}
		if at.any(s, steps.Adhesive.Dries) {
			lines = append([]string{"may be joined from", "until"}, lines[1:]...)
		}
		all = append(all, blank{says, ways, lines})
	}
	switch {
	case !does.Passes:
	case s.Joint != "":
		says, over := "Until "+plain(s.Joint)+" has handling strength", handled
		if s.Until == steps.UntilCure {
			says, over = "Until "+plain(s.Joint)+" has cured", cured
		}
		says, ways := at.ways(says, s, over)
		all = append(all, blank{says, ways, []string{"date", "over at"}})
	default:
		says := "Wait"
		if !s.For.IsZero() {
			says += " " + s.For.String()
		}
		lines := []string{"began at", "over at"}
		if !s.By.IsZero() {
			says += "; the next step no later than " + s.By.String() + " after it began"
			lines = append(lines, "too late at")
		}
		all = append(all, blank{Says: says, Lines: lines})
	}
	return all
}

// clocks are those of a glue in the words of whoever works them out with a watch.
func clocks(a steps.Adhesive) string {
	when := fmt.Sprintf("from %s after the last coat to %s after the first", a.From, a.To)
	switch {
	case a.Times.Mixed:
		when = fmt.Sprintf("within %s of mixing", a.To)
	case !a.Dries():
		when = fmt.Sprintf("within %s of the beginning of the first coat", a.To)
	}
	return fmt.Sprintf("%s, at %s; handle after %s, cured after %s", when, a.At, a.Handling, a.Cure)
}

//go:noinline
func (at pencil) adhesive(name string) (steps.Adhesive, bool) {
	if at.sheet == nil {
		return steps.Adhesive{}, false
	}
	return at.sheet.Adhesive(name)
}

// glues are those that the joint of a step may have where the step is.
func (at pencil) glues(s steps.Step) []paperGlue {
	var all []paperGlue
	for _, g := range at.joints[s.Joint] {
		if slices.ContainsFunc(g.wheres, func(w steps.Where) bool { return at.together(s.Where, w) }) {
			all = append(all, g)
		}
	}
	return all
}

// together reports whether there is an airframe on which both are: a choice has one answer.
func (at pencil) together(a, b steps.Where) bool {
	for _, one := range a.With {
		for _, other := range b.With {
			may := func(o string) bool { // beside one of the others
				return lists.ContainsFunc(other, func(p string) bool { return o == p || at.choice[o] == "" || at.choice[o] != at.choice[p] })
			}
			if !lists.ContainsFunc(one, may) {
				return false
			}
		}
	}
	return a.And(b).Never() == nil
}

// ways says what a step's glue asks for: with one glue behind what is said, with several
// a line each, begun by the answer that the builder gave, or else by the glue.
func (at pencil) ways(says string, s steps.Step, of func(steps.Adhesive) string) (all string, ways []string) {
	var texts []string
	for _, g := range at.glues(s) {
		a, ok := at.adhesive(g.name)
		if !ok {
			continue
		}
		var where steps.Where
		for _, w := range g.wheres {
			where = where.And(w)
		}
		name, answers := titled(a.Title, g.name), steps.Where{With: where.With}.Options()
		answers = sorting.Delete(answers, func(o string) bool { return at.titles[o] == "" || lists.Contains(s.Options(), o) })
		if len(answers) == 1 {
			name = at.titles[answers[0]]
		}
		texts, ways = append(texts, of(a)), append(ways, name+": "+of(a))
	}
	if texts = lists.Compact(texts); len(texts) == 1 {
		return says + ", " + texts[0], nil
	}
	return says, ways
}

func handled(a steps.Adhesive) string { return a.Handling.String() + " after it was joined" }

func cured(a steps.Adhesive) string { return a.Cure.String() + " after it was joined" }

// any reports whether any glue of the step's joint is such.
func (at pencil) any(s steps.Step, such func(steps.Adhesive) bool) bool {
	return slices.ContainsFunc(at.glues(s), func(g paperGlue) bool {
		a, ok := at.adhesive(g.name)
		return ok && such(a)
	})
}

// undecided are the options that an airframe is drawn with of which none is said: for a
// zone that looks alike from above with any of its surfaces, those of the first.
func undecided(g steps.Geometry) []string {
	var options []string
	for i, s := range g.Surfaces {
		if s.In(steps.Selection{}) || len(s.With) == 0 || s.In(steps.Selection{Has: options}) || slices.ContainsFunc(g.Surfaces[:i], func(o steps.Surface) bool { return o.Zone == s.Zone }) {
			continue
		}
		size, alike := planform.Sized(s), true
		for _, o := range g.Surfaces[i+1:] {
			if other := planform.Sized(o); o.Zone == s.Zone {
				alike = alike && math.Abs(other.Wide()-size.Wide()) < size.Wide()/50 && math.Abs(other.Long()-size.Long()) < size.Long()/50
			}
		}
		for _, any := range s.With {
			if alike {
				options = append(options, any[0])
			}
		}
	}
	return options
}

// there reports whether the airframe has the gate.
//
//go:noinline
func (at pencil) there(g steps.Gate) bool { return len(at.has) == 0 || g.Applies(at.has) }

// gate is a gate in the way in which it is measured first, and in its other.
func (at pencil) gate(g steps.Gate) paperGate {
	out := at.measured(g)
	if other, ok := g.Other(); ok {
		or := at.measured(other)
		out.Or = &or
	}
	return out
}

func (at pencil) measured(g steps.Gate) paperGate {
	known, _ := at.sheet.Gauge(g.Gauge)
	out := paperGate{Title: titled(g.Title, g.Name), Limits: plainPoints(page.LimitsText(g), g), Gauge: titled(known.Title, g.Gauge), Unit: g.Unit(), How: g.How, Only: at.only(g.Where), Critical: g.Critical,
		Where: at.plan(g.Where).gate(g, wide), Needs: at.settings(g.Needs), Reworks: g.Reworks}
	out.Passes = page.PassText(g, known)
	if !g.Result.IsZero() {
		out.Result = page.Capital(plainPoints(g.Result.String(), g))
		out.ByHand = plainPoints(g.Result.Formula(), g)
		if least, most, ok := g.Rule().Rises(known.Doubt()); ok {
			out.ByHand = fmt.Sprintf("%s from %s to %s passes with this gauge", plainPoints(strings.Join(g.Result.Of, " − "), g), least, most)
		}
	}
	for i, name := range g.PointNames() {
		p := paperPoint{N: strconv.Itoa(i + 1), Name: plain(name), Readings: make([]int, max(1, g.Repeat))}
		if out.Where != nil {
			p.Where = out.Where.Rows[i].Says
		}
		out.Points = append(out.Points, p)
	}
	if out.Where != nil { // its places stand beside the lines
		out.Where.Rows = nil
	}
	return out
}

// plainPoints says the points of a gate as words.
func plainPoints(text string, g steps.Gate) string {
	called := map[string]string{}
	for _, point := range g.Points {
		called[point] = plain(point)
	}
	return renamed(text, called)
}
