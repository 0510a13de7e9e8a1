package seal

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"fettle/store/wholefile"
)

const maxKeyFile = 4096

// LoadKey reads the private key in a file. If there is no file, it makes a key with
// this name, saves it there (whole or not at all, for its owner only, making the
// folder if needed) and reports that it did. Two processes that do this at the same
// time get the same key.
//
// An existing key keeps the name that it was made with. A file that others may read
// is refused with [ErrExposed], except on Windows, where the mode does not show
// that. A file that does not hold a key is refused with [ErrKey].
func LoadKey(path, name string) (key *Key, made bool, err error) {
	if err := CheckName(name); err != nil {
		return nil, false, err
	}
	key, err = readKey(path)
	if err == nil || !errors.Is(err, fs.ErrNotExist) {
		return key, false, err
	}
	key, private, err := NewKey(name)
	if err != nil {
		return nil, false, err
	}
	err = keepKey(path, private)
	if errors.Is(err, fs.ErrExist) { // another process was first
		key, err = readKey(path)
		return key, false, err
	}
	if err != nil {
		return nil, false, fmt.Errorf("cannot save a new key: %w", err)
	}
	return key, true, nil
}

func readKey(path string) (*Key, error) {
	file, err := wholefile.Open(path)
	if errors.Is(err, wholefile.ErrNotFile) {
		return nil, wrong(ErrKey, "%v", err)
	}
	if err != nil {
		return nil, err
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return nil, err
	}
	if mode := info.Mode().Perm(); runtime.GOOS != "windows" && mode&0o077 != 0 {
		return nil, wrong(ErrExposed, "%s has mode %04o; if nobody can have copied it, run: chmod 600 %s", path, mode, path)
	}
	text, err := io.ReadAll(io.LimitReader(file, maxKeyFile+1))
	if err != nil {
		return nil, err
	}
	if len(text) > maxKeyFile {
		return nil, wrong(ErrKey, "%s is too long to be a key", path)
	}
	key, err := ParseKey(strings.TrimSuffix(string(text), "\n"))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return key, nil
}

// keepKey makes the file, which appears whole. It returns fs.ErrExist if the file
// exists.
func keepKey(path, private string) error {
	if err := wholefile.MakeFolder(filepath.Dir(path)); err != nil {
		return err
	}
	return wholefile.Create(context.Background(), path, 0o600, func(file *os.File) error {
		_, err := file.WriteString(private + "\n")
		return err
	})
}
