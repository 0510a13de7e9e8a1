package procedures

import (
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
)

// A BrokenError says that the document of a name is in a file of one's own that
// has faults. It stands for the embedded document of that name all the same:
// whoever wrote it wants another one than that.
type BrokenError struct {
	Name   string
	File   string
	Faults Faults
}

func (e *BrokenError) Error() string {
	more := ""
	if n := len(e.Faults) - 1; n > 0 {
		more = fmt.Sprintf(", and %d more; fettle check %s lists them", n, e.File)
	}
	return fmt.Sprintf("%s is in a file of your library that has faults: %v%s", e.Name, e.Faults[0], more)
}

// Unwrap gives the faults.
func (e *BrokenError) Unwrap() error { return e.Faults }

// A claim is a file of one's own with faults, and the names that it may be
// meant to be found by.
type claim struct {
	names  []string
	file   string
	faults Faults
}

func (c claim) error(name string) *BrokenError { return &BrokenError{name, c.file, c.faults} }

// claimed is the file with faults that claims the name, if one does.
func claimed(claims []claim, name string) (claim, bool) {
	i := slices.IndexFunc(claims, func(c claim) bool { return slices.Contains(c.names, name) })
	if i < 0 {
		return claim{}, false
	}
	return claims[i], true
}

// claimOf is what a file with faults claims: the name that it seems to give
// itself, and the one that it is called by.
func claimOf(path string, data []byte, faults Faults) claim {
	names := []string{calledBy(path)}
	if _, name := declared(data); name != "" {
		names = append(names, name)
	}
	return claim{names, path, faults}
}

func calledBy(path string) string {
	return strings.TrimSuffix(filepath.Base(path), filepath.Ext(path))
}

var declaration = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`(?m)^(?:\xef\xbb\xbf)?[{ \t]*["']?(procedure|triage|design)["']?\s*:[ \t]*["']?([a-z0-9-]+)`)
})

// designIn is the design that a document seems to be for, without reading it.
func designIn(data []byte) string {
	for _, m := range declaration().FindAllSubmatch(data[:min(len(data), 4096)], 8) {
		if string(m[1]) == "design" {
			return string(m[2])
		}
	}
	return ""
}

// declared is the key and the name that a document seems to begin with, without
// reading it: a procedure names its design too.
func declared(data []byte) (key, name string) {
	rank := 3
	for _, m := range declaration().FindAllSubmatch(data[:min(len(data), 4096)], 8) {
		if r := slices.Index([]string{"procedure", "triage", "design"}, string(m[1])); r < rank {
			rank, key, name = r, string(m[1]), string(m[2])
		}
	}
	return key, name
}
