package procedures

import (
	"fmt"
	"slices"

	"gopkg.in/yaml.v3"

	"fettle/steps"
)

func (r *reader) triage(n *yaml.Node) *steps.Triage {
	f := r.fields(n, "a triage table", "triage", "title", "revision", "about", "findings", "rows", "unknown", "hard_landing")
	t := &steps.Triage{Name: f.mustName("triage"), Title: f.mustText("title"), About: f.text("about"), HardLanding: f.refers("hard_landing", procedure)}
	if f.must("revision") != nil {
		t.Revision = f.whole("revision", 1_000_000)
	}
	if f.must("unknown") != nil {
		t.Unknown = f.refers("unknown", procedure)
	}
	if f.must("findings") != nil {
		f.each("findings", func(name string, v *yaml.Node) { t.Findings = append(t.Findings, r.finding(name, v)) })
	}
	if v := f.must("rows"); v != nil {
		r.list(v, "rows", func(item *yaml.Node) {
			r.doc.places[rowAt(len(t.Rows))] = at(item)
			t.Rows = append(t.Rows, r.row(item, t))
		})
	}
	return t
}

func (r *reader) finding(name string, n *yaml.Node) steps.Finding {
	f := r.fields(n, "the finding "+name, "title", "zones", "quarantine")
	return steps.Finding{
		Name: name, Title: f.mustText("title"), Quarantine: f.texts("quarantine"),
		Zones: f.names("zones", func(n *yaml.Node, zoneName string) { r.refer(zone, n, zoneName, "") }),
	}
}

func (r *reader) row(n *yaml.Node, t *steps.Triage) steps.Row {
	f := r.fields(n, "a row", "finding", "zone", "severity", steps.ToRepair, steps.ToReplace, steps.ToScrap, "why")
	row := steps.Row{Finding: f.mustName("finding"), Why: f.mustText("why")}
	if _, ok := t.Finding(row.Finding); row.Finding != "" && !ok {
		var known []string
		for _, one := range t.Findings {
			known = append(known, one.Name)
		}
		r.fault(f.values["finding"], "unknown finding %q%s", row.Finding, suggest(row.Finding, known))
	}
	row.Zones = f.oneOrMore("zone", func(n *yaml.Node, name string) { r.refer(zone, n, name, "") })
	row.Severities = f.oneOrMore("severity", func(n *yaml.Node, name string) {
		if !slices.Contains(steps.Severities(), name) {
			r.fault(n, "unknown severity %q%s", name, suggest(name, steps.Severities()))
		}
	})
	var has []string
	for _, outcome := range []string{steps.ToRepair, steps.ToReplace, steps.ToScrap} {
		if f.has(outcome) {
			has = append(has, outcome)
		}
	}
	if len(has) != 1 {
		r.fault(n, "a row says one of repair, replace and scrap")
		return row
	}
	row.Outcome = has[0]
	if row.Outcome == steps.ToScrap {
		if !f.yes(steps.ToScrap) {
			r.fault(f.values[steps.ToScrap], "scrap is yes, or the line is left away")
		}
		return row
	}
	row.Procedure = f.refers(row.Outcome, procedure)
	return row
}

// oneOrMore is one name or a list of them.
func (f fields) oneOrMore(key string, each func(n *yaml.Node, name string)) []string {
	n := f.values[key]
	if n == nil || n.Kind == yaml.SequenceNode {
		return f.names(key, each)
	}
	name := f.name(key)
	if name == "" {
		return nil
	}
	each(n, name)
	return []string{name}
}

// answered finds what a triage table names and the library has not, rows that
// no finding ever reaches, and repairs that can't be started on a zone.
func (d *Document) answered(sheets []*steps.Sheet, known []*Document) Faults {
	var zones []string
	for _, s := range sheets {
		zones = append(zones, s.Zones...)
	}
	var names []string
	byName := map[string]*steps.Procedure{}
	for _, k := range known {
		if k.Procedure != nil {
			names = append(names, k.Name())
			byName[k.Name()] = k.Procedure
		}
	}
	var faults Faults
	for _, ref := range d.names {
		valid := map[thing][]string{zone: zones, procedure: names}[ref.to]
		if !slices.Contains(valid, ref.name) {
			faults = append(faults, d.fault(ref.at, fmt.Sprintf("unknown %s %q%s", ref.to, ref.name, suggest(ref.name, valid))))
		}
		if p, ok := byName[ref.name]; ok && ref.to == procedure && p.Kind == steps.Build {
			faults = append(faults, d.fault(ref.at, fmt.Sprintf("%s is a build, which answers no damage", ref.name)))
		}
	}
	for i, row := range d.Triage.Rows {
		at := d.places[rowAt(i)]
		if slices.ContainsFunc(d.Triage.Rows[:i], func(earlier steps.Row) bool { return covers(earlier, row) }) {
			faults = append(faults, d.fault(at, fmt.Sprintf("no finding %s ever reaches this row: an earlier one answers it", row.Finding)))
		}
		p, ok := byName[row.Procedure]
		if !ok {
			continue
		}
		for _, z := range row.Zones {
			if len(p.On) > 0 && !slices.Contains(p.On, z) {
				faults = append(faults, d.fault(at, fmt.Sprintf("the finding %s on %s is answered with %s, which is not written for that zone", row.Finding, z, p.Name)))
			}
		}
	}
	return faults
}

// covers reports whether whatever fits the later row fits the earlier one.
func covers(earlier, later steps.Row) bool {
	within := func(wide, narrow []string) bool {
		if len(wide) == 0 {
			return true
		}
		return len(narrow) > 0 && !slices.ContainsFunc(narrow, func(one string) bool { return !slices.Contains(wide, one) })
	}
	return earlier.Finding == later.Finding && within(earlier.Zones, later.Zones) && within(earlier.Severities, later.Severities)
}
