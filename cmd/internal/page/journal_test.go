package page

import (
	"testing"

	"fettle/workflow/journal"
)

// Every kind of entry has its words.
func TestEveryKindHasWords(t *testing.T) {
	said := map[string]string{}
	for _, k := range journal.Kinds() {
		words := says(k.Zero())
		if words == "" || words == k.Name {
			t.Errorf("%s has no words", k.Name)
		}
		if other, ok := said[words]; ok {
			t.Errorf("%s and %s read alike: %q", k.Name, other, words)
		}
		said[words] = k.Name
	}
}
