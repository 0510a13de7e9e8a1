package procedures

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// The most that a document may be that somebody writes. One that is kept with a
// job, and was accepted in its day, may be larger: mostBytes and deepest.
const (
	largestFile  = 512 << 10
	mostNodes    = 40_000
	deepestNodes = 40
)

// tooMuch refuses a text that would cost too much to take apart. It counts
// what can begin a node, wherever it stands, so that no quote and no comment
// can hide any: more than there are, and at least half of what there are.
func tooMuch(file string, data []byte) Faults {
	at := func(i int, format string, args ...any) Faults {
		line, column := placeOf(data[:i])
		return Faults{{file, line, column, fmt.Sprintf(format, args...)}}
	}
	if len(data) > largestFile {
		return Faults{{file, 0, 0, fmt.Sprintf("the document has %d bytes; the limit is %d (512 KiB)", len(data), largestFile)}}
	}
	nodes, flow := 0, 0
	var indents []int
	for i := 0; i < len(data); i++ {
		switch c := data[i]; c {
		case '\n':
			nodes++
		case ',':
			nodes++
		case '[', '{':
			nodes++
			flow++
		case ']', '}':
			flow = max(0, flow-1)
		case ':', '-', '?':
			if i+1 == len(data) || data[i+1] <= ' ' {
				nodes++
			}
		}
		if i == 0 || data[i-1] == '\n' {
			indents = deeper(indents, data[i:])
		}
		if flow+len(indents) > 2*deepestNodes || flow > deepestNodes || len(indents) > deepestNodes {
			return at(i, "nested more than %d levels deep", deepestNodes)
		}
		if nodes > 2*mostNodes {
			return at(i, "the document has more than %d entries", mostNodes)
		}
	}
	return nil
}

// deeper are the columns at which a line may go deeper, those of the lines
// above it that it stands in among them.
func deeper(indents []int, line []byte) []int {
	column := 0
	for column < len(line) && line[column] == ' ' {
		column++
	}
	if column == len(line) || line[column] == '\n' || line[column] == '\r' {
		return indents
	}
	for len(indents) > 0 && indents[len(indents)-1] >= column {
		indents = indents[:len(indents)-1]
	}
	for {
		indents = append(indents, column)
		if column+1 >= len(line) || line[column] != '-' && line[column] != '?' || line[column+1] != ' ' && line[column+1] != '\t' {
			return indents
		}
		for column++; column < len(line) && (line[column] == ' ' || line[column] == '\t'); column++ {
		}
		if column == len(line) || len(indents) > deepestNodes {
			return indents
		}
	}
}

// notYAML names what is wrong with a text that YAML refuses: the slips that are
// seen, and where they are not all of it, the line at which it stops. The text
// is given as it reads once they are mended, nil where it can't be read then.
func notYAML(file string, data []byte, refused error) (Faults, []byte) {
	if odd := oddSpaces(file, data); odd != nil {
		return odd, nil
	}
	slips, mended := mend(data)
	var faults Faults
	for _, s := range slips {
		faults = append(faults, s.fault(file))
	}
	err := refused
	if len(slips) > 0 {
		if err = parses(mended); err == nil {
			return faults, mended
		}
	}
	line := stopsAt(mended, err)
	if slices.ContainsFunc(slips, func(s slip) bool { return abs(s.line-line) <= 1 }) {
		return faults, nil
	}
	_, text := yamlError(err)
	text = "not YAML here, or in the lines just above: " + strings.TrimPrefix(text, "not YAML: ")
	lines := bytes.Split(data, []byte("\n"))
	column := 1
	if line <= len(lines) {
		column = len(lines[line-1]) - len(bytes.TrimLeft(lines[line-1], " ")) + 1
	}
	return append(faults, Fault{file, line, column, legible(text)}), nil
}

// oddSpaces finds lines that are indented with another space than the plain one,
// which YAML takes for text: where the text can be read with plain ones.
func oddSpaces(file string, data []byte) Faults {
	var first Faults
	more := 0
	lines := strings.Split(string(data), "\n")
	for i, line := range lines {
		rest := strings.TrimLeft(line, " \t\uFEFF")
		c, _ := utf8.DecodeRuneInString(rest)
		trimmed := strings.TrimLeftFunc(rest, isSpace)
		if !isSpace(c) || !dash(trimmed) && !keyed().MatchString(trimmed) {
			continue
		}
		indent := utf8.RuneCountInString(line[:len(line)-len(trimmed)])
		lines[i] = strings.Repeat(" ", indent) + trimmed
		if first != nil {
			more++
			continue
		}
		s := slip{i + 1, utf8.RuneCountInString(line[:len(line)-len(rest)]) + 1,
			fmt.Sprintf("the space U+%04X in the indentation is not the plain one: lines are indented with plain spaces, this one with %d", c, indent), trimmed}
		first = Faults{s.fault(file)}
	}
	if first == nil {
		return nil
	}
	if _, mended := mend([]byte(strings.Join(lines, "\n"))); parses(mended) != nil {
		return nil
	}
	if more > 0 {
		first[0].Text += fmt.Sprintf("; so in %d more lines", more)
	}
	return first
}

// isSpace reports whether a character shows as a space, or as nothing.
func isSpace(c rune) bool {
	return unicode.IsSpace(c) && c != '\r' && c != '\n' || c == '\u200b' || c == '\u2060' || c == '\ufeff'
}

// stopsAt is the line at which YAML refuses a text. The library's own number is
// often that of the beginning of what surrounds it; the text up to a line that
// begins a key or an entry can be read for itself, unless the fault is in it.
func stopsAt(data []byte, err error) int {
	said, _ := yamlError(err)
	lines := bytes.SplitAfter(data, []byte("\n"))
	good, bad := 0, len(lines) // lines that can be read, and that can't
	for bad-good > 1 && len(data) <= largestFile/4 {
		middle := (good + bad) / 2
		if parses(bytes.Join(lines[:middle], nil)) == nil {
			good = middle
		} else {
			bad = middle
		}
	}
	if len(data) > largestFile/4 {
		return min(max(1, said), len(lines))
	}
	return min(max(bad, 1), len(lines))
}
