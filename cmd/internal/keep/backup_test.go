package keep

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/store"
	"fettle/store/photos"
	"fettle/store/wholefile"
	"fettle/workflow"
)

// A store that is named by a link is the file that the link leads to.
func TestRestoreThroughALink(t *testing.T) {
	for _, force := range []bool{false, true} {
		k := aFleet(t)
		copied := filepath.Join(t.TempDir(), "copy.db")
		if _, err := k.Backup(t.Context(), copied); err != nil {
			t.Fatal(err)
		}
		if force {
			if _, _, err := k.Desk.Act(t.Context(), stateOf(t, k, "TN-01"), workflow.Note{Text: "after the copy"}, time.Time{}); err != nil {
				t.Fatal(err)
			}
		}
		link := filepath.Join(t.TempDir(), "link.db")
		if err := os.Symlink(k.Path, link); err != nil {
			t.Skip("no links here:", err)
		}
		out, err := keeperAt(link).Restore(t.Context(), copied, force)
		if err != nil {
			t.Fatal(err)
		}
		if info, err := os.Lstat(link); err != nil || info.Mode()&os.ModeSymlink == 0 {
			t.Errorf("the link is %v, %v", info.Mode(), err)
		}
		state, err := keeperAt(k.Path).Desk.State(t.Context(), "TN-01")
		if err != nil || state.Size() != 1 {
			t.Errorf("%d entries, %v", state.Size(), err)
		}
		if info, err := os.Lstat(out.Aside); err != nil || !info.Mode().IsRegular() || filepath.Dir(out.Aside) != filepath.Dir(k.Path) {
			t.Errorf("aside is %s, %v", out.Aside, err)
		}
		for _, folder := range []string{filepath.Dir(link), filepath.Dir(k.Path)} {
			entries, err := os.ReadDir(folder)
			if err != nil {
				t.Fatal(err)
			}
			for _, entry := range entries {
				if strings.Contains(entry.Name(), "part") {
					t.Errorf("%s is left", entry.Name())
				}
			}
		}
	}
}

// Two restores in one second keep two stores aside.
func TestRestoreTwiceAtOnce(t *testing.T) {
	t.Parallel()
	k := aFleet(t)
	copied := filepath.Join(t.TempDir(), "copy.db")
	if _, err := k.Backup(t.Context(), copied); err != nil {
		t.Fatal(err)
	}
	aside := map[string]bool{}
	for range 3 {
		out, err := k.Restore(t.Context(), copied, true)
		if err != nil {
			t.Fatal(err)
		}
		wantSound(t, keeperAt(out.Aside))
		aside[out.Aside] = true
	}
	if len(aside) != 3 {
		t.Errorf("aside are %v", aside)
	}
}

// What fails before the copy is in place names the store, and nothing that was
// only there on the way.
func TestRestoreWhereNothingCanBeWritten(t *testing.T) {
	k := aFleet(t)
	folder := filepath.Join(t.TempDir(), "folder")
	if err := os.Mkdir(folder, 0o500); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(folder, "fettle.db")
	_, err := keeperAt(path).Restore(t.Context(), k.Path, false)
	if !errors.Is(err, store.ErrReadOnly) || !strings.HasPrefix(err.Error(), "cannot write the store "+path+": ") {
		t.Errorf("said: %v", err)
	}
}

// A copy without its photos, for want of room or of patience, does not get its name.
func TestPhotosThatCannotBeCopied(t *testing.T) {
	t.Parallel()
	k := aFleet(t)
	var picture bytes.Buffer
	if err := png.Encode(&picture, image.NewGray(image.Rect(0, 0, 8, 8))); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "tip.png")
	if err := os.WriteFile(file, picture.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, _, err := k.Desk.Photograph(t.Context(), stateOf(t, k, "TN-01"), workflow.Note{Text: "the tip"}, []string{file}, time.Time{}); err != nil {
		t.Fatal(err)
	}
	good := filepath.Join(t.TempDir(), "good.db")
	if out, err := k.Backup(t.Context(), good); err != nil || out.Photos != 1 {
		t.Fatalf("%+v, %v", out, err)
	}

	shut := func(path string) {
		t.Helper()
		if err := os.Mkdir(photos.Beside(path).Path(), 0o500); err != nil {
			t.Fatal(err)
		}
	}
	copied := filepath.Join(t.TempDir(), "copy.db")
	shut(copied)
	if _, err := k.Backup(t.Context(), copied); !errors.Is(err, store.ErrReadOnly) || !strings.Contains(err.Error(), "no copy was made") {
		t.Errorf("backup: %v", err)
	}
	if _, err := os.Stat(copied); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the copy is there: %v", err)
	}
	saved := filepath.Join(t.TempDir(), "saved.db")
	shut(saved)
	if _, err := k.Salvage(t.Context(), saved); !errors.Is(err, store.ErrReadOnly) || !strings.Contains(err.Error(), saved+" has all that could be saved, except") {
		t.Errorf("salvage: %v", err)
	}
	taker := keeperAt(filepath.Join(t.TempDir(), "fettle.db"))
	shut(taker.Path)
	if _, err := taker.Import(t.Context(), packedBy(t, k, exported(t, k, "TN-01"), nil), nil); !errors.Is(err, store.ErrReadOnly) {
		t.Errorf("import: %v", err)
	}
	if _, err := os.Stat(taker.Path); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("it was imported without its photo: %v", err)
	}
	other := aFleet(t)
	shut(other.Path)
	out, err := other.Restore(t.Context(), good, true)
	if !errors.Is(err, store.ErrReadOnly) || out.Aside != "" || !strings.Contains(err.Error(), "the store was not changed") {
		t.Errorf("restore: %+v, %v", out, err)
	}
	if stateOf(t, other, "TN-01").Size() != 1 {
		t.Error("the store was changed")
	}
	if left, _ := filepath.Glob(filepath.Join(filepath.Dir(other.Path), ".fettle-new-*")); len(left) > 0 {
		t.Errorf("it left %v", left)
	}
}

// A restore loses nothing without a word: no other journal, and nothing that was written
// while the store was compared with the copy. The draft is held, so nobody clears it away.
func TestRestoreLosesNothing(t *testing.T) {
	t.Parallel()
	k, other := aFleet(t), aFleet(t)
	noted(t, k, "TN-01", "spars from the second batch")
	copied := filepath.Join(t.TempDir(), "copy.db")
	if _, err := k.Backup(t.Context(), copied); err != nil {
		t.Fatal(err)
	}
	noted(t, other, "TN-01", "another life")
	var loss *LossError
	if _, err := other.Restore(t.Context(), copied, false); !errors.As(err, &loss) || !slices.Equal(loss.Losses, []string{"a different journal of TN-01"}) {
		t.Errorf("another journal: %v", err)
	}
	kind, opened := k.Kinds[0], 0
	open := kind.Open
	kind.Open = func(name string, migrated func(int, int, string)) Store {
		if name != copied { // the draft, to be compared with the store
			wholefile.Clear(filepath.Dir(k.Path))
		} else if opened++; opened == 2 { // for its photos, after the comparison
			noted(t, keeperAt(k.Path), "TN-02", "written meanwhile")
		}
		return open(name, migrated)
	}
	k.Kinds = Kinds{kind}
	if _, err := k.Restore(t.Context(), copied, false); !errors.As(err, &loss) || !slices.Equal(loss.Losses, []string{"1 entry of TN-02"}) {
		t.Errorf("written meanwhile: %v", err)
	}
	if out, err := k.Restore(t.Context(), copied, true); err != nil || out.Aside == "" {
		t.Errorf("forced: %+v, %v", out, err)
	}
}

// A carelessBuilder writes other records than it is given.
type carelessBuilder struct{ store.Builder }

func (b carelessBuilder) Append(mark string, records [][]byte) error {
	all := slices.Clone(records)
	all[0] = bytes.Replace(all[0], []byte("pilot"), []byte("nobody"), 1)
	return b.Builder.Append(mark, all)
}

// A copy that is not the original, however sound it is, does not get its name.
func TestBackupIsReadBack(t *testing.T) {
	k := aFleet(t)
	kind := k.Kinds[0]
	create := kind.Create
	kind.Create = func(ctx context.Context, name string, fill func(store.Builder) error, check func(store.Store) error) error {
		return create(ctx, name, func(into store.Builder) error { return fill(carelessBuilder{into}) }, check)
	}
	k.Kinds = Kinds{kind}
	copied := filepath.Join(t.TempDir(), "copy.db")
	if _, err := k.Backup(t.Context(), copied); err == nil || !strings.Contains(err.Error(), "the copy of TN-01 differs from the original") {
		t.Errorf("it said %v", err)
	}
	if _, err := os.Stat(copied); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the copy is there: %v", err)
	}
}
