package etcd

import (
	"context"
	"time"

	clientv3 "go.etcd.io/etcd/client/v3"

	"fettle/store"
)

var _ store.Watcher = (*Store)(nil)

// retry is how soon a watch that broke is begun anew.
const retry = time.Second

// Watch is [store.Watcher.Watch]. It watches the heads of the journals and the claims, and none
// of what is appended, so that no bench is sent what it does not ask for.
func (s *Store) Watch(ctx context.Context) <-chan struct{} {
	heard := make(chan struct{}, 1)
	go func() {
		for ctx.Err() == nil {
			s.watch(ctx, heard)
			select {
			case <-ctx.Done():
			case <-time.After(retry):
			}
		}
	}()
	return heard
}

// watch tells of what happens until the cluster no longer does: it has no leader, what came
// while it was not reached is compacted away, or it was put back to an older state. What broke in between is the client's affair.
func (s *Store) watch(ctx context.Context, heard chan<- struct{}) {
	if _, err := s.reach(ctx); err != nil {
		return
	}
	s.mu.Lock()
	client := s.client
	s.mu.Unlock()
	if client == nil { // it was closed just now
		return
	}
	ctx, stop := context.WithCancel(clientv3.WithRequireLeader(ctx))
	defer stop()
	from := func(prefix string) clientv3.WatchChan {
		key := s.prefix() + prefix
		return client.Watch(ctx, key, clientv3.WithRange(end(key)), clientv3.WithCreatedNotify())
	}
	rewound := s.untilRewound()
	heads, claims := from(keyHeads), from(keyClaims)
	for {
		var told clientv3.WatchResponse
		var open bool
		select {
		case told, open = <-heads:
		case told, open = <-claims:
		case <-rewound:
			return
		}
		if !open || told.Canceled {
			return
		}
		select {
		case heard <- struct{}{}: // also when the watch begins: nobody knows what came before
		default:
		}
	}
}
