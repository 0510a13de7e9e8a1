package book

import (
	"testing"

	"fettle/workflow/journal"
)

// The book has a place for every kind of entry.
func TestEveryKindHasAPlace(t *testing.T) {
	places := places()
	for _, k := range journal.Kinds() {
		if _, ok := places[k.Name]; !ok {
			t.Errorf("%s has no place in the book", k.Name)
		}
		delete(places, k.Name)
	}
	for name := range places {
		t.Errorf("%s is not a kind of entry", name)
	}
}
