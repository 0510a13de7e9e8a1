package repair

import (
	"fmt"
	"slices"
	"strings"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
)

// Asks are what a repair asks of who carries it out, as far as it may never be less
// for graver damage.
type Asks struct {
	joints   int      // that cure before anything is measured
	cautions []string // each once
	disturbs []string // zones whose gates are measured again
}

// AsksOf is what the procedure asks when it is started on the zone, whatever is chosen.
func AsksOf(p *steps.Procedure, zone string) Asks {
	var a Asks
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
	once := func(names []string) []string { return lists.Compact(slices.Sorted(slices.Values(names))) }
	return Asks{len(cured), once(a.cautions), once(a.disturbs)}
}

// Less says what the graver answer lacks of the lighter one; "": nothing.
func (a Asks) Less(lighter Asks) string {
	switch left := sorting.Delete(lists.Clone(lighter.disturbs), func(z string) bool { return lists.Contains(a.disturbs, z) }); {
	case len(left) > 0:
		return fmt.Sprintf("does not measure %s again", strings.Join(left, " or "))
	case a.joints < lighter.joints:
		return fmt.Sprintf("lets %d joints cure in place of %d", a.joints, lighter.joints)
	case len(a.cautions) < len(lighter.cautions):
		return fmt.Sprintf("has %d cautions in place of %d", len(a.cautions), len(lighter.cautions))
	}
	return ""
}
