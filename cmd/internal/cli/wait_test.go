package cli

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/term"
	"fettle/store"
	lastseen "fettle/store/seen"
)

// A faraway store is in a file, and can be cut off. Other benches write to it by the same time.
type faraway struct {
	keep.Store
	seen *lastseen.Store
	mu   *sync.Mutex
	away *bool
}

// here is the file behind it, as far as it is in reach.
type here struct{ faraway }

func (h here) View(ctx context.Context, fn func(store.Reader) error) error {
	if err := h.fails(); err != nil {
		return err
	}
	return h.Store.View(ctx, fn)
}

func (f faraway) fails() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if *f.away {
		return &store.Error{Op: "read", Path: "etcd://here/shed", Err: store.ErrAway}
	}
	return nil
}

func (f faraway) View(ctx context.Context, fn func(store.Reader) error) error {
	return f.seen.View(ctx, fn)
}
func (f faraway) AsOf() (time.Time, error)           { return f.seen.AsOf() }
func (f faraway) Recall(tell func(time.Time, error)) { f.seen.Recall(tell) }
func (faraway) Waits(func(bool))                     {}

// Expires is until when its certificate is good: for five days of the scripts.
func (faraway) Expires() time.Time { return scriptStart().Add(5 * 24 * time.Hour) }

// Shares is where its benches share photos: nowhere.
func (faraway) Shares() string { return "" }

var _ keep.Remote = faraway{}

func (faraway) Tell(func(string)) {}
func (f faraway) Clocks(context.Context, func() time.Time, bool) ([]store.BenchClock, error) {
	return nil, f.fails()
}

// farKinds are the kinds of store of the scripts, with files that set cuts off; what was last seen of
// them is kept in the folder.
func farKinds(at scriptTime, folder string) (kinds keep.Kinds, set func(away bool)) {
	var mu sync.Mutex
	away := false
	kinds = stores()
	for i, k := range kinds {
		if open := k.Open; k.Prefix == "" {
			kinds[i].Open = func(path string, migrated func(from, to int, kept string)) keep.Store {
				f := faraway{Store: open(path, migrated), mu: &mu, away: &away}
				f.seen = &lastseen.Store{Of: here{f}, Folder: folder, Now: at.Now}
				return f
			}
		}
	}
	return kinds, func(is bool) {
		mu.Lock()
		defer mu.Unlock()
		away = is
	}
}

// In an outage the age of what a board shows counts every second, and the decisive part
// of what is said of it fits a line of eighty columns.
func TestBoardInAnOutage(t *testing.T) {
	coated(t, "coat-left", "coat-right")
	at := scriptTime{os.Getenv("CLOCK")}
	kinds, set := farKinds(at, filepath.Join(t.TempDir(), "copy"))
	begun := at.Now()
	var out, said syncBuffer
	streams := term.Streams{In: strings.NewReader(""), Out: &out, Err: &said, Columns: 80, Interactive: true, Size: func() (int, int) { return 80, 24 }}
	clock := passing{at, 0, func(now time.Time) error {
		if set(now.Sub(begun) >= 5*time.Second); now.Sub(begun) > 40*time.Second {
			return context.Canceled
		}
		return nil
	}}
	run(t.Context(), kinds, []string{"status", "--watch"}, streams, clock)
	text := out.String()
	for _, age := range []string{" 11 s ago", " 12 s ago", " 23 s ago", " 34 s ago"} {
		if !strings.Contains(text, age) {
			t.Errorf("it never says%s", age)
		}
	}
	if !strings.Contains(text, "all times count to the safe side by 2 min") {
		t.Errorf("it shows %q", text[max(0, len(text)-1500):])
	}
}

// A clock on the wall of the bench shows what can hurt above the clocks.
func TestWatchCautions(t *testing.T) {
	play := player(t)
	for _, line := range []string{"airframe add RD-01 --design reed", "start reed-build", "bench --temperature 20C", "clear knife --line 1", "done lay-out", "choose two-panels", "done cut-wing", "clear gun --line 1,2", "done gun-on"} {
		play("fettle " + line)
	}
	at := scriptTime{os.Getenv("CLOCK")}
	at.set(at.Now().Add(2 * time.Hour))
	var out syncBuffer
	streams := term.Streams{In: strings.NewReader(""), Out: &out, Err: &syncBuffer{}, Columns: 120, Interactive: true, Size: func() (int, int) { return 120, 24 }}
	run(t.Context(), stores(), []string{"timers", "--watch"}, streams, passing{at, 0, func(time.Time) error { return context.Canceled }})
	if text := out.String(); !strings.Contains(text, "Caution, at once: ") || !strings.Contains(text, "The glue gun: hot") {
		t.Errorf("it shows %q", text)
	}
}

// A wait goes on through an outage by what was last seen, on the safe side, says so once, and rings;
// nothing it says stands on the line of its bar.
func TestWaitInAnOutage(t *testing.T) {
	for name, test := range map[string]struct {
		args        []string
		interactive bool
		copied      bool
		from, until time.Duration // it is away
		rings       time.Duration
		back        string
	}{
		"no longer":             {[]string{"wait", "FN-01", "roots"}, true, true, 2 * time.Minute, 5 * time.Minute, 10 * time.Minute, "the store can be reached again"},
		"in lines, begun in it": {[]string{"wait", "FN-01"}, false, true, 0, time.Hour, 12 * time.Minute, ""},
		"of all airframes":      {[]string{"wait"}, true, true, 2 * time.Minute, time.Hour, 12 * time.Minute, ""},
		"without any copy":      {[]string{"wait", "FN-01", "roots"}, true, false, 2 * time.Minute, time.Hour, 12 * time.Minute, ""},
	} {
		t.Run(name, func(t *testing.T) {
			coated(t, "coat-left", "coat-right")
			at, folder := scriptTime{os.Getenv("CLOCK")}, filepath.Join(t.TempDir(), "copy")
			if !test.copied {
				folder = ""
			}
			kinds, set := farKinds(at, folder)
			begun := at.Now()
			cut := func(now time.Time) {
				since := now.Sub(begun)
				set(since >= test.from && since < test.until)
			}
			var noted syncBuffer
			run(t.Context(), kinds, []string{"status"}, term.Streams{In: strings.NewReader(""), Out: &syncBuffer{}, Err: &noted}, at)
			if !strings.Contains(noted.String(), "this bench's own certificate is good until Sun 8 Mar") {
				t.Errorf("that the certificate ends is not noted: %s", noted.String())
			}
			run(t.Context(), kinds, []string{"next", "FN-01"}, term.Streams{In: strings.NewReader(""), Out: &syncBuffer{}, Err: &syncBuffer{}}, at)
			cut(begun)
			var out, said syncBuffer
			streams := term.Streams{In: strings.NewReader(""), Out: &out, Err: &said, Columns: 80, Interactive: test.interactive}
			clock := passing{at, 0, func(now time.Time) error {
				if cut(now); test.back != "" {
					time.Sleep(time.Millisecond) // it looks whether the store is back beside that
				}
				return nil
			}}
			if code := run(t.Context(), kinds, test.args, streams, clock); code != exitDone {
				t.Fatalf("it ended with %d: %s%s", code, out.String(), said.String())
			}
			if took := at.Now().Sub(begun); (took - test.rings).Abs() > 5*time.Second {
				t.Errorf("it rang after %v, want %v", took, test.rings)
			}
			text := said.String()
			if strings.Count(text, "\a") != 1 || !strings.Contains(out.String(), "join-roots") {
				t.Errorf("it rang %d times, and says %s", strings.Count(text, "\a"), out.String())
			}
			if n := strings.Count(text, "as of"); n != 1 {
				t.Errorf("it says %d times as of when: %q", n, text)
			}
			if !strings.Contains(text, test.back) || test.back == "" && strings.Contains(text, "again") {
				t.Errorf("it says %q", text)
			}
			for _, line := range strings.Split(text, "\n") {
				if _, after, found := strings.Cut(line, "fettle:"); found && strings.Contains(line[:len(line)-len(after)], "left") {
					t.Errorf("on the line of the bar: %q", line)
				}
			}
		})
	}
}

// A watch or a wait that is open says once that the store was put back to an older state, what it lacks and
// what to do; in place that stays in sight.
func TestPutBackWhileOpen(t *testing.T) {
	play := coated(t, "coat-left", "coat-right")
	file := os.Getenv("FETTLE_STORE")
	read := func() []byte {
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	older := read()
	play("fettle note FN-01 the-tin-is-empty")
	newer := read()
	for interactive, commands := range map[bool][]string{true: {"status --watch", "timers --watch"}, false: {"status --watch", "wait", "wait FN-01 roots"}} {
		for _, command := range commands {
			at := scriptTime{os.Getenv("CLOCK")}
			begun, put := at.Now(), false
			if err := os.WriteFile(file, newer, 0o600); err != nil {
				t.Fatal(err)
			}
			var out, said syncBuffer
			streams := term.Streams{In: strings.NewReader(""), Out: &out, Err: &said, Columns: 200, Interactive: interactive, Size: func() (int, int) { return 200, 24 }}
			clock := passing{at, 0, func(now time.Time) error {
				if since := now.Sub(begun); since > 50*time.Second {
					return context.Canceled
				} else if since >= 25*time.Second && !put {
					put = true
					return os.WriteFile(file, older, 0o600)
				}
				return nil
			}}
			run(t.Context(), stores(), strings.Fields(command), streams, clock)
			at.set(begun)
			text := said.String()
			if interactive {
				text = out.String()
				text = text[strings.LastIndex(text, "\x1b[H")+1:]
			}
			const says = "the store was put back to an older state: FN-01 lacks 1 entry that it had: noted: the-tin-is-empty"
			text = strings.Join(strings.Fields(text), " ")
			if n := strings.Count(text, says); n != 1 || !strings.Contains(text, "record again what was done") {
				t.Errorf("%s, interactive %v: it is said %d times: %q", command, interactive, n, text)
			}
		}
	}
}
