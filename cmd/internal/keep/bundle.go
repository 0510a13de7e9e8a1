package keep

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"fettle/procedures"
	"fettle/steps/lists"
	"fettle/store"
	"fettle/store/photos"
	"fettle/workflow/journal"
)

// A Bundle is one airframe's journal with everything that it refers to.
type Bundle struct {
	Mark      string
	Records   [][]byte
	Documents [][]byte
	Photos    []journal.PhotoKept // and the pictures of the documents

	by map[string]string // who kept each photo, by its digest
}

// bundle reads the first size records of a journal and what they refer to.
func bundle(ctx context.Context, s store.Store, mark string, size int64) (Bundle, error) {
	b := Bundle{Mark: mark}
	err := s.View(ctx, func(r store.Reader) (err error) {
		if b.Records, err = r.Read(mark, 0); err != nil {
			return err
		}
		if int64(len(b.Records)) < size {
			return fmt.Errorf("the journal of %s has become shorter", mark)
		}
		b.Records = b.Records[:size]
		return b.complete(r.Document)
	})
	return b, err
}

// complete adds what the records refer to.
func (b *Bundle) complete(document func(digest string) ([]byte, error)) error {
	entries, err := journal.Naming(b.Records)
	if err != nil {
		return fmt.Errorf("the journal of %s: %w", b.Mark, err)
	}
	for _, e := range entries {
		if photo, ok := e.Facts.(journal.PhotoKept); ok {
			b.Photos = append(b.Photos, photo)
			if b.by == nil {
				b.by = map[string]string{}
			}
			b.by[photo.Photo] = " by " + e.By
		}
	}
	var missing error // the first
	others := 0
	for _, digest := range documentsOf(entries) {
		data, err := document(digest)
		if err != nil {
			if missing == nil {
				missing = fmt.Errorf("a document of %s: %w", b.Mark, err)
			} else {
				others++
			}
			continue
		}
		b.Documents = append(b.Documents, data)
	}
	shown := picturesOf(b.Documents)
	if len(shown) > mostPictures {
		return fmt.Errorf("the documents of %s name more than %d pictures", b.Mark, mostPictures)
	}
	b.Photos = append(b.Photos, shown...)
	if others > 0 {
		return fmt.Errorf("%w (and %d more)", missing, others)
	}
	return missing
}

// mostPictures is the most of the documents of one airframe.
const mostPictures = 10_000

// documentsOf are the digests of the documents that entries name, each once.
func documentsOf(entries []journal.Entry) []string {
	sheets, procedures := journal.Digests(entries)
	digests := lists.Concat(sheets, procedures)
	for _, e := range entries {
		if names := journal.NamesOf(e.Facts); names.Document != "" {
			digests = append(digests, names.Document)
		}
	}
	slices.Sort(digests)
	return lists.Compact(digests)
}

// picturesOf are the pictures of the steps of documents, each once: they are kept as
// photos are.
func picturesOf(documents [][]byte) []journal.PhotoKept {
	var all []journal.PhotoKept
	met := map[string]bool{}
	for _, data := range documents {
		for _, p := range procedures.PicturesIn(data) {
			if !met[p.Digest] {
				met[p.Digest] = true
				all = append(all, journal.PhotoKept{Photo: p.Digest, Name: p.Name})
			}
		}
	}
	return all
}

// build puts a bundle in a new store.
func (b *Bundle) build(into store.Builder) error {
	for _, data := range b.Documents {
		if err := into.Keep(data); err != nil {
			return err
		}
	}
	return into.Append(b.Mark, b.Records)
}

// settle writes a bundle into a store that has the first here records of its journal.
func (b *Bundle) settle(ctx context.Context, s store.Store, here int64) error {
	for _, data := range b.Documents {
		if _, err := s.Keep(ctx, data); err != nil {
			return err
		}
	}
	if here == int64(len(b.Records)) {
		return nil
	}
	return s.Append(ctx, b.Mark, here, b.Records[here:])
}

// A picture is a photo that a journal names.
type picture struct {
	mark string
	by   string // in words; "": it is of a document
	journal.PhotoKept
}

//go:noinline
func (b *Bundle) pictures() []picture {
	all := make([]picture, len(b.Photos))
	for i, p := range b.Photos {
		all[i] = picture{b.Mark, b.by[p.Photo], p}
	}
	return all
}

// copyPhotos copies photos. A missing one is reported and does not stop the rest;
// an error that would hit every photo does.
func copyPhotos(ctx context.Context, all []picture, from, to photos.Folder) (n int, missing []string, err error) {
	for _, p := range all {
		err := to.Copy(ctx, from, p.Photo)
		switch {
		case err == nil:
			n++
		case ctx.Err() != nil:
			return n, missing, ctx.Err()
		case errors.Is(err, store.ErrFull), errors.Is(err, store.ErrReadOnly):
			return n, missing, err
		default:
			// A photo that several entries name is reported once.
			if text := fmt.Sprintf("%s of %s%s: %v", p.Name, p.mark, p.by, err); !lists.Contains(missing, text) {
				missing = append(missing, text)
			}
		}
	}
	return n, missing, nil
}

// stamp is when something was exported.
func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }
