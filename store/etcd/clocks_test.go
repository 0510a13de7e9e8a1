package etcd

import (
	"encoding/json"
	"os"
	"strings"
	"testing"
	"time"

	clientv3 "go.etcd.io/etcd/client/v3"

	"fettle/store"
)

// benchIn is a bench of a shed, with a clock that is off by so much.
func benchIn(t *testing.T, shed, id string, off time.Duration) (*Store, func() time.Time) {
	s := New(Scheme+hostOf(t)+"/"+shed, Access{Bench: func() string { return id }})
	t.Cleanup(func() { _ = s.Close() })
	return s, func() time.Time { return time.Now().Add(off) }
}

func heard(t *testing.T, s *Store, now func() time.Time, tell bool) []store.BenchClock {
	t.Helper()
	all, err := s.Clocks(t.Context(), now, tell)
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// What is found of another bench's clock includes what it differs by, and is known to a second
// and the time of the questions. Each finds the other's.
func TestClocks(t *testing.T) {
	for _, off := range []time.Duration{0, time.Second, -time.Second, time.Minute, -time.Minute, time.Hour, -time.Hour} {
		shed := empty(t).Shed()
		one, clockOne := benchIn(t, shed, "one", 0)
		two, clockTwo := benchIn(t, shed, "two", off)
		begun := time.Now()
		if all := heard(t, one, clockOne, true); len(all) != 0 {
			t.Errorf("before anybody told: %v", all)
		}
		if all := heard(t, two, clockTwo, false); len(all) != 1 || !all[0].Older {
			t.Fatalf("heard %v", all)
		}
		if all := heard(t, one, clockOne, false); len(all) != 0 {
			t.Errorf("of one that only listens: %v", all)
		}
		if os.Getenv("FETTLE_LONG") != "" {
			time.Sleep(2500 * time.Millisecond)
		}
		of := heard(t, two, clockTwo, true)[0]
		by := heard(t, one, clockOne, true)[0]
		most := time.Since(begun) + time.Second
		if of.Least > -off || of.Most < -off || of.Most-of.Least > most || !of.Older {
			t.Errorf("one is ahead of two by %v: %+v", -off, of)
		}
		if by.Least > off || by.Most < off || by.Most-by.Least > most || by.Older {
			t.Errorf("two is ahead of one by %v: %+v", off, by)
		}
	}
}

// A clock is told once, and anew when it was set, then also by a bench that only listens.
func TestClockToldAnew(t *testing.T) {
	shed := empty(t).Shed()
	off := time.Duration(0)
	one, _ := benchIn(t, shed, "one", 0)
	clock := func() time.Time { return time.Now().Add(off) }
	kv, _ := one.reach(t.Context())
	revision := func() int64 {
		found, err := kv.Get(t.Context(), clockKey("one"))
		if err != nil || len(found.Kvs) != 1 {
			t.Fatal(found, err)
		}
		return found.Kvs[0].ModRevision
	}
	heard(t, one, clock, true)
	first := revision()
	if heard(t, one, clock, true); revision() != first {
		t.Error("it was told again")
	}
	if heard(t, one, clock, false); revision() != first {
		t.Error("it was told by one that only listens")
	}
	two, clockTwo := benchIn(t, shed, "two", 0)
	off = time.Hour
	heard(t, one, clock, true)
	if all := heard(t, two, clockTwo, false); len(all) != 1 || all[0].Least < 59*time.Minute {
		t.Errorf("an hour ahead: heard %+v", all)
	}
	off = time.Minute
	told := revision()
	if heard(t, one, clock, false); revision() == told {
		t.Error("it was not told anew")
	}
	if all := heard(t, two, clockTwo, false); len(all) != 1 || all[0].Least > time.Minute || all[0].Most < time.Minute {
		t.Errorf("heard %+v", all)
	}
}

// After a new leader began all leases anew, the other clock may be ahead by any time, and is told
// anew by its bench. One whose lease has ended, or that nobody can read, is not known.
func TestClockOfAnotherTerm(t *testing.T) {
	shed := empty(t).Shed()
	one, clockOne := benchIn(t, shed, "one", time.Minute)
	two, clockTwo := benchIn(t, shed, "two", 0)
	heard(t, one, clockOne, true)
	kv, _ := one.reach(t.Context())
	found, err := kv.Get(t.Context(), clockKey("one"))
	if err != nil {
		t.Fatal(err)
	}
	was := found.Kvs[0]
	put := func(key, value string) {
		if _, err := kv.Put(t.Context(), key, value, clientv3.WithLease(clientv3.LeaseID(was.Lease))); err != nil {
			t.Fatal(err)
		}
	}
	var b beat
	if err := json.Unmarshal(was.Value[sumSize:], &b); err != nil {
		t.Fatal(err)
	}
	b.Term--
	value, _ := json.Marshal(b)
	put(clockKey("one"), summed(clockKey("one"), value))
	if all := heard(t, two, clockTwo, false); len(all) != 1 || all[0].Most != store.UnknownMost || all[0].Least < 50*time.Second || all[0].Least > time.Minute {
		t.Errorf("heard %+v", all)
	}
	heard(t, one, clockOne, true)
	if all := heard(t, two, clockTwo, false); len(all) != 1 || all[0].Most == store.UnknownMost {
		t.Errorf("told anew: %+v", all)
	}
	put(clockKey("one"), strings.Repeat("x", 10))
	if all := heard(t, two, clockTwo, false); len(all) != 0 {
		t.Errorf("of what nobody can read: %+v", all)
	}
	heard(t, one, clockOne, true)
	revokeAll(t, one)
	if all := heard(t, two, clockTwo, false); len(all) != 0 {
		t.Errorf("of what has ended: %+v", all)
	}
}
