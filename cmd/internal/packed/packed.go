// Package packed reads texts that are packed into the program: in less than half of their size.
package packed

import (
	"archive/zip"
	"fmt"
	"io"
	"io/fs"
	"strings"
)

// Text is the text of that name in a zip file. The error names it.
func Text(packed, name string) (string, error) {
	z, err := zip.NewReader(strings.NewReader(packed), int64(len(packed)))
	if err != nil {
		return "", fmt.Errorf("the packed texts: %w", err)
	}
	for _, f := range z.File { // its method Open sorts all names of folders first, with code of its own
		if f.Name != name {
			continue
		}
		var data []byte
		r, err := f.Open()
		if err == nil {
			defer r.Close()
			data, err = io.ReadAll(r)
		}
		if err != nil {
			return "", fmt.Errorf("the packed text %s: %w", name, err)
		}
		return string(data), nil
	}
	return "", fmt.Errorf("the packed text %s: %w", name, fs.ErrNotExist)
}
