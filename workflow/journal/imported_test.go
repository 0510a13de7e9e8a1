package journal

import (
	"bytes"
	"encoding/json"
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Lists that would make every command dear, and positions that no program has written, are
// refused where they are taken in, and nothing that one may have written.
func TestImportCheckOfLists(t *testing.T) {
	to := func(n int64) (all []int64) {
		for p := range n {
			all = append(all, p)
		}
		return all
	}
	many := func(times int, f Facts) (all []Facts) {
		for range times {
			all = append(all, f)
		}
		return all
	}
	most := make([]string, mostItems)
	tests := map[string]struct {
		facts []Facts // of the entries from 10,000 on
		says  string
	}{
		"the longest list":         {many(1, PhotoKept{Of: to(mostItems)}), ""},
		"a longer list":            {many(1, Registered{Options: make([]string, mostItems+1)}), "its lists have 10001 items; the limit is 10000"},
		"two lists":                {many(1, Released{RestsOn: to(mostItems), Jobs: []string{"build"}}), "its lists have 10001 items"},
		"as many lists as may be":  {many(30, EquipmentChanged{Disturbs: most}), ""},
		"one more":                 {many(31, EquipmentChanged{Disturbs: most}), "have 310000 items; the limit is 300000"},
		"a photo of one twice":     {many(1, PhotoKept{Of: []int64{7, 3, 7}}), "names entry 7 twice"},
		"a release on one twice":   {many(1, Released{RestsOn: []int64{2, 2}}), "names entry 2 twice"},
		"a concession twice":       {many(1, ConcessionGranted{Readings: []int64{2, 2}}), "names entry 2 twice"},
		"taken back twice at once": {many(1, Undone{TakesBack: []int64{5, 5}}), "names entry 5 twice"},
		"taken back again":         {many(2, Undone{TakesBack: []int64{4, 5}}), "takes back entry 4, which entry 10000 already took back"},
		"shown again":              {many(2, PhotoKept{Of: []int64{4, 5}}), ""},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			check := ImportCheck()
			var err error
			for i, facts := range test.facts {
				e := entry(int64(10_000+i), facts)
				records, bad := Encode([]Entry{e})
				if bad != nil {
					t.Fatal(bad)
				}
				if err = check(records[0], e.Position); err != nil {
					break
				}
			}
			if test.says == "" && err != nil || test.says != "" && (err == nil || !strings.Contains(err.Error(), test.says) || !errors.Is(err, ErrBadEntry)) {
				t.Errorf("%v", err)
			}
		})
	}
	for _, k := range Kinds() { // each list of positions is one of them
		facts := reflect.New(reflect.TypeOf(k.Zero())).Elem()
		lists := 0
		for i := range facts.NumField() {
			if f := facts.Field(i); f.Type() == reflect.TypeFor[[]int64]() {
				f.Set(reflect.ValueOf([]int64{9}))
				lists++
			}
		}
		if got := Earlier(facts.Interface().(Facts)); len(got) != lists {
			t.Errorf("%s has %d lists of positions; Earlier knows %v", k.Name, lists, got)
		}
	}
}

// tokens is what [checkKeys] refuses, by the tokens of a general reader of JSON.
func tokens(d *json.Decoder, depth int) bool {
	token, _ := d.Token()
	if text, ok := token.(string); ok {
		return checkTime(text) != nil
	}
	open, ok := token.(json.Delim)
	if !ok {
		return false
	}
	var seen []string
	refused := depth == deepest
	for d.More() {
		if open == '{' {
			token, _ := d.Token()
			key, _ := token.(string)
			refused = refused || slices.ContainsFunc(seen, func(other string) bool { return strings.EqualFold(key, other) })
			seen = append(seen, key)
		}
		refused = tokens(d, depth+1) || refused
	}
	_, _ = d.Token()
	return refused
}

// What is refused of JSON for its keys, depth and times is what a general reader of JSON
// finds, however it is written.
func TestCheckJSON(t *testing.T) {
	word := rapid.SampledFrom([]string{`"a"`, `"A"`, `"b"`, `"\u0061"`, `"a\""`, `"\\"`, `"{"`, `"a,"`, `"]:"`, `"ſ"`, `"S"`, `""`,
		`"0001-01-02T03:04:05Z"`, `"\u0030001-01-02T03:04:05Z"`, `"2026-01-02T03:04:05Z"`})
	var value func(depth int) *rapid.Generator[string]
	value = func(depth int) *rapid.Generator[string] {
		return rapid.Custom(func(t *rapid.T) string {
			space := rapid.SampledFrom([]string{"", " ", "\n\t"}).Draw(t, "space")
			var parts []string
			kind := rapid.IntRange(0, 3).Draw(t, "kind")
			if depth == 0 || kind == 0 {
				return rapid.OneOf(word, rapid.SampledFrom([]string{"1", "-2.5e3", "true", "null"})).Draw(t, "value")
			}
			for range rapid.IntRange(0, 3).Draw(t, "parts") {
				part := value(depth-1).Draw(t, "part")
				if kind > 1 {
					part = word.Draw(t, "key") + space + ":" + space + part
				}
				parts = append(parts, part)
			}
			text := strings.Join(parts, space+","+space)
			if kind > 1 {
				return "{" + text + "}"
			}
			deep := rapid.SampledFrom([]int{1, 1, 1, deepest - 1}).Draw(t, "deep")
			return strings.Repeat("[", deep) + text + strings.Repeat("]", deep)
		})
	}
	refused, passed := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		data := []byte(value(4).Draw(t, "JSON"))
		if !json.Valid(data) {
			t.Fatalf("the test made %s", data)
		}
		want, got := tokens(json.NewDecoder(bytes.NewReader(data)), 0), CheckJSON(data)
		if want != (got != nil) {
			t.Fatalf("%s: %v", data, got)
		}
		if refused++; got == nil {
			passed++
		}
	})
	if passed == 0 || passed == refused {
		t.Errorf("of %d values %d passed", refused, passed)
	}
	for _, bad := range []string{"", "{", `{"a":1`, `"a`, `{"a":1}}`, `[1,]`, `{"a" 1}`} {
		if CheckJSON([]byte(bad)) == nil {
			t.Errorf("%s is not JSON", bad)
		}
	}
}
