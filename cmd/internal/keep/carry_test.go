package keep

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/cmd/internal/desk"
	"fettle/store"
	"fettle/store/memory"
	"fettle/store/seal"
	"fettle/store/wholefile"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// aBundle gives an airframe that can be exported.
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
	return packedBy(t, keeperAt(filepath.Join(t.TempDir(), "none.db")), b, more)
}

// packedBy is packed with the photos that a keeper has.
func packedBy(t *testing.T, k *Keeper, b Bundle, more map[string][]byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "airframe.zip")
	var out bytes.Buffer
	if _, err := k.pack(&out, b); err != nil {
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
	t.Parallel()
	good := aBundle(t)
	sum := func(data []byte) string { return store.Digest(data) }
	hex := func(digest string) string { return strings.TrimPrefix(digest, "sha256:") }
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
		"no document":          {bundle: without, says: "a document of TN-01: " + documentsIn + hex(sheet) + " is missing;"},
		"no documents":         {bundle: without.with(t, journal.Sealed{Size: 1, Note: sum(letter)}), says: "is missing (and 1 more);"},
		"no seal":              {bundle: good.with(t, journal.Sealed{Size: 1, Note: sum(letter)}), says: hex(sum(letter))},
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
			_, err := k.Import(t.Context(), packed(t, test.bundle, test.more), nil)
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
	in, err := k.Import(t.Context(), packed(t, aBundle(t), map[string][]byte{
		documentsIn: nil, photosIn: nil,
		documentsIn + strings.TrimPrefix(store.Digest(letter), "sha256:"): letter,
	}), nil)
	if err != nil || in.State.Airframe.Mark != "TN-01" {
		t.Fatalf("%+v, %v", in, err)
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

// A photo that is not in the file is named once, and keeps nothing else out.
func TestImportWithoutAPhoto(t *testing.T) {
	k := keeperAt(filepath.Join(t.TempDir(), "fettle.db"))
	gone := journal.PhotoKept{Photo: store.Digest([]byte("gone")), Name: "tip.png", Type: "image/png"}
	whole := aBundle(t).with(t, gone, gone)
	in, err := k.Import(t.Context(), packed(t, whole, nil), nil)
	if err != nil || in.State.Size() != int64(len(whole.Records)) || !slices.Equal(in.Missing, []string{"tip.png: missing from the file"}) {
		t.Errorf("%v is missing, %v", in.Missing, err)
	}
}

// sealedBy seals what a keeper has of an airframe.
func sealedBy(t *testing.T, k *Keeper, mark string) Seal {
	t.Helper()
	made, _, err := k.Seal(t.Context(), stateOf(t, k, mark))
	if err != nil {
		t.Fatal(err)
	}
	return made
}

func noted(t *testing.T, k *Keeper, mark, text string) {
	t.Helper()
	if _, _, err := k.Desk.Act(t.Context(), stateOf(t, k, mark), workflow.Note{Text: text}, time.Time{}); err != nil {
		t.Fatal(err)
	}
}

// exported gives what a keeper has of an airframe.
func exported(t *testing.T, k *Keeper, mark string) Bundle {
	t.Helper()
	b, err := bundle(t.Context(), k.Store, mark, stateOf(t, k, mark).Size())
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// A file is compared with the seals in it and with one that came by other means; whose
// they are is said, and also that there are none.
func TestImportSeals(t *testing.T) {
	t.Parallel()
	builder := aFleet(t)
	unsealed := exported(t, builder, "TN-01")
	noted(t, builder, "TN-01", "spars from the second batch")
	first := sealedBy(t, builder, "TN-01")
	noted(t, builder, "TN-01", "tail level")
	sealedBy(t, builder, "TN-01")
	good := exported(t, builder, "TN-01")

	// The note is another one, and the root in the manifest is that of the changed journal.
	other := good
	other.Records = slices.Clone(good.Records)
	other.Records[1] = bytes.Replace(other.Records[1], []byte("second"), []byte("seventh"), 1)
	// The seals are gone too.
	stripped := unsealed.with(t, journal.Noted{Text: "spars from the seventh batch"})

	// The newest of a signer's seals is not the last one named, and one is named twice.
	key, _, err := builder.key()
	if err != nil {
		t.Fatal(err)
	}
	head := seal.HeadOf(unsealed.Records)
	early, err := key.Sign(origin("TN-01"), head)
	if err != nil {
		t.Fatal(err)
	}
	late := journal.Sealed{Size: head.Size, Root: head.Root.String(), Key: key.Public(), Note: store.Digest(early)}
	unordered := good.with(t, late, late)
	unordered.Documents = append(slices.Clone(unordered.Documents), early)

	elsewhere := aFleet(t)
	noted(t, elsewhere, "TN-01", "another life")
	stranger := sealedBy(t, elsewhere, "TN-01")
	held := &HeldSeal{"seal.txt", []byte(first.Note), first.Public}
	for name, test := range map[string]struct {
		bundle  Bundle
		held    *HeldSeal
		says    string // "": it is taken in
		seals   int
		covers  int64
		against int64
	}{
		"its own seals":               {bundle: good, seals: 2, covers: 4},
		"no seal":                     {bundle: unsealed},
		"an old seal, named twice":    {bundle: unordered, seals: 3, covers: 4},
		"a seal that is held":         {bundle: good, held: held, seals: 2, covers: 4, against: 2},
		"another journal":             {bundle: other, says: "does not match the seal that its entry 2 names, over the first 2 entries"},
		"another journal, held":       {bundle: other, held: held, says: "does not match the seal seal.txt: differs"},
		"stripped, held":              {bundle: stripped, held: held, says: "does not match the seal seal.txt: differs"},
		"shorter than what is held":   {bundle: unsealed, held: held, says: "does not match the seal seal.txt: shorter"},
		"a seal by somebody else":     {bundle: good, held: &HeldSeal{"seal.txt", []byte(stranger.Note), first.Public}, says: "is not compared with seal.txt: that is not signed by this key"},
		"held with the key of others": {bundle: good, held: &HeldSeal{"seal.txt", []byte(stranger.Note), stranger.Public}, says: "does not match the seal seal.txt: differs"},
	} {
		t.Run(name, func(t *testing.T) {
			k := keeperAt(filepath.Join(t.TempDir(), "fettle.db"))
			in, err := k.Import(t.Context(), packed(t, test.bundle, nil), test.held)
			if test.says != "" {
				if errors.As(err, new(*HeldError)) != (test.held != nil) || errors.Is(err, ErrNotCarried) == (test.held != nil) || !strings.Contains(err.Error(), test.says) {
					t.Errorf("said %v, want %q", err, test.says)
				}
				if _, err := os.Stat(k.Path); !errors.Is(err, os.ErrNotExist) {
					t.Errorf("the store was made: %v", err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if test.covers == 0 && len(in.Signers) > 0 || test.covers > 0 && !slices.Equal(in.Signers, []Signer{{Public: first.Public, Seals: test.seals, Covers: test.covers}}) {
				t.Errorf("sealed by %+v", in.Signers)
			}
			if (in.Against == nil) != (test.held == nil) || in.Against != nil && *in.Against != (Coverage{Size: test.against, Signer: strings.Join(strings.SplitN(first.Public, "+", 3)[:2], "+")}) {
				t.Errorf("held against %+v", in.Against)
			}
		})
	}
}

// A newer export continues an airframe that is here, and what is no continuation is
// refused and changes nothing.
func TestImportContinues(t *testing.T) {
	t.Parallel()
	builder := aFleet(t)
	first := exported(t, builder, "TN-01")
	noted(t, builder, "TN-01", "spars from the second batch")
	sealedBy(t, builder, "TN-01")
	newer := exported(t, builder, "TN-01")

	k := keeperAt(filepath.Join(t.TempDir(), "fettle.db"))
	k.Desk.Written = &desk.Written{Folder: t.TempDir(), Store: k.Path}
	take := func(b Bundle, added, size int64, says string) {
		t.Helper()
		in, err := k.Import(t.Context(), packed(t, b, nil), nil)
		var refusal *workflow.Refusal
		switch {
		case says == "" && (err != nil || in.New != added):
			t.Errorf("it took in %d entries, %v", in.New, err)
		case says != "" && (!errors.As(err, &refusal) || !strings.Contains(err.Error(), says)):
			t.Errorf("it said %v, want %q", err, says)
		}
		if got := stateOf(t, k, "TN-01").Size(); got != size {
			t.Errorf("there are %d entries, want %d", got, size)
		}
	}
	take(first, 1, 1, "")
	older := memory.New()
	draft := wholefile.DraftName(filepath.Dir(k.Path)) // that a killed restore left
	if err := errors.Join(first.settle(t.Context(), older, 0), os.WriteFile(draft, nil, 0o600)); err != nil {
		t.Fatal(err)
	}
	take(newer, 2, 3, "")
	if o, is := k.Desk.Written.Compare(t.Context(), older, "TN-01"); !is || o.Size != 1 || o.Written != 3 {
		t.Errorf("an older copy in its place: %+v", o)
	}
	if _, err := os.Lstat(draft); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the draft is left: %v", err)
	}
	take(newer, 0, 3, "")
	take(first, 0, 3, "this store has all 1 entry of the file and 2 more")
	take(first.with(t, journal.Noted{Text: "another"}, journal.Noted{Text: "life"}), 0, 3, "they differ from entry 1 on (here one of ")
	if health, err := k.Examine(t.Context()); err != nil || !health.Sound() {
		t.Errorf("%+v, %v", health, err)
	}
	if v, err := k.Prove(t.Context(), "TN-01"); err != nil || len(v.Faults) > 0 || v.Seals != 1 {
		t.Errorf("%+v, %v", v, err)
	}
}

// An import that is stopped takes nothing in, and ends at once; once it is recorded, it
// says so.
func TestImportStopped(t *testing.T) {
	k := keeperAt(filepath.Join(t.TempDir(), "fettle.db"))
	file := packed(t, aBundle(t), nil)
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if _, err := k.Import(ctx, file, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("it said %v", err)
	}
	if left, err := os.ReadDir(filepath.Dir(k.Path)); err != nil || len(left) > 0 {
		t.Errorf("there is %v, %v", left, err)
	}
	ctx, stop = context.WithCancel(t.Context())
	k.Desk.Store = &stoppedStore{k.Store, stop}
	if in, err := k.Import(ctx, file, nil); err != nil || in.New != 1 || in.State.Size() != 1 || ctx.Err() == nil {
		t.Errorf("%d entries are new, %v", in.New, err)
	}
}

// A stoppedStore is one whose program is stopped right after an append.
type stoppedStore struct {
	store.Store
	stop func()
}

func (s *stoppedStore) Append(ctx context.Context, mark string, size int64, records [][]byte) error {
	defer s.stop()
	return s.Store.Append(ctx, mark, size, records)
}

// A rivalStore is one to which somebody else writes right before the first append.
type rivalStore struct {
	store.Store
	rival func()
}

func (r *rivalStore) Append(ctx context.Context, mark string, size int64, records [][]byte) error {
	if rival := r.rival; rival != nil {
		r.rival = nil
		rival()
	}
	return r.Store.Append(ctx, mark, size, records)
}

// Who writes to a journal while it is imported or sealed has it looked at again: what is
// there by now is all of it, its beginning, or another journal.
func TestBesideAWriter(t *testing.T) {
	t.Parallel()
	builder := aFleet(t)
	first := exported(t, builder, "TN-01")
	noted(t, builder, "TN-01", "spars from the second batch")
	whole := exported(t, builder, "TN-01")
	for name, test := range map[string]struct {
		theirs Bundle
		added  int64
		says   string
	}{
		"the same":        {theirs: whole},
		"its beginning":   {theirs: first, added: 1},
		"another journal": {theirs: first.with(t, journal.Noted{Text: "another life"}), says: "journals are never merged"},
		"more":            {theirs: whole.with(t, journal.Noted{Text: "tail level"}), says: "and 1 more"},
	} {
		k := keeperAt(filepath.Join(t.TempDir(), "fettle.db"))
		k.Desk.Store = &rivalStore{k.Store, func() {
			if err := test.theirs.settle(t.Context(), k.Store, 0); err != nil {
				t.Error(err)
			}
		}}
		in, err := k.Import(t.Context(), packed(t, whole, nil), nil)
		var refusal *workflow.Refusal
		switch {
		case test.says == "" && (err != nil || in.New != test.added || in.State.Size() != int64(len(whole.Records))):
			t.Errorf("%s: it took in %d, %v", name, in.New, err)
		case test.says != "" && (!errors.As(err, &refusal) || !strings.Contains(err.Error(), test.says)):
			t.Errorf("%s: it said %v", name, err)
		}
	}

	read := stateOf(t, builder, "TN-01")
	noted(t, builder, "TN-01", "written since it was read")
	builder.Desk.Store = &rivalStore{builder.Store, func() {
		other := keeperAt(builder.Path)
		noted(t, other, "TN-01", "written since it was signed")
	}}
	made, state, err := builder.Seal(t.Context(), read)
	if err != nil || made.Head.Size != 3 || state.Size() != 5 {
		t.Fatalf("%+v, %v", made, err)
	}
	if v, err := builder.Prove(t.Context(), "TN-01"); err != nil || v.Seals != 1 || len(v.Faults) > 0 {
		t.Errorf("%+v, %v", v, err)
	}
}

// What every command on a journal costs is bounded before it is taken in.
func TestImportOfWork(t *testing.T) {
	t.Parallel()
	k := keeperAt(filepath.Join(t.TempDir(), "fettle.db"))
	state, err := k.Desk.Register(t.Context(), "CW-01", "causeway", nil, time.Time{})
	if err == nil {
		_, state, err = k.Desk.Start(t.Context(), state, "storage", "", time.Time{})
	}
	if err != nil {
		t.Fatal(err)
	}
	b := exported(t, k, "CW-01")
	opened := state.Entries[1].Facts.(journal.JobOpened)
	for len(b.Records) <= mostOpenJobs {
		opened.Job = fmt.Sprintf("storage-%d", len(b.Records)+1)
		b = b.with(t, opened)
	}
	other := keeperAt(filepath.Join(t.TempDir(), "fettle.db"))
	if _, err := other.Import(t.Context(), packed(t, b, nil), nil); err != nil {
		t.Errorf("%d jobs: %v", mostOpenJobs, err)
	}
	opened.Job = "storage-again"
	_, err = other.Import(t.Context(), packed(t, b.with(t, opened), nil), nil)
	if !errors.Is(err, ErrNotCarried) || !strings.Contains(err.Error(), "65 jobs open at once; the limit is 64; finish some") {
		t.Errorf("it said %v", err)
	}
	if err := other.tryOut(t.Context(), b, time.Nanosecond); err == nil || !strings.Contains(err.Error(), "takes more than 1ns to work through") {
		t.Errorf("it said %v", err)
	}
	other.Desk.Now = func() time.Time { panic("salt in the clock") }
	if err := other.tryOut(t.Context(), b, trialTime); err == nil || !strings.Contains(err.Error(), "which is a fault in fettle: salt in the clock") {
		t.Errorf("it said %v", err)
	}
}

// The limits of what is imported hold for the file, and for the journal and its documents
// together; what is exported keeps them too.
func TestLimits(t *testing.T) {
	file := packed(t, aBundle(t), nil)
	c, err := openCarried(t.Context(), file)
	if err != nil {
		t.Fatal(err)
	}
	defer c.close()
	c.room = int64(c.files[journalFile].UncompressedSize64)
	if _, err := c.bundle(t.Context()); err == nil || !strings.Contains(err.Error(), "too large") {
		t.Errorf("a journal that leaves no room for its documents: %v", err)
	}
	if err := os.Truncate(file, mostPacked+1); err != nil {
		t.Fatal(err)
	}
	if _, err := openCarried(t.Context(), file); err == nil || !strings.Contains(err.Error(), "more than 4 GiB") {
		t.Errorf("a long file: %v", err)
	}
	k := keeperAt(filepath.Join(t.TempDir(), "none.db"))
	if _, err := k.pack(io.Discard, Bundle{Mark: "TN-01", Records: make([][]byte, mostEntries+1)}); err == nil || !strings.Contains(err.Error(), "the limit for one file is 100000") {
		t.Errorf("a long journal was exported: %v", err)
	}
}
