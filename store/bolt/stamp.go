package bolt

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"hash/crc32"
	"io"
	"os"
)

// A stamp tells the next writer that the list of free pages is as the last append left it.
// Where it is missing or does not fit, for instance after a kill, every page is looked at,
// so that none in use is overwritten. bbolt leaves the rest of a head's page alone, and
// writes the page anew with the head.
//
// If one of the two heads cannot be read, the other one may be trusted only if the newest
// stamp is its own: then the unreadable head was being written when the power failed, and
// its state was never confirmed. A stamp is written once its state is on the disk, so a
// newer one shows that a newer head was there, and no stamp leaves that open. It stands at
// the end of both heads' pages, because what damages a head may take the end of the page
// before with it; before a head is written, the state before has its stamp in its own page.
//
// Before the stamp stands how many records all journals have together, and a checksum.
// Older programs wrote none, and a stamp in one place only.
const (
	stampMagic = "fettle.1"
	stampSize  = 32
	countSize  = 12
)

// stampOf is how the stamp of a state begins.
func stampOf(txid uint64) []byte { return binary.BigEndian.AppendUint64([]byte(stampMagic), txid) }

// makeStamp returns the stamp that belongs to a state.
func makeStamp(h head, freelist []byte) []byte {
	stamp := stampOf(h.txid)
	sum := sha256.New()
	sum.Write(stamp)
	sum.Write(binary.BigEndian.AppendUint64(nil, h.freelist))
	sum.Write(binary.BigEndian.AppendUint64(nil, h.pages))
	sum.Write(freelist)
	return sum.Sum(stamp)[:stampSize]
}

// makeCount returns what stands before the stamp of a state.
func makeCount(h head, records uint64) []byte {
	count := binary.BigEndian.AppendUint64(nil, records)
	sum := crc32.Checksum(binary.BigEndian.AppendUint64(count, h.txid), crc32.MakeTable(crc32.Castagnoli))
	return binary.BigEndian.AppendUint32(count, sum)
}

// stampPlaces are where the stamp of a state stands, from the count on: first at the end
// of the other head's page, as it always did.
func stampPlaces(h head) [2]int64 {
	end := func(page uint64) int64 { return int64((page+1)*h.pageSize - stampSize - countSize) }
	return [2]int64{end(h.otherPage()), end(h.txid % 2)}
}

// readStamp returns the stamp of a state and what stands before it, or nil if it has none.
func readStamp(file io.ReaderAt, h head) (count, stamp []byte, err error) {
	for _, place := range stampPlaces(h) {
		got := make([]byte, countSize+stampSize)
		if _, err := file.ReadAt(got, place); err != nil {
			return nil, nil, err
		}
		count, stamp = got[:countSize], got[countSize:]
		if bytes.HasPrefix(stamp, stampOf(h.txid)) {
			return count, stamp, nil
		}
	}
	return nil, nil, nil
}

// stampedRecords returns how many records all journals have by the stamp, if it says so.
func stampedRecords(file io.ReaderAt, h head) (records uint64, ok bool) {
	count, _, err := readStamp(file, h)
	if err != nil || count == nil {
		return 0, false
	}
	records = binary.BigEndian.Uint64(count)
	return records, bytes.Equal(count, makeCount(h, records))
}

// putStamp writes the stamp of a state that is on the disk.
func putStamp(file *os.File, pageSize, txid, records uint64) {
	h, err := readHeadAt(file, txid%2*pageSize)
	if err != nil || h.freelist == noFreelist {
		return
	}
	body, err := newWalk(file, h).page(h.freelist)
	if err != nil {
		return
	}
	whole := append(makeCount(h, records), makeStamp(h, body)...)
	for _, place := range stampPlaces(h) {
		_, _ = file.WriteAt(whole, place)
	}
}

// keepStamp makes sure before a commit that the state before it has its stamp in its own
// page. It reaches the disk with the data, before the head is written.
func keepStamp(file *os.File, pageSize, txid, records uint64) {
	h := head{pageSize: pageSize, txid: txid}
	got := make([]byte, countSize+stampSize)
	_, err := file.ReadAt(got, stampPlaces(h)[1])
	if err == nil && !bytes.HasPrefix(got[countSize:], stampOf(txid)) {
		putStamp(file, pageSize, txid, records)
	}
}

// checkNewest makes sure that the newest readable head is the newest that was on
// the disk, and that all of its pages are.
func checkNewest(file *os.File, h head) error {
	// The length is read after the head: without the lock, a writer may just have
	// made the file longer and then written this head.
	if here, err := h.upTo(file); err != nil || here.pages < h.pages {
		return cmp.Or(err, damaged("its end is missing"))
	}
	_, later, err := readStamp(file, head{pageSize: h.pageSize, txid: h.txid + 1})
	if err != nil {
		return err
	}
	if later != nil {
		return damaged("its newer head is not as it was written, and the last append is missing")
	}
	_, err = readHeadAt(file, h.otherPage()*h.pageSize)
	if err == nil || !isUnreadable(err) {
		return err
	}
	_, own, err := readStamp(file, h)
	if err == nil && own == nil {
		err = damaged("one of its two heads is not as it was written: if it was the newer one, the last append is missing")
	}
	return err
}

// checkFree makes sure that a write overwrites nothing in use and frees nothing
// twice. It returns a walk for the pages that the write will come to, nil if every
// page was looked at already.
func checkFree(file io.ReaderAt, h head) (*walk, error) {
	w := newWalk(file, h)
	list, err := w.free()
	if err != nil {
		return nil, err
	}
	if _, stamp, err := readStamp(file, h); err == nil && bytes.Equal(stamp, makeStamp(h, list)) {
		return w, nil
	}
	return nil, newWalk(file, h).everything()
}
