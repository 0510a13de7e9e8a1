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

// packed are the files of the folder library, in less than a quarter of their size. A test holds it against them, and writes it
// anew with -update.
//
//go:embed library.zip
var packed string

// Documents say much in the same words, so they are packed by those of some of them (a preset dictionary, RFC 1950),
// which takes a sixth less room. A sample is packed by those before it. Before that, frequent words are written as single bytes that
// no document has, which takes a tenth less: the comment of the zip file is a list of them, each a byte, its word and an end.
var samples = [...]string{"day-check", "wing-split", "safe", "foam-cracked", "kit-check", "skin-lifted-pod"} // those by which the others are smallest

// wordEnd ends a word in the list of them.
const wordEnd = "\x00"

// The method of their zip entries is one of our own: bySamples, and by how many.
const bySamples = 0xf0

// A packing is the library as it is packed.
type packing struct {
	files  []*zip.File // in the order of their names
	words  [256]string // by the byte that is written for it
	sample sync.Once
	by     [][]byte // the texts of the first samples as they are packed, by how many
}

// unpack is the packed library.
var unpack = sync.OnceValue(func() *packing {
	z, err := zip.NewReader(strings.NewReader(packed), int64(len(packed)))
	if err != nil {
		return &packing{} // it is part of the program: a test reads all of it
	}
	all := &packing{files: z.File, by: make([][]byte, 1, len(samples)+1)}
	for word := range strings.SplitSeq(z.Comment, wordEnd) {
		if word != "" {
			all.words[word[0]] = word[1:]
		}
	}
	return all
})

// embeddedFiles are the names of the documents that come with the program, each with a file of its name, sorted.
func embeddedFiles() []string {
	var names []string
	for _, f := range unpack().files {
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
		for _, f := range unpack().files {
			if !yield(strings.TrimSuffix(f.Name, ".yaml"), []byte(f.Comment)) {
				return
			}
		}
	}
}

// embeddedFile is the text of the embedded document of the name. The error is an [fs.ErrNotExist] where there is none.
func embeddedFile(name string) ([]byte, error) {
	all := unpack()
	all.sample.Do(func() {
		var text []byte
		for _, name := range samples {
			more, err := all.file(name)
			if err != nil {
				return // what is packed by it can't be read
			}
			text = append(text, more...)
			all.by = append(all.by, text)
		}
	})
	data, err := all.file(name)
	if err != nil {
		return nil, err
	}
	text := make([]byte, 0, 2*len(data))
	for _, b := range data {
		if word := all.words[b]; word != "" {
			text = append(text, word...)
		} else {
			text = append(text, b)
		}
	}
	return text, nil
}

// file is the text of a file that is packed by samples that are read, its words as bytes.
func (all *packing) file(name string) ([]byte, error) {
	for _, f := range all.files {
		if f.Name != name+".yaml" {
			continue
		}
		n := int(f.Method) - bySamples
		if n < 0 || n >= len(all.by) {
			return nil, fmt.Errorf("the embedded %s: %w", name, zip.ErrAlgorithm)
		}
		data := make([]byte, f.UncompressedSize64)
		packed, err := f.OpenRaw()
		if err == nil {
			_, err = io.ReadFull(flate.NewReaderDict(packed, all.by[n]), data)
		}
		if err != nil {
			return nil, fmt.Errorf("the embedded %s: %w", name, err)
		}
		return data, nil
	}
	return nil, fs.ErrNotExist
}
