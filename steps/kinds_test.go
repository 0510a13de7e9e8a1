package steps

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// What differs between kinds is in the tables. No other code tests for a kind by its
// name, because a new kind would be forgotten there.
func TestNobodyElseTellsKindsApart(t *testing.T) {
	names := []string{"Do", "Coat", "Join", "Glue", "Wait", "Measure", "Hold", "Choose", "Release"}
	if all := Kinds(); len(names) != len(all[:]) {
		t.Fatalf("there are %d kinds, and this test knows %d", len(all[:]), len(names))
	}
	isKind := func(e ast.Expr, here bool) bool {
		switch e := e.(type) {
		case *ast.Ident:
			return here && slices.Contains(names, e.Name)
		case *ast.SelectorExpr:
			room, ok := e.X.(*ast.Ident)
			return ok && room.Name == "steps" && slices.Contains(names, e.Sel.Name)
		}
		return false
	}
	files := 0
	err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() && (d.Name() == ".git" || d.Name() == "testdata") {
			return errOrSkip(err)
		}
		if d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		files++
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			return err
		}
		here := file.Name.Name == "steps"
		ast.Inspect(file, func(n ast.Node) bool {
			var sides []ast.Expr
			switch n := n.(type) {
			case *ast.BinaryExpr:
				if n.Op == token.EQL || n.Op == token.NEQ {
					sides = []ast.Expr{n.X, n.Y}
				}
			case *ast.CaseClause:
				sides = n.List
			}
			if slices.ContainsFunc(sides, func(e ast.Expr) bool { return isKind(e, here) }) {
				t.Errorf("%s tells a kind of step by its name", path)
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if files < 100 {
		t.Errorf("only %d files were looked at", files)
	}
}

func errOrSkip(err error) error {
	if err != nil {
		return err
	}
	return filepath.SkipDir
}

// Every kind has its traits.
func TestTraits(t *testing.T) {
	for _, k := range Kinds() {
		if k.Kind.Traits() != k {
			t.Errorf("%s: %+v", k.Kind, k.Kind.Traits())
		}
	}
	if !Coat.Traits().Glues() || !Join.Traits().Glues() || Wait.Traits().Glues() {
		t.Error("a coat and a join make a joint, a wait does not")
	}
}
