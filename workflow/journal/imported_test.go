package journal

import (
	"bytes"
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

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
