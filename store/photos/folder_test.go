package photos

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"fettle/store"
	"fettle/store/wholefile"
)

func beside(t testing.TB) Folder { return Beside(filepath.Join(t.TempDir(), "build.db")) }

func mustAdd(t testing.TB, f Folder, file string) Photo {
	t.Helper()
	photo, err := f.Add(t.Context(), file)
	if err != nil {
		t.Fatal(err)
	}
	return photo
}

func wantError(t testing.TB, err error, op string, want error) {
	t.Helper()
	failure, ok := errors.AsType[*Error](err)
	if !ok || failure.Op != op || !errors.Is(err, want) {
		t.Errorf("not %q with %q, but: %v", op, want, err)
	}
}

func TestRoundTrip(t *testing.T) {
	f := beside(t)
	for name, data := range map[string][]byte{"a.jpg": asJPEG(t, corners()), "b.PNG": asPNG(t, corners())} {
		file := write(t, name, data)
		photo := mustAdd(t, f, file)
		mime := map[string]string{"a.jpg": mimeJPEG, "b.PNG": mimePNG}[name]
		if want := (Photo{store.Digest(data), name, mime, int64(len(data))}); photo != want {
			t.Errorf("got %+v, not %+v", photo, want)
		}
		if again := mustAdd(t, f, file); again != photo {
			t.Errorf("the second time: %+v", again)
		}
		got, err := f.Read(photo.Digest)
		if err != nil || !bytes.Equal(got, data) {
			t.Errorf("%s: %d bytes, %v", name, len(got), err)
		}
		if err := f.Check(photo.Digest); err != nil {
			t.Error(err)
		}
		if kept, err := os.ReadFile(file); err != nil || !bytes.Equal(kept, data) {
			t.Errorf("the file that was added was touched: %v", err)
		}
		hex := strings.TrimPrefix(photo.Digest, "sha256:")
		wantMode(t, f.Path(), 0o700)
		wantMode(t, filepath.Join(f.Path(), hex[:2]), 0o700)
		wantMode(t, filepath.Join(f.Path(), hex[:2], hex), 0o600)
	}
	if got := files(t, f.Path()); len(got) != 2 {
		t.Errorf("the folder holds %q", got)
	}
	if !strings.HasSuffix(f.Path(), "build.db.photos") {
		t.Errorf("it is at %s", f.Path())
	}
}

func wantMode(t *testing.T, path string, want fs.FileMode) {
	t.Helper()
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	if runtime.GOOS != "windows" && info.Mode().Perm() != want {
		t.Errorf("%s is %v", path, info.Mode())
	}
}

func TestChanged(t *testing.T) {
	f, data := beside(t), asJPEG(t, corners())
	file := write(t, "a.jpg", data)
	digest := mustAdd(t, f, file).Digest
	path, err := f.place(digest)
	if err != nil {
		t.Fatal(err)
	}
	put := func(data []byte) {
		t.Helper()
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for at := range data {
		flipped := bytes.Clone(data)
		flipped[at] ^= 1 << (at % 8)
		put(flipped)
		_, err := f.Read(digest)
		wantError(t, err, reading, ErrChanged)
		wantError(t, f.Check(digest), reading, ErrChanged)
		if t.Failed() {
			t.Fatalf("byte %d", at)
		}
	}
	for _, other := range [][]byte{nil, data[:len(data)-1], append(bytes.Clone(data), 0)} {
		put(other)
		wantError(t, f.Check(digest), reading, ErrChanged)
	}
	if err := os.Truncate(path, MaxBytes+1); err != nil {
		t.Fatal(err)
	}
	wantError(t, f.Check(digest), reading, ErrChanged)

	mustAdd(t, f, file) // replaces the damaged one
	if err := f.Check(digest); err != nil {
		t.Error(err)
	}
	if err := errors.Join(os.Remove(path), os.Symlink(file, path)); err != nil {
		t.Skip("this system has no links:", err)
	}
	wantError(t, f.Check(digest), reading, ErrChanged)
	mustAdd(t, f, file)
	if info, err := os.Lstat(path); err != nil || !info.Mode().IsRegular() {
		t.Errorf("the link is not replaced: %v, %v", info, err)
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	wantError(t, f.Check(digest), reading, ErrMissing)
	if err := os.Mkdir(path, 0o700); err != nil {
		t.Fatal(err)
	}
	wantError(t, f.Check(digest), reading, ErrChanged)
	if _, err := f.Add(t.Context(), file); err == nil {
		t.Error("it was added where a folder is")
	}
	if got := files(t, f.Path()); len(got) != 0 {
		t.Errorf("left behind: %q", got)
	}
}

func TestDigests(t *testing.T) {
	f := beside(t)
	digest := mustAdd(t, f, write(t, "a.jpg", asJPEG(t, corners()))).Digest
	hex := strings.TrimPrefix(digest, "sha256:")
	for _, bad := range []string{
		"", "sha256:", hex, "sha256:" + strings.ToUpper(hex), digest + "0", digest[:70], "sha1:" + hex, digest + "\n",
		"sha256:../" + hex[3:], "sha256:" + strings.Repeat("../", 21) + "a", "sha256:/" + hex[1:],
		"sha256:" + strings.Repeat(".", 64), "sha256:" + hex[:63] + "\x00", `sha256:..\` + hex[3:], "sha256:" + strings.Repeat("é", 32),
	} {
		_, err := f.Read(bad)
		wantError(t, err, reading, ErrDigest)
		wantError(t, f.Check(bad), reading, ErrDigest)
	}
	wantError(t, f.Check(store.Digest(nil)), reading, ErrMissing)
	wantError(t, beside(t).Check(digest), reading, ErrMissing)
	wantError(t, Beside("").Check(digest), reading, errNoStore)
}

func TestNotAdded(t *testing.T) {
	folder := t.TempDir()
	good := write(t, "good.jpg", asJPEG(t, corners()))
	link, big := filepath.Join(folder, "link.jpg"), write(t, "big.jpg", asJPEG(t, corners()))
	if err := errors.Join(os.Symlink(good, link), os.Truncate(big, MaxBytes+1)); err != nil {
		t.Fatal(err)
	}
	f := beside(t)
	for file, want := range map[string]error{
		link:                          wholefile.ErrNotFile,
		folder:                        wholefile.ErrNotFile,
		big:                           ErrTooLong,
		filepath.Join(folder, "none"): fs.ErrNotExist,
		"":                            fs.ErrNotExist,
		write(t, "a.jpg", nil):        ErrNotPhoto,
		write(t, "b.jpg", []byte("GIF89a and more")):                      ErrNotPhoto,
		write(t, "c.jpg", []byte("\xff\xd8\xff\xe0 and no more")):         ErrNotPhoto,
		write(t, "d.png", promising(asPNG(t, corners()), 20_000, 20_000)): ErrTooLarge,
	} {
		_, err := f.Add(t.Context(), file)
		wantError(t, err, adding, want)
	}
	done, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := f.Add(done, good); err != context.Canceled {
		t.Errorf("after the caller gave up: %v", err)
	}
	_, err := Beside("").Add(t.Context(), good)
	wantError(t, err, writing, errNoStore)
	if _, err := os.Lstat(f.Path()); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a folder was made for nothing: %v", err)
	}
}

// TestLongest adds a photo of exactly the longest length.
func TestLongest(t *testing.T) {
	file := write(t, "a.jpg", asJPEG(t, corners()))
	if err := os.Truncate(file, MaxBytes); err != nil {
		t.Fatal(err)
	}
	f := beside(t)
	if err := f.Check(mustAdd(t, f, file).Digest); err != nil {
		t.Error(err)
	}
	_, err := f.Put(t.Context(), file, make([]byte, MaxBytes+1))
	wantError(t, err, adding, ErrTooLong)
}

// A photo beside a link is read there, and one that is added is in the folder itself.
func TestLinked(t *testing.T) {
	there := beside(t)
	file := write(t, "a.jpg", asJPEG(t, corners()))
	digest := mustAdd(t, there, file).Digest
	here := beside(t)
	linked := here.Linked(strings.TrimSuffix(there.Path(), ".photos"))
	if err := linked.Check(digest); err != nil {
		t.Error(err)
	}
	wantError(t, here.Check(digest), reading, ErrMissing)
	mustAdd(t, linked, file)
	if err := here.Check(digest); err != nil {
		t.Error(err)
	}
}

func TestTogether(t *testing.T) {
	f, data := beside(t), asJPEG(t, corners())
	file := write(t, "a.jpg", data)
	var all sync.WaitGroup
	for range 32 {
		all.Go(func() {
			photo, err := f.Add(t.Context(), file)
			if err != nil {
				t.Error(err)
				return
			}
			if got, err := f.Read(photo.Digest); err != nil || !bytes.Equal(got, data) {
				t.Error(len(got), err)
			}
		})
	}
	all.Wait()
	if got := files(t, f.Path()); len(got) != 1 {
		t.Errorf("the folder holds %q", got)
	}
}

func TestReadOnly(t *testing.T) {
	f := beside(t)
	file := write(t, "a.jpg", asJPEG(t, corners()))
	if err := os.Mkdir(f.Path(), 0o500); err != nil {
		t.Fatal(err)
	}
	_, err := f.Add(t.Context(), file)
	wantError(t, err, writing, store.ErrReadOnly)
	if got := files(t, f.Path()); len(got) != 0 {
		t.Errorf("left behind: %q", got)
	}
	if err := errors.Join(os.Remove(f.Path()), os.WriteFile(f.Path(), nil, 0o600)); err != nil {
		t.Fatal(err)
	}
	if _, err = f.Add(t.Context(), file); err == nil || !strings.Contains(err.Error(), "not a folder") {
		t.Errorf("a file in the folder's place: %v", err)
	}
}

func TestLitter(t *testing.T) {
	f, data := beside(t), asJPEG(t, corners())
	path, err := f.place(store.Digest(data))
	if err != nil {
		t.Fatal(err)
	}
	shelf := filepath.Dir(path)
	old, recent := filepath.Join(f.path, ".fettle-new-0123456789abcdef"), filepath.Join(f.path, ".fettle-new-fedcba9876543210")
	long := time.Now().Add(-2 * time.Hour)
	err = errors.Join(os.MkdirAll(shelf, 0o700), os.WriteFile(old, nil, 0o600), os.WriteFile(recent, nil, 0o600), os.Chtimes(old, long, long))
	if err != nil {
		t.Fatal(err)
	}
	if held, err := wholefile.Hold(recent); err == nil {
		defer held.Close()
	}
	mustAdd(t, f, write(t, "a.jpg", data))
	if got := files(t, f.path); len(got) != 2 || got[0] != filepath.Base(recent) {
		t.Errorf("the folder holds %q", got)
	}
}

func TestNames(t *testing.T) {
	for path, want := range map[string]string{
		"/home/a/wing root.jpg": "wing root.jpg", `C:\photos\rib.JPG`: "rib.JPG", "Flügel.png": "Flügel.png",
		"a\n\x1b[31m\u202eb.jpg": "a [31mb.jpg", "a\xffb.jpg": "ab.jpg", "..": "photo.jpg", "\n": "photo.jpg", "": "photo.jpg",
		strings.Repeat("ü", 200) + ".jpeg": strings.Repeat("ü", 46) + "….jpeg",
		strings.Repeat("u", 200):           strings.Repeat("u", 93) + "….jpg",
	} {
		if got := cleanName(path, mimeJPEG); got != want || len(got) > longestName {
			t.Errorf("%q gives %q", path, got)
		}
	}
}
