package desk

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

	"fettle/store"
	"fettle/store/photos"
	"fettle/store/seal"
	"fettle/store/wholefile"
	"fettle/workflow"
)

// An airframe is carried from one store to another in a zip file: manifest.json
// says of which journal and what its tree comes to; journal has one record a
// line, in base64; documents and photos have one file each.
const (
	carryFormat  = "fettle-airframe/1"
	manifestFile = "manifest.json"
	journalFile  = "journal"
	documentsIn  = "documents/"
	photosIn     = "photos/"

	mostCarried = 2 << 30 // bytes of one file inside, unpacked
)

type manifest struct {
	Format string `json:"format"`
	Mark   string `json:"mark"`
	Size   int64  `json:"size"`
	Root   string `json:"root"` // base64
	Made   string `json:"made"`
}

// An Exported says what is to be known of the photos of an airframe in a file.
type Exported struct {
	Missing []string // which are left out
	Placed  []string // which say where they were taken
}

// Export writes one airframe, with everything its journal names, to a new file.
// Photos are in it as they were kept, so that the journal still holds for them.
func (d *Desk) Export(ctx context.Context, mark, to string) (out Exported, err error) {
	state, err := d.State(ctx, mark)
	if err != nil {
		return out, err
	}
	l, err := life(ctx, d.Store, mark, state.Size())
	if err != nil {
		return out, err
	}
	err = wholefile.Create(ctx, to, 0o600, func(file *os.File) (err error) {
		out, err = d.pack(file, l)
		return err
	})
	if err != nil {
		return out, fmt.Errorf("writing the airframe: %w", taken(to, err))
	}
	return out, nil
}

func (d *Desk) pack(w io.Writer, l Life) (out Exported, err error) {
	z := zip.NewWriter(w)
	head := seal.HeadOf(l.Records)
	m, err := json.MarshalIndent(manifest{carryFormat, l.Mark, head.Size, base64.StdEncoding.EncodeToString(head.Root[:]), stamp(d.Now())}, "", "  ")
	if err != nil {
		return out, err
	}
	var journal bytes.Buffer
	for _, record := range l.Records {
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
	for _, data := range l.Documents {
		put(documentsIn+strings.TrimPrefix(store.Digest(data), "sha256:"), data)
	}
	packed := map[string]bool{}
	for _, p := range l.Photos {
		data, readErr := d.Photos.Read(p.Photo)
		if readErr != nil {
			out.Missing = append(out.Missing, fmt.Sprintf("%s: %v", p.Name, readErr))
		} else if !packed[p.Photo] {
			packed[p.Photo] = true
			if photos.Position(data) {
				out.Placed = append(out.Placed, p.Name)
			}
			put(photosIn+strings.TrimPrefix(p.Photo, "sha256:"), data)
		}
	}
	return out, errors.Join(err, z.Close())
}

// ErrNotCarried is given for a file that no airframe can be taken from.
var ErrNotCarried = errors.New("not a whole airframe")

// Import takes an airframe out of a file that Export wrote, after its tree and
// everything it names was checked. Two lives are never merged: a mark that is
// there already is refused.
func (d *Desk) Import(ctx context.Context, from string) (*workflow.State, error) {
	l, pictures, err := unpack(from)
	if err != nil {
		return nil, err
	}
	err = d.Store.View(ctx, func(r store.Reader) error {
		size, err := r.Size(l.Mark)
		if err == nil && size > 0 {
			return &workflow.Refusal{What: "import of " + l.Mark, Reasons: []workflow.Reason{{Because: workflow.ByState,
				Text: "an airframe of that mark is here already, and two lives are never merged", Do: "take the file to another store"}}}
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	for _, data := range pictures {
		if _, err := d.Photos.Put(ctx, "a photo of the file", data); err != nil {
			return nil, err
		}
	}
	if err := l.settle(ctx, d.Store); err != nil {
		return nil, err
	}
	return d.State(ctx, l.Mark)
}

// unpack reads a file and checks that it is whole: the tree, every entry, every
// document that the journal names.
func unpack(from string) (Life, [][]byte, error) {
	bad := func(format string, args ...any) (Life, [][]byte, error) {
		return Life{}, nil, fmt.Errorf("%s: %w: %s", from, ErrNotCarried, fmt.Sprintf(format, args...))
	}
	z, err := zip.OpenReader(from)
	if errors.Is(err, os.ErrNotExist) {
		return Life{}, nil, err
	}
	if err != nil {
		return bad("%v", err)
	}
	defer func() { _ = z.Close() }()
	var m manifest
	var l Life
	var pictures [][]byte
	for _, f := range z.File {
		data, err := readZipped(f)
		if err != nil {
			return bad("%s: %v", f.Name, err)
		}
		switch {
		case f.Name == manifestFile:
			if err := json.Unmarshal(data, &m); err != nil {
				return bad("%s: %v", f.Name, err)
			}
		case f.Name == journalFile:
			if l.Records, err = readLines(data); err != nil {
				return bad("%s: %v", f.Name, err)
			}
		case strings.HasPrefix(f.Name, documentsIn):
			l.Documents = append(l.Documents, data)
		case strings.HasPrefix(f.Name, photosIn):
			pictures = append(pictures, data)
		default:
			return bad("it holds %q", f.Name)
		}
	}
	l.Mark = m.Mark
	head := seal.HeadOf(l.Records)
	switch {
	case m.Format != carryFormat:
		return bad("its format is %q, and this fettle knows %q", m.Format, carryFormat)
	case m.Size != head.Size || m.Root != base64.StdEncoding.EncodeToString(head.Root[:]):
		return bad("its journal does not hash to what the file says of it")
	}
	if err := l.whole(); err != nil {
		return bad("%v", err)
	}
	return l, pictures, nil
}

// whole checks that a life replays, under its own mark, with the documents it
// has.
func (l Life) whole() error {
	entries, err := workflow.Decode(l.Records, 0)
	if err != nil {
		return err
	}
	if len(entries) == 0 {
		return errors.New("its journal is empty")
	}
	if first, ok := entries[0].Facts.(workflow.Registered); !ok || first.Mark != l.Mark {
		return fmt.Errorf("its journal is not that of %q", l.Mark)
	}
	var have []string
	for _, data := range l.Documents {
		have = append(have, store.Digest(data))
	}
	sheets, procedures := workflow.Digests(entries)
	for _, digest := range slices.Concat(sheets, procedures) {
		if !slices.Contains(have, digest) {
			return fmt.Errorf("the document %s is missing", digest)
		}
	}
	return nil
}

func readZipped(f *zip.File) ([]byte, error) {
	in, err := f.Open()
	if err != nil {
		return nil, err
	}
	data, err := io.ReadAll(io.LimitReader(in, mostCarried+1))
	if err == nil && len(data) > mostCarried {
		err = errors.New("it is too large")
	}
	return data, errors.Join(err, in.Close())
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
