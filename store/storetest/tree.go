package storetest

import (
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"fettle/store"
)

// hashesOf returns all hashes of the tree over records, in stored order.
func hashesOf(records [][]byte) ([]tlog.Hash, error) {
	var all []tlog.Hash
	reader := tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		found := make([]tlog.Hash, len(indexes))
		for i, index := range indexes {
			found[i] = all[index]
		}
		return found, nil
	})
	for at, record := range records {
		more, err := tlog.StoredHashes(int64(at), record, reader)
		if err != nil {
			return nil, err
		}
		all = append(all, more...)
	}
	return all, nil
}

// checkTree compares every hash and the root with freshly computed ones.
func checkTree(r store.Reader, mark string, records [][]byte) error {
	want, err := hashesOf(records)
	if err != nil {
		return err
	}
	indexes := make([]int64, len(want))
	for i := range indexes {
		indexes[i] = int64(i)
	}
	got, err := r.Hashes(mark, indexes)
	if err != nil {
		return err
	}
	if !slices.Equal(got, want) {
		return fmt.Errorf("journal %q: the hashes of %d records differ", mark, len(records))
	}
	return nil
}

func root(r store.Reader, mark string, size int64) (tlog.Hash, error) {
	return tlog.TreeHash(size, tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		return r.Hashes(mark, indexes)
	}))
}

func testTree(t *testing.T, s store.Store) {
	var all [][]byte
	mustAppend(t, s, "SK-02", 0, "x")
	for len(all) < 600 {
		size, n := len(all), len(all)*7%37+1
		for i := range n {
			all = append(all, fmt.Appendf(nil, "record %d %s", size+i, strings.Repeat(".", (size+i)%90)))
		}
		if err := s.Append(t.Context(), "CW-01", int64(size), all[size:]); err != nil {
			t.Fatal(err)
		}
	}
	view(t, s, func(r store.Reader) {
		if err := checkTree(r, "CW-01", all); err != nil {
			t.Error(err)
		}
		if err := checkTree(r, "SK-02", records("x")); err != nil {
			t.Error(err)
		}
		for _, size := range []int{1, 2, 3, 64, 65, 255, len(all)} {
			got, err := root(r, "CW-01", int64(size))
			if err != nil {
				t.Fatal(err)
			}
			if want := rootOf(all[:size]); got != want {
				t.Errorf("the root of %d records is %v, want %v", size, got, want)
			}
		}
		// In any order, and more than once.
		got, err := r.Hashes("CW-01", []int64{5, 0, 5})
		if err != nil || len(got) != 3 || got[0] != got[2] || got[1] != tlog.RecordHash(all[0]) {
			t.Errorf("%v, %v", got, err)
		}
	})
}

// rootOf is the root as RFC 6962 defines it, without any stored hash.
func rootOf(records [][]byte) tlog.Hash {
	if len(records) == 1 {
		return tlog.RecordHash(records[0])
	}
	half := 1
	for 2*half < len(records) {
		half *= 2
	}
	return tlog.NodeHash(rootOf(records[:half]), rootOf(records[half:]))
}

// testTreeVectors has the published leaves and roots, which are those of
// github.com/transparency-dev/merkle at 417fb0c3, testonly/constants.go.
func testTreeVectors(t *testing.T, s store.Store) {
	leaves := []string{"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"}
	roots := []string{
		"6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
		"fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
		"aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
		"d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
		"4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
		"76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
		"ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
		"5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
	}
	for i, leaf := range leaves {
		record, err := hex.DecodeString(leaf)
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Append(t.Context(), "CW-01", int64(i), [][]byte{record}); err != nil {
			t.Fatal(err)
		}
		view(t, s, func(r store.Reader) {
			// Every earlier root is still there.
			for n := range i + 1 {
				got, err := root(r, "CW-01", int64(n+1))
				if err != nil || hex.EncodeToString(got[:]) != roots[n] {
					t.Errorf("the root of %d leaves is %x, %v; want %s", n+1, got[:], err, roots[n])
				}
			}
		})
	}
}

func testTreeRefused(t *testing.T, s store.Store) {
	mustAppend(t, s, "CW-01", 0, "a", "b", "c") // which have four hashes
	view(t, s, func(r store.Reader) {
		for _, index := range []int64{-1, 4, 1 << 62, -1 << 63} {
			got, err := r.Hashes("CW-01", []int64{0, index})
			refusedPlainly(t, err)
			if got != nil {
				t.Errorf("hash %d: %v", index, got)
			}
		}
		_, err := r.Hashes("JT-01", []int64{0})
		refusedPlainly(t, err)
		for _, mark := range []string{"CW-01", "JT-01"} {
			if got, err := r.Hashes(mark, nil); len(got) != 0 || err != nil {
				t.Errorf("no hashes of %s: %v, %v", mark, got, err)
			}
		}
	})
}
