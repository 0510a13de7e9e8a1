// Package nearest finds the name that somebody probably meant.
package nearest

import "strings"

// Of returns the known name nearest to the given one, or "" if none is near enough
// to suggest: a third of its letters and one more may differ, and case does not count.
func Of(name string, known []string) string {
	best, least := "", len([]rune(name))/3+1
	for _, k := range known {
		if d := distance(strings.ToLower(name), strings.ToLower(k)); d < least || d == least && best == "" {
			best, least = k, d
		}
	}
	return best
}

// distance is the Levenshtein distance in runes.
func distance(a, b string) int {
	from, to := []rune(a), []rune(b)
	row := make([]int, len(to)+1)
	for j := range row {
		row[j] = j
	}
	for i, r := range from {
		diagonal := row[0]
		row[0] = i + 1
		for j, s := range to {
			cost := diagonal
			if r != s {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(row[j+1]+1, row[j]+1, cost)
		}
	}
	return row[len(to)]
}
