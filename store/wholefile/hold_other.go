//go:build !linux

package wholefile

import (
	"errors"
	"io"
)

// Hold keeps [Clear] from deleting a draft. It is not supported here: a draft is deleted
// when it is old.
func Hold(string) (io.Closer, error) { return nil, errors.ErrUnsupported }

func isHeld(error) bool { return false }
