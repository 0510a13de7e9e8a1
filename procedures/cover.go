package procedures

import (
	"slices"

	"fettle/steps"
)

// coveredRows are the rows of a table that nothing ever reaches, because an
// earlier row answers whatever fits them.
func coveredRows(rows []steps.Row) map[int]bool {
	ids := map[string]int{}
	bits := func(names []string) []uint64 {
		var set []uint64
		for _, name := range names {
			if _, ok := ids[name]; !ok {
				ids[name] = len(ids)
			}
			for len(set) <= ids[name]/64 {
				set = append(set, 0)
			}
			set[ids[name]/64] |= 1 << (ids[name] % 64)
		}
		return set
	}
	type reach struct{ zones, severities []uint64 } // none: all
	earlier := map[string][]reach{}                 // by finding
	covered := map[int]bool{}
	for i, row := range rows {
		r := reach{bits(row.Zones), bits(row.Severities)}
		covered[i] = slices.ContainsFunc(earlier[row.Finding], func(e reach) bool {
			return within(e.zones, r.zones) && within(e.severities, r.severities)
		})
		earlier[row.Finding] = append(earlier[row.Finding], r)
	}
	return covered
}

// within reports whether all of narrow is in wide.
func within(wide, narrow []uint64) bool {
	if len(wide) == 0 {
		return true
	}
	if len(narrow) == 0 {
		return false
	}
	for i, n := range narrow {
		if i >= len(wide) && n != 0 || i < len(wide) && n&^wide[i] != 0 {
			return false
		}
	}
	return true
}
