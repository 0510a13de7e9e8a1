package journal

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"
)

// The years that an imported record may name.
const (
	firstYear = 1970
	lastYear  = 2200
)

// ImportCheck returns a function that checks one record of another store before it is
// taken in. Beside what every reader asks, it refuses what two readers may understand
// differently, and times that no clock of a bench has shown: see [CheckJSON]. Journals
// that a store already has are not asked for that, so that they stay readable.
func ImportCheck() func(record []byte, position int64) error {
	kinds := byName()
	return func(record []byte, position int64) error {
		if _, err := decodeAt(record, position, kinds); err != nil {
			return err
		}
		if err := CheckJSON(record); err != nil {
			return fmt.Errorf("position %d: %w: %w", position, ErrBadEntry, err)
		}
		return nil
	}
}

// CheckJSON refuses JSON from elsewhere that is not UTF-8, gives a key twice in one
// object (also in other letters, which count as the same when it is read), or has a time
// outside the years 1970 to 2200.
func CheckJSON(data []byte) error {
	if !utf8.Valid(data) {
		return errors.New("it is not in UTF-8")
	}
	return checkValue(json.NewDecoder(bytes.NewReader(data)), 0)
}

// deepest is more than any entry has.
const deepest = 100

func checkValue(d *json.Decoder, depth int) error {
	token, err := d.Token()
	if err != nil {
		return err
	}
	if text, ok := token.(string); ok {
		return checkTime(text)
	}
	open, ok := token.(json.Delim)
	if !ok {
		return nil
	}
	if depth == deepest {
		return fmt.Errorf("it is nested more than %d deep", deepest)
	}
	var seen []string
	for d.More() {
		if open == '{' {
			token, err := d.Token()
			if err != nil {
				return err
			}
			key, _ := token.(string)
			for _, other := range seen {
				if strings.EqualFold(key, other) {
					return fmt.Errorf("it gives %.40q twice", key)
				}
			}
			seen = append(seen, key)
		}
		if err := checkValue(d, depth+1); err != nil {
			return err
		}
	}
	_, err = d.Token() // its end
	return err
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
