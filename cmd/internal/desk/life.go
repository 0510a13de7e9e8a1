package desk

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"fettle/store"
	"fettle/store/photos"
	"fettle/workflow/journal"
)

// A Life is one airframe's journal with everything that it names.
type Life struct {
	Mark      string
	Records   [][]byte
	Documents [][]byte
	Photos    []journal.PhotoKept
}

// life reads the first size records of a journal and what they name.
func life(ctx context.Context, s store.Store, mark string, size int64) (Life, error) {
	records, err := recordsOf(ctx, s, mark)
	l := Life{Mark: mark, Records: records}
	if err != nil {
		return l, err
	}
	if int64(len(l.Records)) < size {
		return l, fmt.Errorf("the journal of %s has become shorter", mark)
	}
	l.Records = l.Records[:size]
	return l, l.complete(func(digest string) (data []byte, err error) {
		err = s.View(ctx, func(r store.Reader) error {
			data, err = r.Document(digest)
			return err
		})
		return data, err
	})
}

// complete adds what the records name.
func (l *Life) complete(document func(digest string) ([]byte, error)) error {
	entries, err := journal.Naming(l.Records)
	if err != nil {
		return fmt.Errorf("the journal of %s: %w", l.Mark, err)
	}
	sheets, procedures := journal.Digests(entries)
	digests := slices.Concat(sheets, procedures)
	for _, e := range entries {
		if names := journal.NamesOf(e.Facts); names.Document != "" {
			digests = append(digests, names.Document)
		}
		if photo, ok := e.Facts.(journal.PhotoKept); ok {
			l.Photos = append(l.Photos, photo)
		}
	}
	slices.Sort(digests)
	var missing []error
	for _, digest := range slices.Compact(digests) {
		data, err := document(digest)
		if err != nil {
			missing = append(missing, fmt.Errorf("the document %s of %s: %w", digest, l.Mark, err))
			continue
		}
		l.Documents = append(l.Documents, data)
	}
	return errors.Join(missing...)
}

// build puts a life in a new store.
func (l *Life) build(b store.Builder) error {
	for _, data := range l.Documents {
		if err := b.Keep(data); err != nil {
			return err
		}
	}
	return b.Append(l.Mark, l.Records)
}

// settle writes a life into a store that does not have it.
func (l *Life) settle(ctx context.Context, s store.Store) error {
	for _, data := range l.Documents {
		if _, err := s.Keep(ctx, data); err != nil {
			return err
		}
	}
	return s.Append(ctx, l.Mark, 0, l.Records)
}

// A picture is a photo that a journal names.
type picture struct {
	mark string
	journal.PhotoKept
}

func (l *Life) pictures() []picture {
	all := make([]picture, len(l.Photos))
	for i, p := range l.Photos {
		all[i] = picture{l.Mark, p}
	}
	return all
}

// copyPhotos copies photos; one that is missing is said and does not stop the
// rest. What would stop every other ends it.
func copyPhotos(ctx context.Context, all []picture, from, to photos.Folder) (n int, missing []string, err error) {
	for _, p := range all {
		err := copyPhoto(ctx, p.Photo, from, to)
		switch {
		case err == nil:
			n++
		case ctx.Err() != nil:
			return n, missing, ctx.Err()
		case errors.Is(err, store.ErrFull), errors.Is(err, store.ErrReadOnly):
			return n, missing, err
		default:
			// One that several entries name is said once.
			if text := fmt.Sprintf("%s of %s: %v", p.Name, p.mark, err); !slices.Contains(missing, text) {
				missing = append(missing, text)
			}
		}
	}
	return n, missing, nil
}

func copyPhoto(ctx context.Context, digest string, from, to photos.Folder) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	data, err := from.Read(digest)
	if err != nil {
		return err
	}
	_, err = to.Put(ctx, digest, data)
	return err
}

// stamp is when something was exported.
func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }
