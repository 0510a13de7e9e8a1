package term

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// barWidth is how many characters a bar has if there is room.
const barWidth = 40

// Bar draws progress on the error stream, over the previous bar: done from 0 to
// 1, and a few words. The line is padded to cover a longer one, and fits the
// terminal.
func (s Streams) Bar(done float64, words string) {
	room := max(s.Wide()-1, 0)
	width := min(barWidth, room-utf8.RuneCountInString(words)-len("[] "))
	line := []rune(words)
	if width > 0 {
		full := int(min(max(done, 0), 1) * float64(width))
		line = []rune("[" + strings.Repeat("#", full) + strings.Repeat(".", width-full) + "] " + words)
	}
	fmt.Fprintf(s.Err, "\r%-*s", room, string(line[:min(len(line), room)]))
}
