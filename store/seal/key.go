package seal

import (
	"crypto/ed25519"
	"crypto/rand"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/mod/sumdb/note"
)

// maxName is the longest name of a key, in bytes.
const maxName = 128

// A Key is a private Ed25519 key with a name. It is safe for use by many
// goroutines.
type Key struct {
	signer note.Signer
	public string
}

// CheckName refuses a name that no key can have: one that is empty, longer than
// 128 bytes, or contains spaces, a plus sign or unprintable characters. A plus sign
// separates the parts of a key's text.
func CheckName(name string) error {
	switch {
	case name == "":
		return wrong(ErrKey, "a key needs a name")
	case len(name) > maxName:
		return wrong(ErrKey, "the name %.20q… is %d bytes long; the limit is %d", name, len(name), maxName)
	case strings.Contains(name, "+"):
		return wrong(ErrKey, "the name %q contains a plus sign, which a key's name must not", name)
	case !utf8.ValidString(name) || strings.ContainsFunc(name, unprintable) || strings.ContainsFunc(name, unicode.IsSpace):
		return wrong(ErrKey, "the name %q contains spaces or unprintable characters", name)
	}
	return nil
}

func unprintable(r rune) bool { return !unicode.IsPrint(r) }

// NewKey makes a random key, and returns it with its private text.
func NewKey(name string) (key *Key, private string, err error) {
	if err := CheckName(name); err != nil {
		return nil, "", err
	}
	private, _, err = note.GenerateKey(rand.Reader, name)
	if err != nil {
		return nil, "", err
	}
	key, err = ParseKey(private)
	return key, private, err
}

// ParseKey reads the private text of a key, "PRIVATE+KEY+name+id+key". Its
// errors never show the text.
func ParseKey(private string) (*Key, error) {
	signer, err := note.NewSigner(private)
	if err != nil {
		return nil, wrong(ErrKey, "this is not a private key for signed notes, or it is damaged")
	}
	if err := CheckName(signer.Name()); err != nil {
		return nil, err
	}
	part := strings.SplitN(private, "+", 5) // the last is base64, which may contain a plus sign
	seed, ok := readBase64(part[len(part)-1])
	if !ok || len(seed) != 1+ed25519.SeedSize {
		return nil, wrong(ErrKey, "this is not an Ed25519 key")
	}
	pair := ed25519.NewKeyFromSeed(seed[1:])
	public, err := note.NewEd25519VerifierKey(signer.Name(), pair.Public().(ed25519.PublicKey))
	if err != nil {
		return nil, wrong(ErrKey, "%v", err)
	}
	return &Key{signer: signer, public: public}, nil
}

// Public returns the text of the public key, for everybody who needs to check
// seals.
func (k *Key) Public() string { return k.public }

// CheckPublic returns [ErrKey] for a text that is not a public key.
func CheckPublic(public string) error {
	_, err := noteVerifier(public)
	return err
}

// noteVerifier reads the text of a public key. It ignores white space around it, as
// it may come from a file or a letter.
func noteVerifier(public string) (note.Verifier, error) {
	v, err := note.NewVerifier(strings.TrimSpace(public))
	if err != nil {
		return nil, wrong(ErrKey, "this is not a public key for signed notes, or it is damaged: %v", err)
	}
	return v, nil
}
