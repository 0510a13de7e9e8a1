package procedures

import (
	"fmt"
	"strings"
)

// Excerpt is a part of an embedded document as it is written: each of the lines
// that begin so, with all that is indented below it. It is moved to the left edge.
func Excerpt(file string, beginnings ...string) (string, error) {
	data, err := embeddedFile(strings.TrimSuffix(file, ".yaml"))
	if err != nil {
		return "", fmt.Errorf("an excerpt of %s: %w", file, err)
	}
	lines := strings.Split(string(data), "\n")
	var out strings.Builder
	for _, begins := range beginnings {
		at := -1
		for i, line := range lines {
			if strings.HasPrefix(strings.TrimLeft(line, " "), begins) {
				at = i
				break
			}
		}
		if at < 0 {
			return "", fmt.Errorf("an excerpt of %s: no line begins with %q", file, begins)
		}
		indent := len(lines[at]) - len(strings.TrimLeft(lines[at], " "))
		out.WriteString(lines[at][indent:] + "\n")
		for _, line := range lines[at+1:] {
			if deeper := len(line) - len(strings.TrimLeft(line, " ")); line == "" || deeper <= indent {
				break
			}
			out.WriteString(line[indent:] + "\n")
		}
	}
	return out.String(), nil
}
