package term_test

import (
	"testing"

	"fettle/cmd/internal/term"
)

// A command that is shown has the options that say where the store is and who is at the bench, each
// once, and before what is no option; words that are no command stay as they are.
func TestCommands(t *testing.T) {
	s := term.Streams{Options: []string{"--store a.db", "--by rosa"}}
	const with = " --store a.db --by rosa"
	for text, want := range map[string]string{
		"Next: fettle next CW-01, or fettle follow CW-01":        "Next: fettle next CW-01" + with + ", or fettle follow CW-01" + with,
		"not yet; look: fettle status (it says why)":             "not yet; look: fettle status" + with + " (it says why)",
		"take it: fettle measure CW-01 gap -- -1 mm. Then go on": "take it: fettle measure CW-01 gap" + with + " -- -1 mm. Then go on",
		"again: fettle follow --store a.db":                      "again: fettle follow --store a.db --by rosa",
		"see: fettle help sheds":                                 "see: fettle help sheds",
		"no command, or fettled":                                 "no command, or fettled",
	} {
		if got := s.Commands(text); got != want {
			t.Errorf("%q is shown as %q, want %q", text, got, want)
		}
	}
}
