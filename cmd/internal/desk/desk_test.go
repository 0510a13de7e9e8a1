package desk

import (
	"bytes"
	"context"
	"errors"
	"math/big"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"fettle/procedures"
	"fettle/steps"
	"fettle/steps/quantity"
	"fettle/store"
	"fettle/store/memory"
	"fettle/store/photos"
	"fettle/workflow"
	"fettle/workflow/journal"
)

func newDesk(t *testing.T, by string, s store.Store) *Desk {
	t.Helper()
	now := time.Date(2026, 3, 3, 19, 0, 0, 0, time.UTC)
	return &Desk{Store: s, Library: procedures.Open("testdata"), Now: func() time.Time { return now }, By: by, Program: "test"}
}

// Two people at one journal, one releasing and one reporting damage: whoever
// is second decides on what the first has written, so that no release ever
// misses the damage.
func TestReleaseAndDamageAtOnce(t *testing.T) {
	ctx := context.Background()
	for round := range 20 {
		s := memory.New()
		pilot, second := newDesk(t, "pilot", s), newDesk(t, "second", s)
		before := build(ctx, t, pilot)
		var both sync.WaitGroup
		var released, damaged error
		both.Go(func() { _, _, released = pilot.Act(ctx, before, workflow.GiveRelease{}, time.Time{}) })
		both.Go(func() {
			report := workflow.ReportDamage{Triage: &steps.Triage{}, Seen: []workflow.Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Serious}}}
			_, _, damaged = second.Act(ctx, before, report, time.Time{})
		})
		both.Wait()
		if damaged != nil {
			t.Fatalf("round %d: the damage was not recorded: %v", round, damaged)
		}
		state, err := pilot.State(ctx, "TN-01")
		if err != nil {
			t.Fatal(err)
		}
		if state.Airworthiness(pilot.Now()).Released {
			t.Fatalf("round %d: released with damage", round)
		}
		seen := false
		for _, e := range state.Entries {
			switch e.Facts.(type) {
			case journal.DamageFound:
				seen = true
			case journal.Released:
				if seen {
					t.Fatalf("round %d: released after the damage was written", round)
				}
			}
		}
		var refusal *workflow.Refusal
		if released != nil && !errors.As(released, &refusal) {
			t.Fatalf("round %d: the release failed otherwise: %v", round, released)
		}
	}
}

// Both have read the same journal, and one of them is first: what the other asks is
// decided again on what was written meanwhile.
func TestWhoIsSecondDecidesAgain(t *testing.T) {
	ctx := t.Context()
	report := workflow.ReportDamage{Triage: &steps.Triage{}, Seen: []workflow.Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Serious}}}
	s := memory.New()
	pilot, second := newDesk(t, "pilot", s), newDesk(t, "second", s)
	before := build(ctx, t, pilot)
	if _, _, err := pilot.Act(ctx, before, workflow.GiveRelease{}, time.Time{}); err != nil {
		t.Fatal(err)
	}
	entries, after, err := second.Act(ctx, before, report, time.Time{})
	if err != nil || len(entries) != 1 || entries[0].Position <= before.Size() || after.Airworthiness(second.Now()).Released {
		t.Errorf("the damage after the release: %+v, %v", entries, err)
	}

	s = memory.New()
	pilot, second = newDesk(t, "pilot", s), newDesk(t, "second", s)
	before = build(ctx, t, pilot)
	if _, _, err := second.Act(ctx, before, report, time.Time{}); err != nil {
		t.Fatal(err)
	}
	_, _, err = pilot.Act(ctx, before, workflow.GiveRelease{}, time.Time{})
	var refusal *workflow.Refusal
	if !errors.As(err, &refusal) || !slices.ContainsFunc(refusal.Reasons, func(r workflow.Reason) bool { return strings.Contains(r.Text, "damage D1") }) {
		t.Errorf("the release after the damage: %v", err)
	}
}

// A busy store refuses appends because others were first.
type busyStore struct {
	store.Store
	times int
}

func (s *busyStore) Append(ctx context.Context, mark string, size int64, records [][]byte) error {
	if s.times--; s.times >= 0 {
		return &store.ConflictError{Mark: mark, Have: size + 1, Want: size}
	}
	return s.Store.Append(ctx, mark, size, records)
}

// Others are first again and again: it is decided anew for as long as a locked store is
// waited for, and then the store is in use.
func TestOthersAreFirst(t *testing.T) {
	kept := &busyStore{Store: memory.New()}
	d := newDesk(t, "builder", kept)
	state := build(t.Context(), t, d)
	kept.times = 4 * tries
	if _, _, err := d.Act(t.Context(), state, workflow.Note{Text: "at last"}, time.Time{}); err != nil {
		t.Error(err)
	}
	kept.times = 1 << 40
	_, _, err := d.Act(t.Context(), state, workflow.Note{Text: "never"}, time.Time{})
	var failed *store.Error
	if !errors.As(err, &failed) || !errors.Is(err, store.ErrLocked) {
		t.Errorf("said: %v", err)
	}
}

// build brings a small airframe to where only its release is left.
func build(ctx context.Context, t *testing.T, d *Desk) *workflow.State {
	t.Helper()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	state, err := d.Register(ctx, "TN-01", "tern", nil, time.Time{})
	must(err)
	_, state, err = d.Start(ctx, state, "tern-build", "", time.Time{})
	must(err)
	_, state, err = d.Act(ctx, state, workflow.Finish{Step: "make"}, time.Time{})
	must(err)
	gate, err := state.GateReport("span", d.Now())
	must(err)
	_, state, err = d.Act(ctx, state, workflow.Measure{Gate: "span", Readings: []workflow.Reading{{Value: half(t, gate.Gate.Limits.High)}}}, time.Time{})
	must(err)
	return state
}

func TestUnknownNames(t *testing.T) {
	ctx := context.Background()
	d := newDesk(t, "pilot", memory.New())
	state := build(ctx, t, d)
	var unknown *workflow.UnknownError
	if _, err := d.State(ctx, "TN-O1"); !errors.As(err, &unknown) || unknown.Nearest != "TN-01" {
		t.Errorf("an unknown mark: %v", err)
	}
	var missing *procedures.NotFoundError
	if _, _, err := d.Start(ctx, state, "tern-bild", "", time.Time{}); !errors.As(err, &missing) || missing.Nearest != "tern-build" {
		t.Errorf("an unknown procedure: %v", err)
	}
	if _, err := d.Register(ctx, "TN-01", "tern", nil, time.Time{}); !errors.As(err, new(*workflow.Refusal)) {
		t.Errorf("registered twice: %v", err)
	}
}

func half(t *testing.T, q quantity.Quantity) quantity.Quantity {
	t.Helper()
	r, err := q.Rat(q.Unit())
	if err != nil {
		t.Fatal(err)
	}
	h, err := quantity.New(r.Quo(r, big.NewRat(2, 1)), q.Unit())
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// An interrupted store is stopped by somebody right after a write.
type interruptedStore struct {
	store.Store
	stop func()
}

func (s interruptedStore) Append(ctx context.Context, mark string, size int64, records [][]byte) error {
	err := s.Store.Append(ctx, mark, size, records)
	s.stop()
	return err
}

// Whoever stops the program while an entry is written hears that it was recorded, and its
// photo is.
func TestStoppedWhileRecording(t *testing.T) {
	kept := memory.New()
	d := newDesk(t, "builder", kept)
	state := build(t.Context(), t, d)
	d.Photos = photos.Beside(filepath.Join(t.TempDir(), "bench.db"))
	ctx, stop := context.WithCancel(t.Context())
	d.Store = interruptedStore{kept, stop}
	photo := filepath.Join("..", "cli", "testdata", "break.png")
	entries, after, err := d.Photograph(ctx, state, workflow.Note{Text: "as it is"}, []string{photo}, time.Time{})
	if err != nil || len(entries) != 2 || after.Size() != state.Size()+2 || ctx.Err() == nil {
		t.Errorf("%d entries, %v", len(entries), err)
	}
}

// A pipe or an endless file in the place of what was written makes nobody wait, and the
// next that is written takes its place, and that of a draft which a killed run left.
func TestWrittenInAStrangePlace(t *testing.T) {
	folder := t.TempDir()
	d := newDesk(t, "builder", memory.New())
	d.Written = &Written{Folder: folder, Tell: func(o Older) { t.Errorf("it told of %+v", o) }}
	state := build(t.Context(), t, d)
	written := func() string {
		t.Helper()
		names, err := os.ReadDir(folder)
		if err != nil || len(names) != 1 {
			t.Fatalf("there is %v, %v", names, err)
		}
		return filepath.Join(folder, names[0].Name())
	}
	path := written()
	for name, put := range map[string]func(string) error{
		"a pipe":  func(p string) error { return syscall.Mkfifo(p, 0o600) },
		"endless": func(p string) error { return os.Symlink("/dev/zero", p) },
		"a large file": func(p string) error {
			return os.WriteFile(p, append([]byte(`{"size":1}`), bytes.Repeat([]byte(" "), mostWritten)...), 0o600)
		},
		"a lost draft": func(p string) error { return os.WriteFile(p+".new", []byte("{"), 0o600) },
	} {
		if err := errors.Join(os.Remove(path), put(path)); err != nil {
			t.Fatal(err)
		}
		if l := d.Written.last(path); l != (lastWritten{}) {
			t.Errorf("%s: %v", name, l)
		}
		var err error
		if _, state, err = d.Act(t.Context(), state, workflow.Note{Text: name}, time.Time{}); err != nil {
			t.Fatal(err)
		}
		if info, err := os.Lstat(written()); err != nil || !info.Mode().IsRegular() || d.Written.last(path).Size != state.Size() {
			t.Errorf("%s was not replaced: %v, %v", name, info.Mode(), err)
		}
	}
}

// What was written is remembered for each journal, by whichever name the store is called;
// an older copy in its place is told of once, and does not change that.
func TestWrittenOfEachJournal(t *testing.T) {
	folder, kept := t.TempDir(), memory.New()
	file := filepath.Join(t.TempDir(), "fettle.db")
	link := filepath.Join(t.TempDir(), "link.db")
	if err := errors.Join(os.WriteFile(file, nil, 0o600), os.Symlink(file, link)); err != nil {
		t.Skip("no links here:", err)
	}
	var told []Older
	d := newDesk(t, "builder", kept)
	d.Written = &Written{Folder: folder, Store: link, Tell: func(o Older) { told = append(told, o) }}
	size := build(t.Context(), t, d).Size()
	if _, err := d.Register(t.Context(), "TN-02", "tern", nil, time.Time{}); err != nil {
		t.Fatal(err)
	}
	if files, err := os.ReadDir(folder); err != nil || len(files) != 2 {
		t.Errorf("for two journals there is %v, %v", files, err)
	}
	records, err := store.Records(t.Context(), kept, "TN-01")
	older := memory.New()
	if err := errors.Join(err, older.Append(t.Context(), "TN-01", 0, records[:1])); err != nil {
		t.Fatal(err)
	}
	d.Store, d.Written.Store = older, file
	for range 2 {
		d.Wrote(t.Context(), "TN-01")
		d.Written = &Written{Folder: folder, Store: file, Tell: d.Written.Tell} // the program is started anew
	}
	if want := (Older{Mark: "TN-01", Size: 1, Written: size}); !slices.Equal(told, []Older{want, want}) {
		t.Errorf("it told of %+v, want %+v twice", told, want)
	}
}

// A beside is a store that others write to right after it was read.
type beside struct {
	store.Store
	then func()
}

func (b *beside) View(ctx context.Context, fn func(store.Reader) error) error {
	err := b.Store.View(ctx, fn)
	if then := b.then; then != nil {
		b.then = nil
		then()
	}
	return err
}

// What another process writes here, while a journal is read, makes no older copy of it.
func TestWrittenBesideAnother(t *testing.T) {
	folder, kept := t.TempDir(), memory.New()
	tell := func(o Older) { t.Errorf("it told of %+v", o) }
	one, two := newDesk(t, "rosa", kept), newDesk(t, "hugo", kept)
	one.Written, two.Written = &Written{Folder: folder, Tell: tell}, &Written{Folder: folder, Tell: tell}
	state := build(t.Context(), t, one)
	wrote := 0
	writes := func() {
		var err error
		if _, state, err = two.Act(t.Context(), state, workflow.Note{Text: "by hugo"}, time.Time{}); err != nil {
			t.Error(err)
		}
		wrote++
	}
	one.Store = &beside{kept, writes}
	if s, err := one.State(t.Context(), "TN-01"); err != nil || s.Size() != state.Size()-1 {
		t.Errorf("%v, %v", s, err)
	}
	one.Store = &beside{kept, writes}
	if one.Wrote(t.Context(), "TN-01"); wrote != 2 {
		t.Errorf("the other one wrote %d times", wrote)
	}
}
