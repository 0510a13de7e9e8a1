package procedures

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	_ "embed"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"strings"
	"sync"
)

// packed are the files of the folder library, in a quarter of their size. A test holds it against them, and writes it
// anew with -update.
//
//go:embed library.zip
var packed string

// Documents say much in the same words, so they are packed by those of one of them (a preset dictionary, RFC 1950),
// which takes an eighth less room. The method of their zip entries is one of our own.
const (
	sampleName = "wing-split" // the one by which the others are smallest
	bySample   = 0xf0
)

// unpack is the packed library, with its files in the order of their names.
var unpack = sync.OnceValue(func() *zip.Reader {
	z, err := zip.NewReader(strings.NewReader(packed), int64(len(packed)))
	if err != nil {
		return &zip.Reader{} // it is part of the program: a test reads all of it
	}
	return z
})

// embeddedFiles are the names of the documents that come with the program, each with a file of its name, sorted.
func embeddedFiles() []string {
	var names []string
	for _, f := range unpack().File {
		names = append(names, strings.TrimSuffix(f.Name, ".yaml"))
	}
	return names
}

// headOf are the lines of a document that say of which design it is, before what it comes, and that it is a table. They are
// packed beside it, as the comment of its file.
func headOf(data []byte) []byte {
	var head []byte
	for line := range bytes.Lines(data) {
		if bytes.HasPrefix(line, []byte("design:")) || bytes.HasPrefix(line, []byte("before:")) || bytes.HasPrefix(line, []byte(KindTriage+":")) {
			head = append(append(head, '\n'), bytes.TrimRight(line, "\n")...)
		}
	}
	return head
}

// embeddedHeads are the heads of the embedded documents, by name.
func embeddedHeads() iter.Seq2[string, []byte] {
	return func(yield func(string, []byte) bool) {
		for _, f := range unpack().File {
			if !yield(strings.TrimSuffix(f.Name, ".yaml"), []byte(f.Comment)) {
				return
			}
		}
	}
}

// embeddedFile is the text of the embedded document of the name. The error is an [fs.ErrNotExist] where there is none.
func embeddedFile(name string) ([]byte, error) {
	for _, f := range unpack().File {
		if f.Name != name+".yaml" {
			continue
		}
		var sample []byte
		if f.Method == bySample {
			sample, _ = embeddedFile(sampleName)
		}
		packed, err := f.OpenRaw()
		if err != nil {
			return nil, fmt.Errorf("the embedded %s: %w", f.Name, err)
		}
		r := flate.NewReaderDict(packed, sample)
		data := make([]byte, f.UncompressedSize64)
		if _, err := io.ReadFull(r, data); err != nil {
			return nil, fmt.Errorf("the embedded %s: %w", f.Name, err)
		}
		return data, nil
	}
	return nil, fs.ErrNotExist
}
