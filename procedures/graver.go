package procedures

import (
	"fmt"
	"slices"

	"fettle/steps"
)

// asks is what a repair asks of who carries it out, as far as it may never be less
// for graver damage.
type asks struct {
	joints   int      // that cure before anything is measured
	cautions []string // each once
	disturbs []string // zones whose gates are measured again
}

// asksOf is what the procedure asks when it is started on the zone, whatever is chosen.
func asksOf(p *steps.Procedure, zone string) asks {
	var a asks
	cured := map[string]bool{}
	for _, s := range p.Steps() {
		if s.Kind.Traits().Passes && s.Until == steps.UntilCure {
			cured[s.Joint] = true
		}
		a.cautions = append(a.cautions, s.Cautions...)
		for _, z := range s.Disturbs {
			if z == steps.Here {
				z = zone
			}
			a.disturbs = append(a.disturbs, z)
		}
	}
	once := func(names []string) []string { return slices.Compact(slices.Sorted(slices.Values(names))) }
	return asks{len(cured), once(a.cautions), once(a.disturbs)}
}

// less says what the graver answer lacks of the lighter one; "": nothing.
func (a asks) less(lighter asks) string {
	switch left := without(lighter.disturbs, a.disturbs); {
	case len(left) > 0:
		return fmt.Sprintf("does not measure %s again", listed(left))
	case a.joints < lighter.joints:
		return fmt.Sprintf("lets %d joints cure in place of %d", a.joints, lighter.joints)
	case len(a.cautions) < len(lighter.cautions):
		return fmt.Sprintf("has %d cautions in place of %d", len(a.cautions), len(lighter.cautions))
	}
	return ""
}

// graver finds rows that ask less of graver damage than others do of lighter damage
// to the same: what was worse would be repaired with less care. And it finds zones of
// which a total loss has no answer: no procedure, and no build that makes them anew.
func (c *checker) graver(sheet *Document, tables []*Document, docs map[string]*Document) Faults {
	asked := asOne(tables)
	made, makes := c.madeAnew(sheet)
	var faults Faults
	for _, zone := range sheet.Sheet.Zones {
		for _, f := range asked.Findings {
			if !f.In(zone) {
				continue
			}
			var lighter asks
			var by string
			for _, severity := range asked.Possible(f.Name, zone) {
				row, _ := asked.Answer(f.Name, zone, severity)
				table, at := rowAmong(tables, asked.Fits(f.Name, zone, severity))
				doc := docs[row.Procedure]
				if row.Outcome == steps.ToRebuild {
					if makes && !slices.Contains(made, zone) {
						faults = append(faults, table.fault(at, fmt.Sprintf("%s on %s, %s, is lost, and no build of %s makes %s anew: answer it with a procedure", f.Name, zone, severity, sheet.Name(), zone)))
					}
					break // the build says what is done
				}
				if doc == nil || doc.Procedure == nil {
					break // said where it stands
				}
				now := asksOf(doc.Procedure, zone)
				if why := now.less(lighter); why != "" {
					faults = append(faults, table.fault(at, fmt.Sprintf("%s on %s, %s, is answered with %s, which %s, as %s for lighter damage does: graver damage never asks less", f.Name, zone, severity, doc.Name(), why, by)))
				}
				lighter, by = now, doc.Name()
			}
		}
	}
	return faults
}

// rowAmong is the table of that row of all, and where the row stands.
func rowAmong(tables []*Document, row int) (*Document, place) {
	for _, t := range tables {
		if row >= 0 && row < len(t.Triage.Rows) {
			return t, t.places[rowAt(row)]
		}
		row -= len(t.Triage.Rows)
	}
	return tables[0], top()
}

// madeAnew are the zones that builds of the design make before what is checked again
// at the end. Where none says what it makes, nobody knows.
func (c *checker) madeAnew(sheet *Document) (zones []string, said bool) {
	for _, d := range c.all() {
		if d.Procedure == nil || d.Procedure.Kind != steps.Build || d.Procedure.Design != sheet.Name() {
			continue
		}
		for _, stage := range d.Procedure.Stages {
			for _, s := range stage.Steps {
				said = said || len(s.Makes) > 0
				for _, m := range s.Makes {
					if stage.Phase != steps.Recheck {
						zones = append(zones, m.Zone)
					}
				}
			}
		}
	}
	return zones, said
}
