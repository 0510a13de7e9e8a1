package storetest

import (
	"errors"
	"fmt"
	"sync"
	"testing"

	"fettle/store"
)

// testManyWriters has several writers append to one journal at once. Each one that
// loses reads again and retries.
func testManyWriters(t *testing.T, s store.Store) {
	const writers, each = 6, 8
	var wg sync.WaitGroup
	for w := range writers {
		wg.Go(func() {
			size := int64(0)
			for i := 0; i < each; {
				err := s.Append(t.Context(), "CW-01", size, records(fmt.Sprintf("%d %d", w, i), "more"))
				var conflict *store.ConflictError
				switch {
				case err == nil:
					i++
					size += 2
				case errors.As(err, &conflict):
					if conflict.Have <= size || conflict.Want != size {
						t.Errorf("a conflict at %d: %v", size, err)
						return
					}
					size = conflict.Have
				default:
					t.Error(err)
					return
				}
			}
		})
	}
	wg.Wait()

	view(t, s, func(r store.Reader) {
		got, err := r.Read("CW-01", 0)
		if err != nil || len(got) != 2*writers*each {
			t.Fatalf("%d records, %v", len(got), err)
		}
		next := make([]int, writers)
		for at := 0; at < len(got); at += 2 {
			var w, i int
			if _, err := fmt.Sscanf(string(got[at]), "%d %d", &w, &i); err != nil || i != next[w] || string(got[at+1]) != "more" {
				t.Fatalf("at %d: %q and %q", at, got[at], got[at+1])
			}
			next[w]++
		}
	})
}

// testReadersAndWriter has readers read while a writer appends: each sees only whole
// appends, and never fewer than before.
func testReadersAndWriter(t *testing.T, s store.Store) {
	const appends = 20
	done := make(chan struct{})
	var wg sync.WaitGroup
	for range 3 {
		wg.Go(func() {
			before := int64(0)
			for {
				select {
				case <-done:
					return
				default:
				}
				err := s.View(t.Context(), func(r store.Reader) error {
					size, err := r.Size("CW-01")
					if err != nil {
						return err
					}
					got, err := r.Read("CW-01", 0)
					if err != nil {
						return err
					}
					if size < before || size%3 != 0 || int64(len(got)) != size {
						return fmt.Errorf("size %d with %d records after %d", size, len(got), before)
					}
					before = size
					return nil
				})
				if err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	for i := range int64(appends) {
		mustAppend(t, s, "CW-01", 3*i, "a", "b", "c")
	}
	close(done)
	wg.Wait()
}
