package procedures

import (
	"fmt"
	"slices"
	"strconv"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/quantity"
)

// The most that a procedure may have, and a revision may be.
const (
	mostStages   = 100
	mostSteps    = 1000
	mostRevision = 1_000_000
)

// kindsOfProcedure are all that a procedure may be.
func kindsOfProcedure() []string {
	return []string{steps.Build, steps.Repair, steps.Check, steps.Shared}
}

// accepted is all that a check may accept.
func accepted() []string { return []string{steps.AsBuilt} }

// flights are all that a check may come before.
func flights() []string { return []string{steps.EachDay, steps.EachFlight, steps.FirstFlight} }

// procedureKeys are the keys of a procedure.
func procedureKeys() *mapping[*steps.Procedure] {
	p := new(steps.Procedure)
	return &mapping[*steps.Procedure]{what: "a procedure", check: procedureChecked, keys: []key{
		{"procedure", required, field(p, &p.Name, &nameValue{}),
			"its name", "plover-build"},
		{"kind", required, field(p, &p.Kind, &wordValue{known: kindsOfProcedure()}),
			"what it is for; `steps` are used by other procedures, and never started", "build"},
		{"design", optional, field(p, &p.Design, &nameValue{design}),
			"the design it is written for; a build needs one. Without it, a repair or a check fits every design that has what it names", "plover"},
		{"on", optional, field(p, &p.On, &namesValue{to: zone}),
			"of a repair: the zones it can be started on; its steps call the chosen one `here`", "# [wing, tail]"},
		{"accepts", optional, field(p, &p.Accepts, &wordValue{known: accepted()}),
			"of a check: what its completion accepts; `as-built` takes over an airframe whose build is not on record", "# as-built"},
		{"before", optional, field(p, &p.Flight, &wordValue{known: flights()}),
			"of a check: the flights before which it is suggested once the airframe is released: those of a `day`, each `flight`, or only the `first-flight` after a release", "# flight"},
		{"title", required, field(p, &p.Title, &textValue{}),
			"what it does, in a few words", "Build a Plover"},
		{"revision", required, field(p, &p.Revision, &wholeValue{mostRevision}),
			"raise it with every change", "1"},
		{"changes", optional, field(p, &p.Changes, &changesValue{}),
			changesHelp, changesExample},
		{"about", optional, field(p, &p.About, &textValue{prose}),
			"what to know before starting", "From cut parts to the first flight."},
		{"stages", required, field(p, &p.Stages, &stagesValue{}),
			"the work, in parts that may run side by side", ""},
	}}
}

func procedureChecked(f fields, p *steps.Procedure) {
	if p.Kind == steps.Build && !f.has("design") {
		f.fault(f.node, "a build must name its design")
	}
	if p.Accepts == steps.AsBuilt && p.Kind != steps.Check {
		f.fault(f.get("accepts"), "only a check can accept an airframe")
	}
	if lists.Contains(flights(), p.Flight) && p.Kind != steps.Check {
		f.fault(f.get("before"), "only a check can come before a flight")
	}
	if n := stepsOf(p.Stages); len(p.Stages) > mostStages || n > mostSteps {
		f.fault(f.get("stages"), "%d stages with %d steps; the limit is %d with %d", len(p.Stages), n, mostStages, mostSteps)
	}
	if p.Kind == steps.Shared && f.has("on") {
		f.fault(f.get("on"), "shared steps are never started: the procedure that uses them says on which zones")
	}
	f.changed(p.Changes, p.Revision)
	f.renamed(p)
	f.partsAlike(p)
}

// partsAlike finds a part that is counted in one step and measured in another.
func (f fields) partsAlike(p *steps.Procedure) {
	first := map[string]steps.Part{}
	for _, s := range p.Steps() {
		for _, part := range s.Parts {
			if have, ok := first[part.Name]; ok && !have.Alike(part) {
				f.faultAt(f.doc.places[stepAt(s.Name)], fmt.Sprintf("the step %s has the part %q in another unit than a step before it: the two can't be added up", s.Name, part.Name))
			} else if !ok {
				first[part.Name] = part
			}
		}
	}
}

// renamed finds former names of steps that are names still, or of two steps.
func (f fields) renamed(p *steps.Procedure) {
	by := map[string]string{}
	for _, s := range p.Steps() {
		if s.Was == "" {
			continue
		}
		at := f.doc.places[wasAt(s.Name)]
		if _, here := f.doc.places[stepAt(s.Was)]; here {
			f.faultAt(at, fmt.Sprintf("was %s: a step of that name is here", s.Was))
		} else if by[s.Was] != "" {
			f.faultAt(at, fmt.Sprintf("was %s, and so was the step %s: only one of them can go on as that step", s.Was, by[s.Was]))
		}
		by[s.Was] = s.Name
	}
}

func stepsOf(stages []steps.Stage) int {
	n := 0
	for i := range stages {
		n += len(stages[i].Steps)
	}
	return n
}

// stageKeys are the keys of a stage.
func stageKeys() *mapping[*steps.Stage] {
	s := new(steps.Stage)
	return &mapping[*steps.Stage]{what: "a stage", one: true, check: stageChecked, keys: append([]key{
		{"stage", required, field(s, &s.Name, &nameValue{}),
			"its name", "wing"},
		{"title", optional, field(s, &s.Title, &textValue{}),
			"what it makes, in a few words", "The wing"},
		{"after", optional, field(s, &s.After, &namesValue{to: stage}),
			"the stages that must be complete first; without it, the stage may run beside the others", "# [kit]"},
		{"phase", optional, field(s, &s.Phase, &wordValue{known: steps.Phases()}),
			"of a repair: safe, look and recheck come before or after all work when several repairs become one plan; the others are the work", "# look"},
	}, append(whereKeys[*steps.Stage]("# {side: [left, right]}", "# [wing]"), []key{
		{"steps", choice, field(s, &s.Steps, &stepsValue{}),
			"the work, in this order", ""},
		{"use", choice, field(s, &s.Steps, &useValue{}),
			"stages and steps of other procedures: `safe/air-the-bench`, or a list of such", "# safe/air-the-bench"},
	}...)...)}
}

func stageChecked(f fields, s *steps.Stage) {
	if at, ok := f.doc.places[stageAt(s.Name)]; ok && f.doc.Procedure.Kind == steps.Shared && at.line == int(f.node.Line) {
		return // it is repeated, and who uses it uses all of it
	}
	f.claim(stageAt(s.Name), f.get("stage"))
}

// claim notes the place of a step or a stage, and makes sure that its name is unique.
func (f fields) claim(what string, named *node) {
	if named == nil {
		return
	}
	if at, twice := f.doc.places[what]; twice {
		where := ""
		if at.site == nil {
			where = fmt.Sprintf("; the first is in line %d", at.line)
		}
		f.fault(named, "the %s is duplicated%s", what, where)
		return
	}
	f.doc.places[what] = f.at(f.node)
}

// stepKeys are the keys of a step: those of every kind, and the one of each
// kind, of which a step has at most one.
func stepKeys() *mapping[*steps.Step] {
	s := new(steps.Step)
	kinds := stepKinds()
	check := func(f fields, s *steps.Step) { stepChecked(f, s, kinds) }
	label := func(s *steps.Step) string {
		if s.Name == "" {
			return "a step"
		}
		return "the step " + s.Name
	}
	m := &mapping[*steps.Step]{what: "a step", check: check, label: label, keys: []key{
		{"step", required, field(s, &s.Name, &nameValue{}),
			"its name, unique in the procedure", "coat-roots"},
		{"title", optional, field(s, &s.Title, &textValue{}),
			"what it is, in a few words", "Coat the wing roots"},
		{"caution", optional, field(s, &s.Cautions, &textsValue{}),
			"what can hurt; shown before everything else", "Keep flames away."},
		{"do", optional, field(s, &s.Do, &textValue{prose}),
			"what to do, and how. A step with only this is complete once someone says that it is done", "Spread an even coat on **both** faces."},
		{"short", optional, field(s, &s.Short, &textValue{prose}),
			"the same in a few words, shown in place of `do` to who has done it before on this airframe", "A thin coat on both roots."},
		{"why", optional, field(s, &s.Why, &textValue{prose}),
			"what goes wrong if it is skipped", "A starved joint peels in the first hard turn."},
		{"picture", optional, field(s, &s.Picture, &pictureValue{}),
			"a JPEG or PNG in the folder of the document, by the name of its file. It is kept with the job, and stands beside the step in the book and on paper", "# roots.jpg"},
		{"alone", optional, field(s, &s.Alone, &aloneValue{}),
			"it wants a second person, and this is what one alone may do instead: one way, or a list of them. `no`: nothing, and `why` must say why. Not for a wait, a choice or a release", "# A photo from each side, looked at upside down"},
		{"hands", optional, field(s, &s.Hands, &amountValue{quantity.Duration, fromZero}),
			"the attended time; drying does not count", "6 min"},
		{"tools", optional, field(s, &s.Tools, &namesValue{to: tool}),
			"the tools it is done with", "[knife]"},
		{"parts", optional, field(s, &s.Parts, &partsValue{}),
			"what it uses up, each with how many or how much", "{carbon tube of 4 mm: 560 mm, screw M3: 4}"},
		{"needs", optional, field(s, &s.Needs, &settingsValue{}),
			"the conditions that must hold", "{ventilation: on}"},
		{"sets", optional, field(s, &s.Sets, &settingsValue{}),
			"the conditions that hold once it is done", "{propeller: off}"},
		{"may_lack", optional, field(s, &s.MayLack, &namesValue{to: condition, loose: true}),
			"of a procedure for every design: the conditions that it needs or sets and a design may lack, where nothing is then asked", "# [charger]"},
		{"disturbs", optional, field(s, &s.Disturbs, &namesValue{to: zone, except: steps.Here}),
			"the zones whose gates must be measured again", "[wing]"},
		{"fits", optional, field(s, &s.Fits, &nameValue{zone}),
			"the zone whose equipment it replaces by another one: the builder is asked for its name, and the record has it from then on. Not for a coat, a join, glue, a wait, a choice or a release", "# battery"},
		{"apart", optional, field(s, &s.Apart, &textValue{prose}),
			"of a join or glue: how the joint is parted again, so that what it holds can be kept when the other part is replaced", "# Saw through the glue line, the blade flat on the wing."},
		{"retires", optional, field(s, &s.Retires, &namesValue{to: zone, except: steps.Here}),
			"of a repair that takes a lost part off: the zones that are thrown away with it. Their joints and readings no longer count", "# here"},
		{"renews", optional, field(s, &s.Renews, &namesValue{to: zone, except: steps.Here}),
			"of a repair that cuts a part out and sets a new one: its zone. What was glued within the old part no longer counts. A later step joins the new one there", "# here"},
		{"makes", optional, field(s, &s.Makes, &madeValue{}),
			"of a build: the zones that it makes, in place of those of its run or its stage", "# [wing]"},
		{"with", optional, field(s, &s.Where, &whereValue{}),
			"only on an airframe with any of these options", "# rudder"},
		{"without", optional, field(s, &s.Where, &whereValue{not: true}),
			"only on an airframe with none of these options", "# rudder"},
		{"there", optional, field(s, &s.There, &namesValue{to: zone, loose: true}),
			"of a repair: the zones without which a plan leaves the step out, as far as the design has them", "# [radio, battery]"},
		{"shared", optional, field(s, &s.Shared, &switchValue{}),
			"of a repair, at the beginning or the end of a stage: a plan of several repairs has it once, if it is word for word the same in each", "# yes"},
		{"source", optional, field(s, &s.Source, &textValue{}),
			"where its figures come from", "common practice, no source"},
		{"was", optional, field(s, &s.Was, &nameValue{}),
			"its name in an earlier revision; a job that is moved goes on with it", "# spread-roots"},
		{"origin", ours, field(s, &s.Origin, &originValue{originKeys()}), "where it was written", ""},
	}}
	for _, k := range kinds {
		if k.is.typ != nil {
			m.keys = append(m.keys, key{string(k.kind), choice, whole(&ofKind{k}), k.help, k.example})
		}
	}
	return m
}

func stepChecked(f fields, s *steps.Step, kinds []stepKind) {
	f.claim(stepAt(s.Name), f.get("step"))
	if f.doc.nodes != nil && f.doc.nodes[s.Name] == nil {
		f.doc.nodes[s.Name] = f.node
	}
	if n := f.get("was"); n != nil {
		f.doc.places[wasAt(s.Name)] = f.at(n)
	}
	if s.Origin.Document == "" {
		s.Origin = steps.Origin{Document: f.within.digest, Step: f.within.step, Words: f.within.of}
	}
	s.Where = f.within.where.And(s.Where)
	if !f.has("makes") {
		s.Makes = f.within.makes
	}
	if s.Kind == "" {
		s.Kind = steps.Do
		if f.chosen == 0 && !f.has("do") && !f.meant && !f.lost("do") {
			f.fault(f.node, "%s has nothing to do: write do, or one of %s", f.what, listed(keysOf(kinds)))
		}
	}
	if len(f.doc.Procedure.On) == 0 && f.doc.Procedure.Kind != steps.Shared {
		for _, key := range []string{"disturbs", "retires", "renews"} {
			if lists.Contains(map[string][]string{"disturbs": s.Disturbs, "retires": s.Retires, "renews": s.Renews}[key], steps.Here) {
				f.fault(f.item(key, steps.Here), "here means the zone that a repair was started on, but this procedure has no line on:")
			}
		}
	}
	if does := s.Kind.Traits(); s.Fits != "" && (!does.Attended || does.Glues()) {
		f.fault(f.get("fits"), "a %s fits no equipment: write fits on a step of its own", s.Kind)
	}
	if n := f.get("alone"); n != nil {
		switch {
		case !s.Kind.Traits().Attended:
			f.fault(n, "a %s wants no second person: write alone on the step before it", s.Kind)
		case s.WantsSecond() && len(s.WaysAlone()) == 0 && !f.has("why") && !f.lost("why"):
			f.fault(n, "%s must not be done alone: say why, with why", f.what)
		}
	}
	for _, c := range s.MayLack {
		if !steps.AnySetting(slices.Concat(s.Needs, s.Sets), func(set steps.Setting) bool { return set.Condition == c }) {
			f.fault(f.item("may_lack", c), "%s neither needs nor sets %s, so nothing is asked of it anyway", f.what, c)
		}
	}
	if n := f.get("apart"); n != nil && !s.Kind.Traits().Joins {
		f.fault(n, "%s joins nothing, so nothing of it is parted: write apart on the step that joins", f.what)
	}
	if !takesOff(s) {
		for _, key := range []string{"retires", "renews"} {
			if n := f.get(key); n != nil {
				f.fault(n, "%s throws nothing away: write %s on a step that is done or confirmed", f.what, key)
			}
		}
	}
	if n := f.get("tools"); n != nil && s.Kind.Traits().Releases {
		f.fault(n, "a release uses no tool, and would not ask for its hold: name the tool on the step before it")
	}
	f.governed(s.Where)
	if k := kindOf(kinds, s.Kind); k.check != nil {
		k.check(f, s)
	}
}

// takesOff reports whether a part can be thrown away by the step.
func takesOff(s *steps.Step) bool {
	does := s.Kind.Traits()
	return does.Attended && !does.Glues() && !does.Measures
}

// governed checks the options of with and without together.
func (f fields) governed(w steps.Where) {
	if never := w.Never(); never != nil {
		f.doc.doubts.name(variants)
		at := f.get("without")
		if at == nil {
			at = f.node
		}
		f.fault(at, "this can never apply: it needs the option %s and its absence", listed(never))
	}
}

// changesHelp and changesExample explain the key changes of every document.
const (
	changesHelp    = "what each revision changed"
	changesExample = "{1: The first one.}"
)

// changed finds what a revision changed that is still to come.
func (f fields) changed(changes []steps.Change, revision int) {
	n := f.get("changes")
	for _, c := range changes {
		if revision == 0 || c.Revision <= revision {
			continue
		}
		for i := 0; i < len(n.Content); i += 2 {
			if n.Content[i].Value == strconv.Itoa(c.Revision) {
				f.fault(n.Content[i], "revision %d is above that of the document, %d", c.Revision, revision)
			}
		}
	}
}
