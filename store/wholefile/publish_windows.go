package wholefile

import (
	"os"

	"golang.org/x/sys/windows"
)

// publish gives a file its name. It returns fs.ErrExist if the name is taken: a move
// replaces nothing unless told to.
func publish(from, to string) error {
	fail := func(err error) error { return &os.LinkError{Op: "rename", Old: from, New: to, Err: err} }
	old, err := windows.UTF16PtrFromString(from)
	if err != nil {
		return fail(err)
	}
	name, err := windows.UTF16PtrFromString(to)
	if err != nil {
		return fail(err)
	}
	if err := windows.MoveFileEx(old, name, windows.MOVEFILE_WRITE_THROUGH); err != nil {
		return fail(err)
	}
	return nil
}
