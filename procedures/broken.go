package procedures

import (
	"bytes"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"fettle/steps/lists"
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
//
//go:noinline
func claimed(claims []claim, name string) (claim, bool) {
	i := slices.IndexFunc(claims, func(c claim) bool { return lists.Contains(c.names, name) })
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

// A heading is what the first lines of a document seem to say of it: the names after
// these keys, "" where they have none.
type heading struct{ procedure, triage, design string }

// headingOf reads the heading alone, of any text: a whole library is looked through so
// for one document.
func headingOf(data []byte) heading {
	var h heading
	left := 4096 // of the bytes that are no comment
	for line := range bytes.Lines(data) {
		if bytes.HasPrefix(line, []byte("#")) {
			continue
		}
		if left -= len(line); left < 0 {
			break
		}
		line = unquoted(bytes.TrimLeft(bytes.TrimPrefix(line, []byte("\xef\xbb\xbf")), "{ \t"))
		for _, of := range []struct {
			key  string
			name *string
		}{{"procedure", &h.procedure}, {KindTriage, &h.triage}, {KindDesign, &h.design}} {
			after, is := bytes.CutPrefix(line, []byte(of.key))
			if !is || *of.name != "" {
				continue
			}
			if says, is := bytes.CutPrefix(bytes.TrimLeft(unquoted(after), " \t"), []byte(":")); is {
				says = unquoted(bytes.TrimLeft(says, " \t"))
				*of.name = string(says[:len(says)-len(bytes.TrimLeft(says, "abcdefghijklmnopqrstuvwxyz0123456789-"))])
			}
		}
	}
	return h
}

// unquoted is the text after a quotation mark, if it begins with one.
func unquoted(text []byte) []byte {
	if len(text) > 0 && (text[0] == '"' || text[0] == '\'') {
		return text[1:]
	}
	return text
}

// designIn is the design that a document seems to be for, without reading it.
func designIn(data []byte) string { return headingOf(data).design }

// declared is the key and the name that a document seems to begin with, without
// reading it: a procedure names its design too.
func declared(data []byte) (key, name string) {
	switch h := headingOf(data); {
	case h.procedure != "":
		return "procedure", h.procedure
	case h.triage != "":
		return KindTriage, h.triage
	case h.design != "":
		return KindDesign, h.design
	}
	return "", ""
}
