package seen

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"fettle/store"
	"fettle/store/seal"
	"fettle/store/wholefile"
)

const (
	listFile   = "journals"
	claimsFile = "claims"

	// A time stands in as many bytes whenever it is, so that it can be written anew in its place.
	timeForm = "2006-01-02T15:04:05Z\n"

	mostHeader = 512
	mostFile   = 64 << 20
)

var errNotKept = errors.New("it is not kept, or not as it was written")

func journalFile(mark string) string { return url.QueryEscape(mark) + ".journal" }

func (s *Store) path(file string) string { return filepath.Join(s.Folder, file) }

// write puts a file in the place of another one. What fails is left undone: it is a copy.
func (s *Store) write(file string, data []byte) {
	if wholefile.MakeFolder(s.Folder) != nil {
		return
	}
	draft, err := os.CreateTemp(s.Folder, "draft-*")
	if err != nil {
		return
	}
	_, err = draft.Write(data)
	if err = errors.Join(err, draft.Close()); err == nil {
		err = os.Rename(draft.Name(), s.path(file))
	}
	if err != nil {
		_ = os.Remove(draft.Name())
	}
}

// stamp is the time as a file begins with it.
func (s *Store) stamp() string { return s.now().UTC().Format(timeForm) }

// touch notes that what the file has was seen now.
func (s *Store) touch(name string) {
	file, err := os.OpenFile(s.path(name), os.O_WRONLY, 0)
	if err != nil {
		return
	}
	_, _ = file.WriteAt([]byte(s.stamp()), 0)
	_ = file.Close()
}

// stamped is the time that data begins with, and the rest.
func stamped(data []byte) (at time.Time, rest []byte, err error) {
	if len(data) < len(timeForm) {
		return at, nil, errNotKept
	}
	at, err = time.Parse(timeForm, string(data[:len(timeForm)]))
	return at, data[len(timeForm):], err
}

func (s *Store) keepList(all []store.Journal) {
	var list bytes.Buffer
	for _, j := range all {
		fmt.Fprintf(&list, "%d %q\n", j.Size, j.Mark)
	}
	s.keepFile(listFile, list.Bytes())
}

// keepFile keeps a small file, or notes that it is still the same.
func (s *Store) keepFile(name string, data []byte) {
	if s.Folder == "" {
		return
	}
	had, err := wholefile.Read(s.path(name), mostFile)
	if _, rest, wrong := stamped(had); err == nil && wrong == nil && bytes.Equal(rest, data) {
		s.touch(name)
		return
	}
	s.write(name, append([]byte(s.stamp()), data...))
}

func (s *Store) keepClaims(all []*store.Claim) {
	if data, err := json.Marshal(all); err == nil {
		s.keepFile(claimsFile, data)
	}
}

func (s *Store) claims() (all []*store.Claim, at time.Time, err error) {
	data, err := wholefile.Read(s.path(claimsFile), mostFile)
	if err != nil {
		return nil, at, err
	}
	at, rest, err := stamped(data)
	if err == nil {
		err = json.Unmarshal(rest, &all)
	}
	return slices.DeleteFunc(all, func(c *store.Claim) bool { return c == nil }), at, err
}

func (s *Store) list() (all []store.Journal, at time.Time, err error) {
	data, err := wholefile.Read(s.path(listFile), mostFile)
	if err != nil {
		return nil, at, err
	}
	at, rest, err := stamped(data)
	for _, line := range strings.SplitAfter(string(rest), "\n") {
		var j store.Journal
		if line == "" || err != nil {
			break
		}
		if _, err = fmt.Sscanf(line, "%d %q\n", &j.Size, &j.Mark); err == nil {
			all = append(all, j)
		}
	}
	return all, at, err
}

// A kept is a journal of the copy.
type kept struct {
	mark    string
	head    seal.Head
	at      time.Time
	records [][]byte
}

func (s *Store) keepJournal(mark string, head seal.Head, records [][]byte) {
	data := append([]byte(s.stamp()), fmt.Sprintf("%q %d %s\n", mark, head.Size, head.Root)...)
	for _, record := range records {
		data = append(binary.BigEndian.AppendUint32(data, uint32(len(record))), record...)
	}
	if file := journalFile(mark); len(data) <= mostFile && s.may(file, len(data)) {
		s.write(file, data)
	}
}

// header is what is known of a journal of the copy without reading it.
func (s *Store) header(mark string) (kept, error) {
	file, err := os.Open(s.path(journalFile(mark)))
	if err != nil {
		return kept{}, err
	}
	defer file.Close()
	data := make([]byte, mostHeader)
	n, _ := file.Read(data)
	k, _, err := parseHeader(mark, data[:n])
	return k, err
}

func parseHeader(mark string, data []byte) (k kept, rest []byte, err error) {
	at, rest, err := stamped(data)
	if err != nil {
		return k, nil, err
	}
	line, rest, found := bytes.Cut(rest, []byte("\n"))
	root := ""
	if _, err := fmt.Sscanf(string(line), "%q %d %s", &k.mark, &k.head.Size, &root); err != nil || !found || k.mark != mark {
		return k, nil, errNotKept
	}
	k.at = at
	k.head.Root, err = tlog.ParseHash(root)
	return k, rest, err
}

// journal reads a journal of the copy, which must sum up to its root.
func (s *Store) journal(mark string) (kept, error) {
	data, err := wholefile.Read(s.path(journalFile(mark)), mostFile)
	if err != nil {
		return kept{}, err
	}
	k, rest, err := parseHeader(mark, data)
	for err == nil && len(rest) > 0 {
		if len(rest) < 4 || uint64(len(rest)-4) < uint64(binary.BigEndian.Uint32(rest)) {
			return k, errNotKept
		}
		end := 4 + int(binary.BigEndian.Uint32(rest))
		k.records = append(k.records, rest[4:end:end])
		rest = rest[end:]
	}
	if err == nil && seal.HeadOf(k.records) != k.head {
		err = errNotKept
	}
	return k, err
}

func documentFile(digest string) string { return url.QueryEscape(digest) + ".document" }

func (s *Store) keepDocument(digest string, document []byte) {
	if info, err := os.Stat(s.path(documentFile(digest))); err == nil && info.Size() == int64(len(document)) {
		return
	}
	if file := documentFile(digest); s.may(file, len(document)) {
		s.write(file, document)
	}
}

func (s *Store) document(digest string) ([]byte, error) {
	document, err := wholefile.Read(s.path(documentFile(digest)), store.MaxDocument)
	if err == nil && store.Digest(document) != digest {
		err = errNotKept
	}
	return document, err
}
