package book

import (
	"cmp"
	"fmt"
	"reflect"
	"strconv"
	"strings"

	"fettle/steps/lists"
)

// A piece of a layout is a text, or what stands between braces, up to its end.
type piece struct {
	is   string // say, if, with, range or template; "": a text
	text string // of a text; of a template its name
	of   operand
	vars []string // which are set to what it is of

	then, otherwise []piece
}

// An operand is a value: what a call makes of its arguments, or fixed, or fields of a variable, or of what is at hand (".").
type operand struct {
	call   string
	args   []operand
	fixed  reflect.Value
	of     string
	fields []string
}

// A layoutReader takes a layout apart.
type layoutReader struct {
	rest  string
	calls map[string]any
	named map[string][]piece // those that are defined
}

// next is the text up to what stands between the next braces, and the words of that, nil at the end.
func (r *layoutReader) next() (text string, words []string, err error) {
	text, rest, more := strings.Cut(r.rest, "{{")
	if !more {
		r.rest = ""
		return text, nil, nil
	}
	action, rest, closed := strings.Cut(rest, "}}")
	if !closed {
		return "", nil, fmt.Errorf("no }} behind %q", action)
	}
	if after, trims := strings.CutPrefix(action, "- "); trims {
		action, text = after, strings.TrimRight(text, " \t\r\n")
	}
	if before, trims := strings.CutSuffix(action, " -"); trims {
		action, rest = before, strings.TrimLeft(rest, " \t\r\n")
	}
	r.rest = rest
	for action = strings.TrimLeft(action, " "); action != ""; action = strings.TrimLeft(action, " ") {
		end := strings.IndexAny(action[1:], " (),\"") + 1
		switch quoted, err := strconv.QuotedPrefix(action); {
		case err == nil:
			end = len(quoted)
		case strings.IndexByte("(),", action[0]) >= 0:
			end = 1
		case end == 0:
			end = len(action)
		}
		words, action = append(words, action[:end]), action[end:]
	}
	if len(words) == 0 {
		err = fmt.Errorf("nothing in {{%s}}", action)
	}
	return text, words, err
}

// parts are those up to the end of what they are in, with the words that end it, none at the end of the layout.
func (r *layoutReader) parts() (parts []piece, ends []string, err error) {
	for {
		text, words, err := r.next()
		if err != nil {
			return nil, nil, err
		}
		if text != "" {
			parts = append(parts, piece{text: text})
		}
		if len(words) == 0 || words[0] == "end" || words[0] == "else" {
			return parts, words, nil
		}
		p, err := r.piece(words)
		if err != nil {
			return nil, nil, fmt.Errorf("%w in {{%s}}", err, strings.Join(words, " "))
		}
		if p.is != "define" {
			parts = append(parts, p)
		}
	}
}

// piece is what begins with the words between braces.
func (r *layoutReader) piece(words []string) (p piece, err error) {
	p.is = "say"
	if lists.Contains([]string{"if", "with", "range", "template", "define"}, words[0]) {
		p.is, words = words[0], words[1:]
	}
	if p.is == "template" || p.is == "define" {
		if len(words) == 0 {
			return p, fmt.Errorf("no name")
		}
		if p.text, err = strconv.Unquote(words[0]); err != nil {
			return p, err
		}
		words = words[1:]
	}
	if at := lists.Index(words, ":="); at > 0 {
		for _, w := range words[:at] {
			if w != "," {
				p.vars = append(p.vars, w)
			}
		}
		words = words[at+1:]
	}
	if len(words) > 0 || p.is != "template" && p.is != "define" {
		if p.of, words, err = r.expression(words); err == nil && len(words) > 0 {
			err = fmt.Errorf("unexpected %s", words[0])
		}
	}
	if err != nil || p.is == "say" || p.is == "template" {
		return p, err
	}
	var ends []string
	if p.then, ends, err = r.parts(); err != nil {
		return p, err
	}
	switch {
	case p.is == "define":
		r.named[p.text] = p.then
	case len(ends) == 1 && ends[0] == "else":
		p.otherwise, ends, err = r.parts()
	case len(ends) > 1 && ends[0] == "else":
		var other piece
		other, err = r.piece(ends[1:]) // it ends with this one
		p.otherwise, ends = []piece{other}, []string{"end"}
	}
	if err == nil && (len(ends) != 1 || ends[0] != "end") {
		err = fmt.Errorf("no end")
	}
	return p, err
}

// expression is a call with its arguments, or a value, and the words behind it.
func (r *layoutReader) expression(words []string) (operand, []string, error) {
	if len(words) == 0 || r.calls[words[0]] == nil {
		return r.operand(words)
	}
	t := operand{call: words[0]}
	for words = words[1:]; len(words) > 0 && words[0] != ")"; {
		a, rest, err := r.operand(words)
		if err != nil {
			return t, nil, err
		}
		t.args, words = append(t.args, a), rest
	}
	return t, words, nil
}

// operand is what stands in one word, or in parentheses, and the words behind it.
func (r *layoutReader) operand(words []string) (t operand, rest []string, err error) {
	if len(words) == 0 {
		return t, nil, fmt.Errorf("no value")
	}
	word, rest := words[0], words[1:]
	switch {
	case word == "(":
		if t, rest, err = r.expression(rest); err == nil && (len(rest) == 0 || rest[0] != ")") {
			err = fmt.Errorf("no )")
		}
		if err != nil {
			return t, nil, err
		}
		return t, rest[1:], nil
	case word[0] == '"':
		text, err := strconv.Unquote(word)
		return operand{fixed: reflect.ValueOf(text)}, rest, err
	case word[0] == '.' || word[0] == '$':
		of, after, _ := strings.Cut(word, ".")
		t.of = cmp.Or(of, ".")
		if after != "" {
			t.fields = strings.Split(after, ".")
		}
		return t, rest, nil
	case r.calls[word] != nil:
		return operand{call: word}, rest, nil
	}
	n, err := strconv.ParseInt(word, 10, 64)
	return operand{fixed: reflect.ValueOf(n)}, rest, err
}
