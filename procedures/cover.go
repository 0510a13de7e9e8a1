package procedures

import (
	"slices"

	"fettle/steps"
)

// coveredRows are the rows of a table that nothing ever reaches, because an
// earlier row answers whatever fits them.
func coveredRows(rows []steps.Row) map[int][]string {
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
	covered := map[int][]string{}
	for i, row := range rows {
		severities := row.Severities
		if len(severities) == 0 {
			severities = steps.Severities()[1:]
		}
		r := reach{bits(row.Zones), bits(severities)}
		for _, finding := range row.Findings {
			if slices.ContainsFunc(earlier[finding], func(e reach) bool { return within(e.zones, r.zones) && within(e.severities, r.severities) }) {
				covered[i] = append(covered[i], finding)
			}
			earlier[finding] = append(earlier[finding], r)
		}
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
