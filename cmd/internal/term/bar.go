package term

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// barWidth is how many places a bar has where there is room.
const barWidth = 40

// Bar draws on the error side, over the bar before it, how far a thing has come:
// from 0 to 1, and in a few words. The line is padded so that nothing of a longer
// one is left, and stays within the terminal.
func (s Streams) Bar(done float64, words string) {
	room := max(s.Columns-1, 0)
	width := min(barWidth, room-utf8.RuneCountInString(words)-len("[] "))
	line := []rune(words)
	if width > 0 {
		full := int(min(max(done, 0), 1) * float64(width))
		line = []rune("[" + strings.Repeat("#", full) + strings.Repeat(".", width-full) + "] " + words)
	}
	fmt.Fprintf(s.Err, "\r%-*s", room, string(line[:min(len(line), room)]))
}
