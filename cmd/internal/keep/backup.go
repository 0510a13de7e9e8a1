package keep

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"fettle/cmd/internal/desk"
	"fettle/store"
	"fettle/store/photos"
	"fettle/store/seal"
	"fettle/store/wholefile"
)

// ErrExists is returned for a file that would be overwritten.
var ErrExists = errors.New("it already exists; name a new file")

// taken turns the error for an existing file into ErrExists.
func taken(path string, err error) error {
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("the file %s: %w", path, ErrExists)
	}
	return err
}

// Copied says what a backup or a restore has copied.
type Copied struct {
	File      string   `json:"file"`
	Airframes int      `json:"airframes"`
	Entries   int64    `json:"entries"`
	Photos    int      `json:"photos"`
	Missing   []string `json:"missing_photos,omitempty"`
	Shared    bool     `json:"-"`               // other benches share the store, and may have them
	Aside     string   `json:"aside,omitempty"` // where the previous store is kept

	Older []desk.Older `json:"older,omitempty"` // journals that lack what was written from here
}

// Backup copies the store, as it is at one moment, to a new file, and reads the
// copy back before it gets its name. Its photos are in a folder beside it by then.
//
// Journals only grow, so their sizes at one moment define what the store was
// then. Each journal is read in its own view, and nobody is kept waiting.
func (k *Keeper) Backup(ctx context.Context, to string) (Copied, error) {
	if err := folderFor(to); err != nil {
		return Copied{}, err
	}
	if err := k.isThere("copy"); err != nil {
		return Copied{}, err
	}
	k.tidy()
	out, err := k.copyStore(ctx, k.Desk.Store, to, func(out *Copied, pictures []picture) (err error) {
		out.Photos, out.Missing, err = copyPhotos(ctx, pictures, k.Desk.Photos, photos.Beside(to))
		if err != nil && ctx.Err() == nil {
			err = fmt.Errorf("the photos cannot be copied, and no copy was made: %w", err)
		}
		return err
	})
	if err != nil {
		return Copied{}, taken(to, err)
	}
	out.Shared = !k.Kinds.Files(k.Path)
	return out, nil
}

// isThere returns an error if there is no store to do that with: its name is mistyped.
func (k *Keeper) isThere(work string) error {
	if _, err := os.Stat(k.Path); errors.Is(err, fs.ErrNotExist) && k.Kinds.Files(k.Path) {
		return fmt.Errorf("there is no store to %s: %w", work, err)
	}
	return nil
}

// tidy deletes what a killed backup, restore or import left beside the store.
func (k *Keeper) tidy() {
	if k.Store != nil && k.Kinds.Files(k.Path) {
		wholefile.Clear(filepath.Dir(k.Store.File()))
	}
	wholefile.Clear(k.Desk.Photos.Path())
}

// folderFor returns an error if the folder for a copy does not exist. It is not
// created: if the intended disk is not mounted, the copy would go to another.
func folderFor(to string) error {
	if _, err := wholefile.Look(filepath.Dir(to)); err != nil {
		return fmt.Errorf("the folder for the copy: %w", err)
	}
	return nil
}

// copyStore copies a whole store to a new one and reads that back. It calls then before the
// copy gets its name.
func (k *Keeper) copyStore(ctx context.Context, from store.Store, to string, then func(*Copied, []picture) error) (Copied, error) {
	out := Copied{File: to}
	var pictures []picture
	var written []seal.Head
	journals, err := store.Journals(ctx, from)
	if err != nil {
		return out, err
	}
	out.Airframes = len(journals)
	err = k.Kinds.Of(to).Create(ctx, to, func(into store.Builder) error {
		for _, j := range journals {
			b, err := bundle(ctx, from, j.Mark, j.Size)
			if err != nil {
				return err
			}
			if err := b.build(into); err != nil {
				return err
			}
			pictures = append(pictures, b.pictures()...)
			written = append(written, seal.HeadOf(b.Records))
			out.Entries += j.Size
		}
		return nil
	}, func(copy store.Store) error {
		for i, j := range journals {
			b, err := bundle(ctx, copy, j.Mark, j.Size)
			if err != nil {
				return fmt.Errorf("reading the copy back: %w", err)
			}
			if seal.HeadOf(b.Records) != written[i] {
				return fmt.Errorf("the copy of %s differs from the original; the copy was discarded", j.Mark)
			}
		}
		return then(&out, pictures)
	})
	return out, err
}

// ErrItself is returned for a restore of a store from itself.
var ErrItself = errors.New("that is the store itself; name a copy of it")

// ErrCluster is returned for what can be done to a store in a file alone.
var ErrCluster = errors.New("a store on a cluster is not replaced: copy into another shed, and name that one from then on: fettle store copy FILE etcd://HOST:PORT/SHED")

// A LossError says what a restore would lose.
type LossError struct{ Losses []string }

func (e *LossError) Error() string {
	return fmt.Sprintf("the store has what the copy lacks: %s; nothing was changed; to restore anyway and keep this store aside, add --force", strings.Join(e.Losses, ", "))
}

// compares is how often a store is compared with a copy while others write to it.
const compares = 5

// errGrown is returned if somebody wrote to the store during the comparison.
var errGrown = errors.New("somebody wrote to the store during the comparison; try again")

// Restore replaces the store by a copy. If the store has entries that the copy
// lacks, or other ones, it refuses unless forced. The previous store is kept
// aside.
func (k *Keeper) Restore(ctx context.Context, from string, force bool) (Copied, error) {
	if !k.Kinds.Files(k.Path) {
		return Copied{}, ErrCluster
	}
	copied, err := wholefile.Look(from)
	if err != nil {
		return Copied{}, fmt.Errorf("the copy: %w", err)
	}
	if here, err := os.Stat(k.Path); err == nil && os.SameFile(here, copied) {
		return Copied{}, fmt.Errorf("%s: %w", from, ErrItself)
	}
	file := k.Store.File()
	k.tidy()
	part := wholefile.DraftName(filepath.Dir(file)) // if this is killed, the next one deletes it
	defer func() { _ = os.Remove(part) }()
	var pictures []picture
	out, err := k.copyStore(ctx, k.Kinds.open(from), part, func(_ *Copied, all []picture) error {
		pictures = all
		return nil
	})
	if err != nil {
		var failure *store.Error
		if errors.As(err, &failure) && failure.Path == part {
			failure.Path = k.Path // the name it was meant to get
		}
		return Copied{}, err
	}
	out.File = k.Path
	held, err := wholefile.Hold(part)
	if err == nil {
		defer func() { _ = held.Close() }()
	} else if errors.Is(err, fs.ErrNotExist) {
		return Copied{}, errors.New("another fettle removed the new store before it could be put in place; nothing was changed; try again")
	}
	// Photos come first: a store that is there has all that there is of them.
	ready := sync.OnceValue(func() (err error) {
		out.Photos, out.Missing, err = copyPhotos(ctx, pictures, k.Kinds.Photos(from), k.Desk.Photos)
		if err != nil && ctx.Err() == nil {
			err = fmt.Errorf("the photos cannot be restored, and the store was not changed: %w", err)
		}
		return err
	})
	aside := asideOf(file, k.Desk.Now())
	kept := false
	for range compares {
		if kept, err = k.replace(ctx, part, aside, force, ready); !errors.Is(err, errGrown) {
			break
		}
	}
	if err != nil {
		return Copied{}, err
	}
	if kept {
		out.Aside = aside
	}
	out.Older = k.older(context.WithoutCancel(ctx))
	return out, nil
}

// older are the journals of the store that lack what was written from here.
func (k *Keeper) older(ctx context.Context) (all []desk.Older) {
	if k.Desk.Written == nil {
		return nil
	}
	journals, err := store.Journals(ctx, k.Desk.Store)
	if err != nil {
		return nil // whoever reads it next is told
	}
	for _, j := range journals {
		if o, older := k.Desk.Written.Compare(ctx, k.Desk.Store, j.Mark); older {
			all = append(all, o)
		}
	}
	return all
}

// asideOf returns a free name for the store that is replaced.
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

// replace replaces the keeper's store by the one in the file part, if nothing is
// lost or if forced. It compares the contents without a lock, while others may
// write, and under the lock only the sizes. It calls ready once nothing speaks against it.
func (k *Keeper) replace(ctx context.Context, part, aside string, force bool, ready func() error) (kept bool, err error) {
	here := k.Store
	if force {
		if err := ready(); err != nil {
			return false, err
		}
		return here.Replace(ctx, part, aside, nil)
	}
	seen, err := store.Journals(ctx, k.Desk.Store)
	var losses []string
	if err == nil {
		losses, err = lost(ctx, k.Desk.Store, seen, k.Kinds.open(part))
	}
	if err != nil {
		return false, fmt.Errorf("comparing the store with the copy: %w; to keep the store aside without comparing, add --force", err)
	}
	if len(losses) > 0 {
		return false, &LossError{losses}
	}
	if err := ready(); err != nil {
		return false, err
	}
	return here.Replace(ctx, part, aside, func(r store.Reader) error {
		now, err := r.Journals()
		if err == nil && !slices.Equal(now, seen) {
			err = errGrown
		}
		return err
	})
}

// lost says which parts of these journals are not in a copy.
func lost(ctx context.Context, here store.Store, journals []store.Journal, copy store.Store) (losses []string, err error) {
	for _, j := range journals {
		have, err := store.Records(ctx, here, j.Mark)
		if err != nil {
			return nil, err
		}
		kept, err := store.Records(ctx, copy, j.Mark)
		if err != nil {
			return nil, err
		}
		switch common := min(len(have), len(kept)); {
		case len(kept) == 0:
			losses = append(losses, fmt.Sprintf("all %s of %s", entries(int(j.Size)), j.Mark))
		case seal.HeadOf(have[:common]) != seal.HeadOf(kept[:common]):
			losses = append(losses, "a different journal of "+j.Mark)
		case common < len(have):
			losses = append(losses, fmt.Sprintf("%s of %s", entries(len(have)-common), j.Mark))
		}
	}
	return losses, nil
}

//go:noinline
func entries(n int) string {
	if n == 1 {
		return "1 entry"
	}
	return fmt.Sprintf("%d entries", n)
}
