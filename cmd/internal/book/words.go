package book

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"fettle/steps"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/steps/sorting"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// What things are called in documents is for commands; a book says their titles. A name
// without one is said without its dashes.

// plain is a name as words.
// It is not inlined: its many copies would make the program larger.
//
//go:noinline
func plain(name string) string { return strings.ReplaceAll(name, "-", " ") }

// titled is the title, or else the name as words.
//
//go:noinline
func titled(title, name string) string {
	if title == "" {
		return plain(name)
	}
	return title
}

// titles are the titles of what has a name of several words in the documents: alone, such
// a name cannot be mistaken for a word.
func (m *maker) titles() map[string]string {
	all := map[string]string{}
	add := calling(all).add
	for _, g := range m.s.Sheet.Gates {
		add(g.Name, g.Title)
		for _, point := range g.Points {
			add(point, "")
		}
	}
	for _, g := range m.s.Sheet.Gauges {
		add(g.Name, g.Title)
	}
	for _, name := range m.s.Sheet.Zones {
		add(name, "")
	}
	for _, e := range m.s.Sheet.Equipment {
		add(e.Name, "")
	}
	for _, d := range m.s.Damages {
		add(d.Finding, small(m.findingTitle(d)))
	}
	for _, j := range m.s.Jobs {
		add(j.ID, "“"+m.jobTitle(j.ID)+"”")
		for _, st := range j.Procedure.Steps() {
			add(st.Name, "“"+titled(st.Title, st.Name)+"”")
			add(st.Joint, "")
		}
	}
	return all
}

// calling is the title of each name.
type calling map[string]string

//go:noinline
func (c calling) add(name, title string) {
	if _, known := c[name]; !known && strings.Contains(name, "-") {
		c[name] = titled(title, name)
	}
}

// small is a title within a sentence.
func small(title string) string {
	r := []rune(title)
	if len(r) > 1 && !unicode.IsUpper(r[1]) {
		r[0] = unicode.ToLower(r[0])
	}
	return string(r)
}

// told is a sentence of the engine with titles in the place of names.
func (m *maker) told(text string) string {
	if m.called == nil {
		m.called = m.titles()
	}
	return renamed(text, m.called)
}

// renamed is a text with other words in the place of names.
func renamed(text string, called map[string]string) string {
	var b strings.Builder
	for text != "" {
		end := strings.IndexFunc(text, func(r rune) bool { return !within(r) })
		switch {
		case end < 0:
			end = len(text)
		case end == 0:
			end = strings.IndexFunc(text, within)
			if end < 0 {
				end = len(text)
			}
		}
		word := text[:end]
		if title, ok := called[word]; ok {
			word = title
		}
		b.WriteString(word)
		text = text[end:]
	}
	return b.String()
}

// within reports whether names have the character.
func within(r rune) bool { return r == '-' || r == '_' || unicode.IsLetter(r) || unicode.IsDigit(r) }

func (m *maker) gateTitle(name string) string {
	g, _ := m.s.Sheet.Gate(name)
	return titled(g.Title, name)
}

func (m *maker) gaugeTitle(name string) string {
	g, _ := m.s.Sheet.Gauge(name)
	return titled(g.Title, name)
}

func (m *maker) useTitle(name string) string {
	u, _ := m.s.Sheet.Use(name)
	return titled(u.Title, name)
}

func (m *maker) itemTitle(name string) string {
	for _, known := range m.s.Sheet.Equipment {
		if known.Name == name {
			return titled(known.Title, name)
		}
	}
	return plain(name)
}

// jobTitle is what was done: of a repair of damage, which.
func (m *maker) jobTitle(id string) string {
	j, err := m.s.Job(id)
	switch {
	case err != nil:
		return plain(id)
	case len(j.Damages) > 0:
		return "Repair of " + listed(j.Damages)
	case j.Zone != "":
		return titled(j.Procedure.Title, id) + " (" + plain(j.Zone) + ")"
	}
	return titled(j.Procedure.Title, id)
}

func (m *maker) stepTitle(job, step string) string {
	if j, err := m.s.Job(job); err == nil {
		if st, _, ok := j.Procedure.Step(step); ok {
			return titled(st.Title, step)
		}
	}
	return plain(step)
}

// findingTitle is what was found, in the words of the triage table.
func (m *maker) findingTitle(d *workflow.Damage) string {
	if d.Words != "" {
		return "“" + d.Words + "”"
	}
	if m.o.Finding == nil {
		return plain(d.Finding)
	}
	return titled(m.o.Finding(d.Finding), d.Finding)
}

// listed is a list as it is read.
//
//go:noinline
func listed(all []string) string { return series(all, " and ") }

// either is one of several.
func either(all []string) string { return series(all, " or ") }

func series(all []string, last string) string {
	if n := len(all); n > 1 {
		return strings.Join(all[:n-1], ", ") + last + all[n-1]
	}
	return strings.Join(all, "")
}

// plains are names as words.
func plains(names []string) []string {
	all := make([]string, len(names))
	for i, name := range names {
		all[i] = plain(name)
	}
	return all
}

// numbered is a number of things; the word for several, where an s does not make it.
func numbered(n int, one string, several ...string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, append(several, one+"s")[0])
}

// entriesText names entries, those in a row as a range.
func entriesText(positions []int64) string {
	all := slices.Clone(positions)
	sorting.Positions(all)
	all = slices.Compact(all)
	var ranges []string
	for i := 0; i < len(all); {
		end := i
		for end+1 < len(all) && all[end+1] == all[end]+1 {
			end++
		}
		text := strconv.FormatInt(all[i], 10)
		if end > i {
			text += "–" + strconv.FormatInt(all[end], 10)
		}
		ranges, i = append(ranges, text), end+1
	}
	if len(all) == 1 {
		return "entry " + ranges[0]
	}
	return "entries " + strings.Join(ranges, ", ")
}

func says(v measuring.Verdict) string {
	switch v {
	case measuring.Out:
		return "OUT OF TOLERANCE"
	case measuring.Undecided:
		return "UNDECIDED"
	case measuring.Partial:
		return "readings are missing"
	}
	return string(v)
}

// sized shows a size with up to three decimal places, and its unit.
func sized(f float64, unit string) string {
	text := strconv.FormatFloat(math.Round(f*1000)/1000, 'f', -1, 64)
	return strings.TrimSpace(quantity.Written(text, unit))
}

// limitsText is the limits of a gate where there is little room.
func limitsText(g steps.Gate) string {
	var parts []string
	switch l := g.Limits; {
	case !l.Low.IsZero() && !l.High.IsZero():
		low, _, _ := strings.Cut(l.Low.String(), " ")
		parts = append(parts, low+" to "+l.High.String())
	case !l.Low.IsZero():
		parts = append(parts, "at least "+l.Low.String())
	case !l.High.IsZero():
		parts = append(parts, "at most "+l.High.String())
	}
	if !g.Limits.Alike.IsZero() {
		parts = append(parts, "alike to "+g.Limits.Alike.String())
	}
	return strings.Join(parts, ", ")
}

// changed says a change of equipment.
func (m *maker) changed(f journal.EquipmentChanged) string {
	text := m.itemTitle(f.Item)
	if f.Name != "" {
		text += " (" + f.Name + ")"
	}
	return text + " " + f.Change
}
