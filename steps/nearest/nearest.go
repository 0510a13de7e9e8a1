// Package nearest finds the name that somebody probably meant.
package nearest

import "strings"

// Names longer than longest get no suggestion, and only the first mostSeen known
// ones are compared: a file may hold any number of any length.
const (
	longest  = 80
	mostSeen = 1000
)

// Of returns the known name nearest to the given one, or "" if none is near enough
// to suggest: a third of its letters and one more may differ, and case does not count.
func Of(name string, known []string) string {
	if len(name) > longest {
		return ""
	}
	from := []rune(strings.ToLower(name))
	best, least := "", len(from)/3+1
	for _, k := range known[:min(len(known), mostSeen)] {
		if len(k) > longest || len(k)+least < len(from) {
			continue // a rune has one byte at least
		}
		to := []rune(strings.ToLower(k))
		if d := len(to) - len(from); d > least || -d > least {
			continue
		}
		if d := distance(from, to); d < least || d == least && best == "" {
			best, least = k, d
		}
	}
	return best
}

// distance is the Levenshtein distance.
func distance(from, to []rune) int {
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
