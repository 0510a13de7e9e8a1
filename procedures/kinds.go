package procedures

import (
	"slices"
	"strings"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/nearest"
	"fettle/steps/quantity"
)

// A stepKind is one row of the table of the kinds of step: the key that makes a step
// one of them, and the checks for it. The key has the kind's name.
type stepKind struct {
	kind    steps.Kind
	is      part              // the value of the key; the zero part: the kind has no key of its own
	begin   func(*steps.Step) // sets defaults before the key is read; optional
	help    string
	example string

	// The checks, each optional: of the step alone, of its place among the
	// others, and against a design sheet.
	check func(f fields, s *steps.Step)
	order func(v variant, s *steps.Step, say complain)
	sheet func(v variant, s *steps.Step, sheet *steps.Sheet, say complain)
}

// complain reports a fault of the step at hand; key is where, "" the step as a whole.
type complain func(key, format string, args ...any)

// stepKinds are all the kinds of step.
func stepKinds() []stepKind {
	s := new(steps.Step)
	joint := field(s, &s.Joint, &nameValue{joint})
	with := key{"with", required, field(s, &s.Adhesives, &oneOrMore{namesValue{to: adhesive}}), "what the joint is coated with; of a list, one is named when the first coat is on, and the joint keeps it", "contact"}
	more := key{"more", optional, field(s, &s.More, &switchValue{}), "yes, if more parts of the joint follow: a later join uses the coats written since this one, or without such the same ones", "# yes"}
	load := key{"load", optional, field(s, &s.Load, &switchValue{on: true}), "no, if the joint carries no load in flight", "no"}
	return []stepKind{
		{kind: steps.Do},
		{kind: steps.Coat, order: coatInOrder,
			help: "a coat of adhesive on a face of a joint. Two steps may coat one joint, one step for each face: it can be joined once the last face has had its shortest time, and until the first face has had its longest",
			is: whole(&mapping[*steps.Step]{what: "coat", keys: []key{
				{"joint", required, joint, "the joint, by a name of your own", "roots"},
				with,
			}})},
		{kind: steps.Join, check: joinDisturbs, order: joinInOrder, begin: func(s *steps.Step) { s.Load = true },
			help:    "the faces of a coated joint are put together; the joint alone, or with the keys below. A join must say what it disturbs",
			example: "step: join-roots\ndo: Press, and hold for a minute.\njoin: roots\ndisturbs: [wing]",
			is: whole(&either[*steps.Step]{one: joint, short: func(s *steps.Step) bool { return s.Load && !s.More }, more: whole(&mapping[*steps.Step]{what: "join", keys: []key{
				{"joint", required, joint, "the joint", "roots"},
				load, more,
			}})})},
		{kind: steps.Glue, check: joinDisturbs, order: glueInOrder, sheet: gluedInTime, begin: func(s *steps.Step) { s.Load = true },
			help:    "a joint is coated and joined in one step. Where the adhesive needs no drying (its window begins at 0), the step is done once; else twice, when the coat is on and when the joint is pressed",
			example: "step: lay-spar\ndo: Bead along the floor of the slot, and lay the spar in.\nhands: 5 min\nglue: {joint: spar, with: contact}\ndisturbs: [wing]",
			is: whole(&mapping[*steps.Step]{what: "glue", keys: []key{
				{"joint", required, joint, "the joint, by a name of your own", "spar"},
				with, load, more,
			}})},
		{kind: steps.Wait, order: waitInOrder,
			help:    "time that has to pass: a duration from the step before, or until a joint has its strength",
			example: "step: rest\nwait: 2 h",
			is: whole(&either[*steps.Step]{
				one:   field(s, &s.For, &amountValue{quantity.Duration, aboveZero}),
				short: func(s *steps.Step) bool { return s.Joint == "" && s.By.IsZero() && s.From == "" },
				more: whole(&mapping[*steps.Step]{what: "wait", check: waitChecked, keys: []key{
					{"joint", optional, joint, "the joint", "roots"},
					{"until", optional, field(s, &s.Until,
						&wordValue{known: []string{steps.UntilHandling, steps.UntilCure}, what: "state of a joint"}),
						"the strength it must have reached", "cure"},
					{"for", optional, field(s, &s.For, &amountValue{quantity.Duration, aboveZero}),
						"in place of a joint: how long", "# 20 min"},
					{"by", optional, field(s, &s.By, &amountValue{quantity.Duration, aboveZero}),
						"the step after the wait must be done no later than this; counted like `for`", "# 30 min"},
					{"from", optional, field(s, &s.From, &nameValue{}),
						"the step that both count from; by default the one before the wait", "# join-roots"},
					{"late", optional, field(s, &s.Late, &nameValue{}),
						"what happens when it is too late: a step of this stage before the wait, with no join between the two, and all from there to the wait must be done again; or `say`, and the record only says so", "# coat-roots"},
				}})})},
		{kind: steps.Measure, check: staleAlone, sheet: gatesThere,
			help:    "the gates that are measured; `stale` alone is every gate that this job has made stale",
			example: "step: measure-slots\nmeasure: [spar-depth]",
			is:      field(s, &s.Gates, &namesValue{to: gate, except: steps.Stale})},
		{kind: steps.Hold,
			help:    "work stops until a person has confirmed every line",
			example: "step: blade-care\nhold:\n  confirm:\n    - The mat is clear and the spare hand is behind the blade",
			is: whole(&mapping[*steps.Step]{what: "hold", keys: []key{
				{"confirm", required, field(s, &s.Confirm, &textsValue{}), "the lines, each confirmed separately", "- The mat is clear and the spare hand is behind the blade\n- Gloves are on"},
			}})},
		{kind: steps.Choose, check: methodsChecked,
			help: "a choice or an option of the design, or methods for this job alone, as `{both-faces: A coat on both roots, one-face: A coat on one}`: " +
				"exactly one is chosen, and what it governs is not there before that. In a repair it may be one answer of a choice, which the airframe has from then on in the place of another",
			example: "step: choose-nose\ndo: Hold both noses against the pod, and decide.\nchoose: nose",
			is: whole(&either[*steps.Step]{
				one:   field(s, &s.Choose, &nameValue{chosen}),
				short: func(s *steps.Step) bool { return len(s.Methods) == 0 },
				more:  field(s, &s.Methods, answers("the method")),
			})},
		{kind: steps.Release, is: whole(&yesValue[*steps.Step]{}), sheet: neededAboard,
			help:    "the last step of a build: the airframe may fly",
			example: "step: release\nrelease: yes"},
	}
}

// kindOf is the row of the kind.
func kindOf(kinds []stepKind, kind steps.Kind) stepKind {
	return kinds[slices.IndexFunc(kinds, func(k stepKind) bool { return k.kind == kind })]
}

// keysOf are the keys of the kinds. A step has at most one.
func keysOf(kinds []stepKind) []string {
	var keys []string
	for _, k := range kinds {
		if k.is.typ != nil {
			keys = append(keys, string(k.kind))
		}
	}
	return keys
}

// ofKind is the value of the key of a kind.
type ofKind struct{ stepKind }

func (k *ofKind) read(r *reader, n *node, what string, to *steps.Step) {
	to.Kind = k.kind
	if k.begin != nil {
		k.begin(to)
	}
	k.is.read(r, n, what, to)
}

func (k *ofKind) write(from *steps.Step) *node {
	if from.Kind != k.kind {
		return nil
	}
	return k.is.write(from)
}

func (k *ofKind) typ() *typ { return k.is.typ() }

func joinDisturbs(f fields, s *steps.Step) {
	if f.has("disturbs") || f.lost("disturbs") {
		return
	}
	var zones []string
	for _, m := range s.Makes {
		zones = append(zones, m.Zone)
	}
	if len(f.doc.Procedure.On) > 0 {
		zones = []string{steps.Here}
	}
	write := ""
	if len(zones) > 0 {
		write = "; write: disturbs: [" + strings.Join(zones, ", ") + "]"
	}
	f.fault(f.get(string(s.Kind)), "%s joins something and disturbs nothing: name the zones whose gates must be measured again%s", f.what, write)
}

func methodsChecked(f fields, s *steps.Step) {
	if n := f.get(string(s.Kind)); n != nil && n.Kind == mappingNode {
		f.answered(n, "the choice "+s.Name, s.Methods, len(n.Content)/2)
	}
}

func staleAlone(f fields, s *steps.Step) {
	if len(s.Gates) > 1 && lists.Contains(s.Gates, steps.Stale) {
		f.fault(f.get(string(s.Kind)), "%s must be the only entry: it means every gate that this job made stale", steps.Stale)
	}
}

// gluedInTime finds glue that has set before the work of its step is over.
func gluedInTime(_ variant, s *steps.Step, sheet *steps.Sheet, say complain) {
	hands, _ := s.Hands.Duration()
	for _, name := range s.Adhesives {
		if a, ok := sheet.Adhesive(name); ok && a.Times.Mixed && hands > a.Times.To {
			say("hands", "%s must be joined within %s of mixing, and the step takes %s", name, a.To, s.Hands)
		}
	}
}

// glueInOrder is the order of a coat and of a join.
func glueInOrder(v variant, s *steps.Step, say complain) {
	coatInOrder(v, s, say)
	joinInOrder(v, s, say)
}

// coatInOrder finds coats that are never joined, and joints with two adhesives.
func coatInOrder(v variant, s *steps.Step, say complain) {
	if s.Joint == "" {
		return // the step's own fault says it
	}
	if len(v.at(joins, s.Joint)) == 0 && !v.doubts.lostAny(joins) && !v.meantElsewhere(s.Joint) {
		say("joint", "the joint %s is coated but never joined%s%s", s.Joint, v.when(), v.suggestJoint(joins, s.Joint))
	}
	if first := v.at(coats, s.Joint)[0]; len(s.Adhesives) > 0 && !lists.Equal(s.Adhesives, first.Adhesives) {
		law := "one joint has one adhesive"
		if len(s.Adhesives)+len(first.Adhesives) > 2 {
			law = "all coats of one joint have the same list"
		}
		say("with", "the joint %s is coated with %s here and with %s by the step %s: %s", s.Joint, listed(s.Adhesives), listed(first.Adhesives), first.Name, law)
	}
}

// meantElsewhere reports whether the one joint that is joined and never coated is
// nearly called so: that is said where it is joined.
func (v variant) meantElsewhere(joint string) bool {
	if v.asked++; v.asked > mostFaults || v.doubts.lostAny(coats) {
		return false
	}
	var known []string
	for at := range v.joints {
		if at.does == joins && len(v.at(coats, at.joint)) == 0 {
			known = append(known, at.joint)
		}
	}
	return nearest.Of(joint, known) != ""
}

// joinInOrder finds joints that are joined twice, or without a coat before.
func joinInOrder(v variant, s *steps.Step, say complain) {
	if s.Joint == "" {
		return // the step's own fault says it
	}
	all := v.at(joins, s.Joint)
	n := v.part[s]
	switch {
	case n > 0 && !all[n-1].More:
		say("joint", "the joint %s is joined a second time%s", s.Joint, v.when())
		return
	case n > 0 && !v.before(all[n-1].Name, s.Name):
		say("joint", "a part of the joint %s may be joined before the step %s joins the part before it%s", s.Joint, all[n-1].Name, v.when())
	case s.More && n == len(all)-1 && !v.doubts.lostAny(joins):
		say("joint", "more parts of the joint %s follow, it says, and none does%s", s.Joint, v.when())
	}
	by := v.at(coats, s.Joint)
	if len(by) == 0 && !v.doubts.lostAny(coats) {
		say("joint", "the joint %s is joined but never coated%s%s", s.Joint, v.when(), v.suggestJoint(coats, s.Joint))
	}
	for _, c := range by {
		if c != s && min(v.part[c], len(all)-1) == n && !v.before(c.Name, s.Name) {
			say("joint", "the joint %s may be joined before the step %s coats it%s", s.Joint, c.Name, v.when())
		}
	}
}

// waitChecked finds waits for nothing, or for two things.
func waitChecked(f fields, s *steps.Step) {
	switch timed := f.given("for") || f.given("by"); {
	case f.given("joint") && (timed || f.given("from") || f.given("late")):
		f.fault(f.node, "%s is for a joint and for a time: make two steps of it", f.what)
	case f.given("joint") && !f.given("until"):
		f.fault(f.node, "%s has no until", f.what)
	case !f.given("joint") && (f.given("until") || !timed) && !f.meant:
		f.fault(f.node, "%s has no joint", f.what)
	case f.given("by") && !f.given("late"):
		f.fault(f.get("by"), "%s has by and does not say what happens when it is too late: write late", f.what)
	case f.given("late") && !f.given("by"):
		f.fault(f.get("late"), "%s has late and does not say when it is too late: write by", f.what)
	case !s.By.IsZero() && !s.For.IsZero() && s.For.Cmp(s.By) >= 0:
		f.fault(f.get("by"), "the wait is over after %s, when it is too late already", s.For)
	}
}

// waitInOrder finds waits that have nothing to wait from, and those with an end
// that can't be kept.
func waitInOrder(v variant, s *steps.Step, say complain) {
	if s.Joint == "" {
		if s.From == "" && v.firstOfStage(s) {
			say("", "it waits from the step before it, but it is the first step of its stage%s", v.when())
			return
		}
		v.countedFrom(s, say)
		if !s.By.IsZero() && s.Late != "" {
			v.endOf(s, say)
		}
		return
	}
	by := v.at(joins, s.Joint)
	switch {
	case len(by) == 0 && v.doubts.lostAny(joins):
	case len(by) == 0 && len(v.at(coats, s.Joint)) > 0: // said of the coat
	case len(by) == 0:
		say("joint", "it waits for the joint %s, which is never joined%s%s", s.Joint, v.when(), v.suggestJoint(joins, s.Joint))
	case !v.before(by[len(by)-1].Name, s.Name):
		say("joint", "it waits for the joint %s but may come before the step %s joins it%s", s.Joint, by[len(by)-1].Name, v.when())
	}
}

// countedFrom finds waits that count from what is not there, or not done by then.
func (v variant) countedFrom(s *steps.Step, say complain) {
	if s.From == "" {
		if before := v.beside(s, -1); !s.By.IsZero() && before != nil && before.Kind.Traits().Passes {
			say("by", "it has an end and counts from the step before it, %s, which is a wait too: name the step that it counts from with from%s", before.Name, v.when())
		}
		return
	}
	from := v.called(s.From)
	switch {
	case from == nil && v.doubts.steps:
	case from == nil:
		say("from", "it counts from an unknown step %q%s%s", s.From, v.suggestStep(s.From), v.when())
	case from.Kind.Traits().Passes:
		say("from", "it counts from %s, which is a wait: name the step before that%s", s.From, v.when())
	case !v.before(s.From, s.Name):
		say("from", "it counts from %s, which may come after it%s", s.From, v.when())
	}
}

// endOf finds ends of waits that nothing comes before, that leave no time, or that
// open again what can't be done again.
func (v variant) endOf(s *steps.Step, say complain) {
	next := v.beside(s, 1)
	if next == nil {
		if !v.doubts.steps {
			say("by", "it has an end, and no step comes after it in its stage%s", v.when())
		}
		return
	}
	by, _ := s.By.Duration()
	least, _ := s.For.Duration()
	if hands, _ := next.Hands.Duration(); hands > by-least && by > least { // of the rest, the step alone says it
		say("by", "the step %s takes %s, and the wait leaves less for it%s", next.Name, next.Hands, v.when())
	}
	if !s.Reopens() {
		return
	}
	late := v.called(s.Late)
	switch {
	case late == nil && v.doubts.steps:
		return
	case late == nil:
		say("late", "it opens an unknown step %q again%s%s", s.Late, v.suggestStep(s.Late), v.when())
		return
	case v.stageOf[s.Late] != v.stageOf[s.Name] || v.rank[s.Late] >= v.rank[s.Name]:
		say("late", "it opens %s again, which does not come before it in its stage: write late: with a step of the stage %s before it, or late: say%s", s.Late, v.stages[v.stageOf[s.Name]].Name, v.when())
		return
	}
	var joined *steps.Step
	for between := late; between != nil && between != v.beside(next, 1); between = v.beside(between, 1) {
		switch {
		case between.Kind.Traits().Joins && between != next:
			joined = between
		case between.Shared:
			say("late", "it opens %s again, and the shared step %s may be done elsewhere in a plan of several repairs%s", s.Late, between.Name, v.when())
		}
	}
	if joined != nil {
		write := "late: say"
		if after := v.beside(joined, 1); after != s {
			write = "late: " + after.Name + ", or " + write
		}
		say("late", "it opens %s again, and by then %s has joined the joint %s; write %s%s", s.Late, joined.Name, joined.Joint, write, v.when())
	}
}

// neededAboard finds a release that needs a condition otherwise than equipment that is aboard has it.
func neededAboard(_ variant, s *steps.Step, sheet *steps.Sheet, say complain) {
	for _, e := range sheet.Equipment {
		for _, is := range e.Aboard {
			for _, need := range s.Needs {
				if need.Condition == is.Condition && need.State != is.State {
					say("needs", "no release can ever be given: the step %s needs %s, and the %s is aboard with %s", s.Name, need, e.Name, is)
				}
			}
		}
	}
}

// gatesThere finds measure steps none of whose gates the airframe has.
func gatesThere(v variant, s *steps.Step, sheet *steps.Sheet, say complain) {
	if lists.Contains(s.Gates, steps.Stale) {
		return
	}
	for _, g := range sheet.Gates {
		if lists.Contains(s.Gates, g.Name) && g.Applies(v.options) {
			return
		}
	}
	say("measure", "the step %s measures nothing%s: no airframe built that way has %s", s.Name, orWithout(v), listed(s.Gates))
}
