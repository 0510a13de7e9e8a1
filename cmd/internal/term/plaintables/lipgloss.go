// Package lipgloss stands in for the styles and layouts of that name, which go.mod
// replaces with this module.
//
// The Markdown renderer uses them only to set tables, of which the real module cuts
// long headings off and draws every one as wide as the terminal; beside that it is half
// a megabyte of the program.
//
// This module declares only what github.com/charmbracelet/glamour v1.0.0 needs; its
// package table sets the tables. If a newer renderer needs more it will not compile;
// then remove the replace line from go.mod to use the real module. Only the renderer
// imports this.
package lipgloss

// A Position is where in its column a text stands.
type Position float64

// The positions.
const (
	Left   Position = 0
	Center Position = 0.5
	Right  Position = 1
)

// A Style is how the cells of a column are set: of all that a style may say, where.
type Style struct{ At Position }

// NewStyle returns a style that sets cells to the left.
func NewStyle() Style { return Style{} }

// Align returns the style with another position.
func (s Style) Align(at ...Position) Style {
	if len(at) > 0 {
		s.At = at[0]
	}
	return s
}

// Inline changes nothing, and nor do the others: every cell has one space on both sides.
func (s Style) Inline(bool) Style { return s }

// Margin changes nothing.
func (s Style) Margin(...int) Style { return s }

// Padding changes nothing.
func (s Style) Padding(...int) Style { return s }

// PaddingLeft changes nothing.
func (s Style) PaddingLeft(int) Style { return s }

// PaddingRight changes nothing.
func (s Style) PaddingRight(int) Style { return s }

// A Border is what tables are ruled with: rows by Top, columns by Left, and Middle
// where they cross.
type Border struct{ Top, Bottom, Left, Right, Middle string }

// NormalBorder rules with lines.
func NormalBorder() Border {
	return Border{Top: "─", Bottom: "─", Left: "│", Right: "│", Middle: "┼"}
}
