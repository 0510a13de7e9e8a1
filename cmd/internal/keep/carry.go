package keep

import (
	"archive/zip"
	"bufio"
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"fettle/cmd/internal/desk"
	"fettle/store"
	"fettle/store/memory"
	"fettle/store/photos"
	"fettle/store/seal"
	"fettle/store/wholefile"
	"fettle/workflow"
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

	mostCarried = 1 << 30 // bytes of the journal and its documents, unpacked
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
			if text := fmt.Sprintf("%s: %v", p.Name, readErr); !slices.Contains(out.Missing, text) {
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
	return out, errors.Join(err, z.Close())
}

// ErrNotCarried is returned for a file that no airframe can be imported from.
var ErrNotCarried = errors.New("not a complete airframe file")

// Import takes an airframe from a file that Export wrote, after checking its tree,
// its entries and everything they refer to; photos may be missing. Journals
// are never merged: a mark that the store already has is refused. missing names
// the photos that the file lacks.
func (k *Keeper) Import(ctx context.Context, from string) (state *workflow.State, missing []string, err error) {
	z, err := zip.OpenReader(from)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil, err
	}
	if errors.Is(err, zip.ErrFormat) {
		err = errors.New("it was not written by export, or its end is missing")
	}
	if err != nil {
		return nil, nil, notCarried(from, err)
	}
	defer func() { _ = z.Close() }()
	c, err := openCarried(z.File)
	if err != nil {
		return nil, nil, notCarried(from, err)
	}
	b, err := c.bundle()
	if err == nil {
		err = k.tryOut(ctx, b)
	}
	if ctx.Err() != nil {
		return nil, nil, ctx.Err()
	}
	if err != nil {
		return nil, nil, notCarried(from, err)
	}
	err = k.Desk.Store.View(ctx, func(r store.Reader) error {
		size, err := r.Size(b.Mark)
		if err == nil && size > 0 {
			return &workflow.Refusal{What: "import of " + b.Mark, Reasons: []workflow.Reason{{Because: workflow.ByState,
				Text: "this store already has an airframe with that mark, and journals are never merged", Remedy: workflow.Remedy{Kind: workflow.ToUseOtherStore}}}}
		}
		return err
	})
	if err != nil {
		return nil, nil, err
	}
	for _, p := range b.Photos {
		data, err := c.named(photosIn, p.Photo, photos.MaxBytes)
		if errors.Is(err, errNotInside) {
			missing = append(missing, p.Name)
			continue
		}
		if err != nil {
			return nil, nil, notCarried(from, err)
		}
		if _, err := k.Desk.Photos.Put(ctx, p.Name, data); err != nil {
			return nil, nil, err
		}
	}
	if err := b.settle(ctx, k.Desk.Store); err != nil {
		return nil, nil, err
	}
	state, err = k.Desk.State(ctx, b.Mark)
	return state, missing, err
}

func notCarried(from string, err error) error {
	return fmt.Errorf("%s: %w: %v", from, ErrNotCarried, err)
}

// tryOut checks that a bundle replays, under its own mark, before it goes into the
// store, because a journal is never deleted from it.
func (k *Keeper) tryOut(ctx context.Context, b Bundle) error {
	if err := workflow.CheckMark(b.Mark); err != nil {
		return err
	}
	if len(b.Records) == 0 {
		return errors.New("its journal is empty")
	}
	trial := &desk.Desk{Store: memory.New(), Now: k.Desk.Now}
	if err := b.settle(ctx, trial.Store); err != nil {
		return err
	}
	_, err := trial.State(ctx, b.Mark)
	return err
}

// carried are the files inside an exported file, by name. Each is read only when
// it is needed.
type carried struct {
	files map[string]*zip.File
	room  int64 // bytes that may still be held in memory
}

var errNotInside = errors.New("missing")

func openCarried(files []*zip.File) (*carried, error) {
	c := &carried{files: map[string]*zip.File{}, room: mostCarried}
	for _, f := range files {
		known := f.Name == manifestFile || f.Name == journalFile || strings.HasPrefix(f.Name, documentsIn) || strings.HasPrefix(f.Name, photosIn)
		if !known {
			return nil, fmt.Errorf("it contains an unexpected file %q", f.Name)
		}
		if c.files[f.Name] != nil {
			return nil, fmt.Errorf("it contains %q twice", f.Name)
		}
		c.files[f.Name] = f
	}
	return c, nil
}

// bundle reads the journal, which must have the root in the manifest, and the
// documents that it refers to.
func (c *carried) bundle() (Bundle, error) {
	var b Bundle
	data, err := c.read(manifestFile, store.MaxDocument)
	if err != nil {
		return b, err
	}
	var m manifest
	if err := json.Unmarshal(data, &m); err != nil {
		return b, fmt.Errorf("%s: %w", manifestFile, err)
	}
	if m.Format != carryFormat {
		return b, fmt.Errorf("its format is %q, but this program reads %q", m.Format, carryFormat)
	}
	if data, err = c.read(journalFile, c.room); err != nil {
		return b, err
	}
	c.room -= int64(len(data))
	b.Mark = m.Mark
	if b.Records, err = readLines(data); err != nil {
		return b, fmt.Errorf("%s: %w", journalFile, err)
	}
	head := seal.HeadOf(b.Records)
	if m.Size != head.Size || m.Root != base64.StdEncoding.EncodeToString(head.Root[:]) {
		return b, errors.New("its journal does not match its manifest")
	}
	return b, b.complete(func(digest string) ([]byte, error) {
		data, err := c.named(documentsIn, digest, min(c.room, store.MaxDocument))
		c.room -= int64(len(data))
		return data, err
	})
}

// named reads a document or photo by its digest.
func (c *carried) named(folder, digest string, most int64) ([]byte, error) {
	name := folder + strings.TrimPrefix(digest, "sha256:")
	data, err := c.read(name, most)
	if err == nil && store.Digest(data) != digest {
		err = fmt.Errorf("%s was changed after the export", name)
	}
	return data, err
}

func (c *carried) read(name string, most int64) ([]byte, error) {
	f := c.files[name]
	if f == nil {
		return nil, fmt.Errorf("%s is %w", name, errNotInside)
	}
	in, err := f.Open()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	data, err := io.ReadAll(io.LimitReader(in, most+1))
	if err == nil && int64(len(data)) > most {
		err = errors.New("it is too large")
	}
	if err := errors.Join(err, in.Close()); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return data, nil
}

func readLines(data []byte) ([][]byte, error) {
	var records [][]byte
	lines := bufio.NewScanner(bytes.NewReader(data))
	lines.Buffer(nil, 2*store.MaxRecord)
	for lines.Scan() {
		record, err := base64.StdEncoding.Strict().DecodeString(lines.Text())
		if err != nil {
			return nil, err
		}
		records = append(records, record)
	}
	return records, lines.Err()
}
