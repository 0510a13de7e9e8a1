package seal

import (
	"slices"
	"strings"
)

// Lift takes a seal or a proof out of a text that it was copied with: it leaves
// out the words before and behind it, space at the ends of a line and the line
// ends of another system, and mends a signature that a screen has broken. A seal
// that is well made is given back as it is, and so is what holds no signature.
//
// Nothing is trusted for having been lifted: it is checked like any other.
func Lift(copied []byte) []byte {
	if _, err := Read(copied); err == nil || len(copied) > maxInclusion {
		return copied
	}
	lines := mended(strings.Split(string(copied), "\n"))
	first := slices.IndexFunc(lines, signs)
	if first < 0 {
		return copied
	}
	begin, above, last := 0, first, first // above: behind the text that is signed
	if head := slices.IndexFunc(lines[:first], beginsProof); head >= 0 {
		begin = head
		for i, line := range lines { // a proof may hold another seal
			if signs(line) {
				last = i
			}
		}
	} else {
		for last+1 < len(lines) && signs(lines[last+1]) {
			last++
		}
		for above > 0 && lines[above-1] == "" {
			above--
		}
		for begin = above; begin > 0 && lines[begin-1] != ""; begin-- {
		}
		lines = slices.Replace(lines, above, first, "") // one empty line, however many there were
		last += 1 - (first - above)
	}
	return []byte(strings.Join(lines[begin:last+1], "\n") + "\n")
}

// mended are lines without space at their ends, each signature on one line.
func mended(broken []string) (lines []string) {
	open := false // the last line is a signature, and may go on
	for _, line := range broken {
		line = strings.TrimSpace(line)
		if open && line != "" && isBase64(line) {
			last := &lines[len(lines)-1]
			if strings.Count(*last, " ") == 1 { // broken behind the name of who signed
				*last += " "
			}
			*last += line
			continue
		}
		open = signs(line)
		lines = append(lines, line)
	}
	return lines
}

func signs(line string) bool { return strings.HasPrefix(line, "— ") }

func beginsProof(line string) bool { return line == inclusionLine || line == consistencyLine }

func isBase64(line string) bool {
	return strings.Trim(line, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/=") == ""
}
