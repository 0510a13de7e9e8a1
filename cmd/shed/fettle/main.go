// Fettle is the build book and repair record of a bench where small foam
// aircraft are built, flown, broken and repaired.
//
// This is the same program as cmd/fettle, for benches that share one record: it
// also knows stores on an etcd cluster. It is 19 MB larger, and each
// start takes 5 ms of processor more.
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"fettle/cmd/internal/cli"
	"fettle/cmd/internal/keep"
	"fettle/store"
	"fettle/store/bolt"
	"fettle/store/etcd"
	"fettle/store/seen"
)

func main() {
	os.Exit(cli.Main(keep.Kind{Open: openBolt, Create: bolt.Create}, clusters(keep.Cluster{})))
}

func openBolt(path string, migrated func(from, to int, kept string)) keep.Store {
	s := bolt.New(path)
	s.Migrated = migrated
	return s
}

// clusters are the stores on clusters, of which the config says c.
func clusters(c keep.Cluster) keep.Kind {
	access := etcd.Access{CA: c.CA, Cert: c.Cert, Key: c.Key, User: c.User, Password: c.Password, Plain: c.Plain, Name: c.Bench,
		Bench: func() string { return benchID(c.Cache) }}
	return keep.Kind{
		Prefix: etcd.Scheme,
		With:   clusters,
		Check:  func(name string) error { return etcd.Check(name, access) },
		Open: func(name string, _ func(from, to int, kept string)) keep.Store {
			s := etcd.New(name, access)
			return shed{s, &seen.Store{Of: s, Folder: copyFolder(c.Cache, name, s.Shed())}, c.Photos, c.Own, &waits{}}
		},
		Create: func(context.Context, string, func(store.Builder) error, func(store.Store) error) error {
			return errNotFile
		},
	}
}

// errNotFile is returned for what a store in a file alone can do.
var errNotFile = errors.New("a backup is a file; to copy into a shed: fettle store copy FROM etcd://HOST:PORT/SHED")

// A shed is a store on a cluster, of which what was last seen can be shown while it is away.
type shed struct {
	*etcd.Store
	seen   *seen.Store
	photos string // the folder for the photos of sheds
	own    bool   // which other benches do not share
	waits  *waits
}

// View is [store.Store.View].
func (s shed) View(ctx context.Context, fn func(store.Reader) error) error {
	over := s.waits.begin()
	defer over()
	return s.seen.View(ctx, func(r store.Reader) error {
		over()
		return fn(r)
	})
}

// Append is [store.Store.Append].
func (s shed) Append(ctx context.Context, mark string, size int64, records [][]byte) error {
	defer s.waits.begin()()
	err := s.Store.Append(ctx, mark, size, records)
	if s.seen.Missed(err); err == nil {
		s.seen.Appended(mark, size, records)
	}
	return err
}

// Recall is [keep.Remote.Recall].
func (s shed) Recall(tell func(asOf time.Time, why error)) { s.seen.Recall(tell) }

// Waits is [keep.Remote.Waits].
func (s shed) Waits(tell func(waiting bool)) { s.waits.tell = tell }

// Tell is [keep.Remote.Tell].
func (s shed) Tell(say func(text string)) {
	s.Vacant(func(others []string) {
		text := "the cluster has no other that is seen from here"
		if len(others) > 0 {
			text = "the cluster has " + strings.Join(others, ", ")
		}
		say(fmt.Sprintf("the shed %s has no record yet; %s", s.Shed(), text))
	})
}

// AsOf is [store.Distant.AsOf].
func (s shed) AsOf() (time.Time, error) { return s.seen.AsOf() }

// Watch is [store.Watcher.Watch]. What is heard was sent by a cluster that is back.
func (s shed) Watch(ctx context.Context) <-chan struct{} {
	heard, from := make(chan struct{}, 1), s.Store.Watch(ctx)
	go func() {
		for {
			select {
			case <-ctx.Done():
				return
			case <-from:
			}
			s.seen.Back()
			select {
			case heard <- struct{}{}:
			default:
			}
		}
	}()
	return heard
}

// Claims is [store.Claimer.Claims]. Where what was last seen is shown, so is who was where then.
func (s shed) Claims(ctx context.Context) ([]*store.Claim, error) {
	defer s.waits.begin()()
	return s.seen.Claims(func() ([]*store.Claim, error) { return s.Store.Claims(ctx) })
}

// Claim is [store.Claimer.Claim]. It does not wait for a cluster that was away a moment ago.
func (s shed) Claim(ctx context.Context, of *store.Claim, lasts time.Duration, take bool) (*store.Claim, error) {
	if away := s.seen.Away(); away != nil {
		return nil, away
	}
	defer s.waits.begin()()
	stands, err := s.Store.Claim(ctx, of, lasts, take)
	s.seen.Missed(err)
	return stands, err
}

// Clocks is [store.ClockKeeper.Clocks]. It does not wait for a cluster that was away a moment ago.
func (s shed) Clocks(ctx context.Context, now func() time.Time, tell bool) ([]store.BenchClock, error) {
	away := s.seen.Away()
	if tell { // something is about to be recorded
		away = s.seen.Lately()
	}
	if away != nil {
		return nil, away
	}
	defer s.waits.begin()()
	all, err := s.Store.Clocks(ctx, now, tell)
	s.seen.Missed(err)
	return all, err
}

// waits tell of what takes long.
type waits struct{ tell func(waiting bool) }

// long is how long a cluster may take without a word.
const long = time.Second

// begin begins to wait, until the function that it returns is called.
func (w *waits) begin() (over func()) {
	if w.tell == nil {
		return func() {}
	}
	var mu sync.Mutex
	told, done := false, false
	timer := time.AfterFunc(long, func() {
		mu.Lock()
		defer mu.Unlock()
		if told = !done; told {
			w.tell(true)
		}
	})
	return func() {
		mu.Lock()
		defer mu.Unlock()
		timer.Stop()
		if told && !done {
			w.tell(false)
		}
		done = true
	}
}

// File is the name beside which the photos lie: those of a shed have one folder, which
// its benches share.
func (s shed) File() string {
	if s.photos == "" || s.Shed() == "" {
		return ""
	}
	return filepath.Join(s.photos, s.Shed())
}

// Shares is [keep.Remote.Shares].
func (s shed) Shares() string {
	if s.own {
		return ""
	}
	return s.photos
}

// Replace refuses: other benches may be writing.
func (s shed) Replace(context.Context, string, string, func(store.Reader) error) (bool, error) {
	return false, errNotFile
}
