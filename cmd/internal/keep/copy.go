package keep

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"

	"golang.org/x/mod/sumdb/tlog"

	"fettle/store"
	"fettle/store/seal"
)

// ErrApart is returned for a copy into a store that has more or other entries of an airframe.
var ErrApart = errors.New("the other store has entries of it that this one lacks")

// Copy copies every airframe of one store into another, of whatever kinds they are. An
// airframe that is there is continued, provided that it begins with exactly what is to be
// copied: so a copy that was stopped goes on where it was. Of each the root over its
// entries is compared: as the one store has it, and as it is read back from the other.
//
// An airframe is read at one moment, though others may be written to meanwhile.
func (all Kinds) Copy(ctx context.Context, from, to string) (Copied, error) {
	out := Copied{File: to, Shared: !all.Files(from)}
	if from == to {
		return out, fmt.Errorf("%s: %w", from, ErrItself)
	}
	if all.Files(from) {
		if _, err := os.Stat(from); err != nil {
			return out, fmt.Errorf("there is no store to copy: %w", err)
		}
	}
	if all.Files(to) {
		if err := folderFor(to); err != nil {
			return out, err
		}
		there, err := os.Stat(to)
		if here, other := os.Stat(from); err == nil && other == nil && os.SameFile(here, there) {
			return out, fmt.Errorf("%s: %w", from, ErrItself)
		}
	}
	source, target := all.open(from), all.open(to)
	journals, err := store.Journals(ctx, source)
	if err != nil {
		return out, err
	}
	if len(journals) == 0 && out.Shared {
		return out, fmt.Errorf("%s has no record, so there is nothing to copy; see whether the name of the shed is right: %w", from, store.ErrNotFound)
	}
	for _, j := range journals {
		b, err := bundle(ctx, source, j.Mark, j.Size)
		if err != nil {
			return out, err
		}
		want, err := headAt(ctx, source, j.Mark, j.Size)
		if err != nil {
			return out, err
		}
		if seal.HeadOf(b.Records) != want {
			return out, fmt.Errorf("the entries of %s in %s do not have the root that is kept with them: %w", j.Mark, from, store.ErrDamaged)
		}
		here, err := b.continues(ctx, target)
		if err != nil {
			return out, fmt.Errorf("copying %s: %w", j.Mark, err)
		}
		n, missing, err := copyPhotos(ctx, b.pictures(), all.Photos(from), all.Photos(to))
		if err != nil {
			return out, fmt.Errorf("copying the photos of %s: %w", j.Mark, err)
		}
		if err := b.settle(ctx, target, here); err != nil {
			return out, err
		}
		copied, err := bundle(ctx, target, j.Mark, j.Size)
		if err != nil {
			return out, fmt.Errorf("reading the copy of %s back: %w", j.Mark, err)
		}
		if kept, err := headAt(ctx, target, j.Mark, j.Size); err != nil || kept != want || seal.HeadOf(copied.Records) != want {
			return out, cmp.Or(err, fmt.Errorf("the copy of %s differs from the original: do not use it", j.Mark))
		}
		out.Airframes++
		out.Entries += j.Size
		out.Photos += n
		out.Missing = append(out.Missing, missing...)
	}
	return out, nil
}

// headAt is the head over the first records of a journal, by the hashes that are kept with them.
func headAt(ctx context.Context, s store.Store, mark string, size int64) (h seal.Head, err error) {
	err = s.View(ctx, func(r store.Reader) error {
		h, err = seal.HeadAt(size, tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) { return r.Hashes(mark, indexes) }))
		return err
	})
	return h, err
}

// continues returns how many of the bundle's records a store has. It has no others.
func (b *Bundle) continues(ctx context.Context, s store.Store) (here int64, err error) {
	err = s.View(ctx, func(r store.Reader) error {
		here, err = r.Size(b.Mark)
		return err
	})
	if err != nil || here == 0 {
		return here, err
	}
	if here <= int64(len(b.Records)) {
		there, err := headAt(ctx, s, b.Mark, here)
		if err != nil || there == seal.HeadOf(b.Records[:here]) {
			return here, err
		}
	}
	return here, b.apart(ctx, s)
}

// apart says how far the records of a store are those of the bundle.
func (b *Bundle) apart(ctx context.Context, s store.Store) error {
	var there [][]byte
	err := s.View(ctx, func(r store.Reader) (err error) {
		there, err = r.Read(b.Mark, 0)
		return err
	})
	if err != nil {
		return err
	}
	same := 0
	for same < min(len(there), len(b.Records)) && bytes.Equal(there[same], b.Records[same]) {
		same++
	}
	advice := "they are never merged: keep one record, and record in it with --at what only the other has"
	if same == len(b.Records) {
		advice = "copy the other way"
	}
	return fmt.Errorf("%w: %d there, %d here, of which the first %d are the same; %s", ErrApart, len(there), len(b.Records), same, advice)
}
