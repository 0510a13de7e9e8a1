package etcd

import (
	"errors"
	"io"
	"net"
	"os"
	"slices"
	"sync"
	"testing"
	"time"

	clientv3 "go.etcd.io/etcd/client/v3"
	"go.etcd.io/etcd/server/v3/embed"

	"fettle/store"
)

// A way leads to the cluster and can be cut.
type way struct {
	net.Listener
	to  string
	mu  sync.Mutex
	cut bool
	all []net.Conn
}

// wayTo returns a way to a host.
func wayTo(t *testing.T, host string) *way {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	w := &way{Listener: l, to: host}
	t.Cleanup(func() { w.set(true); _ = l.Close() })
	go w.serve()
	return w
}

func (w *way) serve() {
	for {
		from, err := w.Accept()
		if err != nil {
			return
		}
		w.mu.Lock()
		cut := w.cut
		w.mu.Unlock()
		to, err := net.Dial("tcp", w.to)
		if cut || err != nil {
			_ = from.Close()
			continue
		}
		w.mu.Lock()
		w.all = append(w.all, from, to)
		w.mu.Unlock()
		go func() { _, _ = io.Copy(to, from); _ = to.Close() }()
		go func() { _, _ = io.Copy(from, to); _ = from.Close() }()
	}
}

func (w *way) set(cut bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.cut = cut; cut {
		for _, c := range w.all {
			_ = c.Close()
		}
		w.all = nil
	}
}

// A watch goes on after the way to the cluster was cut, also where what happened meanwhile is
// compacted away, and tells that there may be something.
func TestWatchGoesOn(t *testing.T) {
	for name, compacted := range map[string]bool{"there": false, "compacted": true} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			server, host, err := start(t.TempDir(), func(*embed.Config) {}) // what it compacts away, others may be reading
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(server.Server.HardStop)
			way := wayTo(t, host)
			other := New(Scheme+host+"/shed", Access{})
			t.Cleanup(func() { _ = other.Close() })
			s := New(Scheme+way.Addr().String()+"/"+other.Shed(), Access{})
			t.Cleanup(func() { _ = s.Close() })
			heard := s.Watch(t.Context())
			hears := func(what string) {
				t.Helper()
				select {
				case <-heard:
				case <-time.After(10 * time.Second):
					t.Fatalf("%s: nothing is heard", what)
				}
			}
			write := func(size int64) {
				t.Helper()
				if err := other.Append(t.Context(), "CW-01", size, [][]byte{[]byte("a")}); err != nil {
					t.Fatal(err)
				}
			}
			hears("the beginning")
			write(0)
			hears("the first append")
			way.set(true)
			write(1)
			write(2)
			if compacted {
				found, err := other.client.Get(t.Context(), "x")
				if err == nil {
					_, err = other.client.Compact(t.Context(), found.Header.Revision, clientv3.WithCompactPhysical())
				}
				if err != nil {
					t.Fatal(err)
				}
			}
			quiet(heard)
			way.set(false)
			hears("what came while the way was cut")
			for begun := time.Now(); time.Since(begun) < retry+retry/4; { // it begins anew, and tells of that
				quiet(heard)
			}
			write(3)
			hears("what came after it")
			if !compacted { // one that was put back to an older state has less revisions than were seen
				quiet(heard)
				s.latest(1 << 40)
				if err := s.View(t.Context(), func(store.Reader) error { return nil }); err != nil {
					t.Fatal(err)
				}
				hears("the watch of an older state")
			}
		})
	}
}

// quiet returns once nothing was heard for a moment.
func quiet(heard <-chan struct{}) {
	for {
		select {
		case <-heard:
		case <-time.After(50 * time.Millisecond):
			return
		}
	}
}

// A claim ends with its lease, and whoever watches hears of it. Claimed again once it has ended,
// it is there anew; claims that are not as they were written are none.
func TestClaimEnds(t *testing.T) {
	s := empty(t)
	of := &store.Claim{Mark: "CW-01", Step: "build/coat", By: "hugo", Bench: "window", Since: time.Date(2026, 3, 3, 19, 0, 0, 0, time.UTC)}
	other := new(*of)
	other.By = "rosa"
	if _, err := s.Claims(t.Context()); err != nil { // it is connected
		t.Fatal(err)
	}
	revokeAll(t, s)
	if _, err := s.Claim(t.Context(), of, time.Minute, false); err != nil {
		t.Fatal(err)
	}
	if left := leases(t, s); left != 1 {
		t.Errorf("%d leases stand for one claim", left)
	}
	if _, err := s.Claim(t.Context(), of, 2*time.Minute, false); err != nil { // a lease of another length
		t.Fatal(err)
	}
	if left := leases(t, s); left != 1 {
		t.Errorf("%d leases stand for one claim that was made to last longer", left)
	}
	heard := s.Watch(t.Context())
	quiet(heard)
	<-time.After(100 * time.Millisecond)
	quiet(heard)
	revokeAll(t, s)
	select {
	case <-heard:
	case <-time.After(5 * time.Second):
		t.Error("the end of a claim is not told")
	}
	if stands, err := s.Claims(t.Context()); err != nil || len(stands) > 0 {
		t.Errorf("there stand %v, %v", stands, err)
	}
	if got, err := s.Claim(t.Context(), other, time.Minute, false); err != nil || *got != *other {
		t.Errorf("%v, %v", got, err)
	}
	kv, _ := s.reach(t.Context())
	if _, err := kv.Put(t.Context(), claimKey(other), "no claim"); err != nil {
		t.Fatal(err)
	}
	if stands, err := s.Claims(t.Context()); err != nil || len(stands) > 0 {
		t.Errorf("there stand %v, %v", stands, err)
	}
	if report, err := s.Examine(t.Context()); err != nil || len(report.Faults) > 0 {
		t.Errorf("a claim is taken for a part of the record: %v, %v", report, err)
	}
}

func leases(t *testing.T, s *Store) int {
	t.Helper()
	found, err := s.client.Leases(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return len(found.Leases)
}

// Of two that claim the same step at once, one has it, and the other is told so.
func TestClaimedAtOnce(t *testing.T) {
	s := empty(t)
	var got [4]*store.Claim
	var errs [4]error
	var all sync.WaitGroup
	for i := range got {
		of := &store.Claim{Mark: "CW-01", Step: "build/coat", By: string(rune('a' + i)), Bench: "window"}
		bench := opened(t, s.Shed())
		all.Go(func() { got[i], errs[i] = bench.Claim(t.Context(), of, time.Minute, false) })
	}
	all.Wait()
	stands, err := s.Claims(t.Context())
	if err != nil || len(stands) != 1 || errors.Join(errs[:]...) != nil {
		t.Fatalf("%v, %v", stands, errors.Join(append(errs[:], err)...))
	}
	if slices.ContainsFunc(got[:], func(c *store.Claim) bool { return *c != *stands[0] }) {
		t.Errorf("%v were told, and there stands %v", got, stands)
	}
	if os.Getenv("FETTLE_LONG") == "" {
		return
	}
	if _, err := s.Claim(t.Context(), stands[0], 2*time.Second, false); err != nil { // for real
		t.Fatal(err)
	}
	time.Sleep(5 * time.Second)
	if stands, err := s.Claims(t.Context()); err != nil || len(stands) > 0 {
		t.Errorf("there stand %v, %v", stands, err)
	}
}
