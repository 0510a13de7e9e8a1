package bolt_test

import (
	"bytes"
	"fmt"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"go.etcd.io/bbolt"

	"fettle/store"
	"fettle/store/bolt"
)

func benchRecord() []byte { return bytes.Repeat([]byte("r"), 300) }

// grown returns a store with n records in each of three journals.
func grown(b *testing.B, n int) *bolt.Store {
	b.Helper()
	s := bolt.New(filepath.Join(b.TempDir(), "fettle.db"))
	for _, mark := range killMarks() {
		for size := 0; size < n; size += 1000 {
			all := make([][]byte, min(1000, n-size))
			for i := range all {
				all[i] = benchRecord()
			}
			if err := s.Append(b.Context(), mark, int64(size), all); err != nil {
				b.Fatal(err)
			}
		}
	}
	return s
}

// benchSizes are of one journal of three.
func benchSizes() []int { return []int{1, 1000, 10_000, 100_000} }

func BenchmarkAppend(b *testing.B) {
	for _, n := range benchSizes() {
		b.Run(fmt.Sprint(3*n), func(b *testing.B) {
			s := grown(b, n)
			size := int64(n)
			for b.Loop() {
				if err := s.Append(b.Context(), "CW-01", size, [][]byte{benchRecord()}); err != nil {
					b.Fatal(err)
				}
				size++
			}
		})
	}
}

// BenchmarkView opens a store for the last record of a journal.
func BenchmarkView(b *testing.B) {
	for _, n := range benchSizes() {
		b.Run(fmt.Sprint(3*n), func(b *testing.B) { benchRead(b, n, int64(n-1)) })
	}
}

// BenchmarkReadAll opens a store for all the records of a journal.
func BenchmarkReadAll(b *testing.B) {
	for _, n := range benchSizes() {
		b.Run(fmt.Sprint(3*n), func(b *testing.B) { benchRead(b, n, 0) })
	}
}

func benchRead(b *testing.B, n int, from int64) {
	s := grown(b, n)
	for b.Loop() {
		err := s.View(b.Context(), func(r store.Reader) error {
			_, err := r.Read("CW-01", from)
			return err
		})
		if err != nil {
			b.Fatal(err)
		}
	}
}

// The lower bound: keeping the same bytes in a database that stays open.
func BenchmarkBarePut(b *testing.B) {
	benchBare(b, filepath.Join(b.TempDir(), "bare.db"), 0, false)
}

// The same, but releasing the lock in between, as a store does.
func BenchmarkBareOpenPutClose(b *testing.B) {
	benchBare(b, filepath.Join(b.TempDir(), "bare.db"), 0, true)
}

// BenchmarkAppendBesideBare appends to one of ten journals in turn with a bare open,
// put and close in a copy of the file, or in another journal of the same file, which
// erases the stamp. It reports how many appends fit in the time of one of the others.
func BenchmarkAppendBesideBare(b *testing.B) {
	b.Run("Copy", func(b *testing.B) { benchBesideBare(b, "bare.db") })
	b.Run("SameFile", func(b *testing.B) { benchBesideBare(b, "fettle.db") })
}

func benchBesideBare(b *testing.B, name string) {
	folder := b.TempDir()
	path, bare := filepath.Join(folder, "fettle.db"), filepath.Join(folder, name)
	const journals, each = 10, 250
	records := slices.Repeat([][]byte{benchRecord()}, each)
	err := bolt.Create(b.Context(), path, func(to store.Builder) error {
		for i := range journals {
			if err := to.Append(fmt.Sprintf("CW-%04d", i), records); err != nil {
				return err
			}
		}
		return nil
	}, unchecked)
	if err != nil {
		b.Fatal(err)
	}
	mustWriteFile(b, bare, mustReadFile(b, path), 0o600)
	var own, bares time.Duration
	for at := int64(each); b.Loop(); at++ {
		begun := time.Now()
		db := openBare(b, bare)
		putBare(b, db, uint64(at))
		if err := db.Close(); err != nil {
			b.Fatal(err)
		}
		between := time.Now()
		if err := bolt.New(path).Append(b.Context(), "CW-0003", at, [][]byte{benchRecord()}); err != nil {
			b.Fatal(err)
		}
		own += time.Since(between)
		bares += between.Sub(begun)
	}
	b.ReportMetric(bares.Seconds()/own.Seconds(), "of-bare-rate")
	b.ReportMetric(own.Seconds()*1e6/float64(b.N), "µs/append")
}

// fleetSize is how many journals a large store has, and how many records each.
const fleetSize = 1000

// fleet returns a store of a million records.
func fleet(b *testing.B) (path string) {
	b.Helper()
	path = filepath.Join(b.TempDir(), "fleet.db")
	records := slices.Repeat([][]byte{benchRecord()}, fleetSize)
	err := bolt.Create(b.Context(), path, func(to store.Builder) error {
		for i := range fleetSize {
			if err := to.Append(fmt.Sprintf("CW-%04d", i), records); err != nil {
				return err
			}
		}
		return nil
	}, unchecked)
	if err != nil {
		b.Fatal(err)
	}
	return path
}

// BenchmarkFleet appends to one of many journals, against bare puts in the same
// place of the same file.
func BenchmarkFleet(b *testing.B) {
	b.Run("Append", func(b *testing.B) {
		s := bolt.New(fleet(b))
		for size := int64(fleetSize); b.Loop(); size++ {
			if err := s.Append(b.Context(), "CW-0007", size, [][]byte{benchRecord()}); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("BarePut", func(b *testing.B) { benchBare(b, fleet(b), fleetSize, false) })
	b.Run("BareOpenPutClose", func(b *testing.B) { benchBare(b, fleet(b), fleetSize, true) })
}

func openBare(b *testing.B, path string) *bbolt.DB {
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{Timeout: time.Second})
	if err != nil {
		b.Fatal(err)
	}
	return db
}

// benchBare puts one record after the other into the bucket of a journal.
func benchBare(b *testing.B, path string, at uint64, closing bool) {
	db := openBare(b, path)
	for ; b.Loop(); at++ {
		putBare(b, db, at)
		if closing {
			if err := db.Close(); err != nil {
				b.Fatal(err)
			}
			db = openBare(b, path)
		}
	}
	if err := db.Close(); err != nil {
		b.Fatal(err)
	}
}

func putBare(b *testing.B, db *bbolt.DB, at uint64) {
	err := db.Update(func(tx *bbolt.Tx) error {
		journals, err := tx.CreateBucketIfNotExists([]byte("journals"))
		if err != nil {
			return err
		}
		journal, err := journals.CreateBucketIfNotExists([]byte("CW-0007"))
		if err != nil {
			return err
		}
		return journal.Put(key(at), benchRecord())
	})
	if err != nil {
		b.Fatal(err)
	}
}
