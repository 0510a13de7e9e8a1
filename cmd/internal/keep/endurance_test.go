package keep

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/png"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/cmd/internal/desk"
	"fettle/procedures"
	"fettle/steps/leantest"
	"fettle/store"
	"fettle/store/bolt"
	"fettle/store/diskless"
	"fettle/store/photos"
	"fettle/workflow"
)

// The test binary runs again as a process of its own that writes to this store.
const envWriter = "FETTLE_KEEP_TEST_STORE"

func TestMain(m *testing.M) {
	if folder := os.Getenv(envCopier); folder != "" {
		fmt.Println("failed:", copyForEver(context.Background(), folder))
		os.Exit(1)
	}
	if path := os.Getenv(envWriter); path != "" {
		fmt.Println("failed:", noteForEver(keeperAt(path)))
		os.Exit(1)
	}
	leantest.Begin()
	diskless.Begin()
	os.Exit(m.Run())
}

// counts gives a small number for every day, and a large one where FETTLE_LONG
// asks for it.
func counts(small, large int) int {
	if os.Getenv("FETTLE_LONG") != "" {
		return large
	}
	return small
}

// files are the kinds of store that tests keep: one.
func files() Kinds {
	return Kinds{{
		Open:   func(path string, _ func(from, to int, kept string)) Store { return bolt.New(path) },
		Create: bolt.Create,
	}}
}

func keeperAt(path string) *Keeper {
	now := time.Date(2026, 3, 3, 19, 0, 0, 0, time.UTC)
	kept := bolt.New(path)
	return &Keeper{
		Desk: &desk.Desk{
			Store: kept, Photos: photos.Beside(path), Library: procedures.Open(documents),
			Now: func() time.Time { return now }, By: "pilot", Program: "test",
		},
		Store: kept, Path: path, Kinds: files(), KeyPath: path + ".key",
	}
}

// documents is a small design with its build.
const documents = "../desk/testdata"

func marks() []string { return []string{"TN-01", "TN-02", "TN-03"} }

// aFleet gives a store of three airframes.
func aFleet(t *testing.T) *Keeper {
	t.Helper()
	k := keeperAt(filepath.Join(t.TempDir(), "fettle.db"))
	for _, mark := range marks() {
		if _, err := k.Desk.Register(t.Context(), mark, "tern", nil, time.Time{}); err != nil {
			t.Fatal(err)
		}
	}
	return k
}

func stateOf(t *testing.T, k *Keeper, mark string) *workflow.State {
	t.Helper()
	state, err := k.Desk.State(t.Context(), mark)
	if err != nil {
		t.Fatal(err)
	}
	return state
}

// noteForEver notes something of each airframe in turn, and says of each note
// that it is kept once it has been told so.
func noteForEver(k *Keeper) error {
	for i := 0; ; i++ {
		mark := marks()[i%3]
		state, err := k.Desk.State(context.Background(), mark)
		if err != nil {
			return err
		}
		entries, _, err := k.Desk.Act(context.Background(), state, workflow.Note{Text: strings.Repeat("salt ", 1+i%40)}, time.Time{})
		if err != nil {
			return err
		}
		fmt.Println("kept", mark, entries[len(entries)-1].Position)
	}
}

// TestKillBesideBackup kills a process that writes, at random moments, while a
// backup is made: what was said to be kept is there, the store is sound, and so
// is the backup, which holds what the store held at some moment.
func TestKillBesideBackup(t *testing.T) {
	t.Parallel()
	kills := counts(12, 1000)
	seed := rand.Uint64()
	random := rand.New(rand.NewPCG(seed, 0))
	k := aFleet(t)
	sizes := map[string]int64{}
	kept, backups := 0, 0
	for i := range kills {
		if i%50 == 49 { // a fresh one, so that each kill costs the same
			k, sizes = aFleet(t), map[string]int64{}
		}
		copied := filepath.Join(t.TempDir(), "copy.db")
		errBackup := make(chan error, 1)
		for _, line := range killed(t, k.Path, time.Duration(random.Int64N(int64(60*time.Millisecond))), func() {
			_, err := k.Backup(t.Context(), copied)
			errBackup <- err
		}) {
			var word, mark string
			var at int64
			if _, err := fmt.Sscan(line, &word, &mark, &at); err != nil || word != "kept" {
				t.Fatalf("seed %d, kill %d: the writer said %q", seed, i, line)
			}
			sizes[mark] = at + 1
			kept++
		}
		wantSound(t, k)
		for mark, size := range sizes {
			if state, err := k.Desk.State(t.Context(), mark); err != nil || state.Size() < size {
				t.Errorf("%s has lost entries that were kept: %v", mark, err)
			}
		}
		switch err := <-errBackup; {
		case err == nil:
			backups++
			copy := keeperAt(copied)
			wantSound(t, copy)
			for _, mark := range marks() {
				wantPrefix(t, copy, k, mark)
			}
		case !errors.Is(err, store.ErrLocked): // on a slow disk its turn may not come
			t.Error(err)
		}
		if t.Failed() {
			t.Fatalf("seed %d, kill %d", seed, i)
		}
	}
	t.Logf("%d kills, %d entries kept, %d backups; none was lost, every store and backup was sound", kills, kept, backups)
	if kept == 0 || backups == 0 {
		t.Error("the test shows nothing")
	}
}

// killed runs a writer, and what else is to run beside it, kills the writer a
// while after it has begun, and gives what it said.
func killed(t *testing.T, path string, after time.Duration, beside func()) (said []string) {
	t.Helper()
	return killedAs(t, envWriter+"="+path, after, beside)
}

func killedAs(t *testing.T, what string, after time.Duration, beside func()) (said []string) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self)
	cmd.Env = append(os.Environ(), what)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if said = append(said, lines.Text()); len(said) == 1 {
			go beside()
			time.AfterFunc(after, func() { _ = cmd.Process.Kill() })
		}
	}
	_ = cmd.Wait() // it was killed
	if len(said) == 0 {
		t.Fatal("the writer said nothing")
	}
	return said
}

const envCopier = "FETTLE_TEST_COPIER"

// copyForEver backs up, restores, exports and imports the store of a folder, again and
// again. Only after a whole round are the copies taken away.
func copyForEver(ctx context.Context, folder string) error {
	k := keeperAt(filepath.Join(folder, "fettle.db"))
	fmt.Println("begun")
	for {
		if err := copyOnce(ctx, k, folder); err != nil {
			return err
		}
	}
}

func copyOnce(ctx context.Context, k *Keeper, folder string) error {
	copied, packed, other := filepath.Join(folder, "copy.db"), filepath.Join(folder, "tern.zip"), filepath.Join(folder, "other.db")
	asides, err := filepath.Glob(filepath.Join(folder, "*.aside"))
	for _, file := range append(asides, copied, packed, other, copied+".photos", other+".photos") {
		err = errors.Join(err, os.RemoveAll(file))
	}
	if err != nil {
		return err
	}
	if _, err := k.Backup(ctx, copied); err != nil {
		return err
	}
	if _, err := k.Restore(ctx, copied, true); err != nil {
		return err
	}
	if _, err := k.Export(ctx, "TN-01", packed); err != nil {
		return err
	}
	_, err = keeperAt(other).Import(ctx, packed, nil)
	return err
}

// TestKillWhileCopying kills a process at random moments that backs up, restores, exports
// and imports: a store that is there is whole and has its photos, whichever way it came,
// and the next round leaves nothing lying that is not named.
func TestKillWhileCopying(t *testing.T) {
	t.Parallel()
	seed := rand.Uint64()
	random := rand.New(rand.NewPCG(seed, 0))
	k := aFleet(t)
	folder := filepath.Dir(k.Path)
	for i := range 6 {
		var picture bytes.Buffer
		noise := image.NewGray(image.Rect(0, 0, 100, 100))
		for j := range noise.Pix {
			noise.Pix[j] = byte(random.Uint32())
		}
		file := filepath.Join(t.TempDir(), fmt.Sprint(i, ".png"))
		if err := errors.Join(png.Encode(&picture, noise), os.WriteFile(file, picture.Bytes(), 0o600)); err != nil {
			t.Fatal(err)
		}
		if _, _, err := k.Desk.Photograph(t.Context(), stateOf(t, k, "TN-01"), workflow.Note{Text: "the tip"}, []string{file}, time.Time{}); err != nil {
			t.Fatal(err)
		}
	}
	drafts := func() (left []string) {
		_ = filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
			if err == nil && strings.HasPrefix(d.Name(), ".fettle-new-") {
				left = append(left, path)
			}
			return nil
		})
		return left
	}
	size, killed, found := stateOf(t, k, "TN-01").Size(), map[string]int{}, 0
	for i := range counts(8, 400) {
		killedAs(t, envCopier+"="+folder, time.Duration(random.Int64N(int64(250*time.Millisecond))), func() {})
		found += len(drafts())
		for _, name := range []string{"fettle.db", "copy.db", "other.db"} {
			at := keeperAt(filepath.Join(folder, name))
			if _, err := os.Stat(at.Path); name != "fettle.db" && errors.Is(err, fs.ErrNotExist) {
				continue
			}
			h, err := at.Examine(t.Context())
			if err != nil || !h.Sound() || name != "other.db" && len(h.Airframes) != len(marks()) {
				t.Fatalf("seed %d, kill %d: %s is not whole: %+v, %v", seed, i, name, h, err)
			}
			for _, a := range h.Airframes {
				if len(a.Photos) > 0 || a.Mark == "TN-01" && a.Size != size {
					t.Fatalf("seed %d, kill %d: %s lacks something: %+v", seed, i, name, a)
				}
			}
			killed[name]++
		}
		if err := copyOnce(t.Context(), k, folder); err != nil {
			t.Fatalf("seed %d, kill %d: %v", seed, i, err)
		}
		if left := drafts(); len(left) > 0 {
			t.Fatalf("seed %d, kill %d: %v are left", seed, i, left)
		}
	}
	t.Logf("whole after a kill: %v; %d drafts were left, and cleared by the next round", killed, found)
}

func wantSound(t *testing.T, k *Keeper) {
	t.Helper()
	if h, err := k.Examine(t.Context()); err != nil || !h.Sound() || len(h.Airframes) != len(marks()) {
		t.Errorf("%+v, %v", h, err)
	}
}

// wantPrefix wants the one's journal to be what the other's begins with.
func wantPrefix(t *testing.T, one, other *Keeper, mark string) {
	t.Helper()
	first, err := store.Records(t.Context(), one.Store, mark)
	if err != nil {
		t.Fatal(err)
	}
	second, err := store.Records(t.Context(), other.Store, mark)
	if err != nil {
		t.Fatal(err)
	}
	if len(first) > len(second) || !slices.EqualFunc(first, second[:len(first)], bytes.Equal) {
		t.Errorf("the journal of %s, of %d entries, is not the beginning of that of %d", mark, len(first), len(second))
	}
}

// TestFlippedBits flips single bits of what is stored of the journals: the examination
// and the proof both notice, and neither panics.
func TestFlippedBits(t *testing.T) {
	t.Parallel()
	k := aFleet(t)
	for i := range 60 {
		for _, mark := range marks() {
			if _, _, err := k.Desk.Act(t.Context(), stateOf(t, k, mark), workflow.Note{Text: fmt.Sprintf("%s %d %s", mark, i, strings.Repeat("salt ", i))}, time.Time{}); err != nil {
				t.Fatal(err)
			}
		}
	}
	sound, err := os.ReadFile(k.Path)
	if err != nil {
		t.Fatal(err)
	}
	// Where each record stands in the file, last: older copies of a page may be
	// about. Its hashes and its checksum stand before it.
	var places []int
	for _, mark := range marks() {
		records, err := store.Records(t.Context(), k.Store, mark)
		if err != nil {
			t.Fatal(err)
		}
		for _, record := range records {
			at := bytes.LastIndex(sound, record)
			if at < 36 {
				t.Fatalf("a record of %s is nowhere", mark)
			}
			for i := at - 36; i < at+len(record); i++ {
				places = append(places, i)
			}
		}
	}
	seed := rand.Uint64()
	random := rand.New(rand.NewPCG(seed, 0))
	flips, unread := counts(30, 2000), 0
	for range flips {
		at, bit := places[random.IntN(len(places))], byte(1)<<random.IntN(8)
		harmed := bytes.Clone(sound)
		harmed[at] ^= bit
		if err := os.WriteFile(k.Path, harmed, 0o600); err != nil {
			t.Fatal(err)
		}
		h, err := k.Examine(t.Context())
		if err != nil || h.Sound() {
			t.Errorf("seed %d: bit %#x of byte %d: the examination found nothing, %v", seed, bit, at, err)
		}
		verdicts, err := k.ProveAll(t.Context())
		if err != nil {
			unread++
		} else if !slices.ContainsFunc(verdicts, func(v Verdict) bool { return len(v.Faults) > 0 }) {
			t.Errorf("seed %d: bit %#x of byte %d: the proof found nothing", seed, bit, at)
		}
	}
	t.Logf("%d single bits flipped in %d places; each was noticed by the examination and by the proof (%d times as a store that cannot be read)", flips, len(places), unread)
}
