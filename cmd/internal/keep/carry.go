package keep

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strings"

	"fettle/steps/lists"
	"fettle/store"
	"fettle/store/photos"
	"fettle/store/seal"
	"fettle/store/wholefile"
)

// An airframe goes from one store to another in a zip file: manifest.json names
// the airframe and the root of its journal's tree; journal has one record per
// line, in base64; each document and photo is a file.
const (
	carryFormat  = "fettle-airframe/1"
	manifestFile = "manifest.json"
	journalFile  = "journal"
	documentsIn  = "documents/"
	photosIn     = "photos/"
)

type manifest struct {
	Format string `json:"format"`
	Mark   string `json:"mark"`
	Size   int64  `json:"size"`
	Root   string `json:"root"` // base64
	Made   string `json:"made"`
}

// Exported says what to know about the photos in an exported file.
type Exported struct {
	Missing   []string `json:"missing_photos,omitempty"` // left out
	Geotagged []string `json:"placed_photos,omitempty"`  // they say where they were taken
}

// Export writes one airframe, with everything its journal refers to, to a new
// file. Photos are not changed, so that they still match the journal.
func (k *Keeper) Export(ctx context.Context, mark, to string) (out Exported, err error) {
	state, err := k.Desk.State(ctx, mark)
	if err != nil {
		return out, err
	}
	b, err := bundle(ctx, k.Desk.Store, state.Airframe.Mark, state.Size())
	if err != nil {
		return out, err
	}
	err = wholefile.Create(ctx, to, 0o600, func(file *os.File) (err error) {
		out, err = k.pack(file, b)
		return err
	})
	if err != nil {
		return out, fmt.Errorf("writing the airframe: %w", taken(to, err))
	}
	return out, nil
}

func (k *Keeper) pack(w io.Writer, b Bundle) (out Exported, err error) {
	if size := int64(len(b.Records)); size > mostEntries {
		return out, fmt.Errorf("the journal of %s has %d entries; the limit for one file is %d: copy the whole store instead (fettle backup)", b.Mark, size, mostEntries)
	}
	z := zip.NewWriter(w)
	head := seal.HeadOf(b.Records)
	m, err := json.MarshalIndent(manifest{carryFormat, b.Mark, head.Size, base64.StdEncoding.EncodeToString(head.Root[:]), stamp(k.Desk.Now())}, "", "  ")
	if err != nil {
		return out, err
	}
	var journal bytes.Buffer
	for _, record := range b.Records {
		journal.WriteString(base64.StdEncoding.EncodeToString(record) + "\n")
	}
	put := func(name string, data []byte) {
		if err == nil {
			var file io.Writer
			if file, err = z.Create(name); err == nil {
				_, err = file.Write(data)
			}
		}
	}
	put(manifestFile, m)
	put(journalFile, journal.Bytes())
	for _, data := range b.Documents {
		put(documentsIn+strings.TrimPrefix(store.Digest(data), "sha256:"), data)
	}
	packed := map[string]bool{}
	for _, p := range b.Photos {
		data, readErr := k.Desk.Photos.Read(p.Photo)
		if readErr != nil {
			if text := fmt.Sprintf("%s: %v", p.Name, readErr); !lists.Contains(out.Missing, text) {
				out.Missing = append(out.Missing, text)
			}
		} else if !packed[p.Photo] {
			packed[p.Photo] = true
			if photos.Position(data) {
				out.Geotagged = append(out.Geotagged, p.Name)
			}
			put(photosIn+strings.TrimPrefix(p.Photo, "sha256:"), data)
		}
	}
	if err == nil {
		err = z.Close()
	}
	return out, err
}
