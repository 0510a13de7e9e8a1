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
	"syscall"

	"fettle/store"
)

// The limits that every photo keeps.
const (
	MaxBytes  = 40 << 20    // of a file
	MaxPixels = 100_000_000 // of a picture, as its head says
)

// A Folder is where the photos of one store are. It need not exist: the first
// [Folder.Add] makes it. More than one goroutine and process may use it at once.
type Folder struct{ path string }

// Beside gives the folder of photos of the store in the file storePath. It looks
// at nothing on the disk.
func Beside(storePath string) Folder {
	if storePath == "" {
		return Folder{}
	}
	return Folder{path: filepath.Clean(storePath) + ".photos"}
}

// Path says where the folder is.
func (f Folder) Path() string { return f.path }

// A Photo is what is known of a photo that was kept.
type Photo struct {
	Digest string // as [store.Digest] gives it: "sha256:" and 64 hexadecimal digits
	Name   string // of the file that was added, without its folders and without what cannot be printed
	Type   string // "image/jpeg" or "image/png", by its content
	Bytes  int64
}

// Add keeps a photo, of which the file stays as it is, and has reached the disk
// when it returns. A photo that is there already is kept once; one that is there
// but was changed is made good.
//
// A file that is no photo to be kept gives an [*Error] with [ErrNotFile],
// [ErrNotPhoto], [ErrTooLong] or [ErrTooLarge], or the system's own error. A
// folder that takes nothing gives one with [store.ErrReadOnly] or
// [store.ErrFull]. Then nothing is kept, and no part of it. A ctx that is done
// gives its own error.
func (f Folder) Add(ctx context.Context, file string) (Photo, error) {
	data, err := readFile(ctx, file)
	if err != nil {
		return Photo{}, fail(adding, file, err)
	}
	// One that was cut off on its way can be taken again now, and not later.
	if _, _, err := ForBook(data, 1); err != nil {
		return Photo{}, fail(adding, file, err)
	}
	return f.Put(ctx, file, data)
}

// Put is [Folder.Add] for a photo whose bytes are at hand, and the name of the
// file they are from.
func (f Folder) Put(ctx context.Context, file string, data []byte) (Photo, error) {
	if len(data) > MaxBytes {
		return Photo{}, fail(adding, file, ErrTooLong)
	}
	head, err := look(data, MaxPixels)
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

// Read gives the bytes of a photo as they were added.
//
// It gives an [*Error]: with [ErrDigest] for a name that no photo can have, with
// [ErrMissing] for a photo that is not there, with [ErrChanged] for one that is
// not as it was added, or with the system's own error.
func (f Folder) Read(digest string) ([]byte, error) {
	path, err := f.place(digest)
	if err != nil {
		return nil, fail(reading, fmt.Sprintf("%.80q", digest), err)
	}
	data, err := readFile(context.Background(), path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		err = ErrMissing
	case errors.Is(err, ErrNotFile), errors.Is(err, ErrTooLong):
		err = fmt.Errorf("%w: it is %w", ErrChanged, err)
	case err == nil && store.Digest(data) != digest:
		err = ErrChanged
	}
	if err != nil {
		return nil, fail(reading, path, err)
	}
	return data, nil
}

// Check reads a photo and says what [Folder.Read] says of it.
func (f Folder) Check(digest string) error {
	_, err := f.Read(digest)
	return err
}

// place gives the file of a photo, for a well-formed digest only.
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

// readFile reads a regular file of at most MaxBytes, and waits for no other
// kind: a pipe is not opened, nor one that takes the file's place meanwhile
// waited for.
func readFile(ctx context.Context, path string) ([]byte, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	before, err := os.Lstat(path)
	if err != nil {
		return nil, err
	}
	if !before.Mode().IsRegular() {
		return nil, fmt.Errorf("%w but %s", ErrNotFile, what(before.Mode()))
	}
	if before.Size() > MaxBytes {
		return nil, ErrTooLong
	}
	file, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	opened, err := file.Stat()
	if err != nil {
		return nil, err
	}
	if !os.SameFile(before, opened) {
		return nil, fmt.Errorf("%w any more: it was replaced while being read", ErrNotFile)
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

func what(mode fs.FileMode) string {
	switch {
	case mode.IsDir():
		return "a folder"
	case mode&fs.ModeSymlink != 0:
		return "a link"
	case mode&fs.ModeNamedPipe != 0:
		return "a pipe"
	}
	return "something else"
}

// A patient reader reads until its context is done.
type patient struct {
	ctx  context.Context
	from io.Reader
}

// Read gives the context's error once that is done.
func (p *patient) Read(b []byte) (int, error) {
	if err := p.ctx.Err(); err != nil {
		return 0, err
	}
	return p.from.Read(b[:min(len(b), 1<<20)])
}
