package bolt

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"io"
	"os"
)

// A stamp tells the next writer that the list of free pages is as the last append
// left it, so that the writer need not look at every page to be sure that it
// overwrites none in use. bbolt leaves the rest of a head's page alone. The stamp
// is at the end of the older head's page, where damage to it costs nothing, and the
// next commit erases it. Nothing depends on it: if it is missing or does not fit,
// for instance after a kill, every page is looked at once.
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

// stampPlace is at the end of the page of the other head.
func stampPlace(h head) int64 { return int64((h.otherPage()+1)*h.pageSize - stampSize) }

// putStamp writes the stamp of a state that was just committed.
func putStamp(file *os.File, pageSize, txid uint64) {
	h, err := readHeadAt(file, txid%2*pageSize)
	if err != nil || h.freelist == noFreelist {
		return
	}
	body, err := newWalk(file, h).page(h.freelist)
	if err != nil {
		return
	}
	_, _ = file.WriteAt(makeStamp(h, body), stampPlace(h))
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
// twice. It returns a walk for the pages that the write will come to, nil if every
// page was looked at already.
func checkFree(file io.ReaderAt, h head) (*walk, error) {
	w := newWalk(file, h)
	got, stamped := make([]byte, stampSize), false
	err := w.free(func(list []byte) {
		_, err := file.ReadAt(got, stampPlace(h))
		stamped = err == nil && bytes.Equal(got, makeStamp(h, list))
	})
	if err != nil || stamped {
		return w, err
	}
	return nil, newWalk(file, h).everything()
}
