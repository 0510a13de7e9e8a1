package page

import (
	"go/ast"
	"go/parser"
	"go/token"
	"strconv"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow"
)

// remedyKinds are the kinds of remedy, read from where they are declared.
func remedyKinds(t *testing.T) []workflow.RemedyKind {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), "../../../workflow/remedy.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	var kinds []workflow.RemedyKind
	ast.Inspect(file, func(n ast.Node) bool {
		if spec, ok := n.(*ast.ValueSpec); ok {
			if name, ok := spec.Type.(*ast.Ident); ok && name.Name == "RemedyKind" {
				text, err := strconv.Unquote(spec.Values[0].(*ast.BasicLit).Value)
				if err != nil {
					t.Fatal(err)
				}
				kinds = append(kinds, workflow.RemedyKind(text))
			}
		}
		return true
	})
	return kinds
}

// Every kind of remedy is spelled out.
func TestEveryRemedyHasWords(t *testing.T) {
	kinds := remedyKinds(t)
	if len(kinds) < 20 {
		t.Fatalf("only %d kinds of remedy were found", len(kinds))
	}
	for _, kind := range kinds {
		advice, command := Remedy(workflow.Remedy{Kind: kind, Mark: "CW-01", Name: "after-crash", Step: "join-wing", Gate: "spar-depth", Gauge: "caliper", Names: []string{"wing"}})
		if advice == "" && command == "" {
			t.Errorf("%s has no words", kind)
		}
		if command != "" && !strings.HasPrefix(command, "fettle ") {
			t.Errorf("%s: %q is not a command", kind, command)
		}
	}
}

// The day of a cause is the builder's: late on the 25th at Greenwich is the
// 26th in Tokyo.
func TestACauseIsSaidInTheBuildersZone(t *testing.T) {
	tokyo := time.FixedZone("JST", 9*60*60)
	cause := workflow.Cause{Text: "after-crash is due after the hard landing", At: time.Date(2026, 11, 25, 20, 0, 0, 0, time.UTC)}
	if got, want := Said(cause, tokyo), "after-crash is due after the hard landing (26 November 2026)"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// A hold is cleared before what it guards is set hot: it comes first of what keeps a step, and no step's reasons are mixed with another's.
func TestHoldsComeFirst(t *testing.T) {
	set := func(text string) Reason {
		return Reason{Reason: workflow.Reason{Text: text, Remedy: workflow.Remedy{Kind: workflow.ToSetCondition}}}
	}
	hold := func(text string) Reason {
		return Reason{Reason: workflow.Reason{Text: text, Remedy: workflow.Remedy{Kind: workflow.ToClearUse}}}
	}
	of := []string{"rest", "film", "film", "film", "film"}
	var l lines
	l.reasonList([]Reason{set("air"), set("fan"), set("hot"), hold("iron"), hold("knife")}, func(i int) string { return of[i] + ": " }, &Clock{})
	at := -1
	for _, want := range []string{"rest: air", "film: iron", "film: knife", "film: fan", "film: hot"} {
		if i := strings.Index(l.String(), want); i <= at {
			t.Errorf("%q is not there after what comes before it:\n%s", want, l.String())
		} else {
			at = i
		}
	}
}

// What is done once more, as heating an iron, is not said before the hold is cleared that guards it.
func TestNothingIsDoneAgainBeforeItsHold(t *testing.T) {
	hot := Reason{Reason: workflow.Reason{Because: workflow.ByCondition, Remedy: workflow.Remedy{Kind: workflow.ToSetCondition}}}
	hold := Reason{Reason: workflow.Reason{Because: workflow.ByHold, Remedy: workflow.Remedy{Kind: workflow.ToClearUse}}}
	for _, c := range []struct {
		reasons []Reason
		said    bool
	}{{[]Reason{hot}, true}, {[]Reason{hot, hold}, false}} {
		p := Step{Title: "Film", Reasons: c.reasons, again: []*steps.Step{{Title: "Heat the iron", Do: "Plug it in."}}}
		for _, text := range []string{p.Markdown(&Clock{}), p.atBench(&Clock{})} {
			if said := strings.Contains(text, "Heat the iron, once more") && strings.Contains(text, "Plug it in."); said != c.said {
				t.Errorf("with %d reasons:\n%s", len(c.reasons), text)
			}
		}
	}
}
