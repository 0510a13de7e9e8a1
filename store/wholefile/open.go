package wholefile

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"syscall"
)

// ErrNotFile is returned for a name that does not lead to a file, such as a pipe,
// on which a read might wait for ever.
var ErrNotFile = errors.New("not a regular file")

// ErrTooLarge is returned for a file with more bytes than [Read] may read.
var ErrTooLarge = errors.New("too large")

// Open opens a file for reading. It never waits: it looks before it opens, and opens so
// that a pipe that takes the file's place makes nobody wait.
func Open(path string) (*os.File, error) {
	info, err := Look(path)
	if err == nil {
		err = regular(path, info)
	}
	if err != nil {
		return nil, err
	}
	file, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, unread(path, err)
	}
	if info, err = file.Stat(); err == nil {
		err = regular(path, info)
	}
	if err != nil {
		_ = file.Close()
		return nil, err
	}
	return file, nil
}

// Look is [os.Stat] with an error for people.
func Look(path string) (fs.FileInfo, error) {
	info, err := os.Stat(path)
	return info, unread(path, err)
}

// Regular returns [ErrNotFile], and what it is instead, for what is not a file.
func Regular(mode fs.FileMode) error {
	what := "something else"
	switch {
	case mode.IsRegular():
		return nil
	case mode.IsDir():
		what = "a folder"
	case mode&fs.ModeSymlink != 0:
		what = "a link"
	case mode&fs.ModeNamedPipe != 0:
		what = "a pipe"
	}
	return fmt.Errorf("%w but %s", ErrNotFile, what)
}

func regular(path string, info fs.FileInfo) error { return unread(path, Regular(info.Mode())) }

// unread says that a file cannot be read, and not by which call of the system.
func unread(path string, err error) error {
	if err == nil {
		return nil
	}
	if at, ok := errors.AsType[*fs.PathError](err); ok {
		err = at.Err
	}
	return &fs.PathError{Op: "cannot read", Path: path, Err: err}
}

// Read reads a file that [Open] opens and that has at most so many bytes.
func Read(path string, most int64) ([]byte, error) {
	file, err := Open(path)
	if err != nil {
		return nil, err
	}
	defer func() { _ = file.Close() }()
	data, err := io.ReadAll(io.LimitReader(file, most+1))
	if err == nil && int64(len(data)) > most {
		err = fmt.Errorf("%s is %w: it has more than %.3g MiB", path, ErrTooLarge, float64(most)/(1<<20))
	}
	return data, err
}
