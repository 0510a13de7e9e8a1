package steps

import (
	"reflect"
	"slices"

	"fettle/steps/lists"
	"fettle/steps/quantity"
)

// The kinds of procedure.
const (
	Build  = "build"
	Repair = "repair"
	Check  = "check"
	// Shared is no work of its own: others use its steps, and nobody starts it.
	Shared = "steps"
)

// Here is the word by which a repair names the zone that it was started on.
const Here = "here"

// Stale is the word by which a measure step asks for every gate that the job
// has made stale, whatever the design calls them.
const Stale = "stale"

// AsBuilt is what a check may accept: an airframe of which no build is on record.
const AsBuilt = "as-built"

// What a check may come before: the flights of a day, each flight, or the first one
// after a release.
const (
	EachDay     = "day"
	EachFlight  = "flight"
	FirstFlight = "first-flight"
)

// A Procedure is a list of work in order: a build, a repair or a check.
type Procedure struct {
	Name     string   `json:"name"`
	Title    string   `json:"title"`
	About    string   `json:"about,omitempty"` // Markdown, optional
	Kind     string   `json:"kind"`
	Design   string   `json:"design,omitempty"`  // the design it is for; empty: every design that has what it names
	On       []string `json:"on,omitempty"`      // the zones it may be started on; empty: none is chosen
	Accepts  string   `json:"accepts,omitempty"` // AsBuilt: once it is complete, the airframe counts as built
	Flight   string   `json:"before,omitempty"`  // EachDay, EachFlight or FirstFlight: the flights that it comes before
	Revision int      `json:"revision"`
	Changes  []Change `json:"changes,omitempty"`
	Stages   []Stage  `json:"stages,omitempty"`
}

// A Change says what a revision of a document changed.
type Change struct {
	Revision int    `json:"revision"`
	Text     string `json:"text"`
}

// A Stage is a sequence of steps. Stages may run side by side except for After.
type Stage struct {
	Name  string   `json:"name"`
	Title string   `json:"title"`
	After []string `json:"after,omitempty"`
	Phase string   `json:"phase,omitempty"` // of a repair: where it comes in a plan of several
	Steps []Step   `json:"steps,omitempty"`
}

// The phases of a repair: in a plan of several repairs everything is looked at before
// work begins, and checked again after all of it. Between these a plan goes by what
// the zones rest on: the other phases are read, and mean the same.
const (
	Safe      = "safe"
	Look      = "look"
	Structure = "structure"
	Alignment = "alignment"
	Controls  = "controls"
	Power     = "power"
	Balance   = "balance"
	Recheck   = "recheck"
)

// Phases are all of them, in order.
func Phases() []string {
	return []string{Safe, Look, Structure, Alignment, Controls, Power, Balance, Recheck}
}

// A Step is one thing to do, with its preconditions and its effects.
type Step struct {
	Name     string   `json:"name"`
	Title    string   `json:"title"`
	Do       string   `json:"do,omitempty"`       // what to do and how, Markdown
	Short    string   `json:"short,omitempty"`    // the same for who has done it before, Markdown
	Why      string   `json:"why,omitempty"`      // what goes wrong if it is skipped, Markdown
	Cautions []string `json:"cautions,omitempty"` // shown before everything else
	Alone    []string `json:"alone,omitempty"`    // it wants a second person: what one alone may do instead, or No where there is nothing
	Source   string   `json:"source,omitempty"`   // where its figures come from
	Picture  Picture  `json:"picture,omitzero"`   // shown beside it
	Kind     Kind     `json:"kind"`

	Joint     string            `json:"joint,omitempty"`     // coat, join, glue: the joint; wait: the joint waited for, if any
	Adhesives []string          `json:"adhesives,omitempty"` // coat, glue: what with, one of them
	Load      bool              `json:"load,omitempty"`      // join, glue: the joint carries load in flight
	More      bool              `json:"more,omitempty"`      // join, glue: more parts of the joint follow
	Apart     string            `json:"apart,omitempty"`     // join, glue: how the joint is parted when a part it holds is replaced, Markdown
	For       quantity.Quantity `json:"for,omitzero"`
	By        quantity.Quantity `json:"by,omitzero"`       // wait: the step after it is done no later than this after From
	From      string            `json:"from,omitempty"`    // wait: the step that it counts from; "": the one before it
	Late      string            `json:"late,omitempty"`    // wait with By: the step that is open again when it is too late, or LateSay
	Until     string            `json:"until,omitempty"`   // wait on a joint: UntilHandling or UntilCure
	Gates     []string          `json:"gates,omitempty"`   // measure: gate names, or Stale
	Confirm   []string          `json:"confirm,omitempty"` // hold: the lines, each confirmed separately
	Choose    string            `json:"choose,omitempty"`  // choose: a choice or an option of the sheet, or empty with Methods
	Methods   []Option          `json:"methods,omitempty"` // choose: the answers, where they are of this job only

	Hands    quantity.Quantity `json:"hands,omitzero"`  // attended time, without drying
	Tools    []string          `json:"tools,omitempty"` // of the sheet
	Parts    []Part            `json:"parts,omitempty"` // used up
	Needs    []Setting         `json:"needs,omitempty"`
	Sets     []Setting         `json:"sets,omitempty"`
	Disturbs []string          `json:"disturbs,omitempty"`
	Retires  []string          `json:"retires,omitempty"` // zones that are thrown away with it
	Renews   []string          `json:"renews,omitempty"`  // zones whose part is cut out with it, and replaced by this procedure

	// Fits is the zone whose equipment is replaced by another one; "": none.
	Fits string `json:"fits,omitempty"`

	// Makes are the zones that the step is part of making, and of making anew.
	Makes []Made `json:"makes,omitempty"`

	// MayLack are conditions of its Needs and Sets that a design may lack.
	MayLack []string `json:"may_lack,omitempty"`

	// There are zones without which a plan of repair leaves the step out.
	There []string `json:"there,omitempty"`

	// Shared: a plan of several repairs that have this step does it once.
	Shared bool `json:"shared,omitempty"`

	Where

	// Was is its name in an earlier revision.
	Was string `json:"was,omitempty"`

	// Origin is where it was written. Only the program writes it.
	Origin Origin `json:"-"`
}

// A Picture is a JPEG or PNG that an author put beside the document; without a name
// there is none.
type Picture struct {
	Name   string `json:"name"`   // of its file, without a folder
	Digest string `json:"digest"` // of its bytes
}

// A Part is something that a step uses up: so many, or so much of it.
type Part struct {
	Name  string            `json:"name"`
	Count int               `json:"count,omitempty"` // 0: Size says how much
	Size  quantity.Quantity `json:"size,omitzero"`
}

// Alike reports whether two amounts of a part can be added up.
func (p Part) Alike(other Part) bool {
	return (p.Count > 0) == (other.Count > 0) && p.Size.Dimension() == other.Size.Dimension()
}

// Add is both amounts together, in the unit of the first.
func (p Part) Add(other Part) (Part, error) {
	if p.Count > 0 {
		p.Count += other.Count
		return p, nil
	}
	a, err := p.Size.Rat(p.Size.Unit())
	if err != nil {
		return p, err
	}
	b, err := other.Size.Rat(p.Size.Unit())
	if err != nil {
		return p, err
	}
	p.Size, err = quantity.New(a.Add(a, b), p.Size.Unit())
	return p, err
}

// Things are the tools of the procedure's steps, and their parts added up, in the
// order of the steps.
func (p *Procedure) Things() (tools []string, parts []Part, err error) {
	for _, step := range p.Steps() {
		for _, t := range step.Tools {
			if !lists.Contains(tools, t) {
				tools = append(tools, t)
			}
		}
		for _, part := range step.Parts {
			i := slices.IndexFunc(parts, func(have Part) bool { return have.Name == part.Name })
			if i < 0 {
				parts = append(parts, part)
			} else if parts[i], err = parts[i].Add(part); err != nil {
				return nil, nil, err
			}
		}
	}
	return tools, parts, nil
}

// An Origin is the identity of a step: where it was written, whatever plan it
// stands in. Two steps of one origin are the same.
type Origin struct {
	Document string // digest of the file
	Step     string // its name there, as written
	Words    []Word // filled in
}

// A Word is what was filled in for a name.
type Word struct{ Name, Is string }

// WantsSecond reports whether the step wants a second person.
func (s *Step) WantsSecond() bool { return len(s.Alone) > 0 }

// WaysAlone are what one alone may do in place of the second person that the step
// wants; none: a lone person must not do it.
func (s *Step) WaysAlone() []string {
	if len(s.Alone) == 1 && s.Alone[0] == No {
		return nil
	}
	return s.Alone
}

// Alike reports whether two steps say and ask the same, word for word, wherever
// they were written.
//
//go:noinline
func (s Step) Alike(other Step) bool {
	s.Origin, other.Origin = Origin{}, Origin{}
	return reflect.DeepEqual(s, other)
}

// What a wait on a joint waits for.
const (
	UntilHandling = "handling"
	UntilCure     = "cure"
)

// LateSay is the word by which a wait with an end has it said that it was too
// late, and opens nothing again.
const LateSay = "say"

// Reopens reports whether the step is a wait that opens steps again when it is
// too late.
func (s *Step) Reopens() bool { return s.Late != "" && s.Late != LateSay }

// A Setting is a condition in a state, such as propeller: off.
type Setting struct {
	Condition string `json:"condition"`
	State     string `json:"state"`
}

//go:noinline
func (s Setting) String() string { return s.Condition + ": " + s.State }

// SharedEnds are how many steps at the beginning of the stage, and how many at
// its end, are shared, with the waits that count from them. In a stage of
// nothing else all are both.
func (s Stage) SharedEnds() (first, last int) {
	common := make([]bool, len(s.Steps))
	for i := range s.Steps {
		common[i] = s.Steps[i].Shared || i > 0 && common[i-1] && s.Steps[i].CountsOn()
	}
	for first < len(common) && common[first] {
		first++
	}
	for last < len(common) && common[len(common)-1-last] {
		last++
	}
	return first, last
}

// CountsOn reports whether the step is time, without an end, that counts from the
// step before.
func (s *Step) CountsOn() bool {
	return s.Kind.Traits().Passes && s.Joint == "" && s.From == "" && s.By.IsZero()
}

// Unasked reports whether nothing is asked of the condition on the sheet: it lacks it, and
// it may.
func (s *Step) Unasked(condition string, on *Sheet) bool {
	if !lists.Contains(s.MayLack, condition) {
		return false
	}
	_, known := on.Condition(condition)
	return !known
}

// Label is the step's title, or its name where it has none.
//
//go:noinline
func (s *Step) Label() string {
	if s.Title != "" {
		return s.Title
	}
	return s.Name
}

// AsksFor reports whether the step measures the gate, by its name or because it may
// be stale.
func (s *Step) AsksFor(gate string) bool {
	return lists.Contains(s.Gates, gate) || lists.Contains(s.Gates, Stale)
}

// For returns the procedure for one airframe: the steps that apply with the
// selection, with Here replaced by the zone. A stage of which nothing is left is
// stepped over: what is after it is after what it was after.
//
//go:noinline
func (p *Procedure) For(selection Selection, zone string) *Procedure {
	return p.ForAgain(nil, selection, zone)
}

// ForAgain is [Procedure.For] for an airframe and zone for which it had other steps: those of a
// stage in which nothing changes are not copied again.
func (p *Procedure) ForAgain(had *Procedure, selection Selection, zone string) *Procedure {
	out := *p
	out.Stages = make([]Stage, 0, len(p.Stages))
	over := map[string][]string{} // stages without steps, with what they are after
	for n := range p.Stages {
		stage := &p.Stages[n]
		left := *stage
		if left.Steps = slices.Clip(stage.Steps); !stage.asWritten(selection) {
			if left.Steps = stage.as(had, selection); left.Steps == nil {
				left.Steps = stage.copied(selection, zone)
			}
		}
		if len(left.Steps) == 0 {
			over[stage.Name] = stage.After
			continue
		}
		out.Stages = append(out.Stages, left)
	}
	for i := range out.Stages {
		out.Stages[i].After = past(out.Stages[i].After, over)
	}
	return &out
}

// copied are the steps of the stage that apply with the selection, for the zone.
func (s *Stage) copied(selection Selection, zone string) []Step {
	left := make([]Step, 0, len(s.Steps))
	for i := range s.Steps {
		if !s.Steps[i].In(selection) {
			continue
		}
		left = append(left, s.Steps[i])
		step := &left[len(left)-1]
		step.Disturbs, step.Retires, step.Renews = onZone(step.Disturbs, zone), onZone(step.Retires, zone), onZone(step.Renews, zone)
	}
	return left
}

// as are the steps of the stage in the procedure as it was, nil where others apply with the selection.
func (s *Stage) as(had *Procedure, selection Selection) []Step {
	if had == nil {
		return nil
	}
	i := slices.IndexFunc(had.Stages, func(of Stage) bool { return of.Name == s.Name })
	if i < 0 {
		return nil
	}
	steps, n := had.Stages[i].Steps, 0
	for k := range s.Steps {
		if step := &s.Steps[k]; step.In(selection) {
			if n == len(steps) || steps[n].Name != step.Name {
				return nil
			}
			n++
		}
	}
	if n < len(steps) {
		return nil
	}
	return slices.Clip(steps)
}

// asWritten reports whether all steps apply with the selection, and none works on Here: a replay
// asks for the steps of a job at each answer, and copies of them are large.
func (s *Stage) asWritten(selection Selection) bool {
	for i := range s.Steps {
		step := &s.Steps[i]
		if !step.In(selection) || lists.Contains(step.Disturbs, Here) || lists.Contains(step.Retires, Here) || lists.Contains(step.Renews, Here) {
			return false
		}
	}
	return true
}

// ByFirst adds to a selection the first answer to each choice of the procedure's own that it
// holds no answer to.
func (p *Procedure) ByFirst(selection Selection) Selection {
	selection.Has = lists.Clone(selection.Has)
	for _, step := range p.Steps() {
		if len(step.Methods) > 0 && step.In(selection) && !slices.ContainsFunc(step.Methods, func(m Option) bool { return lists.Contains(selection.Has, m.Name) }) {
			selection.Has = append(selection.Has, step.Methods[0].Name)
		}
	}
	return selection
}

// onZone are the zones with one in the place of here.
func onZone(zones []string, zone string) []string {
	if !lists.Contains(zones, Here) {
		return zones
	}
	zones = lists.Clone(zones)
	for i, z := range zones {
		if z == Here {
			zones[i] = zone
		}
	}
	return zones
}

// past are the stages, with those that are stepped over replaced by what they
// are after.
func past(after []string, over map[string][]string) []string {
	gone := func(name string) bool { _, ok := over[name]; return ok }
	if !lists.ContainsFunc(after, gone) {
		return after
	}
	var all []string
	met := map[string]bool{}
	for left := lists.Clone(after); len(left) > 0; left = left[1:] {
		switch name := left[0]; {
		case met[name]:
		case gone(name):
			left = append(left, over[name]...)
		default:
			all = append(all, name)
		}
		met[left[0]] = true
	}
	return all
}

// Step returns the step of that name, with its stage.
// It is not inlined: its copies in all callers would take 13 KB.
//
//go:noinline
func (p *Procedure) Step(name string) (Step, Stage, bool) {
	for _, stage := range p.Stages {
		for i := range stage.Steps { // by index, because a step is large
			if stage.Steps[i].Name == name {
				return stage.Steps[i], stage, true
			}
		}
	}
	return Step{}, Stage{}, false
}

// Stage returns the stage of that name.
//
//go:noinline
func (p *Procedure) Stage(name string) (Stage, bool) {
	for i := range p.Stages { // by index: this is asked often
		if p.Stages[i].Name == name {
			return p.Stages[i], true
		}
	}
	return Stage{}, false
}

// Steps returns every step in the order written. They are those of the procedure,
// which nobody changes.
// Inlined, it would stand in the program a hundred times.
//
//go:noinline
func (p *Procedure) Steps() []*Step {
	n := 0
	for _, stage := range p.Stages {
		n += len(stage.Steps)
	}
	all := make([]*Step, 0, n)
	for _, stage := range p.Stages {
		for i := range stage.Steps {
			all = append(all, &stage.Steps[i])
		}
	}
	return all
}

// A JointPart is one join of a joint, by the names of its steps.
type JointPart struct {
	Join  string
	Coats []string // written since the join before it; where there are none, the same as that one's
}

// JointParts returns the joins of the joint, as written. What coats it after the
// last of them belongs to that: a stage may be written before one that it comes
// after.
func (p *Procedure) JointParts(joint string) []JointPart {
	if joint == "" {
		return nil
	}
	var parts []JointPart
	var coats []string
	for _, stage := range p.Stages {
		for i := range stage.Steps { // by index: replaying a journal calls this often
			step := &stage.Steps[i]
			if step.Joint != joint {
				continue
			}
			does := step.Kind.Traits()
			if does.Coats {
				coats = append(coats, step.Name)
			}
			if !does.Joins {
				continue
			}
			if len(coats) == 0 && len(parts) > 0 {
				coats = parts[len(parts)-1].Coats
			}
			parts = append(parts, JointPart{step.Name, coats})
			coats = nil
		}
	}
	if len(parts) == 0 && len(coats) > 0 {
		return []JointPart{{Coats: coats}}
	}
	if len(coats) > 0 {
		last := &parts[len(parts)-1]
		last.Coats = lists.Concat(last.Coats, coats)
	}
	return parts
}

// DisturbedBy returns the zones that making the joint disturbs: those of its coats
// and of its join. Their gates must not be measured before the joint has handling
// strength.
func (p *Procedure) DisturbedBy(joint string) []string {
	var zones []string
	for _, stage := range p.Stages {
		for i := range stage.Steps { // by index: replaying a journal calls this often
			if step := &stage.Steps[i]; step.Joint == joint && step.Kind.Traits().Glues() {
				zones = append(zones, step.Disturbs...)
			}
		}
	}
	slices.Sort(zones)
	return lists.Compact(zones)
}

// HeldBy returns the zones that the joint holds together: those that making it
// disturbs, and what a join makes that disturbs none of it. A wing that is set on
// its saddle is held by that seat, even if the wing itself is not disturbed.
func (p *Procedure) HeldBy(joint string) []string {
	zones := p.DisturbedBy(joint)
	for _, stage := range p.Stages {
		for i := range stage.Steps { // by index, because a step is large
			if step := &stage.Steps[i]; step.Joint == joint && step.setsOn() {
				for _, m := range step.Makes {
					zones = append(zones, m.Zone)
				}
			}
		}
	}
	slices.Sort(zones)
	return lists.Compact(zones)
}

// setsOn reports whether the step is a join that makes something which it does not disturb.
func (s *Step) setsOn() bool {
	return len(s.Makes) > 0 && s.Kind.Traits().Joins && !slices.ContainsFunc(s.Makes, func(m Made) bool { return lists.Contains(s.Disturbs, m.Zone) })
}

// holds reports whether the joint holds the two zones together: whether both are among those of HeldBy, which seats ask often.
func (p *Procedure) holds(joint, zone, on string) bool {
	one, other := false, false
	for _, stage := range p.Stages {
		for i := range stage.Steps {
			step := &stage.Steps[i]
			if step.Joint != joint {
				continue
			}
			if step.Kind.Traits().Glues() {
				one, other = one || lists.Contains(step.Disturbs, zone), other || lists.Contains(step.Disturbs, on)
			}
			if step.setsOn() {
				one, other = one || step.MakesZone(zone), other || step.MakesZone(on)
			}
		}
	}
	return one && other
}

// Before returns the names of all stages that must be complete before the stage
// begins, directly or indirectly.
//
//go:noinline
func (p *Procedure) Before(stage string) []string {
	return p.before(stage, nil)
}

// before is Before, with those that were met.
func (p *Procedure) before(stage string, met []string) []string {
	i := slices.IndexFunc(p.Stages, func(s Stage) bool { return s.Name == stage })
	if i < 0 {
		return met
	}
	for _, a := range p.Stages[i].After {
		if !lists.Contains(met, a) {
			met = p.before(a, append(met, a))
		}
	}
	return met
}
