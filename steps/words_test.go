package steps

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// A retired phrase is one that made readers stop, with what to write instead.
type retired struct {
	phrase *regexp.Regexp
	except *regexp.Regexp // good English that looks like it; may be nil
	write  string
}

func retiredPhrases() []retired {
	plain := func(phrase, write string) retired {
		return retired{regexp.MustCompile(`(?i)` + phrase), nil, write}
	}
	return []retired{
		{regexp.MustCompile(`\b(is|are) no ([a-z]+|%|$)`), regexp.MustCompile(`[Tt]here (is|are) no |\b(is|are) no (longer|more|less)\b`), "is not a"},
		plain(`\bis none\b|\bare none\b`, "is not a"),
		plain(`\bis too much\b`, "unexpected argument"),
		plain(`something is missing`, "missing argument"),
		plain(`\bcounts? no more\b`, "no longer counts"),
		plain(`\bmend(s|ed|ing)?\b`, "repair"),
		plain(`\bnought\b`, "zero"),
		plain(`ask for two forms`, "conflicts with"),
		plain(`turn them round`, "swap them"),
		plain(`\bsays no [a-z]`, "has no"),
		plain(`a joint that cures`, "a curing joint"),
		plain(`\bwas not good\.`, "failed its last check"),
		plain(`is it so now`, "is the propeller off now?"),
		plain(`looks again`, "press Enter to check again"),
		plain(`nothing is recorded for that`, "not understood; nothing was recorded"),
		plain(`nothing is seen there`, "press Enter when you see nothing there"),
		plain(`looked over`, "inspected"),
		plain(`no job is at`, "without a repair job"),
		plain(`every line of it is confirmed`, "confirm each line"),
		plain(`time alone does not`, "waiting will not help"),
		plain(`dated back`, "dated before"),
		plain(`beside it, not critical`, "not critical"),
		plain(`\bat the nearest\b`, "closest margin"),
		plain(`the filter chooses`, "match the filter"),
		plain(`found whole`, "verified by reading it back"),
		plain(`\blies? (beside|under|there)\b`, "is in"),
		plain(`under no seal|stands? under`, "is not sealed"),
		plain(`is said to be`, "is linked to"),
		plain(`not to be read`, "cannot read"),
		plain(`name the key of who`, "give the signer's public key"),
		plain(`what stands\b|\bstands for a\b`, "part of the path is not a folder"),
		plain(`kept or not`, "may or may not have been saved"),
		plain(`leave the line away`, "delete the line"),
		plain(`is there twice`, "is duplicated"),
		plain(`\bwants keys\b`, "must be a mapping"),
		plain(`\bhas not (two|the|a|one)\b`, "does not have"),
		plain(`\bare read\b.*\bat most\b|\bat most\b.*\bare (read|kept)\b`, "the limit is"),
		plain(`; an? [a-z]+ is wanted`, "not a"),
		plain(`\b(serves|answers|gives) no [a-z]`, "does not"),
		plain(`\bwhose the file is\b`, "who owns the file"),
		plain(`make room and do it again`, "free some space and try again"),
	}
}

// People read the strings of the program, and read fastest what is said the way
// it is spoken.
func TestNoRetiredPhrases(t *testing.T) {
	phrases := retiredPhrases()
	files := 0
	err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if d.Name() == ".git" || d.Name() == "testdata" {
				return fs.SkipDir
			}
			return nil
		}
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		files++
		fset := token.NewFileSet()
		file, err := parser.ParseFile(fset, path, nil, 0)
		if err != nil {
			return err
		}
		ast.Inspect(file, func(n ast.Node) bool {
			literal, ok := n.(*ast.BasicLit)
			if !ok || literal.Kind != token.STRING {
				return true
			}
			text, err := strconv.Unquote(literal.Value)
			if err != nil {
				t.Fatalf("%s: %v", fset.Position(literal.Pos()), err)
			}
			for _, r := range phrases {
				if found := r.find(text); found != "" {
					t.Errorf("%s: %q in %.120q; write: %s", fset.Position(literal.Pos()), found, text, r.write)
				}
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if files < 50 {
		t.Errorf("only %d files were read", files)
	}
}

// find returns the first use of the phrase in the text, or "".
func (r retired) find(text string) string {
	if r.except != nil {
		text = r.except.ReplaceAllString(text, "")
	}
	return r.phrase.FindString(text)
}

func TestRetiredPhrasesAreFound(t *testing.T) {
	for text, found := range map[string]bool{
		`"7x" is no time`:                    true,
		"these are no times":                 true,
		"%q is no %s":                        true,
		"there is no command like it":        false,
		"There are no readings":              false,
		"it is no longer current":            false,
		`"nosuch" is too much: fettle`:       true,
		"Counts no more: D1":                 true,
		"mend it":                            true,
		"a recommended way":                  false,
		"Is it so now: propeller: off?":      true,
		"read again and found whole":         true,
		"two photos lie beside every copy":   true,
		"12 g is a mass; a length is wanted": true,
		`"7x" is not a time`:                 false,
		"it divides by nought":               true,
	} {
		got := slices.ContainsFunc(retiredPhrases(), func(r retired) bool { return r.find(text) != "" })
		if got != found {
			t.Errorf("%q: found %v, want %v", text, got, found)
		}
	}
}
