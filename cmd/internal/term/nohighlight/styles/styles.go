// Package styles stands in for the highlighter's themes: there is none.
package styles

import "github.com/alecthomas/chroma/v2"

// Registry is the themes by name. It stays empty.
var Registry map[string]*chroma.Style

// Register keeps nothing, and gives the theme back.
func Register(s *chroma.Style) *chroma.Style { return s }
