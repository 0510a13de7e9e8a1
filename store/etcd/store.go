package etcd

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"sync"
	"time"

	clientv3 "go.etcd.io/etcd/client/v3"
	"go.etcd.io/etcd/client/v3/namespace"
	"go.uber.org/zap"
	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"

	"fettle/store"
)

// Patience is how long a cluster is waited for that gives no answer: a leader that was lost is
// replaced within two seconds.
const Patience = 5 * time.Second

// draftLease is how long a draft stays after its writer was last heard of, in seconds.
const draftLease = 60

// A Store is a [store.Store] on a cluster. Use [New]. It is connected when it is first used.
type Store struct {
	name     string // as errors show it
	address  address
	wrong    error // with the address
	access   Access
	patience time.Duration
	lease    int64 // see draftLease

	vacant func(sheds []string) // see Vacant

	mu     sync.Mutex
	client *clientv3.Client // nil until it is needed
	kv     clientv3.KV      // the client's, within the shed
	newest int64            // the latest revision that was seen
	older  chan struct{}    // is closed once the cluster has an older one: see rewound
	hook   func(stage)      // is called before each thing that is written, in tests
}

var _ store.Store = (*Store)(nil)

// New returns the store of a name such as etcd://host:2379,host2:2379/shed. It connects to
// nothing yet: what is wrong with the name is said when it is used.
func New(name string, access Access) *Store {
	a, err := parseAddress(name)
	if err != nil {
		name, err = Scheme+"…", setupError{err} // it may have a password in it
	}
	return &Store{name: name, address: a, wrong: err, access: access, patience: Patience, lease: draftLease}
}

// Shed is the name of the shed, "" if the store's name has none.
func (s *Store) Shed() string { return s.address.shed }

// Close ends the connection, if there is one. A process that ends need not call it.
func (s *Store) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.client == nil {
		return nil
	}
	client := s.client
	s.client, s.kv = nil, nil
	return client.Close()
}

// reach returns the client's keys within the shed, and connects first if nobody has.
func (s *Store) reach(ctx context.Context) (clientv3.KV, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if s.wrong != nil {
		return nil, s.wrong
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.kv != nil {
		return s.kv, nil
	}
	endpoints, encrypted, err := s.address.endpoints(s.access)
	if err != nil {
		return nil, setupError{err}
	}
	client, err := clientv3.New(clientv3.Config{
		Endpoints: endpoints, TLS: encrypted, Username: s.access.User, Password: s.access.Password,
		DialTimeout: s.patience, DialKeepAliveTime: 10 * time.Second, DialKeepAliveTimeout: s.patience,
		// Who cannot be reached is told why, before patience ends: tries are 25 ms apart.
		MaxUnaryRetries: uint(s.patience / (50 * time.Millisecond)),
		DialOptions: []grpc.DialOption{grpc.WithChainUnaryInterceptor(unwaiting), grpc.WithConnectParams(grpc.ConnectParams{
			// Whoever is back is found within a second. The library would come to wait for two minutes,
			// in which a bench is led by what was.
			Backoff:           backoff.Config{BaseDelay: 200 * time.Millisecond, Multiplier: 1.6, Jitter: 0.2, MaxDelay: time.Second},
			MinConnectTimeout: s.patience,
		})},
		Logger: zap.NewNop(),
	})
	if err != nil {
		if ctx.Err() == nil && errors.Is(err, context.DeadlineExceeded) { // who has a password says it at once, and was not heard
			err = fmt.Errorf("no answer in time: %w", err) // it is not the caller's
		}
		return nil, err
	}
	s.client, s.kv = client, namespace.NewKV(client.KV, s.prefix())
	return s.kv, nil
}

// prefix is what all keys of the shed begin with.
func (s *Store) prefix() string { return "fettle/" + s.address.shed + "/" }

// unwaiting makes a call fail with its reason while no member can be reached; the client would
// wait and say nothing.
func unwaiting(ctx context.Context, method string, request, answer any, connection *grpc.ClientConn, call grpc.UnaryInvoker, options ...grpc.CallOption) error {
	return call(ctx, method, request, answer, connection, append(options, grpc.WaitForReady(false))...)
}

// ask asks the cluster for something and waits no longer than patience. The error is ctx's own if
// that ended.
func ask[R any](ctx context.Context, s *Store, do func(context.Context) (R, error)) (R, error) {
	limited, cancel := context.WithTimeout(ctx, s.patience)
	defer cancel()
	answer, err := do(limited)
	switch {
	case err != nil && ctx.Err() != nil:
		err = ctx.Err()
	case errors.Is(err, context.DeadlineExceeded):
		err = fmt.Errorf("no answer in time: %w", err) // it is not the caller's
	}
	return answer, err
}

// get reads the keys from one on, up to but without another; "": that key alone.
func (s *Store) get(ctx context.Context, kv clientv3.KV, key, to string, options ...clientv3.OpOption) (*clientv3.GetResponse, error) {
	if to != "" {
		options = append(options, clientv3.WithRange(to))
	}
	return ask(ctx, s, func(ctx context.Context) (*clientv3.GetResponse, error) { return kv.Get(ctx, key, options...) })
}

func end(prefix string) string { return clientv3.GetPrefixRangeEnd(prefix) }

// checkFormat refuses what is not a store, or one of a newer program. It reports whether there is
// one.
func checkFormat(found *clientv3.GetResponse) (bool, error) {
	if len(found.Kvs) == 0 {
		return false, nil
	}
	text, ok := strings.CutPrefix(string(found.Kvs[0].Value), format)
	number, err := strconv.ParseUint(text, 10, 32)
	switch {
	case !ok || err != nil || number == 0:
		return false, errForeignKeys()
	case number > schema:
		return false, fmt.Errorf("%w: it has schema %d; this fettle reads schemas up to %d", store.ErrNewer, number, schema)
	}
	return true, nil
}

// View is [store.Store.View]. It returns the context's error, that of fn, or an [*store.Error]. A
// shed that nobody has written to is an empty store.
func (s *Store) View(ctx context.Context, fn func(store.Reader) error) error {
	r, err := s.view(ctx)
	if err != nil {
		return s.fail(reading, err)
	}
	defer func() { r.over = true }()
	return fn(r)
}

func (s *Store) view(ctx context.Context) (*reader, error) {
	kv, err := s.reach(ctx)
	if err != nil {
		return nil, err
	}
	seen := s.latest(0)
	found, err := s.get(ctx, kv, keyFormat, "")
	if err != nil {
		return nil, err
	}
	if revision := found.Header.Revision; revision < seen {
		s.rewound(revision)
	} else {
		s.latest(revision)
	}
	exists, err := checkFormat(found)
	if err != nil {
		return nil, err
	}
	if tell := s.vacant; !exists && tell != nil {
		s.vacant = nil
		tell(s.others(ctx))
	}
	return &reader{ctx: ctx, store: s, kv: kv, revision: found.Header.Revision}, nil
}

// latest notes a revision that was seen, and returns the latest of all.
func (s *Store) latest(revision int64) int64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.newest = max(s.newest, revision)
	return s.newest
}

// rewound notes that the cluster was put back to an older state. A watch would wait until it has come as far
// as it was, and hear nothing.
func (s *Store) rewound(to int64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.newest = to; s.older != nil {
		close(s.older)
		s.older = nil
	}
}

// untilRewound is closed once that is noted.
func (s *Store) untilRewound() <-chan struct{} {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.older == nil {
		s.older = make(chan struct{})
	}
	return s.older
}

// Vacant has it call tell once, if nothing was ever recorded in its shed, with other sheds of the
// cluster. It is for whoever has just opened it.
func (s *Store) Vacant(tell func(others []string)) { s.vacant = tell }

// mostSheds is how many sheds are looked for.
const mostSheds = 8

// others are other sheds of the cluster, as far as they may be seen: one key is read of each.
func (s *Store) others(ctx context.Context) (sheds []string) {
	const all = "fettle/"
	from := all
	for range mostSheds {
		found, err := s.get(ctx, s.client.KV, from, end(all), clientv3.WithLimit(1), clientv3.WithKeysOnly())
		if err != nil || len(found.Kvs) == 0 {
			break
		}
		name, _, _ := strings.Cut(strings.TrimPrefix(string(found.Kvs[0].Key), all), "/")
		if name != s.Shed() {
			sheds = append(sheds, name)
		}
		from = end(all + name + "/")
	}
	return sheds
}

// errOver is of a reader that outlived its view.
var errOver = errors.New("the store was read after its view had ended")
