package store_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"fettle/store"
)

func TestDigest(t *testing.T) {
	// From FIPS 180-4's own examples.
	const want = "sha256:ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	if got := store.Digest([]byte("abc")); got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

func TestError(t *testing.T) {
	err := fmt.Errorf("showing CW-01: %w", &store.Error{
		Op:   "read",
		Path: "/bench/fettle.db",
		Err:  fmt.Errorf("%w: page 7 is lost", store.ErrDamaged),
		Hint: "go back to a copy",
	})
	const want = "showing CW-01: cannot read the store /bench/fettle.db: damaged: page 7 is lost; go back to a copy"
	if err.Error() != want {
		t.Errorf("said: %s", err)
	}
	if !errors.Is(err, store.ErrDamaged) || errors.Is(err, store.ErrForeign) {
		t.Error("of the wrong kind")
	}
	if bare := (&store.Error{Op: "write", Err: store.ErrFull}).Error(); bare != "cannot write the store: no room on the disk" {
		t.Errorf("said: %s", bare)
	}
}

func TestConflictError(t *testing.T) {
	var err error = &store.ConflictError{Mark: "CW\x1b-01", Have: 7, Want: 5}
	if !errors.Is(err, store.ErrConflict) || errors.Is(err, store.ErrNotFound) {
		t.Error("of the wrong kind")
	}
	if text := err.Error(); !strings.Contains(text, "7 entries now and had 5") || strings.Contains(text, "\x1b") {
		t.Errorf("said: %q", text)
	}
}

func TestLimits(t *testing.T) {
	mark := strings.Repeat("m", store.MaxMark)
	record := make([]byte, store.MaxRecord)
	for _, err := range []error{
		store.CheckMark(mark),
		store.CheckAppend(mark, 0, [][]byte{record, nil}),
		store.CheckDocument(make([]byte, store.MaxDocument)),
		store.CheckFrom(mark, 0, 0),
		store.CheckFrom(mark, 3, 3),
	} {
		if err != nil {
			t.Error(err)
		}
	}
	for _, err := range []error{
		store.CheckMark(""),
		store.CheckMark(mark + "m"),
		store.CheckAppend("", 0, [][]byte{record}),
		store.CheckAppend(mark, -1, [][]byte{record}),
		store.CheckAppend(mark, 0, nil),
		store.CheckAppend(mark, 0, [][]byte{nil, append(record, 0)}),
		store.CheckDocument(make([]byte, store.MaxDocument+1)),
		store.CheckFrom(mark, -1, 3),
		store.CheckFrom(mark, 4, 3),
	} {
		if err == nil {
			t.Error("what is beyond a limit was let through")
		} else if strings.Contains(err.Error(), "\n") || len(err.Error()) > 160 {
			t.Errorf("said: %s", err)
		}
	}
}
