package procedures

import (
	"strings"
	"testing"
)

// Mistakes that break YAML, each in a text that is good but for it: the place,
// and the line to write.
func TestYAMLFaults(t *testing.T) {
	t.Parallel()
	const prose = "        do: Count the parts.\n"
	do := func(text string) []string { return []string{prose, "        do: " + text + "\n"} }
	run(t, buildText, []faulty{
		{name: "a tab for the indentation", edit: []string{prose, "§\tdo: Count.\n"}, want: "a tab: lines are indented with spaces, this one with 8; write: do: Count."},
		{name: "a tab behind spaces", edit: []string{prose, "    §\tdo: Count.\n"}, want: "a tab: lines are indented with spaces, this one with 8"},
		{name: "a tab before a stage", edit: []string{"  - stage: radio", "§\t- stage: radio"}, want: "a tab: lines are indented with spaces, this one with 2; write: - stage: radio"},
		{name: "a tab in a text below a bar", edit: []string{prose, "        do: |\n          Count.\n§\t  The parts.\n"}, want: "a tab: lines are indented with spaces, this one with 10"},
		{name: "a colon in a text", edit: do("Wing§: left first."), want: `": " in text without quotes makes a key of it; write: do: "Wing: left first."`},
		{name: "a colon in a title", edit: []string{"title: Build a Finch", "title: Finch§: build"}, want: `write: title: "Finch: build"`},
		{name: "a colon at the end", edit: do("Count these§:"), want: `write: do: "Count these:"`},
		{name: "a colon and quotes", edit: do(`Write§: "left" on it.`), want: `write: do: 'Write: "left" on it.'`},
		{name: "a colon in flow style", edit: []string{"sets: {propeller: off}", "sets: {propeller: off, fan: on§: x}"}, want: `": " in text`},
		{name: "a colon in a second line", edit: do("Count the parts\n          of the wing§: left first."), want: `put the text below do: |, or in quotes`},
		{name: "a star", edit: do("§**Unplug** the pack."), want: `do begins with *, which means something else in YAML: put it in quotes; write: do: "**Unplug** the pack."`},
		{name: "a star alone", edit: do("§*Unplug* the pack."), want: `do begins with *`},
		{name: "quotes about a word", edit: do(`§"Unplug" the pack.`), want: `do goes on after the closing quote: put all of it in quotes; write: do: '"Unplug" the pack.'`},
		{name: "single quotes about a word", edit: do(`§'Unplug' the pack.`), want: `write: do: "'Unplug' the pack."`},
		{name: "a bracket", edit: do("§[Unplug] the pack."), want: `do goes on after the closing bracket: put all of it in quotes if it is text; write: do: "[Unplug] the pack."`},
		{name: "a brace", edit: do("§{left} first."), want: `write: do: "{left} first."`},
		{name: "an at", edit: do("§@home, count."), want: `do begins with @`},
		{name: "a backtick", edit: do("§`fettle next` shows it."), want: "do begins with `"},
		{name: "a percent sign", edit: do("§% of the span."), want: `do begins with %`},
		{name: "an ampersand", edit: do("§& the parts."), want: `do begins with &`},
		{name: "a dash", edit: do("§- count the parts."), want: `do begins with -`},
		{name: "a bar with text", edit: do("§| Count."), want: `do begins with |`},
		{name: "a closing bracket", edit: do("§] Count."), want: `do begins with ]`},
		{name: "a quote left open", edit: do(`§"Count the parts.`), want: `the quote that opens here is never closed; write: do: "Count the parts."`},
		{name: "a single quote left open", edit: do(`§'Count the parts.`), want: `the quote that opens here is never closed; where it is an apostrophe, the whole text needs double quotes; write: do: "'Count the parts."`},
		{name: "an apostrophe", edit: do("§'Tis done, pull the plug."), want: `write: do: "'Tis done, pull the plug."`},
		{name: "a bracket left open", edit: []string{"after: [kit]", "after: §[kit"}, want: "the [ that opens here is never closed; write: after: [kit]"},
		{name: "a brace left open", edit: []string{"{propeller: off}", "§{propeller: off"}, want: "the { that opens here is never closed; write: sets: {propeller: off}"},
		{name: "a wrong bracket", edit: []string{"{propeller: off}", "{propeller: off§]"}, want: "] closes what { opened; write: sets: {propeller: off}"},
		{name: "text behind a bracket", edit: []string{"after: [kit]", "after: §[kit] first"}, want: "after goes on after the closing bracket"},
		{name: "a step too far left", edit: []string{"      - step: coat\n", "    §- step: coat\n"}, want: "this line is indented by 4 spaces, and the items of the list above by 6; write: - step: coat"},
		{name: "a step too far left, with its keys", edit: []string{"      - step: coat\n        needs: {fan: on}\n        coat: {joint: roots, with: contact}\n",
			"    §- step: coat\n      needs: {fan: on}\n      coat: {joint: roots, with: contact}\n"}, want: "this line is indented by 4 spaces, and the items of the list above by 6"},
		{name: "another space in the indentation", edit: []string{"      - step: coat\n", "  §\u00a0   - step: coat\n", "        needs: {fan: on}\n", "\u00a0       needs: {fan: on}\n"}, want: "the space U+00A0 in the indentation is not the plain one: lines are indented with plain spaces, this one with 6; write: - step: coat; so in 1 more lines"},
		{name: "a text below a bar in the column of its key", edit: []string{prose, "        do: |\n        §Count the parts.\n        Note: left first.\n\n        - the wing\n"}, want: "the text below do: | is not indented: each line of it begins with 10 spaces or more; write: Count the parts."},
		{name: "a key too far left", edit: []string{"        hands: 5 min\n", "      §hands: 5 min\n"}, want: "this line is indented by 6 spaces, and the keys above by 8; write: hands: 5 min"},
		{name: "a key one too far right", edit: []string{"        hands: 5 min\n", "         §hands: 5 min\n"}, want: "hands: is indented by 9 spaces, and the keys above by 8; write: hands: 5 min"},
		{name: "a key one too far left", edit: []string{"        hands: 5 min\n", "       §hands: 5 min\n"}, want: "this line is indented by 7 spaces, and the keys above by 8"},
		{name: "a key too far right behind a list", edit: []string{"        disturbs: [radio]\n", "        disturbs: [radio]\n          §hands: 1 min\n"}, want: "this line is indented by 10 spaces, and the keys above by 8"},
		{name: "a stage too far left", edit: []string{"  - stage: radio\n    after", "§- stage: radio\n    after"}, want: "this line is indented by 0 spaces, and the items of the list above by 2"},
		{name: "a text too far left", edit: do("|\n          Count.\n         §The parts.")[:2], want: "this line is indented by 9 spaces, and the first line of the text by 10"},
		{name: "no space behind the colon", edit: []string{prose, "        do§:Count the parts.\n"}, want: "no space after the colon; write: do: Count the parts."},
		{name: "no space behind a dash", edit: []string{"      - step: fit\n", "      §-step: fit\n"}, want: "no space after the dash; write: - step: fit"},
		{name: "a line without a key", edit: []string{"        hands: 5 min\n", "        hands: 5 min\n        §count them twice\n"}, want: "this line has no key"},
		{name: "a hash in the middle of a text", edit: do("Count channel §#3,\n          the rudder."), want: "the text of do ends before the #, which begins a comment: put it in quotes"},
		{name: "an undefined alias", edit: []string{"kind: build", "kind: §*a"}, want: "an alias: write it out"},
	})
}

// An entry of a section that stands too far to the left is the one thing said.
func TestEntryOutOfItsSection(t *testing.T) {
	run(t, sheetText, []faulty{
		{name: "the line of its name", edit: []string{"  square:\n", "§square:\n"}, want: "this line is indented by 0 spaces, and the entries above it by 2; write: square:"},
		{name: "all of it", edit: []string{"  throw:\n    title: Throw of the rudder\n    at_least: 10 mm\n    gauge: rule\n    of: [radio]\n    with: rudder\n",
			"§throw:\n  title: Throw of the rudder\n  at_least: 10 mm\n  gauge: rule\n  of: [radio]\n  with: rudder\n"},
			want: `"throw" is not a key of a design sheet: as an entry of gates it is indented by 2 spaces, with all below it`},
	})
}

// A hash in a text for people is a fault of a document that is checked, and of
// none that is kept.
func TestHashInProse(t *testing.T) {
	cases := []faulty{
		{name: "do", edit: []string{"do: Count the parts.", "do: Never on channel §#3, which feeds it."}, want: `the text of do ends before the #, which begins a comment: put it in quotes; write: do: "Never on channel #3, which feeds it."`},
		{name: "title", edit: []string{"title: Build a Finch", "title: Build a Finch §# the small one"}, want: "the text of title ends before the #"},
		{name: "a line of a hold", edit: []string{"hold: {confirm: [The mat is clear]}", "hold:\n          confirm:\n            - Bin §#2 is shut"}, want: "the text of confirm ends before the #"},
		{name: "the last of two lines", edit: []string{"do: Count the parts.", "do: Count the parts\n          of bag §#2"}, want: "the text of do ends before the #"},
		{name: "a caution in a list", edit: []string{"do: Count the parts.", "do: Count.\n        caution:\n          - Never near bin §#3 of all"}, want: "the text of caution ends before the #"},
	}
	run(t, buildText, cases)
	for _, c := range cases {
		text, _ := marked(c.text(t, buildText), "")
		if _, err := Read("x.yaml", []byte(text)); err != nil {
			t.Errorf("%s: a kept document is refused: %v", c.name, err)
		}
	}
	for name, edit := range map[string][]string{
		"behind a number":         {"hands: 5 min", "hands: 5 min # about"},
		"behind a name":           {"kind: build", "kind: build # of the second kit"},
		"behind a text in quotes": {"title: Build a Finch", `title: "Build a Finch" # the small one`},
		"behind a list":           {"after: [wing, radio]", "after: [wing, radio] # both"},
		"behind keys in braces":   {"hold: {confirm: [The mat is clear]}", "hold: {confirm: [The mat is clear]} # always"},
		"on a line of its own":    {"        do: Count the parts.\n", "        # twice\n        do: Count the parts.\n        # and again\n"},
		"in a text below a bar":   {"do: Count the parts.", "do: |\n          Count bag #2"},
		"without a space":         {"do: Count the parts.", "do: Count bag#2"},
	} {
		if faults := faultsOf(t, faulty{edit: edit}.text(t, buildText)); len(faults) > 0 {
			t.Errorf("%s:\n%v", name, faults)
		}
	}
}

// What breaks YAML does not hide the rest, and nothing is said twice.
func TestFaultsBesideYAML(t *testing.T) {
	text := faulty{edit: []string{"do: Count the parts.", "do: **Count** the parts.", "hands: 5 min", "hands: 5", "[slot]", "[slit]", "      - step: fit\n", "    - step: fit\n"}}.text(t, buildText)
	doc, faults := parse("x.yaml", []byte(text), nil)
	if doc == nil {
		t.Fatalf("nothing could be read:\n%v", faults)
	}
	sheet, err := Parse("sheet.yaml", []byte(sheetText))
	if err != nil {
		t.Fatal(err)
	}
	got := append(faults, doc.Against(sheet.Sheet)...).sorted().Error()
	want := []string{"10:13: do begins with *", "11:16: hands: ", `29:19: unknown gate "slit"`, "34:5: this line is indented by 4 spaces, and the lines below it want 6"}
	lines := strings.Split(got, "\n")
	if len(lines) != len(want) {
		t.Fatalf("got\n%s", got)
	}
	for i, w := range want {
		if !strings.HasPrefix(lines[i], "x.yaml:"+w) {
			t.Errorf("got %s, want %s", lines[i], w)
		}
	}
}
