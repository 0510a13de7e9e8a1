package journal

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf16"
	"unicode/utf8"

	"fettle/steps/lists"
	"fettle/steps/sorting"
)

// The years that an imported record may name.
const (
	firstYear = 1970
	lastYear  = 2200
)

// The limits of the lists in imported records, since what every command on a journal costs
// grows with them. An undo takes back a build at most; a release rests on some hundred
// readings, and twenty years have a thousand of them.
const (
	mostItems    = 10_000  // in the lists of one entry
	mostItemsAll = 300_000 // in those of a whole journal
)

// mostName is how many bytes an imported record may have for who wrote it, and with what.
const mostName = 200

// ImportCheck returns a function that checks the records of a journal of another store, one
// after the other, before they are taken in. Beside what every reader asks, it refuses what two readers may understand
// differently, and times that no clock of a bench has shown: see [CheckJSON]. Journals
// that a store already has are not asked for that, so that they stay readable.
func ImportCheck() func(record []byte, position int64) error {
	kinds := byName()
	var all int                 // items of lists
	undone := map[int64]int64{} // by which entry
	return func(record []byte, position int64) error {
		e, err := decodeAt(record, position, kinds)
		if err != nil {
			return err
		}
		items, err := checkJSON(record)
		all += items
		switch {
		case err != nil:
		case items > mostItems:
			err = fmt.Errorf("its lists have %d items; the limit is %d", items, mostItems)
		case all > mostItemsAll:
			err = fmt.Errorf("the lists of the entries up to it have %d items; the limit is %d", all, mostItemsAll)
		default:
			err = checkNames(e)
		}
		if err == nil {
			err = checkTwice(e, undone)
		}
		if err == nil && bytes.ContainsAny(record, "\r\n") {
			err = errors.New("it has more than one line")
		}
		if err != nil {
			return fmt.Errorf("position %d: %w: %w", position, ErrBadEntry, err)
		}
		return nil
	}
}

// checkNames refuses an entry by nobody, and names that are none.
func checkNames(e Entry) error {
	if strings.TrimSpace(e.By) == "" {
		return errors.New("it does not say by whom")
	}
	for _, name := range []struct{ key, text string }{{"by", e.By}, {"program", e.Program}} {
		if len(name.text) > mostName {
			return fmt.Errorf("its %q has %d bytes; the limit is %d", name.key, len(name.text), mostName)
		}
		if strings.ContainsAny(name.text, "\r\n") {
			return fmt.Errorf("its %q has more than one line", name.key)
		}
	}
	return nil
}

// checkTwice refuses an entry that names an earlier one twice, or takes back what was
// taken back.
func checkTwice(e Entry, undone map[int64]int64) error {
	earlier := slices.Clone(Earlier(e.Facts))
	sorting.Positions(earlier)
	for i := 1; i < len(earlier); i++ {
		if earlier[i] == earlier[i-1] {
			return fmt.Errorf("it names entry %d twice", earlier[i])
		}
	}
	if f, ok := e.Facts.(Undone); ok {
		for _, p := range f.TakesBack {
			if by, gone := undone[p]; gone {
				return fmt.Errorf("it takes back entry %d, which entry %d already took back", p, by)
			}
			undone[p] = e.Position
		}
	}
	return nil
}

// CheckJSON refuses JSON from elsewhere that is not UTF-8 or has an escape of half a
// character, gives a key twice in one object (also in other letters, which count as the
// same when it is read), or has a time outside the years 1970 to 2200.
func CheckJSON(data []byte) error {
	_, err := checkJSON(data)
	return err
}

// checkJSON is [CheckJSON], and counts the items of all lists.
func checkJSON(data []byte) (items int, err error) {
	if !utf8.Valid(data) {
		return 0, errors.New("it is not in UTF-8")
	}
	if half := halfCharacter(data); half != "" {
		return 0, fmt.Errorf("it has half a character, %s", half)
	}
	if items, err = checkKeys(data); err != nil {
		return 0, err
	}
	return items, json.Unmarshal(data, new(json.RawMessage)) // it is JSON
}

// halfCharacter finds an escape of one half of a pair of surrogates without the other,
// which each reader takes for something else.
func halfCharacter(data []byte) string {
	escaped := func(at int) (half rune, ok bool) { // the half that an escape at that place is
		if at+6 > len(data) || data[at] != '\\' || data[at+1] != 'u' {
			return 0, false
		}
		value, err := strconv.ParseUint(string(data[at+2:at+6]), 16, 16)
		return rune(value), err == nil && utf16.IsSurrogate(rune(value))
	}
	for i := 0; i < len(data); i++ {
		if data[i] != '\\' {
			continue
		}
		if first, ok := escaped(i); ok {
			if second, ok := escaped(i + 6); !ok || utf16.DecodeRune(first, second) == utf8.RuneError {
				return string(data[i : i+6])
			}
			i += 10
		}
		i++ // what is escaped may be a backslash
	}
	return ""
}

// deepest is more than any entry has.
const deepest = 100

// checkKeys goes over the bytes once, since a journal may have very many records. What
// it makes of what is no JSON says nothing.
func checkKeys(data []byte) (items int, err error) {
	type open struct {
		object, key bool // key: a string is the next key
		keys        []string
	}
	var outer []open
	var in open
	for i := 0; i < len(data); i++ {
		switch data[i] {
		case '{', '[':
			if data[i] == '[' {
				items++ // the first; an empty list counts as well
			}
			if len(outer) == deepest {
				return 0, fmt.Errorf("it is nested more than %d deep", deepest)
			}
			outer, in = append(outer, in), open{object: data[i] == '{', key: true}
		case '}', ']':
			if len(outer) > 0 {
				outer, in = outer[:len(outer)-1], outer[len(outer)-1]
			}
		case ',':
			if in.key = true; !in.object {
				items++
			}
		case ':':
			in.key = false
		case '"':
			from, escaped := i, false
			for i++; i < len(data) && data[i] != '"'; i++ {
				if data[i] == '\\' {
					i, escaped = i+1, true
				}
			}
			text := string(data[from+1 : min(i, len(data))])
			if escaped {
				_ = json.Unmarshal(data[from:min(i+1, len(data))], &text)
			}
			if !in.object || !in.key {
				if err := checkTime(text); err != nil {
					return 0, err
				}
				continue
			}
			if lists.ContainsFunc(in.keys, func(other string) bool { return strings.EqualFold(text, other) }) {
				return 0, fmt.Errorf("it gives %.40q twice", text)
			}
			in.keys = append(in.keys, text)
		}
	}
	return items, nil
}

// checkTime refuses a time outside the years, and nothing that is not a time.
func checkTime(text string) error {
	if len(text) < len("2006-01-02T15:04:05Z") || text[4] != '-' {
		return nil
	}
	at, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		return nil
	}
	if year := at.UTC().Year(); year < firstYear || year > lastYear {
		return fmt.Errorf("the time %.40s is not in the years %d to %d", text, firstYear, lastYear)
	}
	return nil
}
