package procedures

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"flag"
	"io"
	"maps"
	"os"
	"path/filepath"
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
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	var by []byte
	for n := range len(samples) + 1 {
		dictionary := by
		z.RegisterCompressor(uint16(bySamples+n), func(w io.Writer) (io.WriteCloser, error) {
			return flate.NewWriterDict(w, flate.BestCompression, dictionary)
		})
		if n < len(samples) {
			sample, err := os.ReadFile(filepath.Join("library", samples[n]+".yaml"))
			if err != nil {
				t.Fatal(err)
			}
			by = slices.Concat(by, sample)
		}
	}
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		method := uint16(bySamples + len(samples))
		if n := slices.Index(samples[:], strings.TrimSuffix(filepath.Base(path), ".yaml")); n >= 0 {
			method = uint16(bySamples + n)
		}
		w, err := z.CreateHeader(&zip.FileHeader{Name: filepath.Base(path), Method: method, Comment: string(headOf(data))})
		if err == nil {
			_, err = w.Write(data)
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
