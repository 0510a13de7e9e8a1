package procedures

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/quantity"
	"fettle/steps/sorting"
)

// triageKeys are the keys of a triage table. The findings come before the rows that
// answer them.
func triageKeys() *mapping[*steps.Triage] {
	t := new(steps.Triage)
	return &mapping[*steps.Triage]{what: "a triage table", check: triageChecked, keys: []key{
		{"triage", required, field(t, &t.Name, &nameValue{}),
			"its name", "foam"},
		{"design", optional, field(t, &t.Design, &nameValue{design}),
			"asked first for damage of that design; what it does not answer goes to the tables for every design", "# causeway"},
		{"title", required, field(t, &t.Title, &textValue{}),
			"what it covers, in a few words", "What a crash does to foam"},
		{"revision", required, field(t, &t.Revision, &wholeValue{mostRevision}),
			"raise it with every change", "1"},
		{"changes", optional, field(t, &t.Changes, &changesValue{}),
			changesHelp, changesExample},
		{"about", optional, field(t, &t.About, &textValue{prose}),
			"what to know about the table", "For foam of any make."},
		{"findings", required, field(t, &t.Findings, &named[steps.Finding]{
			one: "the finding", is: whole(findingKeys())}),
			"what can be seen", "cracked"},
		{"rows", required, field(t, &t.Rows, &list[steps.Row]{
			is: rowKeys(), keep: func(*steps.Row) bool { return true }}),
			"what is done about it; the first row that fits counts", ""},
		{"unknown", required, whole(&either[*steps.Triage]{
			one:   field(t, &t.Unknown, &nameValue{procedure}),
			more:  whole(&ownWordsValue{}),
			short: func(t *steps.Triage) bool { return len(t.OwnWords) == 0 }}),
			"the procedure for what no row answers, as `else` where zones say what damage in words of one's own is taken for there; " +
				"where that finding has a caution the zone is asked first, after those with a quarantine", "{wing: cracked, else: inspect}"},
		{"lost", optional, field(t, &t.Lost, &nameValue{procedure}),
			"the procedure that takes a lost part off; the steps of the build that make it follow", "# part-off"},
		{"hard_landing", optional, field(t, &t.HardLanding, &nameValue{procedure}),
			"the check that a hard landing asks for", "post-crash"},
	}}
}

func findingKeys() *mapping[*steps.Finding] {
	f := new(steps.Finding)
	return &mapping[*steps.Finding]{what: "a finding", check: findingChecked, keys: []key{
		{"title", required, field(f, &f.Title, &textValue{}),
			"what is seen, in a few words", "Cracked or split foam"},
		{"zones", optional, field(f, &f.Zones, &namesValue{to: zone}),
			"where it is possible; everywhere by default", "[nose, wing, tail]"},
		{"also", optional, field(f, &f.Also, &textsValue{}),
			"what people call it: who reports it in such words is asked whether this is meant", "[split, torn]"},
		{"caution", optional, field(f, &f.Caution, &textValue{}),
			"what to do at once, said when it is found", "# Carry it outside, onto sand."},
		{"quarantine", optional, field(f, &f.Quarantine, &either[*steps.Quarantine]{
			lists: true,
			one:   field(&f.Quarantine, &f.Quarantine.Confirm, &textsValue{}),
			short: func(q *steps.Quarantine) bool { return q.For.IsZero() },
			more: whole(&mapping[*steps.Quarantine]{what: "quarantine", keys: []key{
				{"for", required, field(&f.Quarantine, &f.Quarantine.For, &amountValue{quantity.Duration, aboveZero}),
					"how long it lasts at least, from when it was found; no line is confirmed earlier", "48 h"},
				{"confirm", required, field(&f.Quarantine, &f.Quarantine.Confirm, &textsValue{}),
					"the lines to confirm then", "- It was handed in"},
			}})}),
			"the part is quarantined until a person clears it: the lines to confirm then", "# It was handed in where damaged batteries are taken."},
	}}
}

// findingChecked finds other words for a finding that are no words.
func findingChecked(f fields, of *steps.Finding) {
	var met set
	for _, also := range of.Also {
		switch words := strings.Join(steps.Words(also), " "); {
		case words == "":
			f.fault(f.item("also", also), "%q has no word in it", also)
		case !met.add(words):
			f.fault(f.item("also", also), "%q is duplicated in also", also)
		}
	}
}

// ownWordsValue is what words of one's own are taken for in zones, with else.
type ownWordsValue struct{}

func (*ownWordsValue) read(r *reader, n *node, what string, to *steps.Triage) {
	r.pairs(n, what, func(k, v *node) {
		zoned := r.name(k, "a zone")
		switch {
		case zoned == "":
		case zoned == "else":
			(&nameValue{procedure}).read(r, v, "else", &to.Unknown)
		default:
			r.refer(zone, k, zoned, "")
			means := r.name(v, "what words mean on "+zoned)
			r.refer(meaning, v, means, "")
			r.doc.places[unknownAt(zoned)] = r.at(v)
			if means != "" {
				to.OwnWords = append(to.OwnWords, steps.OwnWords{Zone: zoned, Mean: means})
			}
		}
	})
	if n.Kind == mappingNode && (fields{node: n}).get("else") == nil {
		r.fault(n, "%s has no else: the procedure for all other zones", what)
	}
}

func (*ownWordsValue) write(from *steps.Triage) *node {
	n := &node{Kind: mappingNode, Style: flowStyle}
	for _, own := range from.OwnWords {
		n.Content = append(n.Content, scalar(own.Zone), scalar(own.Mean))
	}
	n.Content = append(n.Content, scalar("else"), scalar(from.Unknown))
	return n
}

func (*ownWordsValue) typ() *typ {
	return &typ{is: aMap, to: zone, of: []*typ{(&nameValue{meaning}).typ()}}
}

func findingAt(name string) string { return "the finding " + name }

func unknownAt(zone string) string { return "unknown " + zone }

func rowKeys() *mapping[*steps.Row] {
	r := new(steps.Row)
	answer := func(outcome string) part {
		return whole(&outcomeValue{outcome, field(r, &r.Procedure, &nameValue{procedure})})
	}
	return &mapping[*steps.Row]{what: "a row", one: true, keys: []key{
		{"finding", required, field(r, &r.Findings, &namesValue{to: finding}),
			"what was seen", "cracked"},
		{"zone", optional, field(r, &r.Zones, &namesValue{to: zone}),
			"where; everywhere by default", "nose"},
		{"severity", optional, field(r, &r.Severities, &wordsValue{steps.Severities()}),
			"how bad: cosmetic is a mark that disturbs nothing but what its procedure says, slight would hold in flight, serious must be repaired, total means that the part is lost. Any but cosmetic by default", "[slight, serious]"},
		{steps.ToRepair, choice, answer(steps.ToRepair),
			"the procedure that repairs it, or a check where a look is enough", "nose-crushed"},
		{steps.ToReplace, choice, answer(steps.ToReplace),
			"the procedure that fits a new part", "finding: cracked\nzone: tail\nreplace: tail-off\nwhy: A split tail is never straight again."},
		{steps.ToRebuild, choice, whole(&outcomeValue{steps.ToRebuild, whole(&offValue{})}),
			"the part is lost, and the steps of the build make it anew; a procedure says how it is taken off, else `lost` does", "finding: cracked\nzone: nose\nseverity: total\nrebuild: yes\nwhy: A nose in crumbs holds no shape."},
		{"scrap", choice, whole(&formerValue{outcomeValue{steps.ToRebuild, whole(&offValue{})}}),
			"what `rebuild` was called", "finding: cracked\nzone: nose\nseverity: total\nscrap: yes\nwhy: A nose in crumbs holds no shape."},
		{"why", required, field(r, &r.Why, &textValue{}),
			"why this answers it", "Foam that is still there can be glued."},
	}}
}

// formerValue is read under a name that is not written any more.
type formerValue struct{ outcomeValue }

func (*formerValue) write(*steps.Row) *node { return nil }

// offValue is yes, or how the lost part is taken off.
type offValue struct{}

func (*offValue) procedure() part {
	r := new(steps.Row)
	return field(r, &r.Procedure, &nameValue{procedure})
}

func (v *offValue) read(r *reader, n *node, what string, to *steps.Row) {
	if n.Kind == textNode && isName(n.Value) && n.Value != "yes" && n.Value != "no" {
		v.procedure().read(r, n, what, to)
		return
	}
	(&yesValue[*steps.Row]{}).read(r, n, what, to)
}

func (v *offValue) write(from *steps.Row) *node {
	if from.Procedure == "" {
		return plain("yes")
	}
	return v.procedure().write(from)
}

func (v *offValue) typ() *typ {
	return &typ{is: anEither, of: []*typ{(&yesValue[*steps.Row]{}).typ(), v.procedure().typ()}}
}

// outcomeValue is the value of the key of an outcome.
type outcomeValue struct {
	outcome string
	is      part
}

func (v *outcomeValue) read(r *reader, n *node, what string, to *steps.Row) {
	to.Outcome = v.outcome
	v.is.read(r, n, what, to)
}

func (v *outcomeValue) write(from *steps.Row) *node {
	if from.Outcome != v.outcome {
		return nil
	}
	return v.is.write(from)
}

func (v *outcomeValue) typ() *typ { return v.is.typ() }

func triageChecked(f fields, t *steps.Triage) {
	f.changed(t.Changes, t.Revision)
	rows, names := f.get("rows"), 0
	for i, row := range t.Rows {
		f.doc.places[rowAt(i)] = f.at(rows.Content[i])
		names += len(row.Findings)
	}
	if names > most("rows") {
		f.fault(rows, "the rows name findings %d times; the limit is %d", names, most("rows"))
	}
}

// asked are the tables among the documents that answer damage of the design, in
// the order in which they are asked: one's own for the design, the embedded one
// for it, one's own for every design, the embedded one for every design. What a
// table is called does not matter.
func asked(design string, docs []*Document) []*Document {
	var tables []*Document
	for _, d := range docs {
		if d.Triage != nil && (d.Triage.Design == "" || d.Triage.Design == design) {
			tables = append(tables, d)
		}
	}
	rank := func(d *Document) int {
		n := 0
		if d.Triage.Design == "" {
			n = 2
		}
		if d.Embedded {
			n++
		}
		return n
	}
	sorting.Stable(tables, func(i, k int) int {
		a, b := tables[i], tables[k]
		return rank(a) - rank(b)
	})
	return tables
}

// twice says that two tables of one's own answer the same designs.
func twice(d, other *Document) string {
	if d.Triage == nil || other.Triage == nil || d.Triage.Design != other.Triage.Design {
		return ""
	}
	if d.Triage.Design == "" {
		return fmt.Sprintf("%s is a table for every design too; give one of them a design, or make one table of both", other.File)
	}
	return fmt.Sprintf("%s is a table for the design %s too; make one table of both", other.File, d.Triage.Design)
}

// Tables returns the triage tables that answer damage of the design, in the order
// in which they are asked. The error is the [*BrokenError] of a table of one's own
// that may be meant, or the [Faults] of two for one design.
func (l *Library) Tables(design string) ([]*Document, error) {
	paths, faults := l.paths()
	if len(faults) > 0 {
		return nil, faults
	}
	var tables []*Document
	from := (&shelf{folder: l.folder}).find
	for _, path := range paths {
		data, err := readFile(path)
		if err != nil {
			continue // list says it
		}
		key, name := declared(data)
		if key != KindTriage {
			continue
		}
		doc, wrong := parseOwn(path, data, from)
		if len(wrong) > 0 {
			if of := designIn(data); of == "" || of == design {
				return nil, claimOf(path, data, wrong).error(name)
			}
			continue
		}
		for _, other := range tables {
			if says := twice(doc, other); says != "" && (doc.Triage.Design == "" || doc.Triage.Design == design) {
				return nil, Faults{doc.fault(top(), says)}
			}
		}
		tables = append(tables, doc)
	}
	for _, e := range shippedHeaded(func(_ string, head []byte) bool { return bytes.Contains(head, []byte("\n"+KindTriage+":")) }) {
		tables = append(tables, e.Document)
	}
	return asked(design, tables), nil
}

// answered finds names in a triage table that the library does not have, rows that
// no finding ever reaches, and repairs that cannot be started on a zone. The sheets
// are those that it serves.
func (d *Document) answered(sheets []*steps.Sheet, known []*Document, doubt doubts) Faults {
	var zones []string
	for _, s := range sheets {
		zones = append(zones, s.Zones...)
	}
	var names []string
	byName := map[string]*steps.Procedure{}
	asked := []*Document{d}
	for _, k := range known {
		switch {
		case k.Procedure != nil:
			names = append(names, k.Name())
			byName[k.Name()] = k.Procedure
		case k.Triage != nil && k != d && (k.Triage.Design == "" || k.Triage.Design == d.Triage.Design):
			asked = append(asked, k)
			if k.doubts.of(finding) {
				doubt.name(finding)
			}
		}
	}
	all := asOne(asked)
	var findings []string
	for _, f := range all.Findings {
		findings = append(findings, f.Name)
	}
	faults := d.unknown(map[reference][]string{{to: zone}: zones, {to: procedure}: names, {to: finding}: findings, {to: meaning}: lists.Concat(findings, names)}, doubt, "")
	for _, ref := range d.names {
		answers := ref.to == procedure || ref.to == meaning
		if p, ok := byName[ref.name]; ok && answers && p.Kind == steps.Build {
			faults = d.also(faults, ref.at, fmt.Sprintf("%s is a build, which cannot answer damage", ref.name))
		} else if ok && answers && p.Kind == steps.Shared {
			faults = d.also(faults, ref.at, fmt.Sprintf("%s holds steps for others to use; it cannot answer damage", ref.name))
		}
	}
	for _, own := range d.Triage.OwnWords {
		at := d.places[unknownAt(own.Zone)]
		f, seen := all.Finding(own.Mean)
		p := byName[own.Mean]
		switch {
		case !lists.Contains(zones, own.Zone): // said of the zone
		case seen && p != nil:
			faults = d.also(faults, at, fmt.Sprintf("%s is a finding and a procedure; rename the finding", own.Mean))
		case seen && !f.In(own.Zone):
			faults = d.also(faults, at, fmt.Sprintf("the finding %s is not possible on %s; its zones are %s", own.Mean, own.Zone, strings.Join(f.Zones, ", ")))
		case p != nil && len(p.On) > 0 && !lists.Contains(p.On, own.Zone):
			faults = d.also(faults, at, fmt.Sprintf("%s is not written for the zone %s", own.Mean, own.Zone))
		default:
			starts := p != nil && p.Kind != steps.Build && p.Kind != steps.Shared
			if worst, is := all.Means(own.Zone); is && (seen || starts) && f.Quarantine.IsZero() && !worst.Quarantine.IsZero() {
				faults = d.also(faults, at, fmt.Sprintf("words of one's own on %s must mean a finding that is put in quarantine, since there is one there: write %s: %s", own.Zone, own.Zone, worst.Name))
			}
		}
	}
	named := map[string]steps.Finding{}
	for _, f := range all.Findings {
		named[strings.Join(steps.Words(f.Name), " ")] = f
	}
	for _, f := range d.Triage.Findings {
		for _, also := range f.Also {
			if other, ok := named[strings.Join(steps.Words(also), " ")]; ok && other.Name != f.Name && f.Meets(other) {
				faults = d.also(faults, d.places[findingAt(f.Name)], fmt.Sprintf("%q, another word for %s, is the name of another finding in one of its zones", also, f.Name))
			}
		}
	}
	covered := coveredRows(d.Triage.Rows)
	for i, row := range d.Triage.Rows {
		at := d.places[rowAt(i)]
		for _, finding := range covered[i] {
			faults = d.also(faults, at, fmt.Sprintf("no finding %s ever reaches this row: an earlier row answers it", finding))
		}
		p := byName[row.Procedure]
		for _, finding := range row.Findings {
			f, known := all.Finding(finding)
			if row.Outcome == steps.ToRepair && !f.Quarantine.IsZero() {
				faults = d.also(faults, at, fmt.Sprintf("the finding %s is put in quarantine%s, so it is never repaired; write replace or rebuild", finding, d.quarantinedAt(asked, finding)))
				continue
			}
			light := lists.Contains(row.Severities, steps.Cosmetic) && !row.Renews()
			where := row.Zones
			if len(where) == 0 && (light || row.Outcome == steps.ToRebuild && p != nil) {
				where = f.Zones
			}
			for _, z := range where {
				switch {
				case light && all.MustRenew(finding, z, steps.Cosmetic):
					faults = d.also(faults, at, fmt.Sprintf("damage on %s can hurt%s, so the finding %s is cosmetic there only if the part is replaced or made anew", z, d.dangerOf(all, asked, z), finding))
				case row.Outcome == steps.ToRepair && !light && lists.ContainsFunc(row.Severities, func(s string) bool { return all.MustRenew(finding, z, s) }),
					row.Outcome == steps.ToRepair && !light && len(row.Severities) == 0 && all.MustRenew(finding, z, steps.Serious):
					faults = d.also(faults, at, fmt.Sprintf("damage on %s can hurt%s, and another row has the part replaced, so the finding %s is never repaired there; write replace or rebuild", z, d.dangerOf(all, asked, z), finding))
				case known && !f.In(z):
					faults = d.also(faults, at, fmt.Sprintf("the finding %s is not possible on %s; its zones are %s", finding, z, strings.Join(f.Zones, ", ")))
				case p != nil && len(p.On) > 0 && !lists.Contains(p.On, z):
					faults = d.also(faults, at, fmt.Sprintf("the finding %s on %s is answered with %s, which is not written for that zone", finding, z, p.Name))
				}
			}
		}
	}
	half := func(r steps.Row) bool { return len(r.Findings) == 0 || r.Outcome == "" } // said of the row
	if len(faults) == 0 && len(d.Triage.Rows) > 0 && !slices.ContainsFunc(d.Triage.Rows, half) {
		faults = d.unanswered(all, zones)
	}
	return faults
}

// unanswered finds what the table puts in quarantine and no table has replaced: it
// would only be inspected.
func (d *Document) unanswered(all *steps.Triage, zones []string) Faults {
	var faults Faults
	for _, f := range d.Triage.Findings {
		if f.Quarantine.IsZero() {
			continue
		}
		for _, z := range zones {
			i := slices.IndexFunc(steps.Severities()[1:], func(s string) bool { return all.Fits(f.Name, z, s) < 0 })
			if f.In(z) && i >= 0 {
				faults = d.also(faults, d.places[findingAt(f.Name)], fmt.Sprintf("the finding %s is put in quarantine, and no row replaces it or makes it anew on %s where it is %s", f.Name, z, steps.Severities()[1+i]))
				break
			}
		}
	}
	return faults
}

// asOne are the tables of the documents as one.
//
//go:noinline
func asOne(docs []*Document) *steps.Triage {
	var tables []*steps.Triage
	for _, doc := range docs {
		tables = append(tables, doc.Triage)
	}
	return steps.Asked(tables...)
}

// dangerOf says by which finding damage on the zone can hurt, and where that is written.
func (d *Document) dangerOf(all *steps.Triage, asked []*Document, zone string) string {
	f, _ := all.Danger(zone)
	if !f.Quarantine.IsZero() {
		return fmt.Sprintf(", since %s is put in quarantine%s", f.Name, d.quarantinedAt(asked, f.Name))
	}
	at := d.says(asked, unknownAt(zone), func(t *steps.Triage) bool {
		return lists.Contains(t.OwnWords, steps.OwnWords{Zone: zone, Mean: f.Name})
	})
	return fmt.Sprintf(", since words of one's own there mean %s, which has a caution%s", f.Name, at)
}

func (d *Document) quarantinedAt(asked []*Document, name string) string {
	return d.says(asked, findingAt(name), func(t *steps.Triage) bool {
		f, _ := t.Finding(name)
		return !f.Quarantine.IsZero()
	})
}

// says is where the first of the documents whose table says it has it written.
func (d *Document) says(docs []*Document, what string, it func(*steps.Triage) bool) string {
	i := slices.IndexFunc(docs, func(doc *Document) bool { return it(doc.Triage) })
	switch {
	case i < 0:
		return ""
	case docs[i] == d:
		return fmt.Sprintf(" (line %d)", d.places[what].line)
	}
	return fmt.Sprintf(" (%s:%d)", docs[i].File, docs[i].places[what].line)
}
