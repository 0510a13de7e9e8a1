package procedures

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow/repair"
)

// An answer is what a triage table answers to a finding on a zone of a design.
type answer struct {
	repair.Answer
	table *Document // that has the row
	doc   *Document // of the procedure; nil: nothing says how the lost part is taken off
	at    place     // of the row
	lost  string    // why the lost part cannot be made anew; "": it can, or is not lost
}

// compose has every answer of every table made into a plan of repair for every
// design that it serves, alone and beside another one, and holds that the plan
// can be started: what fails here would fail after the crash. Of what is checked
// with it, only answers that it has a part in.
func (c *checker) compose() error {
	docs := map[string]*Document{}
	for _, d := range c.all() {
		if d.Procedure != nil && docs[d.Name()] == nil {
			docs[d.Name()] = d
		}
	}
	checked := map[*Document]bool{}
	for _, d := range c.docs {
		checked[d] = true
	}
	all := c.all()
	for _, sheet := range c.sheets() {
		if c.bad[sheet] {
			continue
		}
		tables := asked(sheet.Name(), all)
		if len(tables) == 0 || slices.ContainsFunc(tables, func(t *Document) bool { return c.bad[t] }) {
			continue // what the others answer may be answered by the one with faults
		}
		var last *answer
		for _, a := range answersOf(tables, sheet.Sheet, docs) {
			if err := c.ctx.Err(); err != nil {
				return err
			}
			if c.bad[a.doc] || !checked[a.table] && !checked[sheet] && !checked[a.doc] {
				continue
			}
			if why := c.fails(sheet, a); why != "" {
				if why != saidAlready {
					c.cannotStart(sheet, a, why)
				}
				continue
			}
			c.count++
			if last != nil && last.Damage.Zone != a.Damage.Zone {
				both := []repair.Answer{last.Answer, a.Answer}
				if why := c.plan(sheet, both); why != "" {
					c.cannotStart(sheet, a, "beside the answer to "+last.Damage.Finding+" on "+last.Damage.Zone+", "+why)
				}
			}
			last = &a
		}
		if checked[sheet] || slices.ContainsFunc(tables, func(t *Document) bool { return checked[t] }) {
			c.notes = append(c.notes, c.graver(sheet, tables, docs)...)
		}
		i := slices.IndexFunc(tables, func(t *Document) bool { return t.Triage.HardLanding != "" })
		if i < 0 {
			continue
		}
		if d := docs[tables[i].Triage.HardLanding]; d != nil && d.Starts() && !c.bad[d] && (checked[tables[i]] || checked[sheet] || checked[d]) {
			wrong := c.wrong(d, sheet)
			if len(wrong) > 0 && !lists.Contains(c.faults, wrong[0]) {
				c.cannotStart(sheet, answer{table: tables[i], doc: d, at: top()}, wrong[0].Error())
			}
		}
	}
	return nil
}

// answersOf are the answers of the tables, asked in their order, on the design,
// each procedure on each zone once.
func answersOf(tables []*Document, sheet *steps.Sheet, docs map[string]*Document) []answer {
	var all []answer
	asked := asOne(tables)
	met := map[[3]string]bool{}
	add := func(name, zone, severity string) {
		row, known := asked.Answer(name, zone, severity)
		key := [3]string{row.Outcome, row.Procedure, zone}
		if met[key] {
			return
		}
		met[key] = true
		var a answer
		a.table, a.at = rowAmong(tables, asked.Fits(name, zone, severity))
		a.Damage = repair.Damage{Name: fmt.Sprintf("d%d", len(all)+1), Finding: name, Zone: zone, Severity: severity}
		a.Row, a.Known = row, known
		if row.Outcome == steps.ToRebuild {
			off := row.Procedure
			if off == "" {
				off = asked.Lost
			}
			if a.doc = docs[off]; a.doc == nil || !a.doc.Starts() {
				a.doc = nil
			}
			a.rebuilt(sheet, docs)
		} else if row.Procedure != "" {
			if a.doc = docs[row.Procedure]; a.doc == nil || !a.doc.Starts() {
				return // the fault of the name says it
			}
			a.Procedure = a.doc.Procedure
			if len(a.Procedure.On) > 0 {
				a.Zone = zone
			}
		}
		all = append(all, a)
	}
	for _, zone := range sheet.Zones {
		for _, f := range asked.Findings {
			if !f.In(zone) {
				continue
			}
			for _, severity := range asked.Possible(f.Name, zone) {
				add(f.Name, zone, severity)
			}
		}
		add("", zone, steps.Serious) // in words of one's own
	}
	return all
}

// rebuilt has the answer make the part anew by the build of the design, with the
// first answer to each of its choices.
func (a *answer) rebuilt(sheet *steps.Sheet, docs map[string]*Document) {
	loss := repair.Loss{Zones: []string{a.Damage.Zone}, Sheet: sheet}
	if a.doc != nil {
		loss.Off = a.doc.Procedure
	}
	for _, d := range docs {
		if p := d.Procedure; p.Kind == steps.Build && p.Design == sheet.Name {
			var has []string
			for _, c := range sheet.Choices() {
				has = append(has, c.Answers[0].Name)
			}
			loss.Build = p.For(p.ByFirst(steps.Selection{Has: has}), "")
		}
	}
	r, err := repair.Rebuild(loss)
	if err != nil {
		a.lost = err.Error()
		return
	}
	a.Procedure, a.Zone, a.Retires = r.Procedure, a.Damage.Zone, r.Retires
}

// saidAlready is why an answer fails whose reason was said where it stands.
const saidAlready = "said already"

// fails says why an answer can't be started, "" if it can.
func (c *checker) fails(sheet *Document, a answer) string {
	if a.lost != "" {
		return a.lost
	}
	if a.doc != nil && len(a.Retires) == 0 { // what takes a lost part off does so for any zone
		if wrong := c.wrong(a.doc, sheet); len(wrong) > 0 {
			if lists.Contains(c.faults, wrong[0]) {
				return saidAlready
			}
			return wrong[0].Error()
		}
		if a.Zone != "" && !lists.Contains(a.Procedure.On, a.Zone) {
			return a.Procedure.Name + " is not written for that zone"
		}
	}
	return c.plan(sheet, []repair.Answer{a.Answer})
}

// plan makes the plan of the answers for an airframe that was built by the first build
// of the design, and says why it can't be started.
func (c *checker) plan(sheet *Document, answers []repair.Answer) string {
	on := repair.Airframe{Sheet: sheet.Sheet, Gates: sheet.Sheet.Gates}
	for _, d := range c.all() {
		if p := d.Procedure; p != nil && p.Kind == steps.Build && p.Design == sheet.Name() && len(on.Made) == 0 {
			on.Made = p.Made()
		}
	}
	doc, err := Kept(repair.Compose(answers, on).Procedure)
	if err == nil {
		if faults := doc.against(sheet.Sheet, sheet.doubts); len(faults) > 0 {
			err = faults
		}
	}
	var faults Faults
	switch {
	case err == nil:
		return ""
	case errors.As(err, &faults):
		return "the plan made of it has a fault: " + faults[0].Text
	}
	return err.Error()
}

// cannotStart says, once of each procedure and design, that an answer does not
// fit.
func (c *checker) cannotStart(sheet *Document, a answer, why string) {
	table, name := a.table, steps.ToRebuild
	if a.doc != nil {
		name = a.doc.Name()
	}
	key := table.Name() + " " + sheet.Name() + " " + name
	if c.said[key] {
		return
	}
	if c.said == nil {
		c.said = map[string]bool{}
	}
	c.said[key] = true
	what := a.Damage.Finding
	if what == "" {
		what = "damage in words of one's own"
	}
	if a.Damage.Zone != "" {
		what += " on " + a.Damage.Zone
	} else {
		what = "a hard landing"
	}
	if c.own[sheet] && (!c.own[table] || a.lost != "") {
		c.unfit(table, sheet, name, what, why)
		return
	}
	c.faults = append(c.faults, table.fault(a.at, fmt.Sprintf("%s is answered with %s, which can't be started on the design %s: %s", what, name, sheet.Name(), why)))
}

// unfit notes, in one line of each sheet, that answers of the embedded table do
// not fit a design of one's own: it may do without them, but who crashes it must
// not learn so only then.
func (c *checker) unfit(table, sheet *Document, name, what, why string) {
	for i, u := range c.unfits {
		if u.table == table && u.sheet == sheet {
			c.unfits[i].names = append(u.names, name)
			return
		}
	}
	c.unfits = append(c.unfits, unfits{table, sheet, []string{name}, fmt.Sprintf("%s for %s: %s", name, what, why)})
}

// Unfits are answers of a table that can't be started on a design.
type unfits struct {
	table, sheet *Document
	names        []string
	first        string
}

func (u unfits) note() Fault {
	const few = 4
	names := strings.Join(u.names[:min(few, len(u.names))], ", ")
	if more := len(u.names) - few; more > 0 {
		names += fmt.Sprintf(" and %d more", more)
	}
	return u.sheet.fault(top(), fmt.Sprintf("after a crash, these answers of %s can't be started on this design: %s; a triage table for it can answer that damage. The first, %s", u.table.Name(), names, u.first))
}
