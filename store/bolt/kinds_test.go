package bolt

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"syscall"
	"testing"

	"fettle/store"
)

func TestKinds(t *testing.T) {
	system := func(errno syscall.Errno) error { return &fs.PathError{Op: "write", Path: "/p", Err: errno} }
	for _, test := range []struct {
		op   string
		err  error
		want error // nil: not an error of package store
	}{
		{writing, system(syscall.ENOSPC), store.ErrFull},
		{writing, system(syscall.EDQUOT), store.ErrFull},
		{writing, system(syscall.EFBIG), store.ErrFull},
		{writing, errors.New("file resize error: truncate /p: " + syscall.ENOSPC.Error()), store.ErrFull},
		{writing, system(syscall.EROFS), store.ErrReadOnly},
		{writing, system(syscall.EACCES), store.ErrReadOnly},
		{writing, system(syscall.EPERM), store.ErrReadOnly},
		{reading, system(syscall.EACCES), nil},
		{writing, system(syscall.EIO), nil},

		// The last write may be there, so this must not promise that it is not.
		{writing, unconfirmed(system(syscall.ENOSPC)), nil},
		{writing, unconfirmed(system(syscall.EACCES)), nil},
	} {
		err := New("/p").fail(test.op, test.err)
		var failure *store.Error
		if !errors.As(err, &failure) || failure.Op != test.op || failure.Path != "/p" || failure.Hint == "" {
			t.Errorf("%v became %#v", test.err, err)
			continue
		}
		for _, own := range []error{store.ErrFull, store.ErrReadOnly, store.ErrDamaged, store.ErrLocked, store.ErrForeign, store.ErrNewer} {
			if errors.Is(err, own) != (own == test.want) {
				t.Errorf("%v became %v", test.err, err)
			}
		}
		if test.want == nil && strings.Contains(failure.Hint, "nothing was written") {
			t.Errorf("%v: %s", test.err, failure.Hint)
		}
	}
}

func TestCallersOwn(t *testing.T) {
	for _, err := range []error{
		nil,
		context.Canceled,
		context.DeadlineExceeded,
		&store.ConflictError{Mark: "CW-01"},
		fmt.Errorf("document: %w", store.ErrNotFound),
		&store.Error{Op: reading, Err: store.ErrDamaged},
	} {
		if got := (&Store{}).fail(writing, err); got != err {
			t.Errorf("%v became %v", err, got)
		}
	}
}
