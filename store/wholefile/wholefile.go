// Package wholefile makes files that appear under their name whole or not at
// all, and are durable when that is said.
//
// A file is written as a draft in its own folder, brought to the disk, and only
// then given its name; then the folder is brought to the disk too. A process
// killed on the way leaves at most a draft, which is taken away when a file is
// made in that folder more than an hour later.
//
// Drafts are named .fettle-new- and 16 hexadecimal digits. No other file is ever
// touched.
package wholefile

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"
)

// ErrUnconfirmed is given when a file has its name, and the disk did not confirm
// that it keeps it: the file is there and whole, but may be gone after a loss of
// power. The error is of no other kind: what the system said of it stands in its
// text only, since a full disk, for one, suggests that nothing was written.
var ErrUnconfirmed = errors.New("the disk did not confirm the last write")

const (
	draftPrefix = ".fettle-new-"
	draftDigits = 16
	draftTries  = 100
	litterAge   = time.Hour // when a draft is surely no one's any more
)

// Create makes a file of what write puts into it. The name may be a relative
// one; its folder has to be there. The file's mode is perm before the umask, from
// the first byte on.
//
// What has the name already, be it a folder or a link to nothing, stays as it is
// and gives [fs.ErrExist]; so it does when another process is quicker. The
// writing is spared where that can be known before. An error of write is given
// back as it is, and that of a ctx that is done before the file gets its name.
// After any error but [ErrUnconfirmed] no file was made.
//
// To write, the file is open for reading and writing, under a name of its own.
// write may close it.
func Create(ctx context.Context, path string, perm fs.FileMode, write func(*os.File) error) error {
	if _, err := os.Lstat(path); err == nil {
		return &fs.PathError{Op: "create", Path: path, Err: syscall.EEXIST}
	}
	return makeFile(ctx, path, perm, write, publish)
}

// Replace is [Create] for a name that may be taken: at every moment, that leads
// to what was there or to the new file. A link is replaced, not what it leads to.
// The old file's mode is not kept. What is neither file nor link, as a folder or
// a device, stays and gives [fs.ErrExist].
func Replace(ctx context.Context, path string, perm fs.FileMode, write func(*os.File) error) error {
	if info, err := os.Lstat(path); err == nil && !info.Mode().IsRegular() && info.Mode()&fs.ModeSymlink == 0 {
		return &fs.PathError{Op: "replace", Path: path, Err: syscall.EEXIST}
	}
	return makeFile(ctx, path, perm, write, os.Rename)
}

// Move gives a file another name on the same disk, and [fs.ErrExist] if that is
// taken. Its folder is to be confirmed with [Confirm].
func Move(from, to string) error { return publish(from, to) }

// makeFile writes a draft, and has it given its name by publish.
func makeFile(ctx context.Context, path string, perm fs.FileMode, write func(*os.File) error, publish func(from, to string) error) error {
	if path == "" {
		return &fs.PathError{Op: "create", Err: syscall.ENOENT}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	folder := filepath.Dir(path)
	clearLitter(folder)
	file, err := newDraft(folder, perm)
	if err != nil {
		return meant(err, path)
	}
	defer os.Remove(file.Name()) // it has moved away, unless something failed
	defer file.Close()           // for when write panics; else it is closed
	if err := fill(file, write); err != nil {
		return meant(err, path)
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if err := publish(file.Name(), path); err != nil {
		return meant(err, path)
	}
	return Confirm(folder)
}

func newDraft(folder string, perm fs.FileMode) (file *os.File, err error) {
	for range draftTries {
		name := fmt.Sprintf("%s%0*x", draftPrefix, draftDigits, rand.Uint64())
		file, err = os.OpenFile(filepath.Join(folder, name), os.O_RDWR|os.O_CREATE|os.O_EXCL, perm.Perm())
		if !errors.Is(err, fs.ErrExist) {
			break
		}
	}
	return file, err
}

// fill writes a draft, brings it to the disk and closes it.
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

// meant puts the name that was asked for into an error that has the draft's,
// which says nothing to anyone.
func meant(err error, path string) error {
	if between, ok := errors.AsType[*os.LinkError](err); ok {
		return &fs.PathError{Op: between.Op, Path: path, Err: between.Err}
	}
	if at, ok := errors.AsType[*fs.PathError](err); ok && isDraft(filepath.Base(at.Path)) {
		at.Path = path // no one else has this error: the draft is ours alone
	}
	return err
}

func isDraft(name string) bool {
	digits, ok := strings.CutPrefix(name, draftPrefix)
	return ok && len(digits) == draftDigits && strings.Trim(digits, "0123456789abcdef") == ""
}

// clearLitter takes away what processes killed while making a file left. It is
// no matter if that fails.
func clearLitter(folder string) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return
	}
	for _, entry := range entries {
		if !isDraft(entry.Name()) || !entry.Type().IsRegular() {
			continue
		}
		if info, err := entry.Info(); err == nil && time.Since(info.ModTime()) > litterAge {
			_ = os.Remove(filepath.Join(folder, entry.Name()))
		}
	}
}
