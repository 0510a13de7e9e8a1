package procedures

import (
	"fmt"
	"slices"
	"strings"

	"fettle/steps"
	"fettle/steps/lists"
)

// The most options that exclude none, and the most combinations of all options
// and methods, because each is checked.
const (
	mostOptions      = 6
	mostCombinations = 512
	mostChecked      = 96_000 // steps in all of them
	allChecked       = 64     // combinations of which each is checked; of more, those that cover every three answers
)

// optionKeys are the keys of an option, or of a method.
func optionKeys(what string) *mapping[*steps.Option] {
	o := new(steps.Option)
	return &mapping[*steps.Option]{what: what, keys: []key{
		{"title", required, field(o, &o.Title, &textValue{}), "what it is, in a few words", "A moving rudder"},
		{"why", optional, field(o, &o.Why, &textValue{prose}), "what speaks for it", "For wind across the strip."},
	}}
}

// optionValue is what an option is: its title, or its keys.
func optionValue() *either[*steps.Option] {
	o := new(steps.Option)
	return &either[*steps.Option]{
		one:   field(o, &o.Title, &textValue{}),
		more:  whole(optionKeys("the option")),
		short: func(o *steps.Option) bool { return o.Why == "" },
	}
}

// answers are the answers of a choice, by their names.
func answers(one string) *named[steps.Option] {
	return &named[steps.Option]{one: one, is: whole(optionValue())}
}

// optionsValue is the options of a sheet: by its name a plain one with its title,
// or a choice with its answers.
type optionsValue struct{}

func (*optionsValue) read(r *reader, n *node, what string, to *[]steps.Option) {
	r.pairs(n, what, func(k, v *node) {
		if v.Kind != mappingNode || hasKey(v, "title") || hasKey(v, "why") {
			one := &node{Kind: mappingNode, Content: []*node{k, v}}
			answers("the option").read(r, one, what, to)
			return
		}
		name := r.name(k, what)
		r.doc.places["the choice "+name] = r.at(k)
		from := len(*to)
		answers("the option").read(r, v, "the choice "+name, to)
		for i := from; i < len(*to); i++ {
			(*to)[i].Choice = name
		}
		r.answered(k, "the choice "+name, (*to)[from:], len(v.Content)/2)
	})
}

// answered holds that there are several answers to choose from, so many as
// written, and that none is a word for yes or no.
func (r *reader) answered(n *node, what string, of []steps.Option, written int) {
	if written == 1 {
		r.fault(n, "%s has one answer; it needs at least two", what)
	}
	for _, o := range of {
		if o.Name == steps.No || o.Name == "yes" {
			r.fault(n, "an answer cannot be called %q: that is how an option by itself is answered", o.Name)
		}
	}
}

func (*optionsValue) write(from *[]steps.Option) *node {
	n := &node{Kind: mappingNode}
	for _, c := range (&steps.Sheet{Options: *from}).Choices() {
		of := answers("").write(&c.Answers)
		if c.Alone {
			n.Content = append(n.Content, of.Content...)
			continue
		}
		n.Content = append(n.Content, scalar(c.Name), of)
	}
	return unlessEmpty(n)
}

func (*optionsValue) typ() *typ {
	return &typ{is: aMap, what: "the option", of: []*typ{{is: anEither, of: []*typ{optionValue().typ(), answers("answer").typ()}}}}
}

// optionsChecked finds names that are given twice, and more combinations than can
// be checked.
func optionsChecked(f fields, s *steps.Sheet) {
	met := map[string]bool{}
	alone, product := 0, 1
	var sizes []string
	for _, c := range s.Choices() {
		names := c.Names()
		if !c.Alone {
			for _, g := range s.Gates {
				if says := coveredBy(g.Where, c); says != "" {
					f.faultAt(f.doc.places["the gate "+g.Name], says)
				}
			}
			names = append(names, c.Name)
			product *= len(c.Answers)
			sizes = append(sizes, fmt.Sprintf("%s has %d answers", c.Name, len(c.Answers)))
		} else {
			alone++
			product *= 2
		}
		for _, name := range names {
			if met[name] {
				at, ok := f.doc.places["the option "+name]
				if !ok || !c.Alone && name == c.Name {
					at = f.doc.places["the choice "+name]
				}
				f.faultAt(at, fmt.Sprintf("the name %s is given twice: every option and every choice has its own", name))
				f.doc.doubts.name(variants)
			}
			met[name] = true
		}
		if product > 1<<20 {
			break
		}
	}
	switch {
	case alone > mostOptions:
		f.fault(f.get("options"), "%d options; the limit is %d", alone, mostOptions)
	case product > mostCombinations:
		f.doc.doubts.name(variants)
		f.fault(f.get("options"), "more than %d combinations: %s, beside %d options", mostCombinations, strings.Join(sizes, ", "), alone)
	}
}

// methodsOf are the choices that the steps of a procedure bring themselves, with
// the step of each.
func methodsOf(p *steps.Procedure) (choices []steps.Choice, of []steps.Step) {
	for _, stage := range p.Stages {
		for i := range stage.Steps { // by index: a step is large
			if s := &stage.Steps[i]; len(s.Methods) > 0 {
				choices, of = append(choices, s.Asked(nil)), append(of, *s)
			}
		}
	}
	return choices, of
}

// ownMethods takes the names of methods off those that a sheet must have: they
// are of the procedure itself.
func (d *Document) ownMethods() {
	if d.Procedure == nil {
		return
	}
	own := map[string]bool{}
	choices, _ := methodsOf(d.Procedure)
	for _, c := range choices {
		for _, name := range c.Names() {
			own[name] = true
		}
	}
	if len(own) > 0 {
		of := d.names[:0]
		for i := range d.names {
			if r := &d.names[i]; r.to != option || !own[r.name] {
				of = append(of, *r)
			}
		}
		d.names = of
	}
}

// methodsInOrder finds methods of one name, and steps that may come before the
// step that chooses them.
func (d *Document) methodsInOrder(o *order) Faults {
	var faults Faults
	by := map[string]string{}
	choices, of := methodsOf(d.Procedure)
	for i, c := range choices {
		for _, name := range c.Names() {
			if other, twice := by[name]; twice {
				d.complain(&of[i], &faults)("choose", "the method %s is one of the step %s too", name, other)
			}
			by[name] = of[i].Name
		}
		faults = append(faults, d.governedAfter(o, []*steps.Step{&of[i]}, c)...)
	}
	return faults
}

// governedAfter finds steps that an answer governs and that can come before every
// step that chooses it, and lists of answers that say nothing.
func (d *Document) governedAfter(o *order, choose []*steps.Step, c steps.Choice) Faults {
	var faults Faults
	for s := range o.all() {
		before := func(chooses *steps.Step) bool { return o.before(chooses.Name, s.Name) }
		for _, name := range s.Options() {
			if _, governs := c.Answer(name); governs && !slices.ContainsFunc(choose, before) {
				d.complain(s, &faults)("", "it depends on %s, but may come before the step %s, which chooses it", name, choose[0].Name)
				break
			}
		}
	}
	return append(faults, d.covered(o, c)...)
}

// covered finds lists that have every answer of a choice.
func (d *Document) covered(o *order, c steps.Choice) Faults {
	var faults Faults
	for s := range o.all() {
		if says := coveredBy(s.Where, c); says != "" {
			d.complain(s, &faults)("", "%s", says)
		}
	}
	return faults
}

// coveredBy says that a list of with or without has every answer of the choice;
// "": none has.
func coveredBy(w steps.Where, c steps.Choice) string {
	if slices.ContainsFunc(w.With, c.Covers) {
		return fmt.Sprintf("with lists every answer of %s: delete the line", c.Name)
	}
	if c.Covers(w.Without) {
		return fmt.Sprintf("without lists every answer of %s: no airframe is without all of them", c.Name)
	}
	return ""
}

// chosen checks the choose steps of a procedure against a sheet.
func (d *Document) chosen(o *order, sheet *steps.Sheet) Faults {
	var faults Faults
	build := d.Procedure.Kind == steps.Build
	asked := map[string][]*steps.Step{}
	own, of := methodsOf(d.Procedure)
	for i, c := range own {
		for _, name := range c.Names() {
			if known, ok := sheet.Choice(name); ok {
				d.complain(&of[i], &faults)("choose", "the method %s has the name of an option or a choice of the design (%s)", name, known.Name)
			}
		}
	}
	for s := range o.all() {
		if s.Choose == "" {
			continue
		}
		say := d.complain(s, &faults)
		c := s.Asked(sheet)
		switch other := asked[c.Name]; {
		case len(other) > 0 && (build || !d.Made || other[0].Choose != s.Choose): // in a plan one answer meets both
			say("choose", "the step %s chooses %s too: a job chooses once", other[0].Name, c.Name)
		case build && !c.Asks():
			say("choose", "a build asks for the whole choice: write choose: %s", c.Name)
		case build && !c.Alone && len(s.Options()) > 0:
			say("", "it depends on an option; every airframe needs an answer to %s", c.Name)
		}
		asked[c.Name] = append(asked[c.Name], s)
	}
	for _, c := range sheet.Choices() {
		if of := asked[c.Name]; len(of) > 0 {
			faults = append(faults, d.governedAfter(o, of, of[0].Asked(sheet))...)
			continue
		}
		if c.Alone {
			continue
		}
		faults = append(faults, d.covered(o, c)...)
		if build && !d.doubts.lost(steps.Choose) {
			faults = d.also(faults, top(), fmt.Sprintf("no step chooses %s, of which every airframe has one: add a step with choose: %s", listed(c.Names()), c.Name))
		}
	}
	return faults
}

// combined are the combinations of choices, of each one answer; of an option by
// itself yes or no. More than can be checked are none at all.
// It is not inlined: its copies in all callers would take 5 KB.
//
//go:noinline
func combined(choices []steps.Choice) [][]string {
	all := [][]string{nil}
	for _, c := range choices {
		var next [][]string
		if c.Alone {
			next = all
		}
		for _, a := range c.Answers {
			for _, have := range all {
				next = append(next, append(lists.Clone(have), a.Name))
			}
		}
		if all = next; len(all) > mostCombinations {
			return nil
		}
	}
	return all
}

// variantsOn are the combinations of what an airframe of the sheet has and of the
// methods of the procedure.
// Of a choice that no step and no gate goes by, any answer stands for all.
func (d *Document) variantsOn(sheet *steps.Sheet) [][]string {
	named := map[string]bool{}
	for s := range d.order().all() {
		for _, name := range s.Options() {
			named[name] = true
		}
	}
	for i := range sheet.Gates {
		for _, name := range sheet.Gates[i].Options() {
			named[name] = true
		}
	}
	var choices []steps.Choice
	for _, c := range sheet.Choices() {
		if lists.ContainsFunc(c.Names(), func(name string) bool { return named[name] }) {
			choices = append(choices, c)
		} else if !c.Alone {
			c.Answers = c.Answers[:1]
			choices = append(choices, c)
		}
	}
	return withMethods(combined(choices), d.Procedure)
}

// yesOrNo are options as choices of yes and no.
func yesOrNo(options []string) []steps.Choice {
	var all []steps.Choice
	for _, o := range options {
		all = append(all, steps.Choice{Name: o, Answers: []steps.Option{{Name: o}}, Alone: true})
	}
	return all
}

// withMethods are the combinations of what an airframe has, each with every
// combination of the methods that the procedure asks for there.
func withMethods(options [][]string, p *steps.Procedure) [][]string {
	choices, of := methodsOf(p)
	if len(choices) == 0 {
		return options
	}
	var all [][]string
	for _, has := range options {
		var asked []steps.Choice
		for i, c := range choices {
			if of[i].Applies(has) {
				asked = append(asked, c)
			}
		}
		for _, methods := range combined(asked) {
			all = append(all, lists.Concat(has, methods))
		}
	}
	return all
}

// covering are combinations in which every three answers occur, taken or not, in each way in which they
// occur together in all; few combinations are all of them. What goes wrong goes wrong by
// few choices: a step depends on one or two, and a fault lies between two steps.
func covering(all [][]string) [][]string {
	if len(all) <= allChecked {
		return all
	}
	var names []string
	for _, one := range all {
		for _, name := range one {
			if !lists.Contains(names, name) {
				names = append(names, name)
			}
		}
	}
	n := len(names)
	covers := make([][]int, len(all)) // what of three answers each combination has, as numbers
	adding := make([]int, len(all))   // how many of them are not covered, or were not when that was counted last: never more
	for i, one := range all {
		taken := make([]int, n)
		for k, name := range names {
			if lists.Contains(one, name) {
				taken[k] = 1
			}
		}
		covers[i] = make([]int, 0, n*(n-1)*(n-2)/6)
		for a := range n {
			for b := a + 1; b < n; b++ {
				for c := b + 1; c < n; c++ {
					covers[i] = append(covers[i], ((a*n+b)*n+c)*8+taken[a]*4+taken[b]*2+taken[c])
				}
			}
		}
		adding[i] = len(covers[i])
	}
	covered := make([]bool, n*n*n*8)
	var few [][]string
	for {
		best, most := 0, 0
		for i := range covers {
			if adding[i] <= most {
				continue
			}
			adds := 0
			for _, one := range covers[i] {
				if !covered[one] {
					adds++
				}
			}
			if adding[i] = adds; adds > most {
				best, most = i, adds
			}
		}
		if most == 0 {
			return few
		}
		few = append(few, all[best])
		for _, one := range covers[best] {
			covered[one] = true
		}
	}
}
