package wholefile

import (
	"errors"
	"fmt"
	"io"
	"os"
	"syscall"
)

// ErrNotFile is returned for a name that does not lead to a file, such as a pipe,
// on which a read might wait for ever.
var ErrNotFile = errors.New("not a file")

// ErrTooLarge is returned for a file with more bytes than [Read] may read.
var ErrTooLarge = errors.New("too large")

// Open opens a file for reading. It never waits: it looks before it opens, and opens so
// that a pipe that takes the file's place makes nobody wait.
func Open(path string) (*os.File, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s is %w", path, ErrNotFile)
	}
	file, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	if info, err = file.Stat(); err == nil && !info.Mode().IsRegular() {
		err = fmt.Errorf("%s is %w", path, ErrNotFile)
	}
	if err != nil {
		_ = file.Close()
		return nil, err
	}
	return file, nil
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
