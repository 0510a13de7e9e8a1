package term

import (
	"strings"

	xansi "github.com/charmbracelet/x/ansi"
)

// Fold breaks lines that are longer than the terminal is wide, between words. Elsewhere
// they stay as they are, for whoever reads them with a program.
func (s Streams) Fold(text string) string {
	if s.Size == nil {
		return text
	}
	return fold(text, s.Wide())
}

// fold breaks lines between words. The rest of a line of two columns, such as an option
// and what it does, goes below the second; of any other, below its first word.
func fold(text string, width int) string {
	var b strings.Builder
	for line := range strings.Lines(text) {
		words := strings.TrimLeft(line, " ")
		indent := len(line) - len(words)
		if gap := strings.Index(words, "  "); gap > 0 {
			second := strings.TrimLeft(words[gap:], " ")
			if column := xansi.StringWidth(line) - xansi.StringWidth(second); column <= width/2 {
				indent = column
			}
		}
		for xansi.StringWidth(strings.TrimRight(line, " \n")) > width {
			at := lastBreak(line, width)
			if at < 0 {
				break // one word, which is wider than the terminal
			}
			b.WriteString(strings.TrimRight(line[:at], " ") + "\n")
			line = strings.Repeat(" ", min(indent, width/2)) + strings.TrimLeft(line[at:], " ")
		}
		b.WriteString(line)
	}
	return b.String()
}

// lastBreak is the last space in a line that leaves words in front of it which fit, or
// the first one behind a word that does not; -1: there is none.
func lastBreak(line string, width int) int {
	last := -1
	for i, r := range line {
		if r != ' ' || strings.TrimSpace(line[:i]) == "" || strings.TrimSpace(line[i:]) == "" {
			continue
		}
		if last >= 0 && xansi.StringWidth(strings.TrimRight(line[:i], " ")) > width {
			break
		}
		last = i
	}
	return last
}
