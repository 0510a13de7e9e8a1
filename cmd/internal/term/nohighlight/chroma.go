// Package chroma stands in for the syntax highlighter of that name, which go.mod
// replaces with this module.
//
// The Markdown renderer imports the highlighter whether or not a style asks for
// colours in code. Fettle's style never does: what it shows between fences are
// commands and seals, to be copied as they are. The real module reads
// sixty-seven themes and makes two hundred and fifty lexers when a program
// starts, which was more than half of the time that a command took, and adds 4
// MB to it.
//
// The stand-in declares the names that github.com/charmbracelet/glamour v1.0.0
// needs, and no more. A fenced block is shown as plain code, whatever language
// its fence names, and also under a style that asks for a theme. A newer
// renderer that needs more names does not compile with it: then add them here,
// or drop the replace line in go.mod to have the real module back. Nothing
// imports this but the renderer.
package chroma

// A TokenType is a kind of word in a program.
type TokenType int

// The kinds that the renderer gives colours to. No word is ever found to be of
// one.
const (
	Background TokenType = iota
	Comment
	CommentPreproc
	Error
	GenericDeleted
	GenericEmph
	GenericInserted
	GenericStrong
	GenericSubheading
	Keyword
	KeywordNamespace
	KeywordReserved
	KeywordType
	Literal
	LiteralDate
	LiteralNumber
	LiteralString
	LiteralStringEscape
	Name
	NameAttribute
	NameBuiltin
	NameClass
	NameConstant
	NameDecorator
	NameException
	NameFunction
	NameOther
	NameTag
	Operator
	Punctuation
	Text
)

// StyleEntries are the colours of a theme.
type StyleEntries map[TokenType]string

// A Style is a theme, of which nothing is kept.
type Style struct{}

// MustNewStyle gives a style without colours; unlike the real one it cannot
// fail.
func MustNewStyle(string, StyleEntries) *Style { return new(Style) }
