package bolt

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"io"
	"os"
	"slices"
)

// A stamp tells the next writer that the list of free pages is as it was when
// the last append ended, so that it need not look at every page to be sure of
// overwriting none in use. bbolt leaves the rest of a head's page alone; the
// stamp stands at the end of the older head's, where harm to it costs nothing,
// and the next commit wipes it out. It is never waited for: where it is missing
// or does not fit, as after a kill, every page is looked at once.
//
// It is written when its state is on the disk. So it also tells, where the newer
// head is harmed, that there was one, and that the older is not what counts.
const (
	stampMagic = "fettle.1"
	stampSize  = 32
)

// makeStamp gives the stamp that belongs to a state.
func makeStamp(h head, freelist []byte) []byte {
	stamp := binary.BigEndian.AppendUint64([]byte(stampMagic), h.txid)
	sum := sha256.New()
	sum.Write(stamp)
	sum.Write(binary.BigEndian.AppendUint64(nil, h.freelist))
	sum.Write(binary.BigEndian.AppendUint64(nil, h.pages))
	sum.Write(freelist)
	return sum.Sum(stamp)[:stampSize]
}

// olderPage is where the head before this one stands: each stands on the page of
// its number's parity.
func olderPage(h head) uint64 { return h.txid%2 ^ 1 }

func stampPlace(h head) int64 {
	return int64((olderPage(h)+1)*h.pageSize - stampSize)
}

// putStamp writes the stamp of the state that was just committed.
func putStamp(file *os.File) {
	h, err := readHead(file)
	if err != nil || h.freelist == noFreelist {
		return
	}
	body, err := (&pager{file: file, head: h}).raw(h.freelist)
	if err != nil {
		return
	}
	_, _ = file.WriteAt(makeStamp(h, body), stampPlace(h))
}

// stamped tells whether the list of free pages, which the body is, has its stamp.
func stamped(file io.ReaderAt, h head, body []byte) bool {
	got := make([]byte, stampSize)
	_, err := file.ReadAt(got, stampPlace(h))
	return err == nil && bytes.Equal(got, makeStamp(h, body))
}

// checkNewest makes sure that no later state was on the disk than that of the
// newest head that can be read.
func checkNewest(file io.ReaderAt, h head) error {
	later := head{pageSize: h.pageSize, txid: h.txid + 1}
	want := binary.BigEndian.AppendUint64([]byte(stampMagic), later.txid)
	got := make([]byte, len(want))
	if _, err := file.ReadAt(got, stampPlace(later)); err != nil {
		return err
	}
	if bytes.Equal(got, want) {
		return damaged("its newer head is not as it was written, and the last append is missing")
	}
	return nil
}

// checkFree makes sure that a write overwrites nothing in use, and frees nothing
// twice: touched are the pages that it will write anew elsewhere.
func checkFree(file io.ReaderAt, h head, touched []extent) error {
	if h.freelist == noFreelist {
		return checkPages(file, h)
	}
	body, err := (&pager{file: file, head: h}).raw(h.freelist)
	if err != nil {
		return err
	}
	if !stamped(file, h, body) {
		return checkPages(file, h)
	}
	free, err := freePages(body)
	if err != nil {
		return err
	}
	for _, e := range touched {
		i, _ := slices.BinarySearch(free, e.id)
		if i < len(free) && free[i] < e.id+e.span {
			return damaged(fmt.Sprintf("page %d is both in use and on the free list", free[i]))
		}
	}
	return nil
}

// An extent is pages in a row.
type extent struct{ id, span uint64 }
