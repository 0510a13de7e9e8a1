package storetest

import (
	"bytes"
	"errors"
	"slices"
	"testing"

	"fettle/store"
)

func records(texts ...string) [][]byte {
	var all [][]byte
	for _, text := range texts {
		all = append(all, []byte(text))
	}
	return all
}

func equal(got [][]byte, want []string) bool {
	return slices.EqualFunc(got, want, func(g []byte, w string) bool { return string(g) == w })
}

func view(t *testing.T, s store.Store, fn func(store.Reader)) {
	t.Helper()
	err := s.View(t.Context(), func(r store.Reader) error {
		fn(r)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func mustAppend(t *testing.T, s store.Store, mark string, size int64, texts ...string) {
	t.Helper()
	if err := s.Append(t.Context(), mark, size, records(texts...)); err != nil {
		t.Fatal(err)
	}
}

func want(t *testing.T, s store.Store, mark string, texts ...string) {
	t.Helper()
	view(t, s, func(r store.Reader) {
		got, err := r.Read(mark, 0)
		if err != nil {
			t.Fatal(err)
		}
		if !equal(got, texts) {
			t.Errorf("journal %q: %.200q, want %.200q", mark, got, texts)
		}
		size, err := r.Size(mark)
		if err != nil || size != int64(len(texts)) {
			t.Errorf("journal %q has size %d, %v; want %d", mark, size, err, len(texts))
		}
	})
}

func wantJournals(t *testing.T, s store.Store, all ...store.Journal) {
	t.Helper()
	view(t, s, func(r store.Reader) {
		got, err := r.Journals()
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(got, all) {
			t.Errorf("journals %+v, want %+v", got, all)
		}
	})
}

func wantDocument(t *testing.T, s store.Store, digest string, document []byte) {
	t.Helper()
	view(t, s, func(r store.Reader) {
		got, err := r.Document(digest)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got, document) {
			t.Errorf("document %s has %d bytes and they differ; want %d", digest, len(got), len(document))
		}
	})
}

// refusedPlainly wants an error that is not a failure of the store.
func refusedPlainly(t *testing.T, err error) {
	t.Helper()
	var failure *store.Error
	if err == nil || errors.As(err, &failure) || errors.Is(err, store.ErrConflict) || errors.Is(err, store.ErrNotFound) {
		t.Errorf("want a plain refusal, got: %v", err)
	}
}
