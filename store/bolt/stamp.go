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

// A stamp tells the next writer that the list of free pages is as the last append
// left it, so that the writer need not check every page to be sure that it
// overwrites none in use. bbolt leaves the rest of a head's page alone. The stamp
// is at the end of the older head's page, where damage to it costs nothing, and the
// next commit erases it. Nothing depends on it: if it is missing or does not fit,
// for instance after a kill, every page is checked once.
//
// It is written once its state is on the disk. So if the newer head is damaged, the
// stamp shows that there was one, and that the older head must not be used.
const (
	stampMagic = "fettle.1"
	stampSize  = 32
)

// makeStamp returns the stamp that belongs to a state.
func makeStamp(h head, freelist []byte) []byte {
	stamp := binary.BigEndian.AppendUint64([]byte(stampMagic), h.txid)
	sum := sha256.New()
	sum.Write(stamp)
	sum.Write(binary.BigEndian.AppendUint64(nil, h.freelist))
	sum.Write(binary.BigEndian.AppendUint64(nil, h.pages))
	sum.Write(freelist)
	return sum.Sum(stamp)[:stampSize]
}

// olderPage is the page of the head before this one: heads alternate between pages
// 0 and 1.
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

// stamped reports whether body, the list of free pages, has its stamp.
func stamped(file io.ReaderAt, h head, body []byte) bool {
	got := make([]byte, stampSize)
	_, err := file.ReadAt(got, stampPlace(h))
	return err == nil && bytes.Equal(got, makeStamp(h, body))
}

// checkNewest makes sure that the newest readable head is the newest that was on
// the disk.
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

// checkFree makes sure that a write overwrites nothing in use and frees nothing
// twice. touched are the pages that the write will move elsewhere.
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

// An extent is a run of pages.
type extent struct{ id, span uint64 }
