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

	"fettle/store"
	"fettle/store/seal"
	"fettle/store/wholefile"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// The limits of what is imported. A file comes from somebody else, and what it costs to
// look into it must not depend on what they packed. Every command on an airframe replays
// its journal, which takes a second and 100 MB for as many entries as these; twenty years
// of one airframe, flown and repaired on fifty days a year, are some 50,000.
const (
	mostEntries   = 100_000
	mostUnpacked  = 40 << 20 // bytes of the journal, as it is packed, and its documents
	mostDocuments = 32 << 20 // bytes of these, 500 builds
	mostManifest  = 8 << 10
	mostPacked    = 4 << 30 // bytes of the file, photos included
	mostListed    = 4 << 20 // bytes of the zip's list of files: some 30,000 of them
)

// carried is an exported file. Each file inside is read only when it is needed.
type carried struct {
	file  *os.File
	files map[string]*zip.File
	room  int64 // bytes that may still be unpacked
}

var (
	errNotInside = errors.New("missing")
	errChanged   = errors.New("was changed after the export")
)

// openCarried opens an exported file and reads its list of files.
func openCarried(ctx context.Context, from string) (c *carried, err error) {
	file, err := wholefile.Open(from)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			_ = file.Close()
		}
	}()
	info, err := file.Stat()
	if err != nil {
		return nil, err
	}
	if info.Size() > mostPacked {
		return nil, notCarried(from, fmt.Errorf("it has more than %d GiB", mostPacked>>30))
	}
	list := &limited{ctx: ctx, from: file, left: mostListed}
	z, err := zip.NewReader(list, info.Size())
	if list.left < 0 {
		err = errListTooLong
	} else if errors.Is(err, zip.ErrFormat) {
		err = advisedError{errors.New("it was not made by fettle export, or is truncated"), "name a file that fettle export made, or ask for a new one"}
	}
	if err != nil {
		return nil, notCarried(from, err)
	}
	list.free = true // the files inside have limits of their own
	c = &carried{file: file, files: map[string]*zip.File{}, room: mostUnpacked}
	for _, f := range z.File {
		known := f.Name == manifestFile || f.Name == journalFile || strings.HasPrefix(f.Name, documentsIn) || strings.HasPrefix(f.Name, photosIn)
		if !known {
			return nil, notCarried(from, fmt.Errorf("it contains an unexpected file %.80q", f.Name))
		}
		if c.files[f.Name] != nil {
			return nil, notCarried(from, fmt.Errorf("it contains %.80q twice", f.Name))
		}
		c.files[f.Name] = f
	}
	return c, nil
}

func (c *carried) close() { _ = c.file.Close() }

// limited reads until its context ends, and so many bytes unless it is free.
type limited struct {
	ctx  context.Context
	from io.ReaderAt
	left int64
	free bool
}

var errListTooLong = errors.New("it lists too many files")

// ReadAt reads, or returns the error of the context or of the limit.
func (l *limited) ReadAt(b []byte, at int64) (int, error) {
	if err := l.ctx.Err(); err != nil {
		return 0, err
	}
	if !l.free {
		if l.left -= int64(len(b)); l.left < 0 {
			return 0, errListTooLong
		}
	}
	return l.from.ReadAt(b, at)
}

// bundle reads the journal, which must have the root in the manifest, and the
// documents that it refers to. It goes through the journal twice: what can be seen to be
// wrong in a record by itself, or by the root, is found before any of them is held.
func (c *carried) bundle(ctx context.Context) (Bundle, error) {
	var b Bundle
	m, err := c.manifest(ctx)
	if err != nil {
		return b, err
	}
	b.Mark = m.Mark
	var head seal.Growing
	check := journal.ImportCheck()
	var length int64 // of all records
	err = c.eachRecord(ctx, func(i int64, record []byte) error {
		if i == m.Size {
			return fmt.Errorf("it has more than the %d entries that its manifest says", m.Size)
		}
		head.Add(record)
		length += int64(len(record))
		return check(record, i)
	})
	if err != nil {
		return b, err
	}
	if now := head.Head(); m.Size != now.Size || m.Root != base64.StdEncoding.EncodeToString(now.Root[:]) {
		return b, errors.New("its journal does not match its manifest")
	}
	all := make([]byte, 0, length)
	b.Records = make([][]byte, 0, m.Size)
	err = c.eachRecord(ctx, func(_ int64, record []byte) error {
		from := len(all)
		all = append(all, record...)
		b.Records = append(b.Records, slices.Clip(all[from:]))
		return nil
	})
	if err != nil {
		return b, err
	}
	c.room = min(c.room-length, mostDocuments)
	return b, b.complete(func(digest string) ([]byte, error) {
		data, err := c.named(ctx, documentsIn, digest, min(c.room, store.MaxDocument))
		c.room -= int64(len(data))
		return data, err
	})
}

func (c *carried) manifest(ctx context.Context) (m manifest, err error) {
	data, err := c.read(ctx, manifestFile, mostManifest)
	if err != nil {
		return m, err
	}
	if err = journal.CheckJSON(data); err == nil {
		err = json.Unmarshal(data, &m)
	}
	if err != nil {
		return m, fmt.Errorf("%s: %w", manifestFile, err)
	}
	switch {
	case m.Format != carryFormat:
		return m, advisedError{fmt.Errorf("its format is %.40q, but this program reads %q", m.Format, carryFormat), ofANewer}
	case m.Size <= 0:
		return m, errors.New("its journal is empty")
	case m.Size > mostEntries:
		return m, advisedError{fmt.Errorf("its journal has %d entries; the limit is %d", m.Size, mostEntries), "ask for a backup of the whole store, and name that with --store"}
	}
	return m, workflow.CheckMark(m.Mark)
}

// eachRecord calls fn with each record of the journal, which fn may not keep.
func (c *carried) eachRecord(ctx context.Context, fn func(i int64, record []byte) error) error {
	in, err := c.open(ctx, journalFile, c.room)
	if err != nil {
		return err
	}
	defer in.Close()
	lines := bufio.NewScanner(in)
	lines.Buffer(nil, base64.StdEncoding.EncodedLen(store.MaxRecord)+2)
	var record []byte
	for i := int64(0); lines.Scan(); i++ {
		record, err = base64.StdEncoding.Strict().AppendDecode(record[:0], lines.Bytes())
		if err != nil {
			err = errors.New("it is not base64")
		} else if len(record) == 0 {
			err = errors.New("it is empty")
		}
		if err == nil {
			err = ctx.Err() // a little of the file may be a great many records
		}
		if err == nil {
			err = fn(i, record)
		}
		if err != nil {
			return fmt.Errorf("%s: line %d: %w", journalFile, i+1, err)
		}
	}
	if err := lines.Err(); errors.Is(err, bufio.ErrTooLong) {
		return fmt.Errorf("%s: a line is longer than any entry", journalFile)
	} else if err != nil {
		return fmt.Errorf("%s: %w", journalFile, err)
	}
	return nil
}

// named reads a document or photo by its digest.
func (c *carried) named(ctx context.Context, folder, digest string, most int64) ([]byte, error) {
	name := folder + strings.TrimPrefix(digest, "sha256:")
	data, err := c.read(ctx, name, most)
	if err == nil && store.Digest(data) != digest {
		err = fmt.Errorf("%s %w", name, errChanged)
	}
	return data, err
}

func (c *carried) read(ctx context.Context, name string, most int64) ([]byte, error) {
	in, err := c.open(ctx, name, most)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	var data bytes.Buffer
	data.Grow(int(c.files[name].UncompressedSize64) + bytes.MinRead) // no more than most
	if _, err := data.ReadFrom(in); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return data.Bytes(), nil
}

// open opens a file inside, unless it says that it has more than most bytes. It never has
// more than it says: the reader of zip files refuses that.
func (c *carried) open(ctx context.Context, name string, most int64) (io.ReadCloser, error) {
	f := c.files[name]
	if f == nil {
		return nil, fmt.Errorf("%.100s is %w", name, errNotInside)
	}
	if f.UncompressedSize64 > uint64(max(most, 0)) {
		return nil, fmt.Errorf("%.100s is too large: %d bytes unpacked; the limit is %d", name, f.UncompressedSize64, max(most, 0))
	}
	in, err := f.Open()
	if err != nil {
		return nil, fmt.Errorf("%.100s: %w", name, err)
	}
	return in, ctx.Err()
}
