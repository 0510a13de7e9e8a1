//go:build !windows

package wholefile

import (
	"errors"
	"io/fs"
	"os"
)

// publishByLink is publish for systems without a rename that never replaces. A link
// never replaces either, but most USB sticks and memory cards do not support links.
func publishByLink(from, to string) error {
	err := os.Link(from, to)
	if err == nil || errors.Is(err, fs.ErrExist) {
		return err
	}
	return renameAlone(from, to)
}
