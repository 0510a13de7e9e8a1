package bolt_test

import (
	"bytes"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"go.etcd.io/bbolt"

	"fettle/store"
	"fettle/store/bolt"
)

func benchRecord() []byte { return bytes.Repeat([]byte("r"), 300) }

// grown gives a store with n records in each of three journals.
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

// The least that keeping the same bytes costs: in a database that stays open.
func BenchmarkBarePut(b *testing.B) {
	db := openBare(b, filepath.Join(b.TempDir(), "bare.db"))
	defer db.Close()
	at := uint64(0)
	for b.Loop() {
		barePut(b, db, at)
		at++
	}
}

// The same where others are let in between, as a store lets them.
func BenchmarkBareOpenPutClose(b *testing.B) {
	path := filepath.Join(b.TempDir(), "bare.db")
	at := uint64(0)
	for b.Loop() {
		db := openBare(b, path)
		barePut(b, db, at)
		if err := db.Close(); err != nil {
			b.Fatal(err)
		}
		at++
	}
}

func openBare(b *testing.B, path string) *bbolt.DB {
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{Timeout: time.Second})
	if err != nil {
		b.Fatal(err)
	}
	return db
}

func barePut(b *testing.B, db *bbolt.DB, at uint64) {
	err := db.Update(func(tx *bbolt.Tx) error {
		bucket, err := tx.CreateBucketIfNotExists([]byte("CW-01"))
		if err != nil {
			return err
		}
		return bucket.Put(key(at), benchRecord())
	})
	if err != nil {
		b.Fatal(err)
	}
}
