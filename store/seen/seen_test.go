package seen

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fettle/store"
	"fettle/store/memory"
)

// A far is a store that may be away.
type far struct {
	store.Store
	away bool
	asks int
}

func (f *far) View(ctx context.Context, fn func(store.Reader) error) error {
	if f.asks++; f.away {
		return &store.Error{Op: "read", Path: "far", Err: fmt.Errorf("%w: no answer", store.ErrAway), Hint: "wait"}
	}
	return f.Store.View(ctx, fn)
}

var seven = time.Date(2026, 3, 3, 19, 0, 0, 0, time.UTC)

type bench struct {
	*Store
	t    *testing.T
	far  *far
	now  time.Time
	told []time.Time
}

func newBench(t *testing.T) *bench {
	b := &bench{t: t, far: &far{Store: memory.New()}, now: seven}
	b.Store = &Store{Of: b.far, Folder: filepath.Join(t.TempDir(), "copy"), Now: func() time.Time { return b.now }}
	return b
}

// again is the same bench in a new process.
func (b *bench) again() *bench {
	next := &bench{t: b.t, far: b.far, now: b.now}
	next.Store = &Store{Of: b.far, Folder: b.Folder, Now: func() time.Time { return next.now }}
	next.Recall(func(at time.Time, why error) {
		if !errors.Is(why, store.ErrAway) {
			b.t.Errorf("away because of %v", why)
		}
		next.told = append(next.told, at)
	})
	return next
}

func (b *bench) append(mark string, size int64, records ...string) {
	b.t.Helper()
	var all [][]byte
	for _, record := range records {
		all = append(all, []byte(record))
	}
	if err := b.far.Append(b.t.Context(), mark, size, all); err != nil {
		b.t.Fatal(err)
	}
}

// read is a journal from a position on, as text.
func (b *bench) read(mark string, from int64) (string, error) {
	text := ""
	err := b.View(b.t.Context(), func(r store.Reader) error {
		records, err := r.Read(mark, from)
		text = string(bytes.Join(records, []byte(" ")))
		return err
	})
	return text, err
}

// What was read is shown while the store is away, with when it was last seen. What grew since is
// caught up with, also where only its end is read.
func TestRecall(t *testing.T) {
	b := newBench(t)
	b.append("CW-01", 0, "a", "b", "c")
	b.append("SK-02", 0, "x")
	digest, _ := b.far.Keep(t.Context(), []byte("a sheet"))
	see := func(r store.Reader) error {
		_, err1 := r.Journals()
		_, err2 := r.Read("CW-01", 0)
		_, err3 := r.Document(digest)
		return errors.Join(err1, err2, err3)
	}
	if err := b.View(t.Context(), see); err != nil {
		t.Fatal(err)
	}
	b.append("CW-01", 3, "d")
	b.now = seven.Add(10 * time.Minute)
	if text, err := b.read("CW-01", 3); text != "d" || err != nil {
		t.Fatal(text, err)
	}
	b.far.away, b.now = true, seven.Add(12*time.Minute)
	if err := b.View(t.Context(), see); !errors.Is(err, store.ErrAway) {
		t.Errorf("who did not ask for it is shown a copy: %v", err)
	}
	next := b.again()
	if text, err := next.read("CW-01", 0); text != "a b c d" || err != nil {
		t.Error(text, err)
	}
	if err := next.View(t.Context(), see); err != nil {
		t.Error(err)
	}
	if len(next.told) != 2 || !next.told[0].Equal(seven.Add(10*time.Minute)) || !next.told[1].Equal(seven) { // the list was seen before
		t.Errorf("told %v", next.told)
	}
	if next.far.asks != 4 { // three before it was away and one by this process
		t.Errorf("asked %d times", next.far.asks)
	}
	if text, err := next.read("JT-01", 0); text != "" || err != nil { // it is in no list
		t.Error(text, err)
	}
	if _, err := next.read("SK-02", 0); !errors.Is(err, store.ErrAway) || !strings.Contains(err.Error(), "SK-02 was not read here") || !strings.Contains(err.Error(), "wait") {
		t.Errorf("one that was never read: %v", err)
	}
	if err := next.View(t.Context(), func(r store.Reader) error { _, err := r.Hashes("CW-01", []int64{0}); return err }); !errors.Is(err, store.ErrAway) {
		t.Errorf("its hashes: %v", err)
	}
	// It is asked again after a while.
	b.far.away, next.now = false, next.now.Add(tryAgain+time.Second)
	if at, why := next.AsOf(); why == nil || !at.Equal(seven) {
		t.Errorf("while it was away, it says %v, %v", at, why)
	}
	for late := time.Now().Add(5 * time.Second); next.Away() != nil && time.Now().Before(late); time.Sleep(time.Millisecond) {
		if _, err := next.read("CW-01", 0); err != nil { // nobody waits for it
			t.Fatal(err)
		}
	}
	if text, err := next.read("SK-02", 0); text != "x" || err != nil {
		t.Error(text, err)
	}
	if _, why := next.AsOf(); why != nil {
		t.Errorf("it is back: %v", why)
	}
}

// Who was at which step is shown while the store is away, with when that was seen; without a copy
// nobody is told that there is nobody.
func TestClaimsSeen(t *testing.T) {
	b := newBench(t)
	there := []*store.Claim{{Mark: "CW-01", Step: "build/join", By: "bo", Bench: "door", Since: seven}}
	if got, err := b.Claims(func() ([]*store.Claim, error) { return there, nil }); err != nil || len(got) != 1 {
		t.Fatal(got, err)
	}
	away := func() ([]*store.Claim, error) { return nil, &store.Error{Op: "read", Err: store.ErrAway} }
	b.now = seven.Add(time.Minute)
	if got, err := b.Claims(away); !errors.Is(err, store.ErrAway) || len(got) > 0 {
		t.Errorf("who did not ask for it is shown a copy: %v, %v", got, err)
	}
	next := b.again()
	if got, err := next.Claims(away); err != nil || len(got) != 1 || *got[0] != *there[0] {
		t.Errorf("there is %v, %v", got, err)
	}
	if len(next.told) != 1 || !next.told[0].Equal(seven) {
		t.Errorf("told %v", next.told)
	}
	if at, why := next.AsOf(); !at.Equal(seven) || why == nil {
		t.Errorf("as of %v, %v", at, why)
	}
	nowhere := &Store{Of: b.far}
	nowhere.Recall(nil)
	if got, err := nowhere.Claims(away); !errors.Is(err, store.ErrAway) {
		t.Errorf("without a copy: %v, %v", got, err)
	}
}

// What was seen within seconds is told of once, what is older by more is.
func TestToldOnce(t *testing.T) {
	for older, times := range map[time.Duration]int{time.Second: 1, 5 * time.Second: 1, time.Minute: 2} {
		b := newBench(t)
		b.append("CW-01", 0, "a")
		if _, err := b.Claims(func() ([]*store.Claim, error) { return nil, nil }); err != nil {
			t.Fatal(err)
		}
		b.now = seven.Add(older)
		if _, err := b.read("CW-01", 0); err != nil {
			t.Fatal(err)
		}
		b.far.away = true
		next := b.again()
		if _, err := next.read("CW-01", 0); err != nil {
			t.Fatal(err)
		}
		if _, err := next.Claims(nil); err != nil || len(next.told) != times {
			t.Errorf("seen %v apart: %v, told %v", older, err, next.told)
		}
	}
}

// A store that goes away while it is read does not become the copy in the midst of it.
func TestAwayMeanwhile(t *testing.T) {
	b := newBench(t)
	b.append("CW-01", 0, "a")
	if _, err := b.read("CW-01", 0); err != nil {
		t.Fatal(err)
	}
	next, calls := b.again(), 0
	err := next.View(t.Context(), func(store.Reader) error {
		calls++
		return &store.Error{Op: "read", Err: store.ErrAway}
	})
	if !errors.Is(err, store.ErrAway) || calls != 1 {
		t.Errorf("%v after %d calls", err, calls)
	}
}

// What is appended here is part of the copy, if that has what was before it; what a write was not
// answered is no answer to who reads.
func TestAppended(t *testing.T) {
	b := newBench(t)
	b.append("CW-01", 0, "a")
	if _, err := b.read("CW-01", 0); err != nil {
		t.Fatal(err)
	}
	b.Appended("CW-01", 1, [][]byte{[]byte("b"), []byte("c")})
	b.Appended("CW-01", 1, [][]byte{[]byte("x")})
	b.Appended("SK-02", 1, [][]byte{[]byte("x")})
	b.far.away = true
	if text, err := b.again().read("CW-01", 0); text != "a b c" || err != nil {
		t.Error(text, err)
	}
	b.far.away = false
	b.Missed(&store.Error{Op: "write", Path: "far", Err: fmt.Errorf("%w: silence", store.ErrUnknown), Hint: "wait"})
	err := b.View(t.Context(), func(store.Reader) error { return nil })
	if !errors.Is(err, store.ErrAway) || errors.Is(err, store.ErrUnknown) || !strings.Contains(err.Error(), "cannot read the store far") {
		t.Errorf("a read says %v", err)
	}
	if b.now = b.now.Add(soon); b.Lately() == nil {
		t.Error("it is asked at once")
	}
	b.now = b.now.Add(time.Second)
	if err := b.Lately(); err != nil {
		t.Errorf("it is not asked again: %v", err)
	}
	large := strings.Repeat("r", store.MaxRecord)
	b.append("JT-01", 0, large)
	for size := range 20 { // the same file is one, however often it is kept
		if size > 0 {
			b.append("JT-01", int64(size), "a")
		}
		if _, err := b.read("JT-01", 0); err != nil {
			t.Fatal(err)
		}
	}
	b.far.away = true
	if text, err := b.again().read("JT-01", 19); text != "a" || err != nil {
		t.Error(text, err)
	}
}

// The end of a journal of which nothing is kept is read with what is before it, and so is one of
// another history than the copy's.
func TestKeepWhole(t *testing.T) {
	b := newBench(t)
	b.append("CW-01", 0, "a", "b", "c")
	if text, err := b.read("CW-01", 2); text != "c" || err != nil {
		t.Fatal(text, err)
	}
	b.far.Store = memory.New()
	b.append("CW-01", 0, "a", "B", "C", "d")
	if text, err := b.read("CW-01", 3); text != "d" || err != nil {
		t.Fatal(text, err)
	}
	b.far.away = true
	if text, err := b.again().read("CW-01", 0); text != "a B C d" || err != nil {
		t.Error(text, err)
	}
}

// Whatever byte of the copy is not as it was written, what is shown is as it was, or nothing.
func TestFlippedCopy(t *testing.T) {
	b := newBench(t)
	b.append("CW-01", 0, "a", "b")
	digest, _ := b.far.Keep(t.Context(), []byte("a sheet"))
	if err := b.View(t.Context(), func(r store.Reader) error {
		_, err1 := r.Read("CW-01", 0)
		_, err2 := r.Document(digest)
		return errors.Join(err1, err2)
	}); err != nil {
		t.Fatal(err)
	}
	b.far.away = true
	refused := 0
	for _, name := range []string{journalFile("CW-01"), documentFile(digest)} {
		whole, err := os.ReadFile(b.path(name))
		if err != nil {
			t.Fatal(err)
		}
		for at := range whole {
			if name == journalFile("CW-01") && at < len(timeForm)-1 {
				continue // the time has no checksum
			}
			harmed := bytes.Clone(whole)
			harmed[at] ^= 1
			if err := os.WriteFile(b.path(name), harmed, 0o600); err != nil {
				t.Fatal(err)
			}
			err := b.again().View(t.Context(), func(r store.Reader) error {
				records, err1 := r.Read("CW-01", 0)
				document, err2 := r.Document(digest)
				if err1 == nil && string(bytes.Join(records, nil)) != "ab" || err2 == nil && string(document) != "a sheet" {
					t.Errorf("%s, byte %d: shown %q and %q", name, at, records, document)
				}
				return errors.Join(err1, err2)
			})
			if err != nil {
				refused++
			}
		}
		if err := os.WriteFile(b.path(name), whole, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if refused < 50 {
		t.Errorf("only %d harms were noticed", refused)
	}
}

// One process keeps no more than so much; what it does not keep the next one does.
func TestKeepsLittle(t *testing.T) {
	b := newBench(t)
	large := strings.Repeat("r", store.MaxRecord)
	for i := range 20 {
		b.append(fmt.Sprint("CW-", i), 0, large)
		if _, err := b.read(fmt.Sprint("CW-", i), 0); err != nil {
			t.Fatal(err)
		}
	}
	files, _ := os.ReadDir(b.Folder)
	if len(files) != 15 {
		t.Errorf("%d are kept", len(files))
	}
	if _, err := b.again().read("CW-19", 0); err != nil {
		t.Fatal(err)
	}
	if again, _ := os.ReadDir(b.Folder); len(again) != len(files)+1 {
		t.Errorf("%d are kept", len(again))
	}
}
