package term

import (
	"fmt"
	"os"
	"strings"

	xansi "github.com/charmbracelet/x/ansi"
	"golang.org/x/term"
)

// A Row is a line of what is drawn in place.
type Row struct {
	Text   string
	Strong bool
}

// Draw draws the rows over the whole terminal, in the size that it has now. What there is
// no room for is left out: at the right, and at the bottom.
func (s Streams) Draw(rows []Row) {
	width, height := s.Columns, len(rows)
	if out, ok := s.Out.(*os.File); ok {
		if w, h, err := term.GetSize(int(out.Fd())); err == nil && w > 0 && h > 0 {
			width, height = w, h
		}
	}
	const home, restOfLine, restOfScreen, strong, plain = "\x1b[H", "\x1b[K", "\x1b[J", "\x1b[1m", "\x1b[m"
	lines := make([]string, 0, len(rows))
	for _, r := range rows[:min(len(rows), height)] {
		text := xansi.Truncate(strings.ReplaceAll(Clean(r.Text), "\n", " "), width-1, "…") // in the last column the rest of the line is that column
		if r.Strong && s.Colour {
			text = strong + text + plain
		}
		lines = append(lines, text+restOfLine)
	}
	fmt.Fprint(s.Out, home+strings.Join(lines, "\r\n")+restOfScreen)
}
