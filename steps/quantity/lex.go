package quantity

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// A kind is what a token is.
type kind int

const (
	number kind = iota // digits with points and commas
	vulgar             // one rune: ½
	slash
	hyphen // - and its variants: joins a mixed number, separates a range or negates
	dash   // en and em dash: separates a range
	minus  // U+2212: negates or separates a range
	plus
	either // ±, which is written +/- too
	word   // a unit, or "to"
	end
)

// A token is a piece of the text; gap says that there is a space before it.
type token struct {
	kind        kind
	text        string // of a word: with plain quotes and degree signs
	start, stop int    // bytes
	gap         bool
}

// lex splits the text into tokens, the last of kind end. It reports false for a rune
// that cannot be part of a quantity.
func lex(text string) ([]token, bool) {
	tokens := make([]token, 0, 4) // a number, a unit and the end
	gap := false
	for i := 0; i < len(text); {
		r, size := utf8.DecodeRuneInString(text[i:])
		if space(r) {
			gap = true
			i += size
			continue
		}
		t := token{start: i, stop: i + size, gap: gap}
		switch {
		case digit(text, i) || r == '.' && digit(text, i+1):
			t.kind, t.stop = number, endOfNumber(text, i)
		case r == '/' || r == '\u2044' || r == '\u2215':
			t.kind = slash
		case r == '-' || r == '\u2010' || r == '\u2011':
			t.kind = hyphen
		case r == '\u2013' || r == '\u2014':
			t.kind = dash
		case r == '\u2212':
			t.kind = minus
		case r == '±':
			t.kind = either
		case strings.HasPrefix(text[i:], "+/-"):
			t.kind, t.stop = either, i+len("+/-")
		case r == '+':
			t.kind = plus
		case known(r):
			t.kind = vulgar
		default:
			t.kind = word
			plain, stop := readWord(text, i, r, size)
			if plain == "" {
				return nil, false
			}
			t.text, t.stop = plain, stop
		}
		if t.kind != word {
			t.text = text[t.start:t.stop]
		}
		tokens, gap, i = append(tokens, t), false, t.stop
	}
	return append(tokens, token{kind: end, start: len(text), stop: len(text), gap: gap}), true
}

// space lists the spaces that may be within a line. A tab or a line break must not
// be in a quantity, because what was typed is printed again later.
func space(r rune) bool {
	switch r {
	case ' ', '\u00a0', '\u2002', '\u2003', '\u2007', '\u2008', '\u2009', '\u200a', '\u202f':
		return true
	}
	return false
}

func digit(text string, i int) bool { return i < len(text) && text[i] >= '0' && text[i] <= '9' }

func endOfNumber(text string, i int) int {
	for digit(text, i) || i < len(text) && (text[i] == '.' || text[i] == ',') && digit(text, i+1) {
		i++
	}
	return i
}

// readWord reads a unit from text[i:], which begins with r. It returns the unit with
// plain signs, and where it stops; "" if no unit can begin like that.
func readWord(text string, i int, r rune, size int) (string, int) {
	switch r {
	case '%':
		return "%", i + size
	case '°', 'º', '˚': // the second and third are often typed instead of the first
		return "°", i + size
	case '℃':
		return "°c", i + size
	case '℉':
		return "°f", i + size
	case '"', '″', '”', '“':
		return `"`, i + size
	case '\'', '′', '’', '‘':
		if next, more := utf8.DecodeRuneInString(text[i+size:]); next == r {
			return `"`, i + size + more // two single quotes
		}
		return "'", i + size
	}
	stop := i
	for stop < len(text) {
		r, size := utf8.DecodeRuneInString(text[stop:])
		if product := r == '·' || r == '\u22c5' || r == '*' || r == '.'; product && stop > i { // N·m
			if next, _ := utf8.DecodeRuneInString(text[stop+size:]); unicode.IsLetter(next) && next != 'º' {
				stop += size
				continue
			}
		}
		if !unicode.IsLetter(r) || r == 'º' {
			break
		}
		stop += size
	}
	plain := text[i:stop]
	if plain != "" && strings.HasPrefix(text[stop:], ".") && !digit(text, stop+1) {
		stop++ // the full stop of an abbreviation: in.
	}
	return plain, stop
}

// known reports whether the rune is a fraction such as ½.
func known(r rune) bool { n, _ := fractionOf(r); return n != 0 }

func fractionOf(r rune) (num, den int64) {
	switch r {
	case '½':
		return 1, 2
	case '⅓':
		return 1, 3
	case '⅔':
		return 2, 3
	case '¼':
		return 1, 4
	case '¾':
		return 3, 4
	case '⅕':
		return 1, 5
	case '⅖':
		return 2, 5
	case '⅗':
		return 3, 5
	case '⅘':
		return 4, 5
	case '⅙':
		return 1, 6
	case '⅚':
		return 5, 6
	case '⅐':
		return 1, 7
	case '⅛':
		return 1, 8
	case '⅜':
		return 3, 8
	case '⅝':
		return 5, 8
	case '⅞':
		return 7, 8
	case '⅑':
		return 1, 9
	case '⅒':
		return 1, 10
	}
	return 0, 0
}
