package desk

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"fettle/store"
	"fettle/store/bolt"
	"fettle/store/photos"
	"fettle/store/seal"
)

// ErrExists is given for a file that would be written over.
var ErrExists = errors.New("it exists already; name a new file")

// taken says of a file that would be written over that it is there.
func taken(path string, err error) error {
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("the file %s: %w", path, ErrExists)
	}
	return err
}

// A Copied says what a backup or a restore has copied.
type Copied struct {
	File      string   `json:"file"`
	Airframes int      `json:"airframes"`
	Entries   int64    `json:"entries"`
	Photos    int      `json:"photos"`
	Missing   []string `json:"missing_photos,omitempty"`
	Aside     string   `json:"aside,omitempty"` // where the store that was there is kept
}

// Backup copies the store as it is at one moment to a new file, and reads the
// copy again before it gets its name. Photos are copied beside it.
//
// Journals only grow, so that the sizes of one moment say what the store was
// then: each is read by itself, and nobody is kept waiting.
func (d *Desk) Backup(ctx context.Context, to string) (Copied, error) {
	if err := folderFor(to); err != nil {
		return Copied{}, err
	}
	if _, err := os.Stat(d.Path); errors.Is(err, fs.ErrNotExist) {
		return Copied{}, fmt.Errorf("there is no store to copy: %w", err)
	}
	out, pictures, err := copyStore(ctx, d.Store, to)
	if err != nil {
		return Copied{}, taken(to, err)
	}
	if out.Photos, out.Missing, err = copyPhotos(ctx, pictures, d.Photos, photos.Beside(to)); err != nil {
		return out, fmt.Errorf("%s is there and whole, but not all of its photos: %w", to, err)
	}
	return out, nil
}

// folderFor says whether there is a folder for a copy. It is not made: where the
// disk that it was to go to is not mounted, it would lie on another.
func folderFor(to string) error {
	if _, err := os.Stat(filepath.Dir(to)); err != nil {
		return fmt.Errorf("the folder for the copy: %w", err)
	}
	return nil
}

// copyStore makes a new store of all that one holds, and reads it again.
func copyStore(ctx context.Context, from store.Store, to string) (Copied, []picture, error) {
	out := Copied{File: to}
	var pictures []picture
	var written []seal.Head
	journals, err := journalsOf(ctx, from)
	if err != nil {
		return out, nil, err
	}
	err = bolt.Create(ctx, to, func(b store.Builder) error {
		for _, j := range journals {
			l, err := life(ctx, from, j.Mark, j.Size)
			if err != nil {
				return err
			}
			if err := l.build(b); err != nil {
				return err
			}
			pictures = append(pictures, l.pictures()...)
			written = append(written, seal.HeadOf(l.Records))
			out.Entries += j.Size
		}
		return nil
	}, func(copy store.Store) error {
		for i, j := range journals {
			l, err := life(ctx, copy, j.Mark, j.Size)
			if err != nil {
				return fmt.Errorf("reading the copy again: %w", err)
			}
			if seal.HeadOf(l.Records) != written[i] {
				return fmt.Errorf("the copy of %s is not what was copied; nothing was kept of it", j.Mark)
			}
		}
		return nil
	})
	out.Airframes = len(journals)
	return out, pictures, err
}

// ErrItself is given for a store that was to be restored from itself.
var ErrItself = errors.New("that is the store itself; name a copy of it")

// A LossError says what a restore would lose.
type LossError struct{ Losses []string }

func (e *LossError) Error() string {
	return fmt.Sprintf("the store here has what the copy has not: %s; nothing was changed; --force keeps the store aside and restores all the same", strings.Join(e.Losses, ", "))
}

// errGrown is given for a store that was written to while it was compared.
var errGrown = errors.New("the store was written to meanwhile")

// Restore puts a copy in the place of the store. Where the store has
// entries that the copy lacks, or other ones, it is refused unless forced. The
// store that was there is kept aside.
func (d *Desk) Restore(ctx context.Context, from string, force bool) (Copied, error) {
	copied, err := os.Stat(from)
	if err != nil {
		return Copied{}, fmt.Errorf("the copy: %w", err)
	}
	if here, err := os.Stat(d.Path); err == nil && os.SameFile(here, copied) {
		return Copied{}, fmt.Errorf("%s: %w", from, ErrItself)
	}
	file := bolt.New(d.Path).File()
	part := fmt.Sprintf("%s.part-%016x", file, rand.Uint64()) // one that was killed may have left its own
	defer func() { _ = os.Remove(part) }()
	out, pictures, err := copyStore(ctx, bolt.New(from), part)
	if err != nil {
		var failure *store.Error
		if errors.As(err, &failure) && failure.Path == part {
			failure.Path = d.Path // which it was to be
		}
		return Copied{}, err
	}
	out.File = d.Path
	aside := asideOf(file, d.Now())
	kept := false
	for range tries {
		if kept, err = d.replace(ctx, part, aside, force); !errors.Is(err, errGrown) {
			break
		}
	}
	if err != nil {
		return Copied{}, err
	}
	if kept {
		out.Aside = aside
	}
	if out.Photos, out.Missing, err = copyPhotos(ctx, pictures, photos.Beside(from), photos.Beside(d.Path)); err != nil {
		was := ""
		if kept {
			was = " (what was here is kept as " + aside + ")"
		}
		return out, fmt.Errorf("the store is restored%s, but not all of its photos: %w", was, err)
	}
	return out, nil
}

// asideOf gives a name that is not taken for the store that is replaced.
func asideOf(file string, now time.Time) string {
	stem := file + now.UTC().Format("-20060102T150405")
	name := stem + ".aside"
	for number := 2; ; number++ {
		if _, err := os.Lstat(name); err != nil {
			return name
		}
		name = fmt.Sprintf("%s-%d.aside", stem, number)
	}
}

// replace puts the store in the file part in the place of the desk's, if nothing
// is lost by it or it is forced. What is there is compared while others may
// write to it, and under the lock only its sizes are.
func (d *Desk) replace(ctx context.Context, part, aside string, force bool) (kept bool, err error) {
	here := bolt.New(d.Path)
	if force {
		return here.Replace(ctx, part, aside, nil)
	}
	seen, err := journalsOf(ctx, d.Store)
	var losses []string
	if err == nil {
		losses, err = lost(ctx, d.Store, seen, bolt.New(part))
	}
	if err != nil {
		return false, fmt.Errorf("comparing the store with the copy: %w; --force puts it aside as it is", err)
	}
	if len(losses) > 0 {
		return false, &LossError{losses}
	}
	return here.Replace(ctx, part, aside, func(r store.Reader) error {
		now, err := r.Journals()
		if err == nil && !slices.Equal(now, seen) {
			err = errGrown
		}
		return err
	})
}

// lost says what of these journals is not in a copy.
func lost(ctx context.Context, here store.Store, journals []store.Journal, copy store.Store) (losses []string, err error) {
	for _, j := range journals {
		have, err := recordsOf(ctx, here, j.Mark)
		if err != nil {
			return nil, err
		}
		kept, err := recordsOf(ctx, copy, j.Mark)
		if err != nil {
			return nil, err
		}
		switch common := min(len(have), len(kept)); {
		case len(kept) == 0:
			losses = append(losses, fmt.Sprintf("all %s of %s", entries(int(j.Size)), j.Mark))
		case seal.HeadOf(have[:common]) != seal.HeadOf(kept[:common]):
			losses = append(losses, "another life of "+j.Mark)
		case common < len(have):
			losses = append(losses, fmt.Sprintf("%s of %s", entries(len(have)-common), j.Mark))
		}
	}
	return losses, nil
}

func entries(n int) string {
	if n == 1 {
		return "1 entry"
	}
	return fmt.Sprintf("%d entries", n)
}
