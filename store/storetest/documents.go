package storetest

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"

	"fettle/store"
)

func testLimits(t *testing.T, s store.Store) {
	record := strings.Repeat("r", store.MaxRecord)
	mark := strings.Repeat("m", store.MaxMark)
	mustAppend(t, s, mark, 0, record, record)
	mustAppend(t, s, mark, 2, "small")
	want(t, s, mark, record, record, "small")

	document := bytes.Repeat([]byte("d"), store.MaxDocument)
	digest, err := s.Keep(t.Context(), document)
	if err != nil {
		t.Fatal(err)
	}
	wantDocument(t, s, digest, document)
}

func testDocuments(t *testing.T, s store.Store) {
	kept := map[string][]byte{}
	for i := range 40 {
		document := []byte(strings.Repeat(fmt.Sprintf("line %d\n", i), 50*i))
		for range 2 {
			digest, err := s.Keep(t.Context(), document)
			if err != nil {
				t.Fatal(err)
			}
			if digest != store.Digest(document) {
				t.Errorf("digest %s, want %s", digest, store.Digest(document))
			}
			kept[digest] = document
		}
	}
	for digest, document := range kept {
		wantDocument(t, s, digest, document)
	}
	wantJournals(t, s)
	view(t, s, func(r store.Reader) {
		if _, err := r.Document(store.Digest([]byte("another"))); !errors.Is(err, store.ErrNotFound) {
			t.Errorf("a document never kept: %v", err)
		}
	})
}

func testCopies(t *testing.T, s store.Store) {
	const times = 2000 // too long to be part of something else
	record, document := bytes.Repeat([]byte("record"), times), bytes.Repeat([]byte("document"), times)
	if err := s.Append(t.Context(), "CW-01", 0, [][]byte{record}); err != nil {
		t.Fatal(err)
	}
	digest, err := s.Keep(t.Context(), document)
	if err != nil {
		t.Fatal(err)
	}
	clear(record)
	clear(document)

	// What was read outlives the view, and the reader may change it.
	for range 2 {
		var gotRecord, gotDocument []byte
		view(t, s, func(r store.Reader) {
			records, err := r.Read("CW-01", 0)
			if err != nil || len(records) != 1 {
				t.Fatalf("%q, %v", records, err)
			}
			gotRecord = records[0]
			if gotDocument, err = r.Document(digest); err != nil {
				t.Fatal(err)
			}
		})
		if string(gotRecord) != strings.Repeat("record", times) || string(gotDocument) != strings.Repeat("document", times) {
			t.Fatalf("%.100q, %.100q", gotRecord, gotDocument)
		}
		clear(gotRecord)
		clear(gotDocument)
	}
}
