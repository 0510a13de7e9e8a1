// Package chroma stands in for the syntax highlighter of that name, which go.mod
// replaces with this module.
//
// The Markdown renderer imports the highlighter even if a style asks for no
// colours in code. Fettle's style never does: its code blocks are commands and
// seals, to be copied as they are. The real module reads 67 themes and makes 250
// lexers when a program starts, which took more than half of the time of a
// command, and adds 4 MB to the program.
//
// This module declares only the names that github.com/charmbracelet/glamour v1.0.0
// needs. A code block is shown as plain code, whatever language it names, even
// under a style with a theme. If a newer renderer needs more names it will not
// compile; then add them here, or remove the replace line from go.mod to use the
// real module. Only the renderer imports this.
package chroma

// A TokenType is a kind of word in a program.
type TokenType int

// The token types that the renderer has colours for. No token is ever found.
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

// A Style is a theme; its colours are ignored.
type Style struct{}

// MustNewStyle returns a style without colours; unlike the real one it cannot fail.
func MustNewStyle(string, StyleEntries) *Style { return new(Style) }
