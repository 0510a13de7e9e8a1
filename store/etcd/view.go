package etcd

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	clientv3 "go.etcd.io/etcd/client/v3"
	"golang.org/x/mod/sumdb/tlog"

	"fettle/store"
)

// How much is asked for at once.
const (
	page      = 400 // keys: of 256 KiB at most, though most have a few hundred bytes
	fewHashes = 60  // appends that are asked for one by one; a transaction may have 128 operations
)

// A reader reads at one revision.
type reader struct {
	ctx      context.Context
	store    *Store
	kv       clientv3.KV
	revision int64
	over     bool
	heads    map[string]head // those that were read
}

func (r *reader) get(key, to string, options ...clientv3.OpOption) (*clientv3.GetResponse, error) {
	return r.store.get(r.ctx, r.kv, key, to, append(options, clientv3.WithRev(r.revision))...)
}

// each calls fn for every key from one on, in their order; it is told to stop by errStop.
func (r *reader) each(from, to string, fn func(key string, value []byte, revision int64) error) error {
	for {
		found, err := r.get(from, to, clientv3.WithLimit(page))
		if err != nil {
			return err
		}
		for _, kv := range found.Kvs {
			if err := fn(string(kv.Key), kv.Value, kv.ModRevision); err == errStop {
				return nil
			} else if err != nil {
				return err
			}
		}
		if !found.More {
			return nil
		}
		from = string(found.Kvs[len(found.Kvs)-1].Key) + "\x00"
	}
}

var errStop = errors.New("enough")

func (r *reader) fail(err error) error { return r.store.fail(reading, err) }

func (r *reader) Journals() ([]store.Journal, error) {
	if r.over {
		return nil, errOver
	}
	all, err := r.journals()
	if err != nil {
		return nil, r.fail(err)
	}
	return all, nil
}

func (r *reader) journals() (all []store.Journal, err error) {
	err = r.each(keyHeads, end(keyHeads), func(key string, value []byte, revision int64) error {
		mark, err := markOf(key)
		if err != nil {
			return err
		}
		h, err := parseHead(key, value, revision)
		if err != nil {
			return err
		}
		r.remember(mark, h)
		all = append(all, store.Journal{Mark: mark, Size: h.size})
		return nil
	})
	if err == nil {
		err = r.counted(len(all))
	}
	slices.SortFunc(all, func(a, b store.Journal) int { return strings.Compare(a.Mark, b.Mark) })
	return all, err
}

// counted refuses a number of heads that is not that of the journals that were begun: an airframe
// whose head is lost must not pass for one that never was.
func (r *reader) counted(heads int) error {
	found, err := r.get(keyJournals, "")
	if err != nil {
		return err
	}
	count, _, err := journalsIn(found)
	if err == nil && count != int64(heads) {
		err = damaged("%d journals were begun, but %d are listed", count, heads)
	}
	return err
}

func (r *reader) remember(mark string, h head) {
	if r.heads == nil {
		r.heads = map[string]head{}
	}
	r.heads[mark] = h
}

// head is the head of a journal; the zero head if there is none, and nothing was ever appended.
func (r *reader) head(mark string) (head, error) {
	if h, known := r.heads[mark]; known {
		return h, nil
	}
	found, err := r.store.send(r.ctx, r.kv, nil, []clientv3.Op{
		clientv3.OpGet(headKey(mark), clientv3.WithRev(r.revision)),
		appendFrom(mark, 0, clientv3.WithKeysOnly(), clientv3.WithRev(r.revision)),
	}, nil)
	if err != nil {
		return head{}, err
	}
	h, err := headIn(mark, gotten(found, 0))
	if err == nil && h.size == 0 && len(gotten(found, 1).Kvs) > 0 {
		err = errNoHead(mark)
	}
	if err == nil {
		r.remember(mark, h)
	}
	return h, err
}

// appendFrom reads the append that holds a record, or the next one.
func appendFrom(mark string, position int64, options ...clientv3.OpOption) clientv3.Op {
	return clientv3.OpGet(appendKey(mark, position), append(options, clientv3.WithRange(end(appendsKey(mark))), clientv3.WithLimit(1))...)
}

func errNoHead(mark string) error {
	return damaged("the journal %q has records and no head", mark)
}

// headIn is the head of a journal in an answer; the zero head if there is none.
func headIn(mark string, found *clientv3.GetResponse) (head, error) {
	if len(found.Kvs) == 0 {
		return head{}, nil
	}
	return parseHead(headKey(mark), found.Kvs[0].Value, found.Kvs[0].ModRevision)
}

// checked is the head of a journal with that mark, if the reader may be used.
func (r *reader) checked(mark string) (head, error) {
	if r.over {
		return head{}, errOver
	}
	if err := store.CheckMark(mark); err != nil {
		return head{}, err
	}
	h, err := r.head(mark)
	if err != nil {
		return head{}, r.fail(err)
	}
	return h, nil
}

func (r *reader) Size(mark string) (int64, error) {
	h, err := r.checked(mark)
	return h.size, err
}

func (r *reader) Read(mark string, from int64) ([][]byte, error) {
	h, err := r.checked(mark)
	if err != nil {
		return nil, err
	}
	if err := store.CheckFrom(mark, from, h.size); err != nil {
		return nil, err
	}
	records, err := r.readFrom(mark, from, h)
	if err != nil {
		return nil, r.fail(err)
	}
	return records, nil
}

// readFrom returns the records from a position on, also those before a fault.
func (r *reader) readFrom(mark string, from int64, h head) (all [][]byte, err error) {
	if from == h.size {
		return nil, nil
	}
	err = r.appends(mark, from, h.size-1, h, func(a appended, records [][]byte, _ [][]tlog.Hash) {
		all = append(all, records[max(from-a.first, 0):]...)
	})
	return all, err
}

// appends calls fn for the appends that hold the records from one position to another, each with
// its records and their hashes. The records are nobody else's.
func (r *reader) appends(mark string, from, to int64, h head, fn func(appended, [][]byte, [][]tlog.Hash)) error {
	next := int64(-1) // where the next append must begin
	err := r.each(appendKey(mark, from), end(appendsKey(mark)), func(key string, value []byte, _ int64) error {
		a, records, hashes, err := r.resolved(mark, key, value)
		if err != nil {
			return err
		}
		switch {
		case next < 0 && a.first > from || next >= 0 && a.first != next:
			return damaged("records of the journal %q are missing before position %d", mark, a.first)
		case a.last >= h.size:
			return errBeyond(mark, a.last)
		}
		fn(a, records, hashes)
		if next = a.last + 1; next > to && next < h.size { // else what comes after it is beyond the head
			return errStop
		}
		return nil
	})
	if err == nil && next <= to {
		err = damaged("the journal %q does not go on to record %d", mark, to)
	}
	return err
}

func errBeyond(mark string, last int64) error {
	return damaged("the journal %q has records up to %d that its head does not count", mark, last)
}

// resolved is an append with what its pieces hold, if it has some.
func (r *reader) resolved(mark, key string, value []byte) (a appended, records [][]byte, hashes [][]tlog.Hash, err error) {
	if a, err = parseAppended(mark, key, value); err != nil {
		return a, nil, nil, err
	}
	body, err := r.body(a.body)
	if err != nil {
		return a, nil, nil, err
	}
	records, hashes, err = unpacked(a, body)
	return a, records, hashes, err
}

// body is a body, put together from its pieces if it has some.
func (r *reader) body(value []byte) ([]byte, error) {
	if len(value) > 0 && value[0] == bodyHere {
		return value[1:], nil
	}
	of, count, length, err := parsePieces(value)
	if err != nil {
		return nil, err
	}
	var body []byte
	for n := range count {
		key := pieceKey(of, n)
		found, err := r.get(key, "")
		if err != nil {
			return nil, err
		}
		if len(found.Kvs) == 0 {
			return nil, damaged("%q is missing", key)
		}
		part, err := unsummed(key, found.Kvs[0].Value)
		if err != nil {
			return nil, err
		}
		if body == nil {
			body = make([]byte, 0, count*len(part))
		}
		body = append(body, part...)
	}
	if len(body) != length {
		return nil, damaged("the pieces %q have %d bytes where %d were written", piecesKey(of), len(body), length)
	}
	return body, nil
}

func (r *reader) Hashes(mark string, indexes []int64) ([]tlog.Hash, error) {
	h, err := r.checked(mark)
	if err != nil {
		return nil, err
	}
	if err := store.CheckHashes(mark, indexes, h.size); err != nil {
		return nil, err
	}
	found, err := r.hashes(mark, indexes, h)
	if err != nil {
		return nil, r.fail(err)
	}
	return found, nil
}

// A place is where a hash is kept: with which record, and as which of its hashes.
type place struct {
	at    int64
	level int
}

func placeOf(index int64) place {
	level, n := tlog.SplitStoredHashIndex(index)
	return place{at: (n+1)<<level - 1, level: level}
}

// hashes reads hashes, those of the edge from the head, and the others from the appends that brought
// them: each of these by itself if they are few, else all between the first and the last.
func (r *reader) hashes(mark string, indexes []int64, h head) ([]tlog.Hash, error) {
	var wanted []int64 // positions
	for _, index := range indexes {
		if _, ok := h.edge[index]; !ok {
			wanted = append(wanted, placeOf(index).at)
		}
	}
	slices.Sort(wanted)
	wanted = slices.Compact(wanted)

	type span struct {
		appended
		hashes [][]tlog.Hash
	}
	var spans []span
	if len(wanted) > fewHashes {
		err := r.appends(mark, wanted[0], wanted[len(wanted)-1], h, func(a appended, _ [][]byte, hashes [][]tlog.Hash) {
			spans = append(spans, span{a, hashes})
		})
		if err != nil {
			return nil, err
		}
	} else if len(wanted) > 0 {
		var ops []clientv3.Op
		for _, at := range wanted {
			ops = append(ops, appendFrom(mark, at, clientv3.WithRev(r.revision)))
		}
		found, err := r.store.send(r.ctx, r.kv, nil, ops, nil)
		if err != nil {
			return nil, err
		}
		for i, at := range wanted {
			if n := len(spans); n > 0 && at <= spans[n-1].last {
				continue
			}
			kvs := gotten(found, i).Kvs
			if len(kvs) == 0 {
				return nil, damaged("record %d of the journal %q is missing", at, mark)
			}
			a, _, hashes, err := r.resolved(mark, string(kvs[0].Key), kvs[0].Value)
			if err != nil {
				return nil, err
			}
			if at < a.first || a.last >= h.size {
				return nil, damaged("record %d of the journal %q is missing", at, mark)
			}
			spans = append(spans, span{a, hashes})
		}
	}

	all := make([]tlog.Hash, len(indexes))
	for i, index := range indexes {
		if hash, ok := h.edge[index]; ok {
			all[i] = hash
			continue
		}
		p := placeOf(index)
		n, _ := slices.BinarySearchFunc(spans, p.at, func(s span, at int64) int {
			if s.last < at {
				return -1
			}
			return 1
		})
		all[i] = spans[n].hashes[p.at-spans[n].first][p.level]
	}
	return all, nil
}

func (r *reader) Document(digest string) ([]byte, error) {
	if r.over {
		return nil, errOver
	}
	found, err := r.get(documentKey(digest), "")
	if err != nil {
		return nil, r.fail(err)
	}
	if len(found.Kvs) == 0 {
		return nil, fmt.Errorf("document %q: %w", digest, store.ErrNotFound)
	}
	document, err := r.document(digest, found.Kvs[0].Value)
	if err != nil {
		return nil, r.fail(err)
	}
	return bytes.Clone(document), nil
}

func (r *reader) document(digest string, value []byte) ([]byte, error) {
	rest, err := unsummed(documentKey(digest), value)
	if err != nil {
		return nil, err
	}
	document, err := r.body(rest)
	if err == nil && store.Digest(document) != digest {
		err = damaged("the document %s is not as it was written", digest)
	}
	return document, err
}
