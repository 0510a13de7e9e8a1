package seal

import (
	"strconv"
	"strings"
	"unicode/utf8"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// maxOrigin is the longest origin, in bytes.
const maxOrigin = 255

// A Statement is what a seal says: which journal, which head, and who signed.
type Statement struct {
	Origin string // the journal, such as fettle/CW-01
	Head   Head
	Signer string // the key, as name+id; from [Read], who claims to have signed
}

// Sign seals a head of the journal named by the origin. Sealing the same head again
// makes the same seal.
func (k *Key) Sign(origin string, h Head) (signed []byte, err error) {
	text := origin + "\n" + strconv.FormatInt(h.Size, 10) + "\n" + h.Root.String() + "\n"
	if _, err := readCheckpoint(text); err != nil {
		return nil, err
	}
	return note.Sign(&note.Note{Text: text}, k.signer)
}

// Open reads a seal that was made with the private key to this public one. It
// returns [ErrNotNote], [ErrUnknownSigner], [ErrSignature] or [ErrCheckpoint], and
// [ErrKey] if the text of the public key is not a key.
func Open(signed []byte, public string) (Statement, error) {
	text, signer, err := openNote(signed, public)
	if err != nil {
		return Statement{}, err
	}
	st, err := readCheckpoint(text)
	if err != nil {
		return Statement{}, err
	}
	st.Signer = signer
	return st, nil
}

// Read reads what a seal claims. It checks no signature: anybody can have written
// it. The signer is the first one that the seal names.
func Read(signed []byte) (Statement, error) {
	text, signers, err := splitNote(signed)
	if err != nil {
		return Statement{}, err
	}
	st, err := readCheckpoint(text)
	if err != nil {
		return Statement{}, err
	}
	st.Signer = signers[0]
	return st, nil
}

// CheckAgainst checks, by its stored hashes, whether a journal of this size still
// begins with what was sealed. It returns [ErrShorter] or [ErrDiffers] if it does
// not. It trusts that the hashes are those of the records, which [Verify] checks.
// It returns an error of the reader unchanged.
func CheckAgainst(st Statement, size int64, hashes tlog.HashReader) error {
	if size < st.Head.Size {
		return wrong(ErrShorter, "%d records of %s were sealed, but it now has only %d", st.Head.Size, st.Origin, size)
	}
	now, err := HeadAt(st.Head.Size, hashes)
	if err != nil {
		return err
	}
	if now.Root != st.Head.Root {
		return wrong(ErrDiffers, "the first %d records of %s are not those that were sealed", st.Head.Size, st.Origin)
	}
	return nil
}

// readCheckpoint reads the text of a checkpoint without extensions.
func readCheckpoint(text string) (Statement, error) {
	lines := strings.Split(text, "\n")
	if len(lines) != 4 || lines[3] != "" {
		return Statement{}, wrong(ErrCheckpoint, "its text is not three lines")
	}
	origin := lines[0]
	if origin == "" || len(origin) > maxOrigin || !utf8.ValidString(origin) || strings.ContainsFunc(origin, unprintable) {
		return Statement{}, wrong(ErrCheckpoint, "the origin %.40q is empty, longer than %d bytes, or unprintable", origin, maxOrigin)
	}
	size, ok := readNumber(lines[1])
	if !ok {
		return Statement{}, wrong(ErrCheckpoint, "the size %.40q is not a number from 0 to %d", lines[1], int64(MaxSize))
	}
	root, ok := readHash(lines[2])
	if !ok {
		return Statement{}, wrong(ErrCheckpoint, "the root %.60q is not a SHA-256 hash in base64", lines[2])
	}
	if size == 0 && root != emptyRoot {
		return Statement{}, wrong(ErrCheckpoint, "the root is not that of an empty journal")
	}
	return Statement{Origin: origin, Head: Head{Size: size, Root: root}}, nil
}
