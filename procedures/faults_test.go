package procedures

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"unicode"
)

const sheetText = `design: finch
title: Finch
revision: 1
zones: [wing, tail, radio]
options: {rudder: A moving rudder}
conditions:
  propeller: {title: The propeller, states: [off, on]}
  fan: {title: A fan, states: [on, off], lasts: sitting}
adhesives:
  contact:
    title: Contact adhesive
    window: {from: 10 min, to: 40 min, at: 20 °C}
    handling: 30 min
    cure: 24 h
    works: {between: [10 °C, 35 °C], humidity: [0 %, 80 %]}
    factor: 1.7
    mixed: no
  epoxy:
    title: Epoxy
    window: {from: 0 min, to: 20 min, at: 20 °C}
    handling: 6 h
    cure: 24 h
    works: {between: [15 °C, 30 °C]}
gauges:
  caliper: {title: Caliper, resolution: 0.01 mm, uncertainty: 0.3 mm}
  rule: {title: Steel rule, resolution: 0.5 mm}
gates:
  slot:
    title: Depth of the slot
    points: [root, tip]
    readings: 3
    between: [3.5 mm, 4.5 mm]
    gauge: caliper
    of: [wing]
  square:
    title: Tail square
    points: [left, right]
    alike: 4 mm
    pairs: [[left, right]]
    gauge: rule
    of: [wing, tail]
    critical: yes
  throw:
    title: Throw of the rudder
    at_least: 10 mm
    gauge: rule
    of: [radio]
    with: rudder
  balance:
    title: Balance
    at_least: 40 mm
    at_most: 50 mm
    gauge: rule
    of: [wing]
    mass: yes
    life: {flights: 20, days: 90}
  sole:
    title: Heat of the iron
    at_most: 50 mm
    gauge: rule
    of: work
equipment:
  camera: {title: A camera, disturbs: [wing]}
tools:
  knife: {title: A knife, caution: Cut away from the hand., hold: The mat is clear}
  iron:
    title: An iron
    needs: {fan: on}
    hold: [The stand is firm, No tin is open]
    measure: [sole]
    count: 2
`

const buildText = `procedure: finch-build
kind: build
design: finch
title: Build a Finch
revision: 1
stages:
  - stage: kit
    steps:
      - step: count
        do: Count the parts.
        hands: 5 min
        sets: {propeller: off}
  - stage: wing
    after: [kit]
    steps:
      - step: care
        hold: {confirm: [The mat is clear]}
      - step: coat
        needs: {fan: on}
        coat: {joint: roots, with: contact}
      - step: join
        join: {joint: roots, load: yes}
        disturbs: [wing]
      - step: rest
        wait: 2 h
      - step: grip
        wait: {joint: roots, until: handling}
      - step: depth
        measure: [slot]
        tools: [knife]
  - stage: radio
    after: [kit]
    steps:
      - step: fit
        do: Lay it in.
        disturbs: [radio]
      - step: move
        with: rudder
        measure: [throw]
  - stage: finish
    after: [wing, radio]
    steps:
      - step: level
        measure: [square]
      - step: release
        release: yes
`

const repairText = `procedure: finch-mend
kind: repair
on: [wing, tail]
title: Mend a Finch
revision: 1
stages:
  - stage: all
    phase: structure
    steps:
      - step: mend
        do: Mend it.
        disturbs: [here]
        shared: yes
      - step: again
        measure: [stale]
`

// A faulty edits a valid text. The § in an edit marks the place of the fault; without
// one the place is at, or 1:1.
type faulty struct {
	name string
	edit []string // old, new, old, new
	at   string
	want string
	of   int  // faults in all, 1 where not given
	more bool // documents beside it have faults then too, rightly
}

func (c faulty) text(t *testing.T, valid string) string {
	t.Helper()
	for i := 0; i < len(c.edit); i += 2 {
		if !strings.Contains(valid, c.edit[i]) {
			t.Fatalf("the text has no %q", c.edit[i])
		}
		valid = strings.Replace(valid, c.edit[i], c.edit[i+1], 1)
	}
	return valid
}

// marked removes the § from a text and returns its place.
func marked(text, at string) (string, string) {
	before, after, ok := strings.Cut(text, "§")
	if !ok {
		if at == "" {
			at = "1:1"
		}
		return text, at
	}
	last := before[strings.LastIndex(before, "\n")+1:]
	return before + after, fmt.Sprintf("%d:%d", strings.Count(before, "\n")+1, len([]rune(last))+1)
}

// faultsOf are the faults of Parse, or else those against the valid sheet.
func faultsOf(t *testing.T, text string) Faults {
	t.Helper()
	doc, err := Parse("x.yaml", []byte(text))
	var faults Faults
	if errors.As(err, &faults) {
		return faults
	}
	if err != nil {
		t.Fatalf("the error is %T", err)
	}
	if doc.Procedure == nil {
		return nil
	}
	return doc.Against(readSet()[sheetText].Sheet)
}

func expect(t *testing.T, faults Faults, start, want string, of int) {
	t.Helper()
	if len(faults) != max(1, of) {
		t.Errorf("%d faults, want %d:\n%v", len(faults), max(1, of), faults)
	}
	found := slices.ContainsFunc(faults, func(f Fault) bool {
		return strings.HasPrefix(f.Error(), start+": ") && strings.Contains(f.Text, want)
	})
	if !found {
		t.Errorf("no fault %s: …%s…, but\n%v", start, want, faults)
	}
	orderly(t, faults)
}

func orderly(t *testing.T, faults Faults) {
	t.Helper()
	for i, f := range faults {
		if f.File == "" || f.Line < 0 || f.Column < 0 || f.Text == "" || strings.ContainsFunc(f.Text, unicode.IsControl) {
			t.Errorf("not a fault to show: %q", f.Error())
		}
		if i > 0 && (f.File == faults[i-1].File && f.Line < faults[i-1].Line || f == faults[i-1]) {
			t.Errorf("out of order, or twice: %v", f)
		}
	}
}

func run(t *testing.T, valid string, cases []faulty) {
	t.Helper()
	if faults := faultsOf(t, valid); len(faults) > 0 {
		t.Fatalf("the valid text has faults:\n%v", faults)
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			text, at := marked(c.text(t, valid), c.at)
			faults := faultsOf(t, text)
			expect(t, faults, "x.yaml:"+at, c.want, c.of)
			agree(t, text, faults)
			of := valid
			if valid == gatesText { // which has all that sheetText has
				of = sheetText
			}
			if c.of < 2 && !c.more && wholeSet()[of] != "" {
				expect(t, together(t, of, text), "x.yaml:"+at, c.want, 1)
			}
		})
	}
}

func TestSyntax(t *testing.T) {
	deep := func(n int) string { return "design: " + strings.Repeat("[", n) + strings.Repeat("]", n) + "\n" }
	for _, c := range []struct{ name, text, at, want string }{
		{"empty", "", "0:0", "the document is empty"},
		{"only a comment", "# nothing\n", "0:0", "the document is empty"},
		{"only a marker", "---\n§", "", "not with nothing"},
		{"a list", "- design\n", "", "must begin with design:, procedure: or triage:, not with a list"},
		{"a text", "design\n", "", "not with text"},
		{"none of the keys", "\n§desing: a\n", "", "none of the keys design, procedure and triage"},
		{"two documents", "design: a\n§---\ndesign: b\n", "", "one file holds one document"},
		{"a second that is not YAML", "design: a\n§---\n[\n", "", "one file holds one document"},
		{"bracket left open", "design: §[a\n", "", "the [ that opens here is never closed; write: design: [a]"},
		{"quote left open", "design: a\ntitle: §\"b\nzones: [a]\n\n", "", "the quote that opens here is never closed; write: title: \"b\""},
		{"tab", "design: a\n§\ttitle: b\n", "", "a tab: lines are indented with spaces, this one with 0; write: title: b"},
		{"anchor", "design: §&a finch\n", "", "an anchor"},
		{"alias", "design: &a finch\ntitle: *a\n", "1:9", "an anchor"},
		{"tag", "design: §!!str finch\n", "", "a tag"},
		{"own tag", "design: §!own finch\n", "", "a tag"},
		{"anchor on the whole", "§&a\ndesign: b\n", "", "an anchor"},
		{"over deep", deep(41), "1:49", "nested more than 40 levels deep"},
		{"far over deep", deep(20_000), "1:49", "nested more than 40 levels deep"},
		{"over long", strings.Repeat("#", largestFile+1), "0:0", "524289 bytes; the limit is 524288 (512 KiB)"},
		{"escape raw", "design: a\ntitle: r§\x1b[31m\n", "", "the control character U+001B"},
		{"nul", "design: §\x00\n", "", "the control character U+0000"},
		{"next line", "design: °§\u0085\n", "", "the control character U+0085"},
		{"bidi override", "design: a§\u202eb\n", "", "the control character U+202E"},
		{"bidi isolate in a comment", "# §\u2066b\ndesign: a\n", "", "the control character U+2066"},
		{"latin-1", "title: 20 §\xb0C\n", "", "a byte that is not UTF-8"},
		{"utf-16", "§\xff\xfed\x00", "", "a byte that is not UTF-8"},
	} {
		t.Run(c.name, func(t *testing.T) {
			text, at := marked(c.text, c.at)
			faults := faultsOf(t, text)
			if !slices.ContainsFunc(faults, func(f Fault) bool {
				return strings.HasPrefix(f.Error(), "x.yaml:"+at+": ") && strings.Contains(f.Text, c.want)
			}) {
				t.Errorf("no fault %s …%s…, but\n%v", at, c.want, faults)
			}
			orderly(t, faultsOf(t, text))
		})
	}
}

func TestBytesThatAreFine(t *testing.T) {
	for name, text := range map[string]string{
		"byte order mark": "\uFEFF" + sheetText,
		"carriage return": strings.ReplaceAll(sheetText, "\n", "\r\n"),
		"marker":          "---\n" + sheetText + "...\n",
		"comments":        "# a\n" + strings.ReplaceAll(sheetText, "revision: 1", "revision: 1 # b"),
		"names alone":     strings.NewReplacer("of: [wing]", "of: wing", "disturbs: [wing]", "disturbs: wing", "measure: [sole]", "measure: sole").Replace(sheetText),
		"names alone too": strings.NewReplacer("after: [kit]", "after: kit", "disturbs: [wing]", "disturbs: wing", "measure: [slot]", "measure: slot", "tools: [knife]", "tools: knife").Replace(buildText),
		"here alone":      strings.NewReplacer("on: [wing, tail]", "on: wing", "disturbs: [here]", "disturbs: here", "measure: [stale]", "measure: stale").Replace(repairText),
		"nested":          strings.Replace(sheetText, "title: Finch", "title: "+"\"[[[[\"", 1),
		"repair":          repairText,
		"build":           buildText,
	} {
		if faults := faultsOf(t, text); len(faults) > 0 {
			t.Errorf("%s:\n%v", name, faults)
		}
	}
}

func TestAliasesAreNeverFollowed(t *testing.T) {
	text := "design: a\na: &a [x, x]\n"
	for c := 'b'; c <= 'z'; c++ {
		text += fmt.Sprintf("%c: &%c [*%c, *%c, *%c, *%c]\n", c, c, c-1, c-1, c-1, c-1)
	}
	faults := faultsOf(t, text)
	if len(faults) == 0 || len(faults) > 50 {
		t.Fatalf("%d faults", len(faults))
	}
	orderly(t, faults)
}

func TestAllFaultsAtOnce(t *testing.T) {
	text := faulty{edit: []string{
		"title: Finch", "titel: Finch", "revision: 1", "revision: one", "to: 40 min", "to: 4 min",
		"cure: 24 h", "cure: 24 mm", "[3.5 mm, 4.5 mm]", "[4.5 mm, 3.5 mm]", "of: [wing]", "of: [wnig]",
	}}.text(t, sheetText)
	want := []string{
		`2:1: unknown key "titel" in a design sheet; did you mean "title"?`,
		"3:11: revision must be a whole number from 1 to 1000000",
		"12:13: the window is the wrong way round: it opens after 10 min and closes after 4 min",
		`14:11: cure: "24 mm" is a length, not a duration; write it in min or h`,
		"32:14: between: the limits are the wrong way round, 4.5 mm is not less than 3.5 mm",
		`34:10: unknown zone "wnig"; did you mean "wing"?`,
	}
	_, err := Parse("x.yaml", []byte(text))
	if got := err.Error(); got != "x.yaml:"+strings.Join(want, "\nx.yaml:") {
		t.Errorf("got\n%s", got)
	}
	// Read alone reports the same faults of words, but none of names.
	if _, err := Read("x.yaml", []byte(text)); err == nil || strings.Count(err.Error(), "\n") != len(want)-2 {
		t.Errorf("Read: %v", err)
	}
}
