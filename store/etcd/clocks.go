package etcd

import (
	"context"
	"encoding/json"
	"os"
	"slices"
	"sync"
	"time"

	"go.etcd.io/etcd/api/v3/mvccpb"
	clientv3 "go.etcd.io/etcd/client/v3"

	"fettle/store"
)

// A cluster tells nobody the time. But it counts down leases, by the clock of its leader that
// nobody sets: one stopwatch for all benches. A bench that records writes what its clock read
// right before and right after it was given a lease; who reads that asks how much of the lease is
// left, and so knows what the other clock reads now, to a second and the time of both questions.
//
// A new leader begins all leases anew. Then less time seems to have gone by than has, so that
// the other clock may be ahead of what is known by any time; it is told by the term, which the
// bench writes too.

// clockLease is how long a clock is known after it was told, in seconds.
const clockLease = 24 * 60 * 60

// setAnew is by how much a clock must have been set to be told anew.
const setAnew = time.Second

// A beat is what a bench tells of its clock.
type beat struct {
	Bench  string    `json:"bench"`
	Before time.Time `json:"before"` // what its clock read before it had the lease,
	After  time.Time `json:"after"`  // and after it
	Term   uint64    `json:"term"`   // of the leader
}

var _ store.ClockKeeper = (*Store)(nil)

// Clocks is [store.ClockKeeper.Clocks]. Its error is the context's, or an [*store.Error].
func (s *Store) Clocks(ctx context.Context, now func() time.Time, tell bool) ([]store.BenchClock, error) {
	all, err := s.clocks(ctx, now, tell)
	return all, s.fail(reading, err)
}

func (s *Store) clocks(ctx context.Context, now func() time.Time, tell bool) ([]store.BenchClock, error) {
	kv, err := s.reach(ctx)
	if err != nil {
		return nil, err
	}
	found, err := s.get(ctx, kv, keyClocks, end(keyClocks))
	if err != nil {
		return nil, err
	}
	id, name := s.bench()
	slices.SortFunc(found.Kvs, func(a, b *mvccpb.KeyValue) int { return int(a.CreateRevision - b.CreateRevision) })
	heard, errs := make([]*store.BenchClock, len(found.Kvs)), make([]error, len(found.Kvs))
	var own *mvccpb.KeyValue
	fresh, set := false, false // what is known of the clock here; it was set since
	var wait sync.WaitGroup
	for i, one := range found.Kvs {
		wait.Go(func() {
			var left time.Duration
			heard[i], left, errs[i] = s.compared(ctx, one, now)
			if string(one.Key) == clockKey(id) {
				own = one
				set = heard[i] != nil && (heard[i].Least >= setAnew || heard[i].Most <= -setAnew)
				fresh = heard[i] != nil && left > clockLease*time.Second/2 && heard[i].Most != store.UnknownMost && !set
			}
		})
	}
	wait.Wait()
	var others []store.BenchClock
	for i, one := range found.Kvs {
		if errs[i] != nil {
			return nil, errs[i]
		}
		if one != own && heard[i] != nil {
			heard[i].Older = own == nil || one.CreateRevision < own.CreateRevision
			others = append(others, *heard[i])
		}
	}
	if tell && !fresh {
		return others, s.beat(ctx, kv, clockKey(id), name, now)
	}
	if set { // the others take it for as wrong as it was; who may not write only listens
		_ = s.beat(ctx, kv, clockKey(id), name, now)
	}
	return others, nil
}

// compared is what a beat tells of its clock, and how much is left of its lease; nil: it has
// ended, or says nothing.
func (s *Store) compared(ctx context.Context, one *mvccpb.KeyValue, now func() time.Time) (*store.BenchClock, time.Duration, error) {
	var b beat
	rest, err := unsummed(string(one.Key), one.Value)
	if err != nil || json.Unmarshal(rest, &b) != nil {
		return nil, 0, nil // it is no part of the record
	}
	before := now()
	lease, err := ask(ctx, s, func(ctx context.Context) (*clientv3.LeaseTimeToLiveResponse, error) {
		return s.client.TimeToLive(ctx, clientv3.LeaseID(one.Lease))
	})
	after := now()
	if err != nil || lease.TTL <= 0 {
		return nil, 0, err
	}
	gone := time.Duration(lease.GrantedTTL-lease.TTL) * time.Second // or up to a second less
	heard := store.BenchClock{Bench: b.Bench, Least: b.Before.Add(max(0, gone-time.Second)).Sub(after), Most: store.UnknownMost}
	if lease.RaftTerm == b.Term {
		heard.Most = b.After.Add(gone).Sub(before)
	}
	return &heard, time.Duration(lease.TTL) * time.Second, nil
}

// beat tells the clock here.
func (s *Store) beat(ctx context.Context, kv clientv3.KV, key, name string, now func() time.Time) error {
	b := beat{Bench: name, Before: now()}
	lease, err := ask(ctx, s, func(ctx context.Context) (*clientv3.LeaseGrantResponse, error) {
		return s.client.Grant(ctx, clockLease)
	})
	if err != nil {
		return err
	}
	b.After, b.Term = now(), lease.RaftTerm
	value, err := json.Marshal(b)
	if err != nil {
		return err
	}
	_, err = s.txn(ctx, kv, nil, []clientv3.Op{clientv3.OpPut(key, summed(key, value), clientv3.WithLease(lease.ID))}, nil)
	return err
}

// Bench is [store.Claimer.Bench]: as the access says, or as the machine is called.
func (s *Store) Bench() string {
	if s.access.Name != "" {
		return s.access.Name
	}
	name, _ := os.Hostname()
	return name
}

// bench is an ID of this bench that stays, and its name.
func (s *Store) bench() (id, name string) {
	name = s.Bench()
	if s.access.Bench != nil {
		return s.access.Bench(), name
	}
	return name, name
}
