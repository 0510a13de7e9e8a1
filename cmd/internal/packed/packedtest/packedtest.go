// Package packedtest holds a zip file of texts against the folder that it was made of.
package packedtest

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"io"
	"os"
	"testing"

	"fettle/cmd/internal/packed"
)

// Check compares the packed file with the files of the folder. With update it packs them anew, and skips the test.
func Check(t *testing.T, update bool, folder, file string) {
	t.Helper()
	files, err := os.ReadDir(folder)
	if err != nil || len(files) == 0 {
		t.Fatalf("%d files: %v", len(files), err)
	}
	texts := map[string][]byte{}
	for _, f := range files {
		if texts[f.Name()], err = os.ReadFile(folder + "/" + f.Name()); err != nil {
			t.Fatal(err)
		}
	}
	if update {
		var out bytes.Buffer
		z := zip.NewWriter(&out)
		z.RegisterCompressor(zip.Deflate, func(w io.Writer) (io.WriteCloser, error) { return flate.NewWriter(w, flate.BestCompression) })
		for _, f := range files {
			w, err := z.Create(f.Name())
			if err == nil {
				_, err = w.Write(texts[f.Name()])
			}
			if err != nil {
				t.Fatal(err)
			}
		}
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, out.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		t.Skip("packed; run the tests again")
	}
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	if len(z.File) != len(files) {
		t.Errorf("%d files are packed, and %d are in %s", len(z.File), len(files), folder)
	}
	for name, want := range texts {
		if got, err := packed.Text(string(data), name); err != nil || got != string(want) {
			t.Errorf("%s is packed as it was before (%v); run the test with -update", name, err)
		}
	}
}
