package wholefile

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"
)

// envPath tells the test binary, run again as another process, which file to half
// make.
const envPath = "FETTLE_WHOLEFILE_TEST_PATH"

func TestMain(m *testing.M) {
	path := os.Getenv(envPath)
	if path == "" {
		os.Exit(m.Run())
	}
	err := Create(context.Background(), path, 0o600, func(file *os.File) error {
		if _, err := file.WriteString("half"); err != nil {
			return err
		}
		fmt.Println("half")
		_, err := io.Copy(io.Discard, os.Stdin) // until it is killed
		return err
	})
	fmt.Println("made:", err)
	os.Exit(1)
}

// A maker is [Create] or [Replace].
type maker func(context.Context, string, fs.FileMode, func(*os.File) error) error

func makers() map[string]maker { return map[string]maker{"create": Create, "replace": Replace} }

func text(s string) func(*os.File) error {
	return func(file *os.File) error {
		_, err := file.WriteString(s)
		return err
	}
}

func must(t testing.TB, errs ...error) {
	t.Helper()
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
}

func wantText(t testing.TB, path, want string) {
	t.Helper()
	if got, err := os.ReadFile(path); err != nil || string(got) != want {
		t.Errorf("%s holds %q, %v; want %q", path, got, err, want)
	}
}

// wantOnly wants exactly these names in a folder.
func wantOnly(t testing.TB, folder string, want ...string) {
	t.Helper()
	entries, err := os.ReadDir(folder)
	must(t, err)
	var got []string
	for _, entry := range entries {
		got = append(got, entry.Name())
	}
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("the folder holds %q, want %q", got, want)
	}
}

// wantPlain wants an error that names the requested file.
func wantPlain(t testing.TB, err error, path string) {
	t.Helper()
	if !strings.Contains(err.Error(), path) || strings.Contains(err.Error(), draftPrefix) {
		t.Errorf("said: %v", err)
	}
}

func TestMade(t *testing.T) {
	for name, make := range makers() {
		t.Run(name, func(t *testing.T) {
			folder := t.TempDir()
			path := filepath.Join(folder, "a")
			must(t, make(t.Context(), path, 0o600, func(file *os.File) error {
				wantText(t, file.Name(), "")
				if _, err := os.Lstat(path); !errors.Is(err, fs.ErrNotExist) {
					t.Errorf("the name is given before the file is whole: %v", err)
				}
				return text("glue")(file)
			}))
			wantText(t, path, "glue")
			must(t, make(t.Context(), filepath.Join(folder, "closed"), 0o600, func(file *os.File) error {
				return errors.Join(text("by write")(file), file.Close())
			}))
			wantText(t, filepath.Join(folder, "closed"), "by write")
			wantOnly(t, folder, "a", "closed")
		})
	}
}

func TestRelative(t *testing.T) {
	folder := t.TempDir()
	must(t, os.Mkdir(filepath.Join(folder, "sub"), 0o700))
	t.Chdir(folder)
	for _, path := range []string{"a", "./b", "sub/c", "sub/../d", "-e"} {
		must(t, Create(t.Context(), path, 0o600, text(path)))
		wantText(t, path, path)
		if err := Create(t.Context(), path, 0o600, text("other")); !errors.Is(err, fs.ErrExist) {
			t.Errorf("%s again: %v", path, err)
		}
		must(t, Replace(t.Context(), path, 0o600, text("new")))
		wantText(t, path, "new")
	}
	wantOnly(t, folder, "a", "b", "d", "-e", "sub")
	wantOnly(t, "sub", "c")
}

func TestModes(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("Windows has no modes")
	}
	folder := t.TempDir()
	// The mode after the umask is that of a file made by the system itself.
	must(t, os.WriteFile(filepath.Join(folder, "by-the-system"), nil, 0o644))
	info, err := os.Stat(filepath.Join(folder, "by-the-system"))
	must(t, err)
	for asked, want := range map[fs.FileMode]fs.FileMode{0o600: 0o600, 0o400: 0o400, 0o644: info.Mode()} {
		for name, make := range makers() {
			path := filepath.Join(folder, fmt.Sprintf("%s-%o", name, asked))
			if name == "replace" {
				must(t, os.WriteFile(path, nil, 0o666))
			}
			wantMode := func(path string) {
				t.Helper()
				if info, err := os.Stat(path); err != nil || info.Mode() != want {
					t.Errorf("asked for %v: %v, %v", asked, info.Mode(), err)
				}
			}
			must(t, make(t.Context(), path, asked, func(file *os.File) error {
				wantMode(file.Name())
				return nil
			}))
			wantMode(path)
		}
	}
}

// taken makes everything that can occupy a name.
func taken(t *testing.T, folder string) map[string]string {
	t.Helper()
	all := map[string]string{}
	for _, kind := range []string{"file", "folder", "full folder", "link", "dangling"} {
		all[kind] = filepath.Join(folder, kind)
	}
	must(t,
		os.WriteFile(all["file"], []byte("old"), 0o600),
		os.Mkdir(all["folder"], 0o700),
		os.MkdirAll(filepath.Join(all["full folder"], "more"), 0o700),
	)
	if err := errors.Join(os.Symlink("file", all["link"]), os.Symlink("nothing", all["dangling"])); err != nil {
		t.Log("without links:", err)
		delete(all, "link")
		delete(all, "dangling")
	}
	return all
}

func TestTaken(t *testing.T) {
	folder := t.TempDir()
	all := taken(t, folder)
	for kind, path := range all {
		before, err := os.Lstat(path)
		must(t, err)
		err = Create(t.Context(), path, 0o600, func(*os.File) error {
			t.Error("it was written in vain")
			return nil
		})
		if !errors.Is(err, fs.ErrExist) {
			t.Errorf("%s: %v", kind, err)
			continue
		}
		wantPlain(t, err, path)
		after, err := os.Lstat(path)
		must(t, err)
		if !os.SameFile(before, after) || before.Mode() != after.Mode() {
			t.Errorf("%s: it is another one", kind)
		}
	}
	wantText(t, all["file"], "old")
	wantOnly(t, folder, names(all)...)
}

func names(all map[string]string) (names []string) {
	for _, path := range all {
		names = append(names, filepath.Base(path))
	}
	return names
}

// TestTakenMeanwhile takes the name while the file is being written.
func TestTakenMeanwhile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a")
	err := Create(t.Context(), path, 0o600, func(file *os.File) error {
		return errors.Join(text("slow")(file), Create(t.Context(), path, 0o600, text("quick")))
	})
	if !errors.Is(err, fs.ErrExist) {
		t.Fatal(err)
	}
	wantPlain(t, err, path)
	wantText(t, path, "quick")
	wantOnly(t, filepath.Dir(path), "a")
}

func TestReplaced(t *testing.T) {
	folder := t.TempDir()
	all := taken(t, folder)
	for kind, path := range all {
		err := Replace(t.Context(), path, 0o600, text("new"))
		if strings.Contains(kind, "folder") {
			if !errors.Is(err, fs.ErrExist) {
				t.Errorf("%s: %v", kind, err)
			} else {
				wantPlain(t, err, path)
			}
			continue
		}
		must(t, err)
		if info, err := os.Lstat(path); err != nil || !info.Mode().IsRegular() {
			t.Errorf("%s: %v, %v", kind, info, err)
		}
		wantText(t, path, "new")
	}
	wantOnly(t, folder, names(all)...) // and nothing where the dangling link led to
}

func TestTogether(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a")
	var all sync.WaitGroup
	var made atomic.Int32
	var winner atomic.Value
	for i := range 16 {
		all.Go(func() {
			mine := strings.Repeat(fmt.Sprint("writer ", i, "\n"), 10_000)
			switch err := Create(t.Context(), path, 0o600, text(mine)); {
			case err == nil:
				made.Add(1)
				winner.Store(mine)
			case !errors.Is(err, fs.ErrExist):
				t.Error(err)
			}
		})
	}
	all.Wait()
	if made.Load() != 1 {
		t.Fatalf("%d of the writers made it", made.Load())
	}
	if got, err := os.ReadFile(path); err != nil || string(got) != winner.Load() {
		t.Errorf("the file is not the winner's: %d bytes, %v", len(got), err)
	}
	wantOnly(t, filepath.Dir(path), "a")
}

// TestPublish tests every implementation of publish alike.
func TestPublish(t *testing.T) {
	for name, publish := range ways() {
		t.Run(name, func(t *testing.T) {
			folder := t.TempDir()
			draft := func(name string) string {
				path := filepath.Join(folder, name)
				must(t, os.WriteFile(path, []byte(name), 0o600))
				return path
			}
			for kind, path := range taken(t, folder) {
				before, err := os.Lstat(path)
				must(t, err)
				if err := publish(draft("draft"), path); !errors.Is(err, fs.ErrExist) {
					t.Errorf("%s: %v", kind, err)
				}
				if after, err := os.Lstat(path); err != nil || !os.SameFile(before, after) {
					t.Errorf("%s: it was replaced, %v", kind, err)
				}
			}
			if err := publish(draft("draft"), filepath.Join(folder, "none", "a")); !errors.Is(err, fs.ErrNotExist) {
				t.Error(err)
			}

			for round := range 100 { // because a race window is short
				path := filepath.Join(folder, fmt.Sprint("a", round))
				var all sync.WaitGroup
				var made atomic.Int32
				begin := make(chan struct{})
				for i := range 8 {
					from := draft(fmt.Sprint("draft ", i))
					all.Go(func() {
						<-begin
						switch err := publish(from, path); {
						case err == nil:
							made.Add(1)
						case !errors.Is(err, fs.ErrExist):
							t.Error(err)
						}
					})
				}
				close(begin)
				all.Wait()
				if made.Load() != 1 {
					t.Fatalf("%d were given the one name", made.Load())
				}
			}
		})
	}
}

// TestFailed fails in every way that must leave nothing behind.
func TestFailed(t *testing.T) {
	errWrite := errors.New("the glue ran out")
	for name, make := range makers() {
		for _, was := range []string{"", "old"} {
			if name == "create" && was != "" {
				continue
			}
			t.Run(name+was, func(t *testing.T) {
				folder := t.TempDir()
				path := filepath.Join(folder, "a")
				var left []string
				if was != "" {
					must(t, os.WriteFile(path, []byte(was), 0o600))
					left = []string{"a"}
				}
				unchanged := func() {
					t.Helper()
					wantOnly(t, folder, left...)
					if was != "" {
						wantText(t, path, was)
					}
				}

				err := make(t.Context(), path, 0o600, func(file *os.File) error {
					must(t, text("half")(file))
					return errWrite
				})
				if err != errWrite {
					t.Errorf("write's error became %v", err)
				}
				unchanged()

				// The system's error names the draft; ours must name the file.
				err = make(t.Context(), path, 0o600, func(file *os.File) error {
					must(t, file.Close())
					return text("more")(file)
				})
				if !errors.Is(err, os.ErrClosed) {
					t.Error(err)
				}
				wantPlain(t, err, path)
				unchanged()

				ctx, cancel := context.WithCancel(t.Context())
				err = make(ctx, path, 0o600, func(file *os.File) error {
					cancel()
					return text("whole")(file)
				})
				if err != context.Canceled {
					t.Errorf("stopped while it wrote: %v", err)
				}
				unchanged()
				err = make(ctx, path, 0o600, func(*os.File) error {
					t.Error("it was written in vain")
					return nil
				})
				if err != context.Canceled {
					t.Errorf("stopped before: %v", err)
				}
				unchanged()

				func() {
					defer func() { _ = recover() }()
					_ = make(t.Context(), path, 0o600, func(*os.File) error { panic("a caller's fault") })
				}()
				unchanged()
			})
		}
	}
}

func TestNoSuchPlace(t *testing.T) {
	folder := t.TempDir()
	file := filepath.Join(folder, "file")
	must(t, os.WriteFile(file, nil, 0o600))
	for name, make := range makers() {
		for _, path := range []string{
			"", filepath.Join(folder, "none", "a"), filepath.Join(folder, "none") + "/", filepath.Join(file, "a"),
			filepath.Join(folder, strings.Repeat("n", 300)), filepath.Join(folder, "a\x00b"), folder, ".", "..",
		} {
			err := make(t.Context(), path, 0o600, text("nowhere"))
			if _, ok := errors.AsType[*fs.PathError](err); !ok {
				t.Errorf("%s %.40q: %v", name, path, err)
				continue
			}
			wantPlain(t, err, path)
			if missing := strings.Contains(path, "none"); errors.Is(err, fs.ErrNotExist) != (missing || path == "") {
				t.Errorf("%s %.40q: %v", name, path, err)
			}
		}
	}
	wantOnly(t, folder, "file")
}

func TestLitter(t *testing.T) {
	litter := draftPrefix + "0123456789abcdef"
	for name, age := range map[string]time.Duration{
		litter: 2 * time.Hour, draftPrefix + "fedcba9876543210": 0,
		draftPrefix + "notes": 48 * time.Hour, draftPrefix + "0123456789ABCDEF": 48 * time.Hour,
		litter + "0": 48 * time.Hour, "a" + litter: 48 * time.Hour, ".new-1": 48 * time.Hour, "old": 48 * time.Hour,
	} {
		for by, make := range makers() {
			folder := t.TempDir()
			path, then := filepath.Join(folder, name), time.Now().Add(-age)
			must(t, os.WriteFile(path, nil, 0o600), os.Chtimes(path, then, then))
			must(t, make(t.Context(), filepath.Join(folder, "b"), 0o600, text("glue")))
			if name == litter || age == 0 && holds(t) {
				wantOnly(t, folder, "b")
			} else {
				wantOnly(t, folder, "b", name)
			}
			if t.Failed() {
				t.Fatal(by, name, age)
			}
		}
	}

	folder := t.TempDir()
	path, then := filepath.Join(folder, litter), time.Now().Add(-48*time.Hour)
	must(t, os.Mkdir(path, 0o700), os.Chtimes(path, then, then))
	must(t, Create(t.Context(), filepath.Join(folder, "b"), 0o600, text("glue")))
	wantOnly(t, folder, "b", litter) // a folder is not one of our drafts
}

// holds reports whether a draft can be held here.
func holds(t *testing.T) bool {
	t.Helper()
	path := filepath.Join(t.TempDir(), "a")
	must(t, os.WriteFile(path, nil, 0o600))
	held, err := Hold(path)
	if err == nil {
		must(t, held.Close())
	}
	return err == nil
}

// TestKilled kills a process half way through a file. Its draft stays as long as it lives,
// and is gone with the next file, made by whomever.
func TestKilled(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "a")
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), envPath+"="+path)
	stdin, err := child.StdinPipe()
	must(t, err)
	defer stdin.Close()
	stdout, err := child.StdoutPipe()
	must(t, err)
	must(t, child.Start())
	line, err := bufio.NewReader(stdout).ReadString('\n')
	must(t, err)
	if line == "half\n" && holds(t) {
		must(t, Create(t.Context(), filepath.Join(folder, "b"), 0o600, text("meanwhile")))
		if entries, err := os.ReadDir(folder); err != nil || len(entries) != 2 || !isDraft(entries[0].Name()) {
			t.Errorf("beside a process that works on a draft: %v, %v", entries, err)
		}
		must(t, os.Remove(filepath.Join(folder, "b")))
	}
	must(t, child.Process.Kill())
	_ = child.Wait() // it was killed, and says so
	if line != "half\n" {
		t.Fatalf("the process said %q", line)
	}
	entries, err := os.ReadDir(folder)
	must(t, err)
	if len(entries) != 1 || !isDraft(entries[0].Name()) {
		t.Fatalf("the folder holds %v", entries)
	}
	draft, then := filepath.Join(folder, entries[0].Name()), time.Now().Add(-2*litterAge)
	wantText(t, draft, "half")
	must(t, Create(t.Context(), path, 0o600, text("whole")))
	if holds(t) {
		wantOnly(t, folder, "a")
		return
	}
	wantOnly(t, folder, "a", entries[0].Name()) // its process could still be working on it
	must(t, os.Chtimes(draft, then, then))
	must(t, Replace(t.Context(), path, 0o600, text("whole again")))
	wantOnly(t, folder, "a")
	wantText(t, path, "whole again")
}

func TestIsFull(t *testing.T) {
	for want, errs := range map[bool][]error{
		true:  {syscall.ENOSPC, &fs.PathError{Op: "write", Path: "a", Err: syscall.EDQUOT}, fmt.Errorf("a: %w", syscall.EFBIG), errors.New("file resize error: no space left on device")},
		false: {nil, syscall.EROFS, errors.New("no space left on device is what it said")},
	} {
		for _, err := range errs {
			if IsFull(err) != want {
				t.Errorf("%v: full is %v", err, !want)
			}
		}
	}
}
