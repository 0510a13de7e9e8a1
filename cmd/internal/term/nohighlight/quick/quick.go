// Package quick stands in for the highlighter's function of one call.
package quick

import "io"

// Highlight writes the source as it is. Language, formatter and theme are
// ignored.
func Highlight(w io.Writer, source, language, formatter, theme string) error {
	_, err := io.WriteString(w, source)
	return err
}
