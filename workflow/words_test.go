package workflow

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// The engine decides; it spells no command and shows no time: pages do both.
func TestNoCommandAndNoTimeIsSpelledHere(t *testing.T) {
	command := regexp.MustCompile(`fettle [a-z]|(^| )--[a-z]`)
	names, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.BasicLit:
				if seen++; n.Kind == token.STRING && command.MatchString(n.Value) {
					t.Errorf("%s spells a command: %s", name, n.Value)
				}
			case *ast.SelectorExpr:
				if n.Sel.Name == "Format" || n.Sel.Name == "RFC3339" {
					t.Errorf("%s formats a time", name)
				}
			case *ast.ImportSpec:
				return false
			}
			return true
		})
	}
	if seen < 500 {
		t.Errorf("only %d literals were looked at", seen)
	}
}
