// Package packed reads texts that are packed into the program: in less than half of their size.
package packed

import (
	"archive/zip"
	"fmt"
	"io"
	"strings"
)

// Text is the text of that name in a zip file. The error names it.
func Text(packed, name string) (string, error) {
	z, err := zip.NewReader(strings.NewReader(packed), int64(len(packed)))
	if err != nil {
		return "", fmt.Errorf("the packed texts: %w", err)
	}
	f, err := z.Open(name)
	if err != nil {
		return "", fmt.Errorf("the packed text %s: %w", name, err)
	}
	defer f.Close()
	data, err := io.ReadAll(f)
	if err != nil {
		return "", fmt.Errorf("the packed text %s: %w", name, err)
	}
	return string(data), nil
}
