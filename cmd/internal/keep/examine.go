package keep

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"sync"

	"fettle/store"
	"fettle/store/photos"
	"fettle/store/wholefile"
)

// An Examination is the result of examining a store.
type Examination struct {
	Schema    int        `json:"schema,omitempty"`
	Airframes []Examined `json:"airframes"`
	Documents int        `json:"documents"`        // intact
	Faults    []string   `json:"faults,omitempty"` // of the store's file
	Shared    bool       `json:"-"`                // other benches share the store, and may have photos that are missing
}

// Examined is the result for one journal.
type Examined struct {
	Mark   string   `json:"mark"`
	Size   int64    `json:"size"`
	Saved  int64    `json:"can_be_read"` // how many entries, from the first on
	Faults []string `json:"faults,omitempty"`
	Photos []string `json:"missing_photos,omitempty"` // missing or changed
}

// Sound reports whether no fault was found.
func (x Examination) Sound() bool {
	return len(x.Faults) == 0 && !slices.ContainsFunc(x.Airframes, func(e Examined) bool { return len(e.Faults)+len(e.Photos) > 0 })
}

// Examine reads the whole store and changes nothing: every page, every document,
// and of each journal its entries, tree, replay, seals and photos. Faults are in
// the result. The error is ctx's, or says that the file is not a store.
func (k *Keeper) Examine(ctx context.Context) (Examination, error) {
	x := Examination{Shared: !k.Kinds.Files(k.Path)}
	report, err := k.Store.Examine(ctx)
	if ctx.Err() != nil {
		return x, ctx.Err()
	}
	if err != nil && !errors.Is(err, store.ErrDamaged) {
		return x, err
	}
	if err != nil {
		x.Faults = append(x.Faults, err.Error())
		return x, nil
	}
	x.Schema, x.Documents = report.Schema, len(report.Documents)
	x.Faults = texts(report.Faults)
	x.Airframes = make([]Examined, len(report.Journals))
	_, closed := store.Journals(ctx, k.Desk.Store) // even a store that is refused as a whole may have complete journals
	each(len(report.Journals), func(i int) { x.Airframes[i] = k.examined(ctx, report.Journals[i], closed == nil) })
	return x, ctx.Err()
}

// texts are what the faults say, each once.
func texts(faults []error) (all []string) {
	times := map[string]int{}
	for _, fault := range faults {
		if times[fault.Error()]++; times[fault.Error()] == 1 {
			all = append(all, fault.Error())
		}
	}
	for i, text := range all {
		if n := times[text]; n > 1 {
			all[i] = fmt.Sprintf("%s (%d times)", text, n)
		}
	}
	return all
}

// examined reads one journal and, if the store opens, proves and replays it.
func (k *Keeper) examined(ctx context.Context, j store.FoundJournal, open bool) Examined {
	e := Examined{Mark: j.Mark, Size: j.Size, Saved: j.Size}
	fault := func(err error) {
		if err != nil {
			e.Faults = append(e.Faults, err.Error())
		}
	}
	records, wrong, err := k.Store.Rescue(ctx, j.Mark)
	fault(err)
	if wrong != nil {
		fault(wrong)
		e.Saved = int64(len(records))
	}
	if len(e.Faults) > 0 || !open {
		return e
	}
	v, err := k.Prove(ctx, j.Mark)
	fault(err)
	e.Faults, e.Photos = append(e.Faults, v.Faults...), v.Missing
	if err == nil {
		_, err = k.Desk.Replay(ctx, j.Mark, records)
		fault(err)
	}
	return e
}

// A Salvage says what was saved from a damaged store.
type Salvage struct {
	Copied
	Faults    []string       `json:"faults,omitempty"`            // of the file: they may hide journals
	Parts     []SalvagedPart `json:"parts,omitempty"`             // of incomplete journals
	Documents []string       `json:"missing_documents,omitempty"` // named by journals, and lost
}

// A SalvagedPart is the beginning of a journal that cannot be read to its end.
type SalvagedPart struct {
	Mark    string `json:"mark"`
	File    string `json:"file,omitempty"` // where its entries are, one per line; "": there are none
	Entries int    `json:"entries"`
	Size    int64  `json:"size"` // how many it had
	Why     string `json:"why"`
}

// Salvage writes every complete journal to a new store, with its photos beside it.
// The beginning of an incomplete journal goes to a separate file, only to be read:
// nobody may fly by it, because the lost end may have recorded a crash.
func (k *Keeper) Salvage(ctx context.Context, to string) (Salvage, error) {
	if err := folderFor(to); err != nil {
		return Salvage{}, err
	}
	from := k.Store
	report, err := from.Examine(ctx)
	if err != nil {
		return Salvage{}, err
	}
	out := Salvage{Copied: Copied{File: to}, Faults: texts(report.Faults)}
	var pictures []picture
	var parts []Bundle
	library := sync.OnceValue(k.libraryByDigest)
	document := func(digest string) ([]byte, error) {
		data, err := from.RescueDocument(ctx, digest)
		if again, ok := library()[digest]; err != nil && ok {
			return again, nil
		}
		return data, err
	}
	err = k.Kinds.Of(to).Create(ctx, to, func(into store.Builder) error {
		for _, j := range report.Journals {
			records, fault, err := from.Rescue(ctx, j.Mark)
			if err != nil {
				return err
			}
			b := Bundle{Mark: j.Mark, Records: records}
			if fault != nil {
				out.Parts = append(out.Parts, SalvagedPart{Mark: j.Mark, Entries: len(records), Size: j.Size, Why: fault.Error()})
				parts = append(parts, b)
				continue
			}
			if err := b.complete(document); err != nil {
				out.Documents = append(out.Documents, strings.Split(err.Error(), "\n")...)
			}
			if err := b.build(into); err != nil {
				return err
			}
			pictures = append(pictures, b.pictures()...)
			out.Airframes++
			out.Entries += int64(len(records))
		}
		return nil
	}, func(store.Store) error { return nil })
	if err != nil {
		return Salvage{}, taken(to, err)
	}
	for i, b := range parts {
		if len(b.Records) == 0 {
			continue
		}
		out.Parts[i].File = fmt.Sprintf("%s-part-%d.jsonl", to, i+1)
		if err := writePart(ctx, out.Parts[i].File, b.Records); err != nil {
			return out, taken(out.Parts[i].File, err)
		}
	}
	if out.Photos, out.Missing, err = copyPhotos(ctx, pictures, k.Desk.Photos, photos.Beside(to)); err != nil {
		return out, fmt.Errorf("%s has all that could be saved, except for some photos: %w", to, err)
	}
	return out, nil
}

// libraryByDigest returns the documents of the library, which may replace lost ones.
func (k *Keeper) libraryByDigest() map[string][]byte {
	all := map[string][]byte{}
	entries, _ := k.Desk.Library.List() // a document with faults was never kept
	for _, e := range entries {
		all[store.Digest(e.Document.Bytes)] = e.Document.Bytes
	}
	return all
}

// writePart writes records as lines; a record is one line of JSON.
func writePart(ctx context.Context, path string, records [][]byte) error {
	return wholefile.Create(ctx, path, 0o600, func(file *os.File) error {
		for _, record := range records {
			if _, err := file.Write(append(record, '\n')); err != nil {
				return err
			}
		}
		return nil
	})
}
