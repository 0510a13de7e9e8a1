package sorting

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Delete leaves what slices.DeleteFunc leaves, and writes to nothing that has nothing to lose.
func TestDelete(t *testing.T) {
	type item struct {
		n    int
		text *string
	}
	rapid.Check(t, func(t *rapid.T) {
		of := rapid.SliceOf(rapid.Custom(func(t *rapid.T) item {
			text := rapid.String().Draw(t, "text")
			return item{rapid.IntRange(0, 3).Draw(t, "n"), &text}
		})).Draw(t, "of")
		gone := rapid.IntRange(0, 4).Draw(t, "gone")
		is := func(i item) bool { return i.n == gone }
		mine, theirs := slices.Clone(of), slices.Clone(of)
		if got, want := Delete(mine, is), slices.DeleteFunc(theirs, is); !slices.Equal(got, want) {
			t.Errorf("left are %v, want %v", got, want)
		}
		if !slices.Equal(mine, theirs) { // behind its end nothing keeps alive what is gone
			t.Errorf("the list is %v, want %v", mine, theirs)
		}
	})
	kept := []int{1, 2}
	done := make(chan bool)
	go func() { done <- len(Delete(kept, func(int) bool { return false })) == 2 }()
	if len(Delete(kept, func(int) bool { return false })) != 2 || !<-done { // -race would tell of a write
		t.Error("something is gone")
	}
}
