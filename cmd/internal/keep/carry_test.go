package keep

import (
	"archive/zip"
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/store"
	"fettle/workflow/journal"
)

// aLife gives an airframe that can be carried.
func aBundle(t *testing.T) Bundle {
	t.Helper()
	k := aFleet(t)
	state, err := k.Desk.State(t.Context(), "TN-01")
	if err != nil {
		t.Fatal(err)
	}
	b, err := bundle(t.Context(), k.Store, "TN-01", state.Size())
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// with adds entries to a bundle, whatever they say.
func (b Bundle) with(t *testing.T, facts ...journal.Facts) Bundle {
	t.Helper()
	var entries []journal.Entry
	for i, f := range facts {
		at := time.Date(2026, 3, 3, 20, 0, 0, 0, time.UTC)
		entries = append(entries, journal.Entry{Position: int64(len(b.Records) + i), At: at, Recorded: at, By: "pilot", Program: "test", Facts: f})
	}
	records, err := journal.Encode(entries)
	if err != nil {
		t.Fatal(err)
	}
	b.Records = append(b.Records, records...)
	return b
}

// packed puts a bundle in a file, and more files into that.
func packed(t *testing.T, b Bundle, more map[string][]byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "airframe.zip")
	var out bytes.Buffer
	if _, err := keeperAt(filepath.Join(t.TempDir(), "none.db")).pack(&out, b); err != nil {
		t.Fatal(err)
	}
	if len(more) > 0 {
		out = withFiles(t, out.Bytes(), more)
	}
	if err := os.WriteFile(path, out.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func withFiles(t *testing.T, file []byte, more map[string][]byte) (out bytes.Buffer) {
	t.Helper()
	old, err := zip.NewReader(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		t.Fatal(err)
	}
	z := zip.NewWriter(&out)
	for _, f := range old.File {
		if err := z.Copy(f); err != nil {
			t.Fatal(err)
		}
	}
	for name, data := range more {
		w, err := z.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(data); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return out
}

// A bundle that could not be read again is not taken in: there is no way to be rid
// of it, and it would stand in the way of every other.
func TestImportOfWhatIsNotWhole(t *testing.T) {
	good := aBundle(t)
	sum := func(data []byte) string { return store.Digest(data) }
	letter := []byte("glue: contact\n")
	named := func(mark, sheet string) Bundle {
		return Bundle{Mark: mark, Documents: good.Documents}.with(t, journal.Registered{Mark: mark, Design: "tern", Sheet: sheet})
	}
	sheet := sum(good.Documents[0])
	noDesign := named("TN-01", sum(letter))
	noDesign.Documents = [][]byte{letter}
	large := bytes.Repeat([]byte("#"), store.MaxDocument+1)
	tooLarge := named("TN-01", sum(large))
	tooLarge.Documents = [][]byte{large}
	without := good
	without.Documents = nil

	for name, test := range map[string]struct {
		bundle Bundle
		more   map[string][]byte
		says   string
	}{
		"no job":               {bundle: good.with(t, journal.TouchTested{Job: "nope", Joint: "spar"}), says: "nope"},
		"no design sheet":      {bundle: noDesign, says: "the document " + sum(letter)},
		"no document":          {bundle: without, says: sheet},
		"no seal":              {bundle: good.with(t, journal.Sealed{Size: 1, Note: sum(letter)}), says: sum(letter)},
		"no mark":              {bundle: named("tn-01", sheet), says: "is not a mark"},
		"another mark later":   {bundle: good.with(t, journal.Registered{Mark: "TN-09", Design: "tern", Sheet: sheet}), says: `registers "TN-09"`},
		"a document too large": {bundle: tooLarge, says: "too large"},
		"another photo": {
			bundle: good.with(t, journal.PhotoKept{Photo: sum(letter), Name: "letter.png", Type: "image/png"}),
			more:   map[string][]byte{photosIn + strings.TrimPrefix(sum(letter), "sha256:"): []byte("other")}, says: "changed after the export",
		},
		"two journals":    {bundle: good, more: map[string][]byte{journalFile: nil}, says: "twice"},
		"something else":  {bundle: good, more: map[string][]byte{"../x\n": nil}, says: `it contains an unexpected file "../x\n"`},
		"an empty record": {bundle: Bundle{Mark: "TN-01"}, says: "empty"},
	} {
		t.Run(name, func(t *testing.T) {
			k := keeperAt(filepath.Join(t.TempDir(), "fettle.db"))
			_, _, err := k.Import(t.Context(), packed(t, test.bundle, test.more))
			if !errors.Is(err, ErrNotCarried) || !strings.Contains(err.Error(), test.says) {
				t.Errorf("said %v, want %q", err, test.says)
			}
			left, err := os.ReadDir(filepath.Dir(k.Path))
			if err != nil || len(left) > 0 {
				t.Errorf("there is %v, %v", left, err)
			}
		})
	}
}

// What another program adds when it packs the file anew does no harm, and
// nothing of it is kept.
func TestImportOfMoreThanIsNamed(t *testing.T) {
	k := keeperAt(filepath.Join(t.TempDir(), "fettle.db"))
	letter := []byte("glue: contact\n")
	state, _, err := k.Import(t.Context(), packed(t, aBundle(t), map[string][]byte{
		documentsIn: nil, photosIn: nil,
		documentsIn + strings.TrimPrefix(store.Digest(letter), "sha256:"): letter,
	}))
	if err != nil || state.Airframe.Mark != "TN-01" {
		t.Fatalf("%+v, %v", state, err)
	}
	err = k.Store.View(t.Context(), func(r store.Reader) error {
		_, err := r.Document(store.Digest(letter))
		return err
	})
	if !errors.Is(err, store.ErrNotFound) {
		t.Errorf("a document that nothing names was kept: %v", err)
	}
	if health, err := k.Examine(t.Context()); err != nil || !health.Sound() {
		t.Errorf("%+v, %v", health, err)
	}
}

// A photo that is not in the file is named, and keeps nothing else out.
func TestImportWithoutAPhoto(t *testing.T) {
	k := keeperAt(filepath.Join(t.TempDir(), "fettle.db"))
	whole := aBundle(t).with(t, journal.PhotoKept{Photo: store.Digest([]byte("gone")), Name: "tip.png", Type: "image/png"})
	state, missing, err := k.Import(t.Context(), packed(t, whole, nil))
	if err != nil || state.Size() != int64(len(whole.Records)) || !slices.Equal(missing, []string{"tip.png"}) {
		t.Errorf("%v is missing, %v", missing, err)
	}
}
