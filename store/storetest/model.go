package storetest

import (
	"bytes"
	"errors"
	"maps"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"fettle/store"
)

// testModel does the same to a store and to a plain map, and compares them.
func testModel(t *testing.T, open func(t *testing.T) store.Store) {
	rapid.Check(t, func(rt *rapid.T) {
		s := open(t)
		m := &model{journals: map[string][][]byte{}, documents: map[string][]byte{}}

		marks := rapid.SampledFrom([]string{"CW-01", "SK-02", "JT-01"})
		record := rapid.OneOf(
			rapid.SliceOfN(rapid.Byte(), 0, 40),
			rapid.Map(rapid.IntRange(0, 20_000), func(n int) []byte { return bytes.Repeat([]byte("r"), n) }),
		)
		for range rapid.IntRange(1, 12).Draw(rt, "steps") {
			if rapid.IntRange(0, 3).Draw(rt, "what") == 0 {
				m.keep(rt, s, record.Draw(rt, "document"))
			} else {
				mark := marks.Draw(rt, "mark")
				off := rapid.SampledFrom([]int64{0, 0, 0, 0, 1, -1}).Draw(rt, "off")
				m.append(rt, s, mark, off, rapid.SliceOfN(record, 1, 5).Draw(rt, "records"))
			}
			m.compare(rt, s, rapid.Float64Range(0, 1).Draw(rt, "from"))
		}
	})
}

type model struct {
	journals  map[string][][]byte
	documents map[string][]byte
}

func (m *model) append(rt *rapid.T, s store.Store, mark string, off int64, records [][]byte) {
	have := int64(len(m.journals[mark]))
	size := max(have+off, 0)
	err := s.Append(rt.Context(), mark, size, records)
	if size == have {
		if err != nil {
			rt.Fatalf("append: %v", err)
		}
		m.journals[mark] = append(m.journals[mark], records...)
		return
	}
	var conflict *store.ConflictError
	if !errors.As(err, &conflict) || *conflict != (store.ConflictError{Mark: mark, Have: have, Want: size}) {
		rt.Fatalf("append at %d of %d: %v", size, have, err)
	}
}

func (m *model) keep(rt *rapid.T, s store.Store, document []byte) {
	digest, err := s.Keep(rt.Context(), document)
	if err != nil || digest != store.Digest(document) {
		rt.Fatalf("keep: %s, %v", digest, err)
	}
	m.documents[digest] = document
}

func (m *model) compare(rt *rapid.T, s store.Store, from float64) {
	err := s.View(rt.Context(), func(r store.Reader) error {
		all, err := r.Journals()
		if err != nil {
			return err
		}
		var marks []string
		for _, j := range all {
			marks = append(marks, j.Mark)
			want := m.journals[j.Mark]
			size, err := r.Size(j.Mark)
			if err != nil {
				return err
			}
			if size != int64(len(want)) || j.Size != size {
				rt.Fatalf("journal %s has sizes %d and %d, want %d", j.Mark, size, j.Size, len(want))
			}
			at := int64(from * float64(size))
			got, err := r.Read(j.Mark, at)
			if err != nil {
				return err
			}
			if !slices.EqualFunc(got, want[at:], bytes.Equal) {
				rt.Fatalf("journal %s from %d: %q, want %q", j.Mark, at, got, want[at:])
			}
			if err := checkTree(r, j.Mark, want); err != nil {
				rt.Fatal(err)
			}
		}
		if want := slices.Sorted(maps.Keys(m.journals)); !slices.Equal(marks, want) {
			rt.Fatalf("journals %q, want %q", marks, want)
		}
		for digest, want := range m.documents {
			got, err := r.Document(digest)
			if err != nil {
				return err
			}
			if !bytes.Equal(got, want) {
				rt.Fatalf("document %s: %q, want %q", digest, got, want)
			}
		}
		return nil
	})
	if err != nil {
		rt.Fatal(err)
	}
}
