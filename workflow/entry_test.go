package workflow

import (
	"errors"
	"slices"
	"testing"
)

// TestNaming wants exactly the entries that name something, in their order, as
// Decode reads them.
func TestNaming(t *testing.T) {
	start := building(t)
	entries := slices.Clone(start.state.Entries)
	for _, f := range []Facts{
		Noted{Text: `they said "Sealed" and "PhotoKept", which is no seal`},
		PhotoKept{Photo: "sha256:1", Name: "a.png", Of: []int64{1}},
		Sealed{Size: 2, Root: "cm9vdA==", Key: "key", Note: "sha256:2"},
		JobMoved{Job: "wing", Procedure: "sha256:3", Sheet: "sha256:4"},
		Noted{Text: "end"},
	} {
		entries = append(entries, Entry{Position: int64(len(entries)), At: start.now, Recorded: start.now, By: "builder", Program: "test", Facts: f})
	}
	records, err := Encode(entries)
	if err != nil {
		t.Fatal(err)
	}
	got, err := Naming(records)
	if err != nil {
		t.Fatal(err)
	}
	var want, found []int64
	for _, e := range entries {
		switch e.Facts.(type) {
		case Registered, JobOpened, JobMoved, PhotoKept, Sealed:
			want = append(want, e.Position)
		}
	}
	for _, e := range got {
		found = append(found, e.Position)
		if e.Facts.Kind() != entries[e.Position].Facts.Kind() {
			t.Errorf("entry %d is read as %s", e.Position, e.Facts.Kind())
		}
	}
	if !slices.Equal(found, want) || len(want) < 5 {
		t.Errorf("found %v, want %v", found, want)
	}

	// One that is out of place, and one that cannot be read.
	if _, err := Naming(records[1:]); !errors.Is(err, ErrBadEntry) {
		t.Error(err)
	}
	if _, err := Naming([][]byte{[]byte(`"Sealed"`)}); err == nil {
		t.Error("a word was read as a seal")
	}
}
