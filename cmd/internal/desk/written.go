package desk

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"

	"golang.org/x/mod/sumdb/tlog"

	"fettle/store"
	"fettle/store/seal"
	"fettle/store/wholefile"
)

// Written remembers outside of the store how far each journal was written from here, so
// that it is noticed when an older copy stands in the place of the store. It helps, and
// proves nothing: what cannot be read or written is passed over, and whoever begins on
// another machine remembers nothing. There is a small file for each journal of a store,
// named by the hash of its first record and that of the place of the store: whoever has an
// airframe in two stores, or brings a store elsewhere, hears nothing false, and a copy that
// is put in the place of the store is noticed.
type Written struct {
	Folder string      // made when it is needed
	Store  string      // the file of the store
	Tell   func(Older) // is called for an older journal, once if it is shorter and once if it differs

	told  sync.Map // by the name of the file
	once  sync.Once
	place string // see at
}

// An Older journal lacks what was written from here.
type Older struct {
	Mark    string `json:"mark"`
	Size    int64  `json:"entries"`           // that the journal has
	Written int64  `json:"written"`           // that it had when it was last written from here
	Differs bool   `json:"differs,omitempty"` // it is as long, but not the same
}

// lastWritten is what the file of a journal holds.
type lastWritten struct {
	Mark  string    `json:"mark"`  // for whoever looks into the folder,
	Store string    `json:"store"` // and this too
	Size  int64     `json:"size"`
	Root  tlog.Hash `json:"root"`
}

// mostWritten is more bytes than the file of a journal has.
const mostWritten = 8 << 10

// file is the file of the journal that begins with the record of this hash.
func (w *Written) file(first tlog.Hash) string {
	at := sha256.Sum256([]byte(w.at()))
	return filepath.Join(w.Folder, fmt.Sprintf("%x-%x.json", first[:16], at[:8]))
}

// at is the one name of the store's file, by whichever it was called. It is asked for once
// there is a store.
func (w *Written) at() string {
	w.once.Do(func() {
		w.place = w.Store
		if at, err := filepath.Abs(w.place); err == nil {
			w.place = at
		}
		if file, err := filepath.EvalSymlinks(w.place); err == nil {
			w.place = file
		}
	})
	return w.place
}

// last is what was last written; nothing if nobody knows.
func (w *Written) last(file string) (l lastWritten) {
	data, err := wholefile.Read(file, mostWritten)
	if err != nil || json.Unmarshal(data, &l) != nil {
		return lastWritten{}
	}
	return l
}

func (w *Written) tell(file string, o Older) {
	if _, told := w.told.LoadOrStore(fmt.Sprint(file, o.Differs), true); !told && w.Tell != nil {
		w.Tell(o)
	}
}

// read tells if a journal that was read is shorter than it was.
func (w *Written) read(ctx context.Context, s store.Store, j journalBytes) {
	if w == nil || len(j.records) == 0 {
		return
	}
	file := w.file(tlog.RecordHash(j.records[0]))
	if w.last(file).Size <= int64(len(j.records)) {
		return
	}
	if o := w.lacks(ctx, s, j.mark, file); o.Written > 0 {
		w.tell(file, o)
	}
}

// lacks compares the length of a journal with the one it had when it was last written. The journal
// is looked at after that is known: another process here may be writing.
func (w *Written) lacks(ctx context.Context, s store.Store, mark, file string) (o Older) {
	last, size := w.last(file), int64(0)
	err := s.View(ctx, func(r store.Reader) (err error) {
		size, err = r.Size(mark)
		return err
	})
	if far, ok := s.(store.Distant); ok && err == nil {
		_, err = far.AsOf() // of what is shown of it meanwhile nothing is lost
	}
	if err == nil && last.Size > size {
		o = Older{Mark: mark, Size: size, Written: last.Size}
	}
	return o
}

// Compare tells whether a journal of a store lacks what was written from here.
func (w *Written) Compare(ctx context.Context, s store.Store, mark string) (Older, bool) {
	o, _, _, _ := w.compare(ctx, s, mark)
	return o, o.Written > 0
}

// compare compares a journal with what was last written. If it lacks nothing, o is zero,
// and head is its own.
func (w *Written) compare(ctx context.Context, s store.Store, mark string) (o Older, head seal.Head, file string, err error) {
	err = s.View(ctx, func(r store.Reader) error {
		hashes := tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) { return r.Hashes(mark, indexes) })
		size, err := r.Size(mark)
		if err != nil || size == 0 {
			return err
		}
		first, err := hashes([]int64{0})
		if err != nil {
			return err
		}
		file = w.file(first[0])
		last := w.last(file)
		if last.Size > size {
			return nil
		}
		if last.Size > 0 {
			was, err := seal.HeadAt(last.Size, hashes)
			if err != nil {
				return err
			}
			if was.Root != last.Root {
				o = Older{Mark: mark, Size: size, Written: last.Size, Differs: true}
			}
		}
		head, err = seal.HeadAt(size, hashes)
		return err
	})
	if err == nil && file != "" && head.Size == 0 {
		o = w.lacks(ctx, s, mark, file)
	}
	return o, head, file, err
}

// Wrote remembers how far a journal is written now, after it was written.
func (d *Desk) Wrote(ctx context.Context, mark string) {
	w := d.Written
	if w == nil {
		return
	}
	o, head, file, err := w.compare(ctx, d.Store, mark)
	if err != nil || file == "" {
		return
	}
	if o.Written > 0 {
		w.tell(file, o)
	}
	if head.Size == 0 {
		return // it had more
	}
	data, err := json.Marshal(lastWritten{mark, w.at(), head.Size, head.Root})
	if err != nil || wholefile.MakeFolder(w.Folder) != nil {
		return
	}
	// A draft takes the place of whatever is there, so that nothing is waited for. It has the
	// place of one that a killed run left. It is not synced, which would take longer than all
	// the rest; one that is torn is none.
	name := file + ".new"
	_ = os.Remove(name)
	draft, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return
	}
	_, err = draft.Write(append(data, '\n'))
	if err = errors.Join(err, draft.Close()); err == nil {
		_ = os.Remove(file) // ext4 syncs what is given the name of another file
		err = os.Rename(name, file)
	}
	if err != nil {
		_ = os.Remove(name)
	}
}
