package bolt

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"math/bits"
	"os"

	"fettle/store"
)

// Pages 0 and 1 of a bbolt file, version 2, are heads.
const (
	headSize = 80 // with the header of the page

	headMagic   = 0xED0CDAED
	headVersion = 2

	smallestPage = 1 << 10
	largestPage  = 1 << 24
)

// A head says where one committed state begins in the file (bbolt calls it meta).
type head struct {
	pageSize uint64
	root     uint64 // the page of the outermost bucket
	freelist uint64
	pages    uint64 // how many are in use or were
	txid     uint64
}

// readHead returns the newer of the undamaged heads.
func readHead(file *os.File) (head, error) {
	info, err := file.Stat()
	if err != nil {
		return head{}, err
	}
	if info.Size() == 0 {
		return head{}, foreign("an empty file")
	}

	found, err := readHeadAt(file, 0)
	if err == nil {
		second, secondErr := readHeadAt(file, found.pageSize)
		switch {
		case secondErr == nil && second.pageSize != found.pageSize:
			return head{}, damaged("its two heads disagree")
		case secondErr == nil && second.txid > found.txid:
			found = second
		case secondErr != nil && !isUnreadable(secondErr):
			return head{}, secondErr
		}
	}
	// The page size is in the head that cannot be read.
	for at := uint64(smallestPage); isUnreadable(err) && at <= largestPage; at *= 2 {
		second, secondErr := readHeadAt(file, at)
		switch {
		case secondErr == nil && second.pageSize != at:
			return head{}, damaged("its head is in the wrong place")
		case !errors.Is(secondErr, errNoHead):
			found, err = second, secondErr
		}
	}
	switch {
	case errors.Is(err, errNoHead):
		return head{}, foreign("a file of another kind")
	case errors.Is(err, errTornHead):
		return head{}, damaged(err.Error())
	case err == nil && uint64(info.Size()) < 2*found.pageSize:
		return head{}, damaged("its end is missing")
	}
	return found, err
}

// otherPage is the page of the head before this one: heads alternate between pages 0
// and 1.
func (h head) otherPage() uint64 { return h.txid%2 ^ 1 }

// upTo is the head of as many pages as the file has.
func (h head) upTo(file *os.File) (head, error) {
	info, err := file.Stat()
	if err == nil {
		h.pages = min(h.pages, uint64(info.Size())/h.pageSize)
	}
	return h, err
}

// With either of these, the other head is the valid one.
var (
	errNoHead   = errors.New("there is no head")
	errTornHead = errors.New("its head is not as it was written")
)

func isUnreadable(err error) bool { return errors.Is(err, errNoHead) || errors.Is(err, errTornHead) }

func readHeadAt(file io.ReaderAt, at uint64) (head, error) {
	buf := make([]byte, headSize)
	n, err := file.ReadAt(buf, int64(at))
	if err != nil && err != io.EOF {
		return head{}, err
	}
	order, body := binary.NativeEndian, buf[pageHeader:]
	if n < pageHeader+4 || order.Uint32(body) != headMagic {
		return head{}, errNoHead
	}
	sum := fnv.New64a()
	sum.Write(body[:56])
	if n < headSize || order.Uint64(body[56:]) != sum.Sum64() {
		return head{}, errTornHead
	}
	if version := order.Uint32(body[4:]); version != headVersion {
		return head{}, fmt.Errorf("%w: its file has format %d; this fettle reads format %d", store.ErrNewer, version, headVersion)
	}
	h := head{
		pageSize: uint64(order.Uint32(body[8:])),
		root:     order.Uint64(body[16:]),
		freelist: order.Uint64(body[32:]),
		pages:    order.Uint64(body[40:]),
		txid:     order.Uint64(body[48:]),
	}
	if bits.OnesCount64(h.pageSize) != 1 || h.pageSize < smallestPage || h.pageSize > largestPage {
		return head{}, damaged("its page size is not plausible")
	}
	return h, nil
}
