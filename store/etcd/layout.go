package etcd

import (
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"net/url"
	"strings"

	clientv3 "go.etcd.io/etcd/client/v3"
	"golang.org/x/mod/sumdb/tlog"

	"fettle/store"
	"fettle/store/seal"
)

// These are written to the cluster: they must not change within a schema. Keys have no
// prefix of a shed here; [Store.reach] adds it.
const (
	keyFormat    = "format"
	keyJournals  = "journals"
	keyHeads     = "heads/"
	keyAppends   = "appends/"
	keyDocuments = "documents/"
	keyDrafts    = "drafts/"
	keyPieces    = "pieces/"
	keyClaims    = "claims/"
	keyClocks    = "clocks/"

	format = "fettle journal store "
	schema = 1

	bodyHere, bodyInPieces = 0, 1
)

const (
	idSize  = 16
	sumSize = 4

	mostHere = 256 << 10 // bytes of a body that is written by the publishing transaction itself
	piece    = 1 << 20   // bytes of a piece: a request may have 1.5 MiB
)

// An id names one attempt to write something.
type id [idSize]byte

func headKey(mark string) string { return keyHeads + url.PathEscape(mark) }

func appendsKey(mark string) string { return keyAppends + url.PathEscape(mark) + "/" }

func appendKey(mark string, last int64) string { return fmt.Sprintf("%s%016x", appendsKey(mark), last) }

func documentKey(digest string) string { return keyDocuments + url.PathEscape(digest) }

func draftKey(of id) string { return fmt.Sprintf("%s%x", keyDrafts, of[:]) }

func piecesKey(of id) string { return fmt.Sprintf("%s%x/", keyPieces, of[:]) }

func pieceKey(of id, n int) string { return fmt.Sprintf("%s%08x", piecesKey(of), n) }

func claimKey(c *store.Claim) string {
	return keyClaims + url.PathEscape(c.Mark) + "/" + url.PathEscape(c.Step)
}

func clockKey(bench string) string { return keyClocks + url.PathEscape(bench) }

// markOf is the mark in the key of a head.
func markOf(key string) (string, error) {
	mark, err := url.PathUnescape(strings.TrimPrefix(key, keyHeads))
	if err != nil || store.CheckMark(mark) != nil || headKey(mark) != key {
		return "", damaged("%q is listed as a journal but is not one", key)
	}
	return mark, nil
}

// summed is a value with its checksum, which also covers the key, so that none passes for another.
func summed(key string, parts ...[]byte) string {
	value := make([]byte, sumSize)
	for _, part := range parts {
		value = append(value, part...)
	}
	binary.BigEndian.PutUint32(value, checksum(key, value[sumSize:]))
	return string(value)
}

// unsummed is what follows the checksum, which must be right.
func unsummed(key string, value []byte) ([]byte, error) {
	if len(value) < sumSize || binary.BigEndian.Uint32(value) != checksum(key, value[sumSize:]) {
		return nil, damaged("%q is not as it was written", key)
	}
	return value[sumSize:], nil
}

func checksum(key string, rest []byte) uint32 {
	table := crc32.MakeTable(crc32.Castagnoli)
	return crc32.Update(crc32.Update(0, table, []byte(key)), table, rest)
}

// A head is what is known of a whole journal; the zero head is that of none.
type head struct {
	size     int64
	edge     map[int64]tlog.Hash // by the index of [tlog.StoredHashIndex]
	revision int64               // of its key; 0: there is none
}

func (h head) value(mark string) string {
	rest := binary.BigEndian.AppendUint64(nil, uint64(h.size))
	for _, index := range seal.Edge(h.size) {
		hash := h.edge[index]
		rest = append(rest, hash[:]...)
	}
	return summed(headKey(mark), rest)
}

func parseHead(key string, value []byte, revision int64) (head, error) {
	rest, err := unsummed(key, value)
	if err != nil {
		return head{}, err
	}
	if len(rest) < 8 {
		return head{}, damaged("%q has no size", key)
	}
	h := head{size: int64(binary.BigEndian.Uint64(rest)), revision: revision, edge: map[int64]tlog.Hash{}}
	indexes := seal.Edge(max(h.size, 0))
	if rest = rest[8:]; h.size <= 0 || h.size > seal.MaxSize || len(rest) != len(indexes)*tlog.HashSize {
		return head{}, damaged("%q has no size", key)
	}
	for i, index := range indexes {
		h.edge[index] = tlog.Hash(rest[i*tlog.HashSize:])
	}
	return h, nil
}

// journalsValue is how many journals there are.
func journalsValue(count int64) string {
	return summed(keyJournals, binary.BigEndian.AppendUint64(nil, uint64(count)))
}

// journalsIn is how many journals there are by an answer, and the revision of that key.
func journalsIn(found *clientv3.GetResponse) (count, revision int64, err error) {
	if len(found.Kvs) == 0 {
		return 0, 0, nil
	}
	rest, err := unsummed(keyJournals, found.Kvs[0].Value)
	if err == nil && len(rest) != 8 {
		err = damaged("%q is not a number", keyJournals)
	}
	if err != nil {
		return 0, 0, err
	}
	return int64(binary.BigEndian.Uint64(rest)), found.Kvs[0].ModRevision, nil
}

// grown is the head once records are added whose tree gains these hashes.
func (h head) grown(records int, hashes []tlog.Hash) head {
	next := head{size: h.size + int64(records), edge: map[int64]tlog.Hash{}}
	have := tlog.StoredHashCount(h.size)
	for _, index := range seal.Edge(next.size) {
		if index < have {
			next.edge[index] = h.edge[index]
		} else {
			next.edge[index] = hashes[index-have]
		}
	}
	return next
}

// An appended is what the key of an append leads to.
type appended struct {
	id          id
	first, last int64
	body        []byte // not resolved
}

func appendedValue(key string, of id, first int64, body []byte) string {
	return summed(key, of[:], binary.BigEndian.AppendUint64(nil, uint64(first)), body)
}

func parseAppended(mark, key string, value []byte) (a appended, err error) {
	rest, err := unsummed(key, value)
	if err != nil {
		return a, err
	}
	last, wrong := parseHex(strings.TrimPrefix(key, appendsKey(mark)))
	if len(rest) < idSize+8 || wrong != nil {
		return a, damaged("%q is not an append", key)
	}
	a.id, a.last = id(rest), last
	a.first, a.body = int64(binary.BigEndian.Uint64(rest[idSize:])), rest[idSize+8:]
	if a.first < 0 || a.first > a.last || appendKey(mark, last) != key {
		return a, damaged("%q is not an append", key)
	}
	return a, nil
}

func parseHex(text string) (n int64, err error) {
	_, err = fmt.Sscanf(text, "%016x", &n)
	return n, err
}

// packed is the body of an append: records, and the hashes that the tree gains with them.
func packed(first int64, records [][]byte, hashes []tlog.Hash) []byte {
	size := len(hashes) * tlog.HashSize
	for _, record := range records {
		size += 4 + len(record)
	}
	body := make([]byte, 0, size)
	for i, record := range records {
		n := seal.Gained(first + int64(i))
		for _, hash := range hashes[:n] {
			body = append(body, hash[:]...)
		}
		hashes = hashes[n:]
		body = append(binary.BigEndian.AppendUint32(body, uint32(len(record))), record...)
	}
	return body
}

// unpacked are the records of an append, as parts of the body, and for each the hashes.
func unpacked(a appended, body []byte) (records [][]byte, hashes [][]tlog.Hash, err error) {
	wrong := damaged("the append of the records %d to %d is not as it was written", a.first, a.last)
	for at := a.first; at <= a.last; at++ {
		n := seal.Gained(at)
		if len(body) < n*tlog.HashSize+4 {
			return nil, nil, wrong
		}
		own := make([]tlog.Hash, n)
		for i := range own {
			own[i] = tlog.Hash(body[i*tlog.HashSize:])
		}
		body = body[n*tlog.HashSize:]
		length := int(binary.BigEndian.Uint32(body))
		if body = body[4:]; length > store.MaxRecord || length > len(body) {
			return nil, nil, wrong
		}
		records, hashes = append(records, body[:length:length]), append(hashes, own)
		body = body[length:]
	}
	if len(body) > 0 {
		return nil, nil, wrong
	}
	return records, hashes, nil
}

// inPieces is a body that tells of pieces.
func inPieces(of id, body []byte) []byte {
	value := append([]byte{bodyInPieces}, of[:]...)
	value = binary.BigEndian.AppendUint32(value, uint32((len(body)+piece-1)/piece))
	return binary.BigEndian.AppendUint64(value, uint64(len(body)))
}

// parsePieces is what inPieces wrote.
func parsePieces(body []byte) (of id, count, length int, err error) {
	if len(body) != 1+idSize+4+8 || body[0] != bodyInPieces {
		return of, 0, 0, damaged("it cannot be told where the pieces of an append or a document are")
	}
	count = int(binary.BigEndian.Uint32(body[1+idSize:]))
	length = int(binary.BigEndian.Uint64(body[1+idSize+4:]))
	return id(body[1:]), count, length, nil
}
