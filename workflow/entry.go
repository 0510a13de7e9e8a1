package workflow

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"time"
)

// An Entry is one line of a journal: something that happened.
type Entry struct {
	Position int64     // from 0, without gaps
	At       time.Time // when it happened, UTC
	Recorded time.Time // when it was entered, UTC; later than At when typed in afterwards
	By       string    // who
	Program  string    // the program version that wrote it
	Facts    Facts
}

// Facts are what an entry of one kind says.
type Facts interface {
	// Kind is the entry's kind, a past participle such as Joined.
	Kind() string
}

// ErrUnknownEntry is returned (wrapped) for an entry of a kind or version that
// this program does not know: the journal was written by a newer program.
var ErrUnknownEntry = errors.New("the journal holds an entry that this program does not know")

// ErrBadEntry is returned (wrapped) for bytes that are no entry.
var ErrBadEntry = errors.New("the journal holds something that is no entry")

// envelope is the stored form. Its field names are for ever.
type envelope struct {
	Position int64           `json:"position"`
	Kind     string          `json:"kind"`
	Version  int             `json:"v"`
	At       time.Time       `json:"at"`
	Recorded time.Time       `json:"recorded"`
	By       string          `json:"by"`
	Program  string          `json:"program"`
	Facts    json.RawMessage `json:"facts"`
}

// MarshalJSON gives the stored form.
func (e Entry) MarshalJSON() ([]byte, error) {
	facts, err := json.Marshal(e.Facts)
	if err != nil {
		return nil, fmt.Errorf("entry %d: %w", e.Position, err)
	}
	kind, ok := known(e.Facts.Kind())
	if !ok {
		return nil, fmt.Errorf("entry %d: %w: %q", e.Position, ErrUnknownEntry, e.Facts.Kind())
	}
	return json.Marshal(envelope{e.Position, e.Facts.Kind(), kind.version,
		e.At.UTC(), e.Recorded.UTC(), e.By, e.Program, facts})
}

// UnmarshalJSON reads the stored form, strictly.
func (e *Entry) UnmarshalJSON(data []byte) error {
	var env envelope
	if err := strictly(data, &env); err != nil {
		return fmt.Errorf("%w: %w", ErrBadEntry, err)
	}
	kind, ok := known(env.Kind)
	if !ok || kind.version != env.Version {
		return fmt.Errorf("%w: %q version %d at position %d, written by %q", ErrUnknownEntry, env.Kind, env.Version, env.Position, env.Program)
	}
	facts, err := kind.read(env.Facts)
	if err != nil {
		return fmt.Errorf("%w: %s at position %d: %w", ErrBadEntry, env.Kind, env.Position, err)
	}
	*e = Entry{env.Position, env.At, env.Recorded, env.By, env.Program, facts}
	return nil
}

// Decode reads the stored entries of a journal that begins at position from.
func Decode(records [][]byte, from int64) ([]Entry, error) {
	entries := make([]Entry, len(records))
	for i, record := range records {
		var err error
		if entries[i], err = decode(record, from+int64(i)); err != nil {
			return nil, err
		}
	}
	return entries, nil
}

// decodeOnly reads those entries of a whole journal that are of these kinds,
// without the cost of reading the rest.
func decodeOnly(records [][]byte, kinds ...string) ([]Entry, error) {
	var entries []Entry
	for i, record := range records {
		for _, kind := range kinds {
			if !bytes.Contains(record, []byte(`"`+kind+`"`)) {
				continue
			}
			e, err := decode(record, int64(i))
			if err != nil {
				return nil, err
			}
			if e.Facts.Kind() == kind {
				entries = append(entries, e)
				break
			}
		}
	}
	return entries, nil
}

func decode(record []byte, position int64) (Entry, error) {
	var e Entry
	if err := json.Unmarshal(record, &e); err != nil {
		return e, fmt.Errorf("position %d: %w", position, err)
	}
	if e.Position != position {
		return e, fmt.Errorf("%w: position %d says that it is %d", ErrBadEntry, position, e.Position)
	}
	return e, nil
}

// Encode gives the stored form of entries.
func Encode(entries []Entry) ([][]byte, error) {
	records := make([][]byte, len(entries))
	for i, e := range entries {
		record, err := json.Marshal(e)
		if err != nil {
			return nil, err
		}
		records[i] = record
	}
	return records, nil
}

// day is a day as reasons say it. The engine knows no one's own zone.
func day(t time.Time) string { return t.UTC().Format("2 January 2006 UTC") }

func strictly(data []byte, into any) error {
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	return d.Decode(into)
}
