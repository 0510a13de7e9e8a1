package repair

import (
	"slices"

	"fettle/steps"
)

// scrapped is the procedure for a part that is not worth repairing: it is cut free as
// its row says, and scrapped after the work on the structure.
func scrapped(a Answer) *steps.Procedure {
	scrap := scrapping(a)
	if a.Procedure == nil {
		return scrap
	}
	return cutFree(a.Procedure, scrap.Stages[0])
}

// cutFree is the procedure that cuts a lost part free, with what is done about it
// after its work on the structure.
func cutFree(p *steps.Procedure, scrap steps.Stage) *steps.Procedure {
	out := *p
	out.Name = "scrap-" + p.Name
	out.Stages = slices.Clone(p.Stages)
	for _, s := range p.Stages {
		if blockOf(s) <= mend {
			scrap.After = append(scrap.After, s.Name)
		}
	}
	scrap.Name = freeStage(&out, scrap.Name)
	scrap.Steps[0].Name = free(&out, scrap.Steps[0].Name)
	out.Stages = append(out.Stages, scrap)
	return &out
}

// scrapping is the procedure for a part that is not worth repairing.
func scrapping(a Answer) *steps.Procedure {
	return &steps.Procedure{Name: "scrap", Stages: []steps.Stage{{Name: "scrap", Title: "Scrap and replace", Phase: steps.Structure, Steps: []steps.Step{{
		Name: "scrap-" + a.Damage.Zone, Title: "Scrap the " + a.Damage.Zone, Kind: steps.Hold, Disturbs: []string{a.Damage.Zone},
		Do: "- Take the part off and mark it as scrap, so that nobody fits it again.\n- Fit a new one as the build of the design says.\n", Why: a.Row.Why,
		Confirm: []string{"The old part is off, and marked as scrap", "A new part is fitted, as the build of the design says"},
	}}}}}
}
