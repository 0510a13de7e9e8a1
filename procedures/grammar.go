package procedures

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"fettle/steps/quantity"
)

// Grammar is the grammar of every form of document as Markdown: for each, a valid
// example and its keys. Headings begin at the third level.
func Grammar() string {
	var g grammar
	g.line("A name is lower-case letters, digits and single hyphens (`left-boom`). Every number has a unit (`3.5 mm`, `3/32 in`, " +
		"`5 3/8\"`, `250 °F`, `10 min`, `1h30m`), except where a whole number or a factor is asked for; a size with its tolerance has it at least once (`140 ± 2 mm`). A decimal number has a point. One file holds one document. " +
		"What follows ` #` is a comment: put a text with a `#` in it in quotes.")
	for _, f := range forms() {
		g.line("\n### " + capital(f.typ.what) + "\n")
		if f.about != "" {
			g.line(f.about + "\n")
		}
		g.line("```yaml")
		for _, l := range exampleOf(f.typ.keys) {
			g.line(l)
		}
		g.line("```")
		g.mapping(f.typ)
	}
	return g.text.String()
}

// A documentForm is one form that a document may have.
type documentForm struct {
	typ   *typ
	about string
}

func forms() []documentForm {
	return []documentForm{
		{sheetKeys().typ(), ""},
		{procedureKeys().typ(), "Stages may run side by side unless `after` says otherwise; the steps of a stage run in order. " +
			"Every joint must be coated before it is joined, and joined only once.\n\n" +
			"Between the steps may stand runs: steps that come once for each of several words, that only some airframes have, or that " +
			"another procedure has. `use: safe/air-the-bench` is that step of the procedure `safe`, and the name of a stage is all of " +
			"its steps. A procedure of `kind: steps` is there to be used; what it calls `<side>` is filled in by who uses it. What is " +
			"written outside of `each` and of such a procedure as `<side>` stays as it is. A run inside a run asks for the options of both."},
		{triageKeys().typ(), "It says what to do about what is seen after a crash. Findings are asked for zone by zone; " +
			"the first row that fits counts; what no row covers is inspected."},
	}
}

// A grammar is the text so far.
type grammar struct{ text strings.Builder }

// It is not inlined: its copies in all callers would take 3 KB.
//
//go:noinline
func (g *grammar) line(s string) { g.text.WriteString(s + "\n") }

// mapping lists the keys of a mapping, and then those of each mapping below it that
// may occur several times.
func (g *grammar) mapping(t *typ) {
	g.line("\n**" + capital(t.what) + "** has these keys:\n")
	g.keys(t.keys, "", func(r row) bool { return r.need != choice })
	if some := func(r row) bool { return r.need == choice }; anyRow(t.keys, some) {
		if t.one {
			g.line("\nand one of these:\n")
		} else {
			g.line("\nand at most one of these:\n")
		}
		g.keys(t.keys, "", some)
	}
	g.several(t)
}

// several lists the mappings below the keys of one that may occur several times.
func (g *grammar) several(t *typ) {
	for _, r := range t.keys {
		if r.typ.is == aMapping {
			g.several(r.typ)
		}
		if r.typ.is != aList && r.typ.is != aMap {
			continue
		}
		for _, below := range r.typ.of {
			if below.is == aMapping {
				g.mapping(below)
			}
		}
	}
}

func anyRow(rows []row, is func(row) bool) bool {
	for _, r := range rows {
		if is(r) {
			return true
		}
	}
	return false
}

// keys writes a line for each key, with the keys of a nested mapping below it.
func (g *grammar) keys(rows []row, indent string, which func(row) bool) {
	for _, r := range rows {
		if !which(r) || r.need == ours {
			continue
		}
		is := inWords(r.typ)
		if r.need == optional {
			is += ", optional"
		}
		g.line(fmt.Sprintf("%s- `%s` (%s): %s", indent, r.name, is, r.help))
		for _, below := range inside(r.typ) {
			g.keys(below.keys, indent+"  ", func(row) bool { return true })
		}
	}
}

// inside are the mappings that may stand under a key, but for those that have a
// list of their own, each once.
func inside(t *typ) []*typ {
	if t.is == aMapping {
		return []*typ{t}
	}
	if t.is == aList || t.is == aMap && t.of[0].is == aMapping {
		return nil
	}
	var all []*typ
	for _, of := range t.of {
		for _, one := range inside(of) {
			if !slices.ContainsFunc(all, func(have *typ) bool { return have.what == one.what }) {
				all = append(all, one)
			}
		}
	}
	return all
}

// inWords describes a typ to a person.
func inWords(t *typ) string {
	switch t.is {
	case aText:
		return "text"
	case prose:
		return "text, Markdown"
	case texts:
		return "text, or a list of texts"
	case aName:
		if t.to == "" {
			return "name"
		}
		return "name of " + articled(string(t.to))
	case oneName:
		one := cmp.Or(string(t.to), "name")
		s := articled(one) + ", or a list of " + one + "s"
		if t.none {
			s += ", which may be empty"
		}
		if len(t.words) > 0 {
			s += ", or " + coded(t.words)
		}
		return s
	case aWord:
		return coded(t.words)
	case oneWord:
		return coded(t.words) + ", or a list of these"
	case aSwitch:
		if t.on {
			return "yes or no; yes by default"
		}
		return "yes or no"
	case aYes:
		return "yes"
	case aWhole:
		return fmt.Sprintf("whole number from %d to %d", t.low, t.high)
	case aNumber:
		return fmt.Sprintf("number from %d to %d", t.low, t.high)
	case anAmount:
		return dimension(t.unit) + [...]string{unbounded: "", fromZero: ", 0 or more", aboveZero: ", more than 0"}[t.least]
	case aRange:
		return "two limits, each a " + dimension(t.unit) + ", or one with its tolerance"
	case aPlace:
		return "two lengths, [x, y]"
	case places:
		return "list of corners, each [x, y]"
	case aLine:
		return "two such, [[x, y], [x, y]]"
	case aShare:
		return "share of a figure, `80 % of controller`"
	case aRate:
		return "number of C, `25 C`"
	case settings:
		return "conditions with their states"
	case pairs:
		return "list of pairs of points"
	case aMapping:
		return "keys"
	case aList:
		var each []string
		for _, one := range t.of {
			each = append(each, one.what)
		}
		return "list, each " + listed(each)
	case entries:
		return "list, each a step or a run"
	case wordLists:
		return "names of your own, each with a list of words"
	case used:
		return "`PROCEDURE/STAGE` or `PROCEDURE/STEP`, or a list of these"
	case parts:
		return "names of parts, each with a whole number or a size with its unit"
	case changes:
		return "revisions, each with a text"
	case aMap:
		if t.to != "" {
			return string(t.to) + "s, each with a " + inWords(t.of[0])
		}
		if t.of[0].is == aMapping {
			return "names of your own, each " + t.of[0].what
		}
		return "names of your own, each with a " + inWords(t.of[0])
	case anEither:
		return inWords(t.of[0]) + ", or " + inWords(t.of[1])
	}
	return ""
}

func dimension(d quantity.Dimension) string {
	if d == "" {
		return "quantity"
	}
	return string(d)
}

//go:noinline
func coded(words []string) string {
	var all []string
	for _, w := range words {
		all = append(all, "`"+w+"`")
	}
	return listed(all)
}

//go:noinline
func articled(noun string) string {
	if strings.ContainsRune("aeiou", rune(noun[0])) {
		return "an " + noun
	}
	return "a " + noun
}

// capital is a phrase with a capital letter, for a heading.
func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// exampleOf is the example of a mapping, line by line, made of the examples of its
// keys and of its first choice.
func exampleOf(rows []row) []string {
	var lines []string
	chosen := false
	for _, r := range rows {
		if r.need == ours {
			continue
		}
		if r.need == choice {
			if chosen {
				continue
			}
			chosen = true
		}
		lines = append(lines, exampleOfKey(r)...)
	}
	return lines
}

func exampleOfKey(r row) []string {
	text, comment := strings.CutPrefix(r.example, "# ")
	switch {
	case comment:
		return []string{"# " + r.name + ": " + text}
	case strings.Contains(text, "\n"):
		return below(r.name, strings.Split(text, "\n"))
	case r.typ.is == aMap && r.typ.of[0].is == aMapping:
		return below(r.name, below(text, exampleOf(r.typ.of[0].keys)))
	case text != "":
		return []string{r.name + ": " + text}
	case r.typ.is == aList:
		return below(r.name, examplesOfItems(r.typ.of))
	}
	return below(r.name, exampleOf(r.typ.keys))
}

// examplesOfItems are the items of a list: one of all keys, one of each other
// form, and one for each further choice.
func examplesOfItems(forms []*typ) []string {
	var items [][]string
	for _, f := range forms {
		items = append(items, exampleOf(f.keys))
	}
	first := true
	for _, r := range forms[0].keys {
		if r.need != choice {
			continue
		}
		if !first && !strings.HasPrefix(r.example, "#") {
			items = append(items, strings.Split(r.example, "\n"))
		}
		first = false
	}
	var lines []string
	for _, item := range items {
		lines = append(lines, "- "+item[0])
		for _, l := range item[1:] {
			lines = append(lines, "  "+l)
		}
	}
	return lines
}

// below indents the lines below a key.
// It is not inlined: its copies in all callers would take 2 KB.
//
//go:noinline
func below(name string, lines []string) []string {
	all := []string{name + ":"}
	for _, l := range lines {
		all = append(all, "  "+l)
	}
	return all
}
