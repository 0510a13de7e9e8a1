package procedures

import (
	"fmt"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow/repair"
)

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
			var lighter repair.Asks
			var by string
			for _, severity := range asked.Possible(f.Name, zone) {
				row, _ := asked.Answer(f.Name, zone, severity)
				table, at := rowAmong(tables, asked.Fits(f.Name, zone, severity))
				doc := docs[row.Procedure]
				if row.Outcome == steps.ToRebuild {
					if makes && !lists.Contains(made, zone) {
						faults = table.also(faults, at, fmt.Sprintf("%s on %s, %s, is lost, and no build of %s makes %s anew: answer it with a procedure", f.Name, zone, severity, sheet.Name(), zone))
					}
					break // the build says what is done
				}
				if doc == nil || doc.Procedure == nil {
					break // said where it stands
				}
				now := repair.AsksOf(doc.Procedure, zone)
				if why := now.Less(lighter); why != "" {
					faults = table.also(faults, at, fmt.Sprintf("%s on %s, %s, is answered with %s, which %s, as %s for lighter damage does: graver damage never asks less", f.Name, zone, severity, doc.Name(), why, by))
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
