package screen

import (
	"slices"
	"strings"
	"unicode"

	xansi "github.com/charmbracelet/x/ansi"

	"fettle/cmd/internal/term"
)

// mostTyped is how many characters a field takes.
const mostTyped = 2000

// A field is a line of text that is being typed.
type field struct {
	text []rune
	at   int // the cursor stands before this character
}

func (f *field) String() string { return string(f.text) }

// insert puts a text where the cursor is: of several lines the first one, and
// nothing that a terminal would act on.
func (f *field) insert(text string) {
	text, _, _ = strings.Cut(strings.TrimLeft(text, "\r\n"), "\n")
	add := []rune(term.Clean(strings.Map(func(r rune) rune {
		if unicode.IsSpace(r) {
			return ' '
		}
		return r
	}, strings.TrimRight(text, "\r"))))
	add = add[:min(len(add), mostTyped-len(f.text))]
	f.text = append(f.text[:f.at:f.at], append(add, f.text[f.at:]...)...)
	f.at += len(add)
}

// edit moves the cursor or deletes, and reports whether the key does so.
func (f *field) edit(key string) bool {
	word := f.at // where the word before the cursor begins
	for word > 0 && f.text[word-1] == ' ' {
		word--
	}
	for word > 0 && f.text[word-1] != ' ' {
		word--
	}
	from, to := f.at, f.at // is deleted
	switch key {
	case "left":
		f.at = max(f.at-1, 0)
	case "right":
		f.at = min(f.at+1, len(f.text))
	case "home", "ctrl+a":
		f.at = 0
	case "end", "ctrl+e":
		f.at = len(f.text)
	case "backspace", "ctrl+h":
		from = max(f.at-1, 0)
	case "delete", "ctrl+d":
		to = min(f.at+1, len(f.text))
	case "ctrl+w":
		from = word
	case "ctrl+u":
		from = 0
	default:
		return false
	}
	if from < to {
		f.text, f.at = slices.Delete(f.text, from, to), from
	}
	return true
}

// shown is the part of the text around the cursor that has room, and where in it
// the cursor is.
func (f *field) shown(room int) (text string, cursor int) {
	from := 0
	for xansi.StringWidth(string(f.text[from:f.at])) >= room && from < f.at {
		from++
	}
	return xansi.Truncate(string(f.text[from:]), room, ""), xansi.StringWidth(string(f.text[from:f.at]))
}
