// Package wholefile makes files that appear under their name whole or not at
// all, and that are durable once the call returns without an error.
//
// A file is written as a draft in its own folder, synced to the disk, and only
// then given its name; then the folder is synced too. A process killed meanwhile
// leaves at most a draft, which is deleted when a file is next made in that folder: a
// process holds its drafts by a lock, which ends with it. Where there is no such lock, a
// draft is deleted when it is an hour old.
//
// Drafts are named .fettle-new- and 16 hexadecimal digits. The package deletes no
// other file.
package wholefile

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"
)

// ErrUnconfirmed is returned when a file has its name but the disk did not confirm
// that: the file is there and whole, but may be gone after a power failure. It
// wraps nothing else: the system's message is in the text only, because a full
// disk, for one, would suggest that nothing was written.
var ErrUnconfirmed = errors.New("the disk did not confirm the last write")

const (
	draftPrefix = ".fettle-new-"
	draftDigits = 16
	draftTries  = 100
	litterAge   = time.Hour // no process still works on a draft older than this that nothing can hold
)

// Create makes a file and calls write to fill it. The path may be relative; its
// folder must exist. The file has the mode perm (before the umask) from the first
// byte on.
//
// If the name is taken, be it by a folder or a dangling link, Create changes nothing
// and returns [fs.ErrExist]; so it does if another process takes the name first.
// write is not called if that is already known. Create returns an error of write
// unchanged, and ctx's error if ctx ends before the file has its name. After any
// error but [ErrUnconfirmed] no file was made.
//
// write gets the file open for reading and writing, under a temporary name. It may
// close it.
func Create(ctx context.Context, path string, perm fs.FileMode, write func(*os.File) error) error {
	return CreateFrom(ctx, filepath.Dir(path), path, perm, write)
}

// CreateFrom is [Create] with its draft in another folder of the same disk.
func CreateFrom(ctx context.Context, drafts, path string, perm fs.FileMode, write func(*os.File) error) error {
	if _, err := os.Lstat(path); err == nil {
		return &fs.PathError{Op: "create", Path: path, Err: syscall.EEXIST}
	}
	return makeFile(ctx, drafts, path, perm, write, publish)
}

// Replace is [Create] for a name that may be taken: at every moment the name leads
// to the old file or to the new one. A link is replaced, not what it points to. The
// old file's mode is not kept. Anything but a file or a link, such as a folder or a
// device, is left alone, and Replace returns [fs.ErrExist].
func Replace(ctx context.Context, path string, perm fs.FileMode, write func(*os.File) error) error {
	if info, err := os.Lstat(path); err == nil && !info.Mode().IsRegular() && info.Mode()&fs.ModeSymlink == 0 {
		return &fs.PathError{Op: "replace", Path: path, Err: syscall.EEXIST}
	}
	return makeFile(ctx, filepath.Dir(path), path, perm, write, os.Rename)
}

// Move gives a file another name on the same disk. It returns [fs.ErrExist] if that
// is taken. The caller must confirm the folder with [Confirm].
func Move(from, to string) error { return publish(from, to) }

// How long [Lock] waits, and how long between two looks. What is done under it takes milliseconds (common practice, no source).
const (
	patience = 5 * time.Second
	pause    = 10 * time.Millisecond
)

var errHeld = errors.New("another program holds it")

// makeFile writes a draft, and lets publish give it its name.
func makeFile(ctx context.Context, drafts, path string, perm fs.FileMode, write func(*os.File) error, publish func(from, to string) error) error {
	if path == "" {
		return &fs.PathError{Op: "create", Err: syscall.ENOENT}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	Clear(drafts)
	file, held, err := newDraft(drafts, perm)
	if err != nil {
		return meant(err, path)
	}
	defer held.Close()           // once it has its name
	defer os.Remove(file.Name()) // does nothing unless something failed
	defer file.Close()           // in case write panics; otherwise it is closed already
	if err := fill(file, write); err != nil {
		return meant(err, path)
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if err := publish(file.Name(), path); err != nil {
		return meant(err, path)
	}
	return Confirm(filepath.Dir(path))
}

// DraftName returns a new name in a folder. A file of that name that nobody holds is
// deleted by [Clear].
func DraftName(folder string) string {
	return filepath.Join(folder, fmt.Sprintf("%s%0*x", draftPrefix, draftDigits, rand.Uint64()))
}

func newDraft(folder string, perm fs.FileMode) (file *os.File, held io.Closer, err error) {
	for range draftTries {
		file, err = os.OpenFile(DraftName(folder), os.O_RDWR|os.O_CREATE|os.O_EXCL, perm.Perm())
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err != nil {
			return nil, nil, err
		}
		held, err = Hold(file.Name())
		if err != nil && !isHeld(err) && !errors.Is(err, fs.ErrNotExist) {
			return file, io.NopCloser(nil), nil // this disk knows no such locks
		}
		if err == nil {
			if _, err = os.Lstat(file.Name()); err == nil {
				return file, held, nil
			}
			_ = held.Close()
		}
		_ = file.Close() // another process took it for abandoned before it was held
	}
	return nil, nil, err
}

// fill writes a draft, syncs it to the disk and closes it.
func fill(draft *os.File, write func(*os.File) error) error {
	if err := write(draft); err != nil {
		return err
	}
	err := draft.Sync()
	if errors.Is(err, os.ErrClosed) { // by write
		if draft, err = os.OpenFile(draft.Name(), os.O_RDWR, 0); err != nil {
			return err
		}
		err = draft.Sync()
	}
	return errors.Join(err, draft.Close())
}

// meant puts the requested name into an error that has the draft's name, which
// would mean nothing to the user.
func meant(err error, path string) error {
	if between, ok := errors.AsType[*os.LinkError](err); ok {
		return &fs.PathError{Op: between.Op, Path: path, Err: between.Err}
	}
	if at, ok := errors.AsType[*fs.PathError](err); ok && isDraft(filepath.Base(at.Path)) {
		at.Path = path // the error is ours to change: the draft is ours alone
	}
	return err
}

// IsFull reports whether the disk, a quota or a limit left no room for what was written.
func IsFull(err error) bool {
	for _, full := range []syscall.Errno{syscall.ENOSPC, syscall.EDQUOT, syscall.EFBIG} {
		// bbolt keeps only the text of what fails while the file is being grown.
		if errors.Is(err, full) || err != nil && strings.HasSuffix(err.Error(), ": "+full.Error()) {
			return true
		}
	}
	return false
}

func isDraft(name string) bool {
	digits, ok := strings.CutPrefix(name, draftPrefix)
	return ok && len(digits) == draftDigits && strings.Trim(digits, "0123456789abcdef") == ""
}

// Clear deletes the drafts in a folder of processes that were killed. It does not matter
// if that fails.
func Clear(folder string) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return
	}
	for _, entry := range entries {
		if !isDraft(entry.Name()) || !entry.Type().IsRegular() {
			continue
		}
		path := filepath.Join(folder, entry.Name())
		held, err := Hold(path)
		switch {
		case err == nil:
			_ = os.Remove(path)
			_ = held.Close()
		case isHeld(err):
		default:
			if info, err := entry.Info(); err == nil && time.Since(info.ModTime()) > litterAge {
				_ = os.Remove(path)
			}
		}
	}
}
