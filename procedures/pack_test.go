package procedures

import (
	"archive/zip"
	"bytes"
	"cmp"
	"compress/flate"
	"flag"
	"io"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "pack the library anew")

// The program carries the files of library as they are.
func TestLibraryIsPacked(t *testing.T) {
	paths, err := filepath.Glob("library/*.yaml")
	if err != nil || len(paths) == 0 {
		t.Fatalf("%d documents: %v", len(paths), err)
	}
	if *update {
		pack(t, paths)
		t.Skip("packed; run the tests again")
	}
	names := embeddedFiles()
	if len(names) != len(paths) {
		t.Errorf("%d documents are packed, and %d are in the folder", len(names), len(paths))
	}
	heads := maps.Collect(embeddedHeads())
	for _, path := range paths {
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		name := strings.TrimSuffix(filepath.Base(path), ".yaml")
		if got, err := embeddedFile(name); err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s is packed as it was before (%v); go test ./procedures -run Packed -update", name, err)
		}
		head, known := heads[name]
		says := func(key string) bool {
			return bytes.Contains(append([]byte("\n"), want...), []byte("\n"+key)) != bytes.Contains(head, []byte("\n"+key))
		}
		if !known || designIn(head) != designIn(want) || says("before:") || says("triage:") {
			t.Errorf("%s is packed with the head %q; go test ./procedures -run Packed -update", name, head)
		}
	}
}

func pack(t *testing.T, paths []string) {
	documents := map[string][]byte{}
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		documents[path] = data
	}
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	list, asBytes := wordsAsBytes(slices.Collect(maps.Values(documents)))
	if err := z.SetComment(list); err != nil {
		t.Fatal(err)
	}
	var by []byte
	for n := range len(samples) + 1 {
		dictionary := by
		z.RegisterCompressor(uint16(bySamples+n), func(w io.Writer) (io.WriteCloser, error) {
			return flate.NewWriterDict(w, flate.BestCompression, dictionary)
		})
		if n < len(samples) {
			by = append(slices.Clip(by), asBytes.Replace(string(documents[filepath.Join("library", samples[n]+".yaml")]))...)
		}
	}
	for _, path := range paths {
		data := documents[path]
		method := uint16(bySamples + len(samples))
		if n := slices.Index(samples[:], strings.TrimSuffix(filepath.Base(path), ".yaml")); n >= 0 {
			method = uint16(bySamples + n)
		}
		w, err := z.CreateHeader(&zip.FileHeader{Name: filepath.Base(path), Method: method, Comment: string(headOf(data))})
		if err == nil {
			_, err = asBytes.WriteString(w, string(data))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile("library.zip", out.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}

// wordsAsBytes are the words that are written as bytes, the most frequent ones, as the zip file lists them, and what writes them so.
func wordsAsBytes(documents [][]byte) (list string, asBytes *strings.Replacer) {
	often := map[string]int{}
	var has [256]bool
	has[wordEnd[0]] = true
	for _, data := range documents {
		for _, b := range data {
			has[b] = true
		}
		for _, of := range []string{` [a-zA-Z]{2,}|\n +`, `\n *(?:- )?[a-z]+:? ?`} {
			for _, word := range regexp.MustCompile(of).FindAllString(string(data), -1) {
				often[word]++
			}
		}
	}
	all := slices.SortedFunc(maps.Keys(often), func(a, b string) int {
		return cmp.Or(often[b]-often[a], strings.Compare(a, b))
	})
	var pairs []string
	for b := range has {
		if !has[b] && len(all) > 0 {
			list += string([]byte{byte(b)}) + all[0] + wordEnd
			pairs, all = append(pairs, all[0], string([]byte{byte(b)})), all[1:]
		}
	}
	// The longest of those that begin alike comes first.
	for i := 0; i < len(pairs); i += 2 {
		for k := i + 2; k < len(pairs); k += 2 {
			if len(pairs[k]) > len(pairs[i]) {
				pairs[i], pairs[i+1], pairs[k], pairs[k+1] = pairs[k], pairs[k+1], pairs[i], pairs[i+1]
			}
		}
	}
	return list, strings.NewReplacer(pairs...)
}
