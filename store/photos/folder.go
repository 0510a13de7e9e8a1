package photos

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"fettle/store"
	"fettle/store/wholefile"
)

// The limits that every photo keeps.
const (
	MaxBytes = 40 << 20    // of a file
	MaxDrawn = 160_000_000 // bytes of memory to draw it, according to its head, with those of the file
)

// A Folder holds the photos of one store. It need not exist: the first
// [Folder.Add] makes it. Several goroutines and processes may use it at once.
type Folder struct {
	path   string
	linked string // where photos are read that path lacks; "": nowhere
	within string // the folder that must be there for a photo to be kept; "": none
}

// Beside returns the photo folder of the store in the file storePath. It does not
// look at the disk.
//
//go:noinline
func Beside(storePath string) Folder {
	if storePath == "" {
		return Folder{}
	}
	return Folder{path: filepath.Clean(storePath) + ".photos"}
}

// Linked returns the folder, with the photos that lie beside a link to the store: they
// are read where the folder lacks them, and none is put there.
func (f Folder) Linked(link string) Folder {
	if other := Beside(link); other.path != f.path {
		f.linked = other.path
	}
	return f
}

// Within returns the folder as part of another, which is not made: where that is not there,
// such as a share that is not mounted, no photo is kept.
func (f Folder) Within(other string) Folder {
	f.within = other
	return f
}

// Path is where the folder is.
func (f Folder) Path() string { return f.path }

// A Photo describes a photo that was kept.
type Photo struct {
	Digest string // as [store.Digest] returns it: "sha256:" and 64 hexadecimal digits
	Name   string // of the file that was added, without its folders and unprintable characters
	Type   string // "image/jpeg" or "image/png", by its content
	Bytes  int64
}

// Add copies the photo in a file into the folder. The copy has reached the disk
// when Add returns. A photo that is already there is kept once; a damaged one is
// replaced by the good bytes.
//
// For a file that cannot be kept Add returns an [*Error] with [wholefile.ErrNotFile],
// [ErrNotPhoto], [ErrTooLong], [ErrTooLarge] or [ErrTooManyParts], or the system's own error. If the
// folder cannot be written to, the [*Error] has [store.ErrReadOnly], [store.ErrFull] or
// [ErrNoFolder]. After an error nothing is kept, not even a part. If ctx has
// ended, Add returns its error.
func (f Folder) Add(ctx context.Context, file string) (Photo, error) {
	data, err := Load(ctx, file)
	if err != nil {
		return Photo{}, err
	}
	// A photo that was cut off on its way here can be copied again now, but not later.
	if err := Draws(ctx, data); err != nil {
		return Photo{}, fail(adding, file, err)
	}
	return f.Put(ctx, file, data)
}

// Load returns the bytes of a file that, by their head, are a photo that can be kept. Its
// errors are those of [Folder.Add].
func Load(ctx context.Context, file string) ([]byte, error) {
	data, err := readFile(ctx, file)
	if err == nil {
		_, err = look(data, MaxDrawn)
	}
	if err != nil {
		return nil, fail(adding, file, err)
	}
	return data, nil
}

// Draws returns [ErrNotPhoto] for a picture that can't be drawn to its end.
func Draws(ctx context.Context, data []byte) error {
	_, _, err := decode(ctx, data, MaxDrawn)
	return err
}

// Copy copies a photo that another folder has, whatever it would take to draw: an older
// program may have kept it.
func (f Folder) Copy(ctx context.Context, from Folder, digest string) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	data, err := from.Read(digest)
	if err != nil {
		return err
	}
	return fail(writing, f.path, f.keep(ctx, data, digest))
}

// Put is [Folder.Add] for a photo that is already in memory, and draws nothing: it goes by
// the picture's head. file is where it came from.
func (f Folder) Put(ctx context.Context, file string, data []byte) (Photo, error) {
	if len(data) > MaxBytes {
		return Photo{}, fail(adding, file, ErrTooLong)
	}
	head, err := look(data, MaxDrawn)
	if err != nil {
		return Photo{}, fail(adding, file, err)
	}
	photo := Photo{Digest: store.Digest(data), Type: head.mime, Bytes: int64(len(data))}
	photo.Name = cleanName(file, head.mime)
	if err := ctx.Err(); err != nil {
		return Photo{}, err
	}
	if err := f.keep(ctx, data, photo.Digest); err != nil {
		return Photo{}, fail(writing, f.path, err)
	}
	return photo, nil
}

// Read returns the bytes of a photo as they were added.
//
// Its error is an [*Error]: with [ErrDigest] for a name that no photo can have, with
// [ErrMissing] for a photo that is not there, with [ErrChanged] for one that has
// changed since it was added, or with the system's own error.
func (f Folder) Read(digest string) ([]byte, error) {
	data, err := f.read(digest)
	if err != nil && f.linked != "" {
		if data, failed := (Folder{path: f.linked}).read(digest); failed == nil {
			return data, nil
		}
	}
	return data, err
}

func (f Folder) read(digest string) ([]byte, error) {
	path, err := f.place(digest)
	if err != nil {
		return nil, fail(reading, fmt.Sprintf("%.80q", digest), err)
	}
	data, err := readFile(context.Background(), path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		err = ErrMissing
	case errors.Is(err, wholefile.ErrNotFile), errors.Is(err, ErrTooLong):
		err = fmt.Errorf("%w: it is %w", ErrChanged, err)
	case err == nil && store.Digest(data) != digest:
		err = ErrChanged
	}
	if err != nil {
		return nil, fail(reading, path, err)
	}
	return data, nil
}

// Check reads a photo and returns the error of [Folder.Read].
//
//go:noinline
func (f Folder) Check(digest string) error {
	_, err := f.Read(digest)
	return err
}

// place returns the file of a photo. It accepts only a well-formed digest.
func (f Folder) place(digest string) (string, error) {
	hex, ok := strings.CutPrefix(digest, "sha256:")
	if !ok || len(hex) != 64 || strings.Trim(hex, "0123456789abcdef") != "" {
		return "", ErrDigest
	}
	if f.path == "" {
		return "", errNoStore
	}
	return filepath.Join(f.path, hex[:2], hex), nil
}

// readFile reads a file of at most MaxBytes that is not a link. It never waits: see
// [wholefile.Open].
func readFile(ctx context.Context, path string) ([]byte, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	before, err := os.Lstat(path)
	if err == nil {
		err = wholefile.Regular(before.Mode())
	}
	if err != nil {
		return nil, err
	}
	if before.Size() > MaxBytes {
		return nil, ErrTooLong
	}
	file, err := wholefile.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	opened, err := file.Stat()
	if err != nil {
		return nil, err
	}
	if !os.SameFile(before, opened) {
		return nil, fmt.Errorf("%w any more: it was replaced while being read", wholefile.ErrNotFile)
	}
	var data bytes.Buffer
	data.Grow(int(before.Size()) + bytes.MinRead)
	if _, err := data.ReadFrom(&patient{ctx, io.LimitReader(file, MaxBytes+1)}); err != nil {
		return nil, err
	}
	if data.Len() > MaxBytes {
		return nil, ErrTooLong
	}
	return data.Bytes(), nil
}

// A patient reader reads until its context ends.
type patient struct {
	ctx  context.Context
	from io.Reader
}

// Read returns the context's error once the context has ended.
func (p *patient) Read(b []byte) (int, error) {
	if err := p.ctx.Err(); err != nil {
		return 0, err
	}
	return p.from.Read(b[:min(len(b), 1<<20)])
}
