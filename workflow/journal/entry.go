package journal

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
)

// An Entry is one line of a journal: something that happened.
type Entry struct {
	Position int64     // from 0, no gaps
	At       time.Time // when it happened, UTC
	Recorded time.Time // when it was entered, UTC; later than At if typed in afterwards
	By       string    // who
	Program  string    // the program version that wrote it
	Facts    Facts
}

// Late reports whether the entry was typed in later: more than ten minutes
// after the fact.
func (e Entry) Late() bool { return e.Recorded.Sub(e.At) > 10*time.Minute }

// Facts are what an entry records; each kind has its own type.
type Facts interface {
	// Kind is the entry's kind, a past participle such as Joined.
	Kind() string
}

// ErrUnknownEntry is returned (wrapped) for an entry of a kind or version that
// this program does not know: the journal was written by a newer program.
var ErrUnknownEntry = errors.New("the journal holds an entry that this program does not know")

// ErrBadEntry is returned (wrapped) for bytes that are not an entry.
var ErrBadEntry = errors.New("the journal holds something that is not an entry")

// envelope is the stored form. Its field names never change.
type envelope struct {
	Position int64     `json:"position"`
	Kind     string    `json:"kind"`
	Version  int       `json:"v"`
	At       time.Time `json:"at"`
	Recorded time.Time `json:"recorded"`
	By       string    `json:"by"`
	Program  string    `json:"program"`
	Facts    any       `json:"facts"`
}

// MarshalJSON returns the stored form.
func (e Entry) MarshalJSON() ([]byte, error) { return encode(e, byName()) }

func encode(e Entry, kinds map[string]Kind) ([]byte, error) {
	kind, ok := kinds[e.Facts.Kind()]
	if !ok {
		return nil, fmt.Errorf("entry %d: %w: %q", e.Position, ErrUnknownEntry, e.Facts.Kind())
	}
	record, err := json.Marshal(envelope{e.Position, kind.Name, kind.Version, e.At.UTC(), e.Recorded.UTC(), e.By, e.Program, e.Facts})
	if err != nil {
		return nil, fmt.Errorf("entry %d: %w", e.Position, err)
	}
	return record, nil
}

// UnmarshalJSON reads the stored form, strictly.
func (e *Entry) UnmarshalJSON(data []byte) error {
	read, err := decode(data, byName())
	if err == nil {
		*e = read
	}
	return err
}

// Decode reads the stored entries of a journal that begins at position from.
func Decode(records [][]byte, from int64) ([]Entry, error) {
	kinds := byName()
	entries := make([]Entry, len(records))
	for i, record := range records {
		var err error
		if entries[i], err = decodeAt(record, from+int64(i), kinds); err != nil {
			return nil, err
		}
	}
	return entries, nil
}

// Naming reads those entries of a whole journal that refer to something outside
// it: documents, seals and photos. It does not look at the others.
func Naming(records [][]byte) ([]Entry, error) {
	return only(records, func(k Kind) bool { return k.Names })
}

// Handling reads those entries of a whole journal that tell what of its equipment is in
// quarantine, and by which sheet. Of the others it finds only that their kind is known.
func Handling(records [][]byte) ([]Entry, error) {
	tell := []string{"", Registered{}.Kind(), JobOpened{}.Kind(), JobMoved{}.Kind(), JobAmended{}.Kind(), EquipmentChanged{}.Kind(), DamageFound{}.Kind(),
		QuarantineCleared{}.Kind(), FlightLogged{}.Kind(), Released{}.Kind(), Undone{}.Kind()}
	return only(records, func(k Kind) bool { return lists.Contains(tell, k.Name) })
}

// only decodes the entries of the kinds that are wanted; the zero kind is any that is unknown.
func only(records [][]byte, wanted func(Kind) bool) ([]Entry, error) {
	kinds := byName()
	var entries []Entry
	for i, record := range records {
		if !wanted(kinds[peekKind(record)]) {
			continue
		}
		e, err := decodeAt(record, int64(i), kinds)
		if err != nil {
			return nil, err
		}
		entries = append(entries, e)
	}
	return entries, nil
}

// Quarantines reports whether something was put in quarantine in a journal. It decodes
// nothing.
func Quarantines(records [][]byte) bool {
	found := DamageFound{}.Kind()
	return slices.ContainsFunc(records, func(record []byte) bool {
		return bytes.Contains(record, []byte(`"quarantine":`)) && peekKind(record) == found
	})
}

// SaysOfBench reports whether these records have what may concern a whole bench: a statement of a condition that was recorded since the
// one time, or a coat since the other, or since the third what was said last of a condition, where that may be left hot, on or plugged in:
// it does not rest so, or something that was said of it was taken back; or, among the latest, damage or a landing that asks for a check: what
// crashed is made safe first, however long ago that was. Nil: that is not looked for. known says that the records reach back
// so far, or tell without it.
func SaysOfBench(records [][]byte, stated, coated, left time.Time, rests func(is steps.Setting, since time.Time) bool) (says, known bool) {
	if rests != nil && slices.ContainsFunc(records[max(0, len(records)-crashed):], crashes) {
		return true, true
	}
	said, undone := map[string]settingAt{}, map[int64]bool{}
	for i, record := range slices.Backward(records) {
		kind := peekKind(record)
		states, coats, undoes := bytes.Contains(record, []byte(`"condition":`)), kind == Coated{}.Kind() || kind == Begun{}.Kind(), rests != nil && kind == Undone{}.Kind()
		if !states && !coats && !undoes && i > 0 {
			continue
		}
		env := peekSaid(record, undoes)
		recent := rests != nil && !env.Recorded.Before(left)
		if says = states && !env.Recorded.Before(stated) || coats && !env.Recorded.Before(coated) || recent && states && undone[env.Position]; says {
			return says, true
		}
		if !recent && env.Recorded.Before(stated) && env.Recorded.Before(coated) {
			return leaves(said, rests), true
		}
		for _, position := range env.Facts.TakesBack {
			undone[position] = true
		}
		for _, is := range append(env.Facts.Sets, env.Facts.Setting) {
			if last, had := said[is.Condition]; recent && is.Condition != "" && (!had || env.At.After(last.at)) {
				said[is.Condition] = settingAt{is, env.At}
			}
		}
	}
	return leaves(said, rests), false
}

// saidEntry is what of an entry tells when it says of which conditions how they stand, and what it takes back.
type saidEntry struct {
	Position int64     `json:"position"`
	At       time.Time `json:"at"`
	Recorded time.Time `json:"recorded"`
	Facts    struct {
		steps.Setting
		Sets      []steps.Setting `json:"sets"`
		TakesBack []int64         `json:"takes_back"`
	} `json:"facts"`
}

// peekSaid reads that of a record. The stored form has it all in one order, so that a look for each is enough, as many records are looked
// at; any other form needs a pass over the whole record, and so does what takes something back. What is no entry was recorded long ago, and
// decode reports what is wrong.
func peekSaid(record []byte, whole bool) (e saidEntry) {
	head, facts, is := bytes.Cut(record, []byte(`,"facts":{`))
	text := func(after string) string {
		_, rest, _ := bytes.Cut(head, []byte(after))
		value, _, _ := bytes.Cut(rest, []byte(`"`))
		return string(value)
	}
	number, _, _ := bytes.Cut(bytes.TrimPrefix(head, []byte(`{"position":`)), []byte(","))
	var bad [3]error
	e.Position, bad[0] = strconv.ParseInt(string(number), 10, 64)
	e.At, bad[1] = time.Parse(time.RFC3339, text(`,"at":"`))
	e.Recorded, bad[2] = time.Parse(time.RFC3339, text(`,"recorded":"`))
	whole = whole || !is || bad != [3]error{}
	for !whole {
		var condition, state []byte
		if _, facts, is = bytes.Cut(facts, []byte(`"condition":`)); !is {
			return e
		}
		condition, facts, _ = bytes.Cut(bytes.TrimPrefix(facts, []byte(`"`)), []byte(`","state":"`))
		state, facts, is = bytes.Cut(facts, []byte(`"`))
		whole = !is || bytes.ContainsAny(condition, `"\\`) || bytes.ContainsAny(state, `\\`)
		e.Facts.Sets = append(e.Facts.Sets, steps.Setting{Condition: string(condition), State: string(state)})
	}
	e = saidEntry{}
	_ = json.Unmarshal(record, &e)
	return e
}

type settingAt struct {
	steps.Setting
	at time.Time
}

func leaves(said map[string]settingAt, rests func(is steps.Setting, since time.Time) bool) bool {
	for _, is := range said {
		if !rests(is.Setting, is.at) {
			return true
		}
	}
	return false
}

// crashed is how many of the latest records of an airframe tell that it crashed, and nobody went on with it.
const crashed = 8

// crashes reports whether a record has damage, or a landing that asks for a check.
func crashes(record []byte) bool {
	kind := peekKind(record)
	return kind == DamageFound{}.Kind() || kind == FlightLogged{}.Kind() && bytes.Contains(record, []byte(`"check":`))
}

func decodeAt(record []byte, position int64, kinds map[string]Kind) (Entry, error) {
	e, err := decode(record, kinds)
	if err != nil {
		return e, fmt.Errorf("position %d: %w", position, err)
	}
	if e.Position != position {
		return e, fmt.Errorf("%w: the entry at position %d says that it is at %d", ErrBadEntry, position, e.Position)
	}
	return e, nil
}

// decode reads one entry in one pass. It looks up the kind first, so that the
// facts are decoded straight into their type.
func decode(record []byte, kinds map[string]Kind) (Entry, error) {
	name := peekKind(record)
	kind, known := kinds[name]
	var env envelope
	facts := func() Facts { return nil }
	if known {
		target := kind.target
		if len(kind.earlier) > 0 {
			if earlier, ok := kind.earlier[peekVersion(record)]; ok {
				target, kind.Version = earlier, peekVersion(record)
			}
		}
		env.Facts, facts = target()
	}
	err := strictly(record, &env)
	switch {
	case name != "" && env.Kind == name && (!known || env.Version != kind.Version):
		return Entry{}, fmt.Errorf("%w: %q version %d at position %d, written by %q", ErrUnknownEntry, env.Kind, env.Version, env.Position, env.Program)
	case err != nil:
		return Entry{}, fmt.Errorf("%w: %w", ErrBadEntry, err)
	case env.Kind != name:
		return Entry{}, fmt.Errorf("%w: its kind is given twice", ErrBadEntry)
	case name == "":
		return Entry{}, fmt.Errorf("%w: it has no kind", ErrBadEntry)
	case env.Facts == nil, !bytes.Contains(record, []byte(`"facts"`)):
		return Entry{}, fmt.Errorf("%w: %s has no facts", ErrBadEntry, name)
	}
	return Entry{env.Position, env.At, env.Recorded, env.By, env.Program, facts()}, nil
}

// peekKind returns the kind that a record names; "": none. The stored form
// begins with the position and the kind, so that a look at the beginning is
// enough; any other order needs a pass over the whole record.
func peekKind(record []byte) string {
	if rest, ok := bytes.CutPrefix(record, []byte(`{"position":`)); ok {
		rest = bytes.TrimLeft(rest, "0123456789")
		if rest, ok := bytes.CutPrefix(rest, []byte(`,"kind":"`)); ok {
			if name, _, ok := bytes.Cut(rest, []byte(`"`)); ok && !bytes.Contains(name, []byte(`\`)) {
				return string(name)
			}
		}
	}
	var env struct {
		Kind string `json:"kind"`
	}
	_ = json.Unmarshal(record, &env) // decode reports what is wrong
	return env.Kind
}

// peekVersion returns the version that a record names.
func peekVersion(record []byte) int {
	var env struct {
		Version int `json:"v"`
	}
	_ = json.Unmarshal(record, &env) // decode reports what is wrong
	return env.Version
}

// Encode returns the stored form of entries.
func Encode(entries []Entry) ([][]byte, error) {
	records := make([][]byte, len(entries))
	kinds := byName()
	for i, e := range entries {
		record, err := encode(e, kinds)
		if err != nil {
			return nil, err
		}
		records[i] = record
	}
	return records, nil
}

// strictly decodes one JSON value with nothing unknown in it and nothing after it.
func strictly(data []byte, into any) error {
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		return err
	}
	if len(bytes.TrimSpace(data[d.InputOffset():])) > 0 {
		return errors.New("there is data after its end")
	}
	return nil
}

// Any reports whether any of the entries is such.
// It is not inlined: its copies in all callers would take 4 KB.
//
//go:noinline
func Any(all []Entry, such func(Entry) bool) bool { return slices.ContainsFunc(all, such) }
