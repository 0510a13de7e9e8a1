package photos

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"testing"
)

// drawn is a small picture with one red corner, as a file of the kind.
func drawn(t *testing.T, kind string) []byte {
	t.Helper()
	m := image.NewRGBA(image.Rect(0, 0, 48, 32))
	for x := range 48 {
		for y := range 32 {
			m.Set(x, y, color.White)
			if x < 16 && y < 16 {
				m.Set(x, y, color.RGBA{255, 0, 0, 255})
			}
		}
	}
	var b bytes.Buffer
	var err error
	if kind == mimePNG {
		err = png.Encode(&b, m)
	} else {
		err = jpeg.Encode(&b, m, &jpeg.Options{Quality: 95})
	}
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func file(t *testing.T, name string, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestKeptAndReadBack(t *testing.T) {
	ctx := context.Background()
	f := Beside(filepath.Join(t.TempDir(), "bench.db"))
	for _, kind := range []string{mimeJPEG, mimePNG} {
		data := drawn(t, kind)
		p, err := f.Add(ctx, file(t, "break one.bin", data))
		if err != nil || p.Type != kind || p.Bytes != int64(len(data)) {
			t.Fatalf("%+v, %v", p, err)
		}
		if again, err := f.Add(ctx, file(t, "other.bin", data)); err != nil || again.Digest != p.Digest {
			t.Errorf("added twice: %+v, %v", again, err)
		}
		back, err := f.Read(p.Digest)
		if err != nil || !bytes.Equal(back, data) {
			t.Errorf("read back otherwise: %v", err)
		}
	}
}

func TestWhatIsNoPhotoIsRefused(t *testing.T) {
	ctx := context.Background()
	f := Beside(filepath.Join(t.TempDir(), "bench.db"))
	for path, kind := range map[string]error{
		file(t, "words.jpg", []byte("these are words")): ErrNotPhoto,
		file(t, "empty.png", nil):                       ErrNotPhoto,
		file(t, "cut.png", drawn(t, mimePNG)[:20]):      ErrNotPhoto,
		t.TempDir(): ErrNotFile,
	} {
		if p, err := f.Add(ctx, path); !errors.Is(err, kind) {
			t.Errorf("%s: %+v, %v; want %v", path, p, err, kind)
		}
	}
	if _, err := os.Stat(f.Path()); !errors.Is(err, os.ErrNotExist) {
		left, _ := os.ReadDir(f.Path())
		if len(left) > 0 {
			t.Errorf("something was kept: %v", left)
		}
	}
}

// Every flipped bit of a kept photo is noticed, and so is one that is gone.
func TestChangedAndMissing(t *testing.T) {
	ctx := context.Background()
	f := Beside(filepath.Join(t.TempDir(), "bench.db"))
	data := drawn(t, mimePNG)
	p, err := f.Add(ctx, file(t, "a.png", data))
	if err != nil {
		t.Fatal(err)
	}
	var kept string
	if err := filepath.WalkDir(f.Path(), func(path string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			kept = path
		}
		return err
	}); err != nil || kept == "" {
		t.Fatal(kept, err)
	}
	for i := range data {
		bad := bytes.Clone(data)
		bad[i] ^= 1 << (i % 8)
		if err := os.WriteFile(kept, bad, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := f.Check(p.Digest); !errors.Is(err, ErrChanged) {
			t.Fatalf("byte %d: %v", i, err)
		}
	}
	if err := os.Remove(kept); err != nil {
		t.Fatal(err)
	}
	if _, err := f.Read(p.Digest); !errors.Is(err, ErrMissing) {
		t.Errorf("missing: %v", err)
	}
	for _, path := range []string{"", "sha256:..", "sha256:../../../etc/passwd", "md5:00"} {
		if _, err := f.Read(path); err == nil {
			t.Errorf("%q was read", path)
		}
	}
}

// A photo for a book has none of the marks that a camera leaves, and turns as
// its camera was held.
func TestForBook(t *testing.T) {
	data := drawn(t, mimeJPEG)
	// Exif with orientation 6 (to be turned a quarter clockwise) and a position.
	exif := append([]byte("Exif\x00\x00MM\x00\x2a\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01\x00\x06\x00\x00\x00\x00\x00\x00"), []byte("GPS 54N")...)
	segment := append([]byte{0xFF, 0xE1, byte((len(exif) + 2) >> 8), byte(len(exif) + 2)}, exif...)
	held := append(append(bytes.Clone(data[:2]), segment...), data[2:]...)
	out, mime, err := ForBook(held, 24)
	if err != nil || mime != mimeJPEG {
		t.Fatal(mime, err)
	}
	if bytes.Contains(out, []byte("Exif")) || bytes.Contains(out, []byte("GPS")) {
		t.Error("the camera's marks are left")
	}
	m, err := jpeg.Decode(bytes.NewReader(out))
	if err != nil || m.Bounds().Dx() != 16 || m.Bounds().Dy() != 24 {
		t.Fatalf("%v, %v; want 16 by 24", m.Bounds(), err)
	}
	if r, g, _, _ := m.At(13, 3).RGBA(); r>>8 < 180 || g>>8 > 90 {
		t.Errorf("the red corner is not at the top right: %v", m.At(13, 3))
	}
	for _, bad := range [][]byte{nil, []byte("words"), held[:40]} {
		if _, _, err := ForBook(bad, 24); !errors.Is(err, ErrNotPhoto) {
			t.Errorf("%.10q: %v", bad, err)
		}
	}
}

func FuzzForBook(f *testing.F) {
	f.Add([]byte("\xff\xd8\xff\xe1"))
	f.Fuzz(func(t *testing.T, data []byte) { _, _, _ = forBook(data, 64, 1<<20) })
}
