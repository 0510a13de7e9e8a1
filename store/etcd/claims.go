package etcd

import (
	"context"
	"encoding/json"
	"slices"
	"time"

	clientv3 "go.etcd.io/etcd/client/v3"

	"fettle/store"
)

var _ store.Claimer = (*Store)(nil)

// A claim is one that was found. One that is not as it was written is none: it only says who is
// where.
type claim struct {
	store.Claim
	Lasts int64 `json:"lasts"` // in seconds, as it was asked for

	key      string
	revision int64
	lease    clientv3.LeaseID
}

// claims reads those that stand or are remembered. Their leases last longer than they do, and tell
// when each was heard of last.
func (s *Store) claims(ctx context.Context) (clientv3.KV, []claim, error) {
	kv, err := s.reach(ctx)
	if err != nil {
		return nil, nil, err
	}
	found, err := s.get(ctx, kv, keyClaims, end(keyClaims))
	if err != nil {
		return nil, nil, err
	}
	var all []claim
	for _, one := range found.Kvs {
		c := claim{key: string(one.Key), revision: one.ModRevision, lease: clientv3.LeaseID(one.Lease)}
		if rest, err := unsummed(c.key, one.Value); err != nil || json.Unmarshal(rest, &c) != nil || c.key != claimKey(&c.Claim) {
			continue
		}
		lease, err := ask(ctx, s, func(ctx context.Context) (*clientv3.LeaseTimeToLiveResponse, error) {
			return s.client.TimeToLive(ctx, c.lease)
		})
		if err != nil {
			return nil, nil, err
		}
		if silent := lease.GrantedTTL - lease.TTL; silent > c.Lasts {
			c.Silent = time.Duration(silent) * time.Second
		}
		if lease.TTL > 0 { // else it has just ended
			all = append(all, c)
		}
	}
	return kv, all, nil
}

// Claims is [store.Claimer.Claims]. Its error is the context's, or an [*store.Error].
func (s *Store) Claims(ctx context.Context) ([]*store.Claim, error) {
	_, found, err := s.claims(ctx)
	var all []*store.Claim
	for _, c := range found {
		all = append(all, &c.Claim)
	}
	slices.SortFunc(all, (*store.Claim).Compare)
	return all, s.fail(reading, err)
}

// Claim is [store.Claimer.Claim]. A claim hangs on a lease, which the cluster ends; no clock of a
// bench has a part in it.
func (s *Store) Claim(ctx context.Context, of *store.Claim, lasts time.Duration, take bool) (stands *store.Claim, err error) {
	err = s.again(func() error {
		stands, err = s.claim(ctx, of, int64((lasts+time.Second-1)/time.Second), take)
		return err
	})
	return stands, s.fail(writing, err)
}

func (s *Store) claim(ctx context.Context, of *store.Claim, seconds int64, take bool) (*store.Claim, error) {
	kv, all, err := s.claims(ctx)
	if err != nil {
		return nil, err
	}
	key := claimKey(of)
	var there claim
	var before []claim // of the same owner
	for _, c := range all {
		switch {
		case c.key == key && c.Kept(of):
			return &c.Claim, nil
		case !c.Kept(of) && c.Owned(of) && (c.key == key || c.Left.IsZero() && of.Left.IsZero()):
			before = append(before, c)
		case c.key == key && !take && !c.Owned(of):
			return &c.Claim, nil
		}
		if c.key == key {
			there = c
		}
	}
	if there.key != "" && there.Owned(of) {
		of = there.Again(of)
		if there.Silent = 0; there.Lasts == seconds && len(before) == 1 && *of == there.Claim {
			if _, err := ask(ctx, s, func(ctx context.Context) (*clientv3.LeaseKeepAliveResponse, error) {
				return s.client.KeepAliveOnce(ctx, there.lease)
			}); err == nil {
				return of, nil
			} // it has just ended, or what is tried next fails too
		}
	}
	if there.key != "" && !there.Owned(of) {
		taken := *of
		taken.From = there.Owner()
		of = &taken
	}
	value, err := json.Marshal(claim{Claim: *of, Lasts: seconds})
	if err != nil {
		return nil, err
	}
	lease, err := ask(ctx, s, func(ctx context.Context) (*clientv3.LeaseGrantResponse, error) {
		return s.client.Grant(ctx, seconds+int64(store.Remembered/time.Second))
	})
	if err != nil {
		return nil, err
	}
	ops := []clientv3.Op{clientv3.OpPut(key, summed(key, value), clientv3.WithLease(lease.ID))}
	for _, c := range before {
		if c.key != key {
			ops = append(ops, clientv3.OpDelete(c.key))
		}
	}
	answer, err := s.txn(ctx, kv, []clientv3.Cmp{clientv3.Compare(clientv3.ModRevision(key), "=", there.revision)}, ops, nil)
	if err == nil && answer.Succeeded {
		s.revoke(ctx, before)
		return of, nil
	}
	s.revoke(ctx, []claim{{lease: lease.ID}})
	if err == nil {
		err = errAgain
	}
	return nil, err
}

// revoke ends leases. What fails ends by itself.
func (s *Store) revoke(ctx context.Context, of []claim) {
	for _, c := range of {
		_, _ = ask(ctx, s, func(ctx context.Context) (*clientv3.LeaseRevokeResponse, error) {
			return s.client.Revoke(ctx, c.lease)
		})
	}
}

// Unclaim is [store.Claimer.Unclaim], with errors as of [Store.Claims].
func (s *Store) Unclaim(ctx context.Context, owner *store.Claim) error {
	_, all, err := s.claims(ctx)
	if err != nil {
		return s.fail(reading, err)
	}
	s.revoke(ctx, slices.DeleteFunc(all, func(c claim) bool { return !c.Owned(owner) || c.Kept(owner) || !c.Left.IsZero() }))
	return nil
}
