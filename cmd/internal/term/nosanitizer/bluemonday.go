// Package bluemonday stands in for the sanitizer of web pages of that name,
// which go.mod replaces with this module.
//
// The Markdown renderer uses one of its many policies, that no tag is left of
// HTML in a text. The real module compiles the rules for every property of CSS
// when a program starts, which was an eighth of the time that a command took.
//
// The stand-in has that one policy, by the same tokenizer of HTML, and none for
// web pages: it declares no more than github.com/charmbracelet/glamour v1.0.0
// needs. What it leaves is for a terminal, which the package term makes safe
// whatever tags are in it. A newer renderer that asks for another policy does not
// compile with it: then drop the replace line in go.mod to have the real module
// back. Nothing imports this but the renderer.
package bluemonday

import (
	"strings"

	"golang.org/x/net/html"
)

// A Policy is what of HTML is left: its text.
type Policy struct{}

// StrictPolicy gives the policy that no tag is left.
func StrictPolicy() *Policy { return new(Policy) }

// Sanitize gives the text between the tags, in which what could be read as one
// is escaped. What stands in elements that show no text is left out.
func (*Policy) Sanitize(text string) string {
	var b strings.Builder
	unseen := 0 // how many such elements are open
	for tokens := html.NewTokenizer(strings.NewReader(text)); ; {
		kind := tokens.Next()
		switch token := tokens.Token(); {
		case kind == html.ErrorToken: // the end
			return b.String()
		case kind == html.TextToken && unseen == 0:
			b.WriteString(token.String())
		case kind == html.StartTagToken && showsNothing(token.Data):
			unseen++
		case kind == html.EndTagToken && showsNothing(token.Data):
			unseen = max(unseen-1, 0)
		}
	}
}

func showsNothing(element string) bool {
	switch element {
	case "frame", "frameset", "iframe", "noembed", "noframes", "noscript", "nostyle", "object", "script", "style":
		return true
	}
	return false
}
