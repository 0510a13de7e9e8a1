package etcd

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
	"time"

	"go.etcd.io/etcd/api/v3/mvccpb"
	clientv3 "go.etcd.io/etcd/client/v3"
	"golang.org/x/mod/sumdb/tlog"

	"fettle/store"
	"fettle/store/seal"
)

// A stage is what is about to be written.
type stage string

const (
	stageDraft   stage = "draft"
	stagePiece   stage = "piece"
	stagePublish stage = "publish"
)

const (
	pause    = 50 * time.Millisecond // before the same is sent again
	attempts = 3                     // to write what others made impossible, though not by writing to the same journal
)

// Append is [store.Store.Append], with its errors. Once it is about to be published, it is seen to
// its end although ctx ends.
func (s *Store) Append(ctx context.Context, mark string, size int64, records [][]byte) error {
	if err := store.CheckAppend(mark, size, records); err != nil {
		return err
	}
	return s.fail(writing, s.again(func() error { return s.append(ctx, mark, size, records) }))
}

// Keep is [store.Store.Keep], with its errors.
func (s *Store) Keep(ctx context.Context, document []byte) (string, error) {
	if err := store.CheckDocument(document); err != nil {
		return "", err
	}
	digest := store.Digest(document)
	err := s.again(func() error { return s.keep(ctx, digest, document) })
	if errors.Is(err, store.ErrUnknown) { // no journal names it yet, and it may be kept again
		err = fmt.Errorf("%w: no answer in time", store.ErrAway)
	}
	if err != nil {
		return "", s.fail(writing, err)
	}
	return digest, nil
}

// errAgain says that nothing was written, and that nothing speaks against it.
var errAgain = errors.New("the cluster refused what should have been possible")

func (s *Store) again(write func() error) (err error) {
	begun := time.Now()
	for n := 0; n < attempts || time.Since(begun) < s.patience/2; n++ {
		if err = write(); !errors.Is(err, errAgain) && !errors.Is(err, errSwept) {
			return err
		}
	}
	return err
}

// txn is one transaction.
func (s *Store) txn(ctx context.Context, kv clientv3.KV, guards []clientv3.Cmp, then, otherwise []clientv3.Op) (*clientv3.TxnResponse, error) {
	return ask(ctx, s, func(ctx context.Context) (*clientv3.TxnResponse, error) {
		return kv.Txn(ctx).If(guards...).Then(then...).Else(otherwise...).Commit()
	})
}

// gotten is what the read at a place in a transaction found.
func gotten(answer *clientv3.TxnResponse, at int) *clientv3.GetResponse {
	return (*clientv3.GetResponse)(answer.Responses[at].GetResponseRange())
}

// A written is something on its way into the store: one append or one document.
type written struct {
	store  *Store
	kv     clientv3.KV
	id     id
	exists bool // the store
	drafts []*mvccpb.KeyValue
	found  *clientv3.TxnResponse

	draft   int64 // the revision of its draft; 0: it needs none
	lease   clientv3.LeaseID
	renewed time.Time
}

// begin reads what must be known before something is written: the format, the drafts that there
// are, one key, and more after them.
func (s *Store) begin(ctx context.Context, key string, more ...clientv3.Op) (*written, *clientv3.GetResponse, error) {
	kv, err := s.reach(ctx)
	if err != nil {
		return nil, nil, err
	}
	found, err := s.send(ctx, kv, nil, append([]clientv3.Op{
		clientv3.OpGet(keyFormat),
		clientv3.OpGet(key),
		clientv3.OpGet(keyDrafts, clientv3.WithRange(end(keyDrafts)), clientv3.WithLimit(page)),
	}, more...), nil)
	if err != nil {
		return nil, nil, err
	}
	w := &written{store: s, kv: kv, found: found, drafts: gotten(found, 2).Kvs}
	if w.exists, err = checkFormat(gotten(found, 0)); err != nil {
		return nil, nil, err
	}
	_, _ = rand.Read(w.id[:]) // it never fails
	return w, gotten(found, 1), nil
}

func (s *Store) append(ctx context.Context, mark string, size int64, records [][]byte) error {
	w, found, err := s.begin(ctx, headKey(mark), appendFrom(mark, size, clientv3.WithKeysOnly()), clientv3.OpGet(keyJournals))
	if err != nil {
		return err
	}
	h, err := headIn(mark, found)
	if err != nil {
		return err
	}
	more := gotten(w.found, 3).Kvs
	switch {
	case len(more) > 0 && h.size == 0:
		return errNoHead(mark)
	case h.size != size:
		return &store.ConflictError{Mark: mark, Have: h.size, Want: size}
	case len(more) > 0:
		a, err := parseHex(strings.TrimPrefix(string(more[0].Key), appendsKey(mark)))
		if err != nil {
			return damaged("%q is not an append", more[0].Key)
		}
		return errBeyond(mark, a)
	}
	guards := []clientv3.Cmp{clientv3.Compare(clientv3.ModRevision(headKey(mark)), "=", h.revision)}
	var begins []clientv3.Op
	if h.size == 0 {
		count, revision, err := journalsIn(gotten(w.found, 4))
		if err != nil {
			return err
		}
		guards = append(guards, clientv3.Compare(clientv3.ModRevision(keyJournals), "=", revision))
		begins = append(begins, clientv3.OpPut(keyJournals, journalsValue(count+1)))
	}
	hashes, err := seal.Grow(size, records, func(indexes []int64) ([]tlog.Hash, error) {
		hash, ok := h.edge[indexes[0]]
		if !ok {
			return nil, damaged("the head of the journal %q lacks a hash", mark)
		}
		return []tlog.Hash{hash}, nil
	})
	if err != nil {
		return err
	}
	body, err := w.lay(ctx, packed(size, records, hashes))
	if err != nil {
		return err
	}
	next := h.grown(len(records), hashes)
	key := appendKey(mark, next.size-1)
	answer, err := w.publish(ctx, guards,
		append(begins, clientv3.OpPut(headKey(mark), next.value(mark)), clientv3.OpPut(key, appendedValue(key, w.id, size, body))),
		[]clientv3.Op{clientv3.OpGet(headKey(mark)), clientv3.OpGet(key)})
	if err != nil || answer == nil {
		return err
	}
	// It was refused: because it had happened, or because another one did.
	if kvs := gotten(answer, 1).Kvs; len(kvs) > 0 {
		if a, err := parseAppended(mark, key, kvs[0].Value); err != nil || a.id == w.id {
			return err
		}
	}
	now, err := headIn(mark, gotten(answer, 0))
	switch {
	case err != nil:
		return err
	case now.revision != h.revision:
		return &store.ConflictError{Mark: mark, Have: now.size, Want: size}
	}
	return w.refused()
}

func (s *Store) keep(ctx context.Context, digest string, document []byte) error {
	key := documentKey(digest)
	w, found, err := s.begin(ctx, key)
	if err != nil {
		return err
	}
	if kvs := found.Kvs; len(kvs) > 0 {
		r := &reader{ctx: ctx, store: s, kv: w.kv, revision: w.found.Header.Revision}
		kept, err := r.document(digest, kvs[0].Value)
		if err == nil && !bytes.Equal(kept, document) {
			err = damaged("the document %s is not as it was written", digest)
		}
		return err
	}
	body, err := w.lay(ctx, document)
	if err != nil {
		return err
	}
	answer, err := w.publish(ctx,
		[]clientv3.Cmp{clientv3.Compare(clientv3.CreateRevision(key), "=", 0)},
		[]clientv3.Op{clientv3.OpPut(key, summed(key, body))},
		[]clientv3.Op{clientv3.OpGet(key)})
	if err != nil || answer == nil {
		return err
	}
	if len(gotten(answer, 0).Kvs) > 0 {
		return nil // this one, or the same from elsewhere
	}
	return w.refused()
}

// refused says why what was published was refused although nobody else had published.
func (w *written) refused() error {
	if w.draft > 0 {
		return errSwept
	}
	return errAgain
}

// lay returns what stands for the bytes in the key that is published: themselves, or where
// their pieces are, once those are laid down.
func (w *written) lay(ctx context.Context, body []byte) ([]byte, error) {
	if len(body) <= mostHere {
		return append([]byte{bodyHere}, body...), nil
	}
	if err := w.begun(ctx); err != nil {
		return nil, err
	}
	for n, at := 0, 0; at < len(body); n, at = n+1, at+piece {
		if err := w.alive(ctx); err != nil {
			return nil, err
		}
		key := pieceKey(w.id, n)
		put := clientv3.OpPut(key, summed(key, body[at:min(at+piece, len(body))]))
		w.store.stage(stagePiece)
		answer, err := w.store.send(ctx, w.kv, []clientv3.Cmp{w.drafted()}, []clientv3.Op{put}, nil)
		if err != nil {
			return nil, err
		}
		if !answer.Succeeded {
			return nil, errSwept
		}
	}
	return inPieces(w.id, body), nil
}

func (s *Store) stage(is stage) {
	if s.hook != nil {
		s.hook(is)
	}
}

// begun writes the draft. It is sent only once: one that came late could name pieces that are
// published.
func (w *written) begun(ctx context.Context) error {
	w.store.stage(stageDraft)
	lease, err := ask(ctx, w.store, func(ctx context.Context) (*clientv3.LeaseGrantResponse, error) {
		return w.store.client.Grant(ctx, w.store.lease)
	})
	if err != nil {
		return err
	}
	w.lease, w.renewed = lease.ID, time.Now()
	key := draftKey(w.id)
	put := clientv3.OpPut(key, summed(key, binary.BigEndian.AppendUint64(nil, uint64(lease.ID))))
	answer, err := w.store.txn(ctx, w.kv, nil, []clientv3.Op{put}, nil)
	if err != nil {
		return err
	}
	w.draft = answer.Header.Revision
	return nil
}

// alive renews the lease of the draft, once a part of its time is over.
func (w *written) alive(ctx context.Context) error {
	if time.Since(w.renewed) < time.Duration(w.store.lease)*time.Second/4 {
		return nil
	}
	_, err := ask(ctx, w.store, func(ctx context.Context) (*clientv3.LeaseKeepAliveResponse, error) {
		return w.store.client.KeepAliveOnce(ctx, w.lease)
	})
	w.renewed = time.Now()
	return err
}

func (w *written) drafted() clientv3.Cmp {
	return clientv3.Compare(clientv3.ModRevision(draftKey(w.id)), "=", w.draft)
}

// send sends a transaction that may happen twice without harm, until there is an answer or
// patience ends.
func (s *Store) send(ctx context.Context, kv clientv3.KV, guards []clientv3.Cmp, then, otherwise []clientv3.Op) (*clientv3.TxnResponse, error) {
	deadline := time.Now().Add(s.patience / 2)
	for {
		answer, err := s.txn(ctx, kv, guards, then, otherwise)
		if err == nil || ctx.Err() != nil || !isAway(err) || !time.Now().Before(deadline) {
			return answer, err
		}
		time.Sleep(pause)
	}
}

// publish makes it part of the store, if the guards let it. It returns the answer only if it was
// refused.
func (w *written) publish(ctx context.Context, guards []clientv3.Cmp, then, otherwise []clientv3.Op) (*clientv3.TxnResponse, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if !w.exists {
		guards = append(guards, clientv3.Compare(clientv3.CreateRevision(keyFormat), "=", 0))
		then = append(then, clientv3.OpPut(keyFormat, fmt.Sprint(format, schema)))
	}
	if w.draft > 0 {
		guards = append(guards, w.drafted())
		then = append(then, clientv3.OpDelete(draftKey(w.id)))
	}
	w.store.stage(stagePublish)
	ctx = context.WithoutCancel(ctx) // from here on it may have happened
	answer, err := w.store.send(ctx, w.kv, guards, then, otherwise)
	if err != nil {
		if isAway(err) {
			err = fmt.Errorf("%w: %s", store.ErrUnknown, plain(err))
		}
		return nil, err
	}
	w.sweep(ctx)
	if answer.Succeeded {
		return nil, nil
	}
	return answer, nil
}

// sweep removes the drafts that were there before and whose writers are gone, with their pieces.
// What fails is left to the next writer.
func (w *written) sweep(ctx context.Context) {
	for _, draft := range w.drafts {
		key := string(draft.Key)
		rest, err := unsummed(key, draft.Value)
		if err != nil || len(rest) != 8 {
			continue // examine tells of it
		}
		lease := clientv3.LeaseID(binary.BigEndian.Uint64(rest))
		left, err := ask(ctx, w.store, func(ctx context.Context) (*clientv3.LeaseTimeToLiveResponse, error) {
			return w.store.client.TimeToLive(ctx, lease)
		})
		if err != nil {
			return
		}
		if left.TTL > 0 {
			continue
		}
		pieces := keyPieces + key[len(keyDrafts):] + "/"
		_, err = w.store.txn(ctx, w.kv, []clientv3.Cmp{clientv3.Compare(clientv3.ModRevision(key), "=", draft.ModRevision)},
			[]clientv3.Op{clientv3.OpDelete(pieces, clientv3.WithRange(end(pieces))), clientv3.OpDelete(key)}, nil)
		if err != nil {
			return
		}
	}
}
