package procedures

import (
	"math/rand/v2"
	"reflect"
	"testing"

	"fettle/steps"
)

// The steps that an airframe has after an answer are the same whether those it had before are shared or not.
func TestForAgain(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 2))
	compared := 0
	for _, e := range shipped() {
		p := e.Document.Procedure
		if p == nil {
			continue
		}
		var names []string
		for _, step := range p.Steps() {
			names = append(names, step.Options()...)
			for _, m := range step.Methods {
				names = append(names, m.Name)
			}
		}
		var had *steps.Procedure
		for range 8 {
			selection := steps.Selection{}
			for _, name := range names {
				switch r.IntN(3) {
				case 0:
					selection.Has = append(selection.Has, name)
				case 1:
					selection.Open = append(selection.Open, name)
				}
			}
			now := p.ForAgain(had, selection, "wing")
			if want := p.For(selection, "wing"); !reflect.DeepEqual(now, want) {
				t.Fatalf("%s with %v has other steps after an answer than without", p.Name, selection)
			}
			if had != nil && len(names) > 0 {
				compared++
			}
			had = now
		}
	}
	if compared < 50 {
		t.Errorf("%d were compared", compared)
	}
}
