// Package bluemonday stands in for the sanitizer of web pages of that name,
// which go.mod replaces with this module.
//
// The Markdown renderer uses only one of its policies, the one that removes every
// HTML tag. The real module compiles rules for every CSS property when a program
// starts, which took an eighth of the time of a command.
//
// This module has that one policy, with the same HTML tokenizer, and declares only
// what github.com/charmbracelet/glamour v1.0.0 needs. It is not fit for web pages:
// its output goes to a terminal, for which package term makes any text safe. If a
// newer renderer needs another policy it will not compile; then remove the replace
// line from go.mod to use the real module. Only the renderer imports this.
package bluemonday

import (
	"strings"

	"golang.org/x/net/html"
)

// A Policy says what to keep of HTML: the text.
type Policy struct{}

// StrictPolicy returns the policy that removes every tag.
func StrictPolicy() *Policy { return new(Policy) }

// Sanitize returns the text between the tags, escaped so that none of it can be
// taken for a tag. Text in elements that browsers do not show is left out.
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
