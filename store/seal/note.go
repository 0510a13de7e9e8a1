package seal

import (
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"golang.org/x/mod/sumdb/note"
)

// The limits of what is read.
const (
	maxNote       = 64 << 10
	maxSignatures = 64
)

// splitNote reads a signed note, and returns its text and who claims to have signed
// it, each as name+id. It checks no signature. It refuses everything that package
// note refuses, and base64 that is not in canonical form.
func splitNote(signed []byte) (text string, signers []string, err error) {
	if len(signed) > maxNote {
		return "", nil, wrong(ErrNotNote, "it is %d bytes long; the limit is %d", len(signed), maxNote)
	}
	all := string(signed)
	if !utf8.ValidString(all) || strings.ContainsFunc(all, func(r rune) bool { return r < 0x20 && r != '\n' }) {
		return "", nil, wrong(ErrNotNote, "it is not plain text in UTF-8")
	}
	blank := strings.LastIndex(all, "\n\n")
	if blank < 0 || !strings.HasSuffix(all, "\n") || blank+2 == len(all) {
		return "", nil, wrong(ErrNotNote, "it has no signature lines after an empty line")
	}
	lines := strings.Split(all[blank+2:len(all)-1], "\n")
	if len(lines) > maxSignatures {
		return "", nil, wrong(ErrNotNote, "it has %d signatures; the limit is %d", len(lines), maxSignatures)
	}
	for i, line := range lines {
		signer, ok := readSignature(line)
		if !ok {
			return "", nil, wrong(ErrNotNote, "signature line %d is not a signature", i+1)
		}
		signers = append(signers, signer)
	}
	return all[:blank+1], signers, nil
}

// readSignature reads a signature line and returns who claims to have signed.
func readSignature(line string) (signer string, ok bool) {
	line, ok = strings.CutPrefix(line, "— ")
	if !ok {
		return "", false
	}
	name, encoded, _ := strings.Cut(line, " ")
	signature, ok := readBase64(encoded)
	if !ok || len(signature) < 5 || CheckName(name) != nil {
		return "", false
	}
	return signerID(name, binary.BigEndian.Uint32(signature)), true
}

func signerID(name string, id uint32) string { return fmt.Sprintf("%s+%08x", name, id) }

// openNote reads a signed note, checks its signature by this key, and returns its
// text and the signer as name+id.
func openNote(signed []byte, public string) (text, signer string, err error) {
	v, err := noteVerifier(public)
	if err != nil {
		return "", "", err
	}
	text, signers, err := splitNote(signed)
	if err != nil {
		return "", "", err
	}
	signer = signerID(v.Name(), v.KeyHash())
	times := 0
	for _, s := range signers {
		if s == signer {
			times++
		}
	}
	switch {
	case times == 0:
		return "", "", wrong(ErrUnknownSigner, "the key is %s, but the note is signed by %s", signer, strings.Join(signers, ", "))
	case times > 1: // package note would check only the first
		return "", "", wrong(ErrNotNote, "%s signed it twice", signer)
	}
	opened, err := note.Open(signed, note.VerifierList(v))
	var invalid *note.InvalidSignatureError
	var unverified *note.UnverifiedNoteError
	switch {
	case errors.As(err, &invalid):
		return "", "", wrong(ErrSignature, "this text is not what %s signed", signer)
	case errors.As(err, &unverified):
		return "", "", wrong(ErrUnknownSigner, "the key is %s", signer)
	case err != nil:
		return "", "", wrong(ErrNotNote, "%v", err)
	case opened.Text != text:
		return "", "", wrong(ErrNotNote, "it can be read in two ways")
	}
	return text, signer, nil
}
