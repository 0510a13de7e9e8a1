package page

import (
	"strings"

	"fettle/cmd/internal/term"
)

// SealLimits says what a seal proves and what it does not.
const SealLimits = "A seal proves that nothing was changed since it was made. It does not prove that what was written is true: " +
	"whoever holds the key could have lied from the start. Give the seal to somebody else: from then on no earlier entry can be changed unnoticed."

// A Seal is a seal that was made.
type Seal struct {
	Mark   string `json:"mark"`
	Size   int64  `json:"size"`
	Note   string `json:"seal"`
	Public string `json:"public_key"`
	NewKey string `json:"new_key,omitempty"` // the file of a key that was made for it
}

// Markdown is the seal, ready to copy.
func (s Seal) Markdown(*Clock) string {
	var l lines
	l.add("# Seal of %s, %s\n", esc(s.Mark), many(s.Size, "entry"))
	l.add("%s", s.block())
	l.add("To check it, use this public key:\n\n%s", command(s.Public))
	if s.NewKey != "" {
		l.add("A new private key was made for it. It is kept in %s: anyone who has it can seal in your name.\n", esc(s.NewKey))
	}
	l.add("%s", SealLimits)
	return l.String()
}

// block is the note in a code block.
func (s Seal) block() string {
	return "```\n" + term.Clean(strings.TrimRight(s.Note, "\n")) + "\n```\n"
}

// A ProofText is a proof about a seal, for JSON.
type ProofText struct {
	Mark string `json:"mark"`
	Text string `json:"proof"`
}

// A SealChecked is a seal or a proof that is valid.
type SealChecked struct {
	Origin string `json:"origin"`
	Size   int64  `json:"size"`
	Signer string `json:"signer"`
	Entry  *int64 `json:"entry,omitempty"`
	Record string `json:"record,omitempty"`
	Older  int64  `json:"older_size,omitempty"`
}

// Markdown is what the file proves.
func (s SealChecked) Markdown(*Clock) string {
	var l lines
	l.add("**Valid:** %s, signed by %s.\n", esc(s.Origin), esc(s.Signer))
	switch {
	case s.Entry != nil:
		l.add("Entry %d was in the journal of %d entries when it was sealed:\n\n%s", *s.Entry, s.Size, command(s.Record))
	case s.Older > 0:
		l.add("The journal of %d entries began with exactly the %d that were sealed before.\n", s.Size, s.Older)
	default:
		l.add("It covers the first %s. To compare them with a journal:\n\n%s", many(s.Size, "entry"), command("fettle audit MARK --against SEAL"))
	}
	return l.String()
}
