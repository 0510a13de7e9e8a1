package desk

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"time"

	"fettle/store"
	"fettle/store/bolt"
	"fettle/store/photos"
	"fettle/workflow"
)

// A Life is one airframe's journal with everything that it names.
type Life struct {
	Mark      string
	Records   [][]byte
	Documents [][]byte
	Photos    []workflow.PhotoKept
}

// life reads a journal and what it names, in one moment of the store.
func life(r store.Reader, mark string) (Life, error) {
	l := Life{Mark: mark}
	var err error
	if l.Records, err = r.Read(mark, 0); err != nil {
		return l, err
	}
	entries, err := workflow.Decode(l.Records, 0)
	if err != nil {
		return l, fmt.Errorf("the journal of %s: %w", mark, err)
	}
	sheets, procedures := workflow.Digests(entries)
	digests := slices.Concat(sheets, procedures)
	for _, e := range entries {
		switch f := e.Facts.(type) {
		case workflow.Sealed:
			digests = append(digests, f.Note)
		case workflow.PhotoKept:
			l.Photos = append(l.Photos, f)
		}
	}
	slices.Sort(digests)
	for _, digest := range slices.Compact(digests) {
		data, err := r.Document(digest)
		if err != nil {
			return l, fmt.Errorf("the document %s of %s: %w", digest, mark, err)
		}
		l.Documents = append(l.Documents, data)
	}
	return l, nil
}

// lives reads every journal of a store in one moment.
func lives(ctx context.Context, s store.Store) ([]Life, error) {
	var all []Life
	err := s.View(ctx, func(r store.Reader) error {
		journals, err := r.Journals()
		if err != nil {
			return err
		}
		for _, j := range journals {
			l, err := life(r, j.Mark)
			if err != nil {
				return err
			}
			all = append(all, l)
		}
		return nil
	})
	return all, err
}

// settle writes a life into a store that does not have it.
func (l Life) settle(ctx context.Context, s store.Store) error {
	for _, data := range l.Documents {
		if _, err := s.Keep(ctx, data); err != nil {
			return err
		}
	}
	return s.Append(ctx, l.Mark, 0, l.Records)
}

// ErrExists is given for a file that would be written over.
var ErrExists = errors.New("it exists already; name a new file")

// A Copied says what a backup or a restore has copied.
type Copied struct {
	File      string   `json:"file"`
	Airframes int      `json:"airframes"`
	Entries   int      `json:"entries"`
	Photos    int      `json:"photos"`
	Missing   []string `json:"missing_photos,omitempty"`
	Aside     string   `json:"aside,omitempty"` // where the store that was there is kept
}

// Backup copies the store as it is at one moment to a new file, and reads the
// copy again before it gets its name. Photos are copied beside it.
func (d *Desk) Backup(ctx context.Context, to string) (Copied, error) {
	if _, err := os.Lstat(to); !errors.Is(err, fs.ErrNotExist) {
		return Copied{}, fmt.Errorf("the copy %s: %w", to, ErrExists)
	}
	all, err := lives(ctx, d.Store)
	if err != nil {
		return Copied{}, err
	}
	part := fmt.Sprintf("%s.part-%d", to, os.Getpid())
	defer func() { _ = os.Remove(part) }()
	if err := d.write(ctx, all, part); err != nil {
		return Copied{}, err
	}
	if err := os.Link(part, to); err != nil { // unlike renaming, never over a file
		return Copied{}, fmt.Errorf("naming the copy: %w", err)
	}
	out := copied(to, all)
	out.Photos, out.Missing = copyPhotos(ctx, all, d.Photos, photos.Beside(to))
	return out, nil
}

// write makes a store of the lives and reads it again.
func (d *Desk) write(ctx context.Context, all []Life, file string) error {
	copy := bolt.New(file)
	for _, l := range all {
		if err := l.settle(ctx, copy); err != nil {
			return fmt.Errorf("writing the copy: %w", err)
		}
	}
	again, err := lives(ctx, copy)
	if err != nil {
		return fmt.Errorf("reading the copy again: %w", err)
	}
	same := slices.EqualFunc(all, again, func(a, b Life) bool {
		return a.Mark == b.Mark && slices.EqualFunc(a.Records, b.Records, bytes.Equal) && slices.EqualFunc(a.Documents, b.Documents, bytes.Equal)
	})
	if !same {
		return errors.New("the copy is not what was copied; nothing was kept of it")
	}
	return nil
}

func copied(file string, all []Life) Copied {
	c := Copied{File: file, Airframes: len(all)}
	for _, l := range all {
		c.Entries += len(l.Records)
	}
	return c
}

// copyPhotos copies what the journals name; a missing photo is said and does
// not stop the rest.
func copyPhotos(ctx context.Context, all []Life, from, to photos.Folder) (n int, missing []string) {
	for _, l := range all {
		for _, p := range l.Photos {
			if err := copyPhoto(ctx, p.Photo, from, to); err != nil {
				missing = append(missing, fmt.Sprintf("%s of %s: %v", p.Name, l.Mark, err))
				continue
			}
			n++
		}
	}
	return n, missing
}

func copyPhoto(ctx context.Context, digest string, from, to photos.Folder) error {
	data, err := from.Read(digest)
	if err != nil {
		return err
	}
	return addPhoto(ctx, data, to)
}

// addPhoto keeps a photo of which the bytes are at hand.
func addPhoto(ctx context.Context, data []byte, to photos.Folder) error {
	file, err := os.CreateTemp("", "fettle-photo-")
	if err != nil {
		return err
	}
	defer func() { _ = os.Remove(file.Name()) }()
	if _, err := file.Write(data); err != nil {
		return errors.Join(err, file.Close())
	}
	if err := file.Close(); err != nil {
		return err
	}
	_, err = to.Add(ctx, file.Name())
	return err
}

// A LossError says what a restore would lose.
type LossError struct{ Losses []string }

func (e *LossError) Error() string {
	return fmt.Sprintf("the store here has what the copy has not: %v; nothing was changed; --force keeps the store aside and restores all the same", e.Losses)
}

// Restore puts a copy in the place of the store. Where the store has
// entries that the copy lacks, or other ones, it is refused unless forced. The
// store that was there is kept aside.
func (d *Desk) Restore(ctx context.Context, from string, force bool) (Copied, error) {
	if _, err := os.Stat(from); err != nil {
		return Copied{}, fmt.Errorf("the copy: %w", err)
	}
	all, err := lives(ctx, bolt.New(from))
	if err != nil {
		return Copied{}, err
	}
	if !force {
		here, err := lives(ctx, d.Store)
		if err != nil {
			return Copied{}, err
		}
		if losses := lost(here, all); len(losses) > 0 {
			return Copied{}, &LossError{losses}
		}
	}
	path := d.Path
	part := fmt.Sprintf("%s.part-%d", path, os.Getpid())
	defer func() { _ = os.Remove(part) }()
	if err := d.write(ctx, all, part); err != nil {
		return Copied{}, err
	}
	out := copied(path, all)
	if _, err := os.Lstat(path); err == nil {
		out.Aside = path + d.Now().UTC().Format("-20060102T150405") + ".aside"
		if err := os.Link(path, out.Aside); err != nil {
			return Copied{}, fmt.Errorf("keeping the store aside: %w", err)
		}
	}
	if err := os.Rename(part, path); err != nil {
		return Copied{}, fmt.Errorf("putting the copy in place: %w", err)
	}
	out.Photos, out.Missing = copyPhotos(ctx, all, photos.Beside(from), photos.Beside(path))
	return out, nil
}

// lost says which entries of the first are not in the second.
func lost(here, copy []Life) []string {
	var losses []string
	for _, l := range here {
		i := slices.IndexFunc(copy, func(c Life) bool { return c.Mark == l.Mark })
		switch {
		case i < 0:
			losses = append(losses, fmt.Sprintf("all %d entries of %s", len(l.Records), l.Mark))
		case len(copy[i].Records) < len(l.Records):
			losses = append(losses, fmt.Sprintf("%d entries of %s", len(l.Records)-len(copy[i].Records), l.Mark))
		case !slices.EqualFunc(l.Records, copy[i].Records[:len(l.Records)], bytes.Equal):
			losses = append(losses, "another life of "+l.Mark)
		}
	}
	return losses
}

// A Health is how a store was found.
type Health struct {
	Airframes []Patient `json:"airframes"`
	Fault     string    `json:"fault,omitempty"` // of the store as a whole
}

// A Patient is one journal as it was found.
type Patient struct {
	Mark   string   `json:"mark"`
	Size   int64    `json:"size"`
	Faults []string `json:"faults,omitempty"`
}

// Sound reports whether nothing was found.
func (h Health) Sound() bool {
	return h.Fault == "" && !slices.ContainsFunc(h.Airframes, func(p Patient) bool { return len(p.Faults) > 0 })
}

// Doctor reads the whole store and changes nothing: pages and checksums as the
// store checks them, then each journal's entries, documents, replay, seals and
// photos.
func (d *Desk) Doctor(ctx context.Context) (Health, error) {
	var h Health
	var journals []store.Journal
	err := d.Store.View(ctx, func(r store.Reader) (err error) {
		journals, err = r.Journals()
		return err
	})
	if ctx.Err() != nil {
		return h, ctx.Err()
	}
	if err != nil {
		h.Fault = err.Error()
		return h, nil
	}
	for _, j := range journals {
		p := Patient{Mark: j.Mark, Size: j.Size}
		v, err := d.Prove(ctx, j.Mark)
		if err != nil {
			p.Faults = append(p.Faults, err.Error())
		}
		p.Faults = slices.Concat(p.Faults, v.Faults, v.Missing)
		h.Airframes = append(h.Airframes, p)
	}
	return h, nil
}

// stamp is when something was exported.
func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }
