package seal

import (
	"bytes"
	"crypto/ed25519"
	"encoding/hex"
	"testing"

	"golang.org/x/mod/sumdb/note"
)

// The vectors 1 to 3 of RFC 8032, section 7.1, written from memory: each is
// checked by making key and signature again from the secret. Their messages do not end
// with a newline and so cannot be the text of a note; they go through the function
// that Open passes to package note.
func TestRFC8032(t *testing.T) {
	for i, v := range []struct{ secret, public, message, signature string }{
		{
			"9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
			"d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
			"",
			"e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
		},
		{
			"4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
			"3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
			"72",
			"92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
		},
		{
			"c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
			"fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
			"af82",
			"6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
		},
	} {
		secret, public, message, signature := plain(t, v.secret), plain(t, v.public), plain(t, v.message), plain(t, v.signature)
		pair := ed25519.NewKeyFromSeed(secret)
		if !bytes.Equal(pair.Public().(ed25519.PublicKey), public) || !bytes.Equal(ed25519.Sign(pair, message), signature) {
			t.Fatalf("vector %d is not as computed", i+1)
		}
		text, err := note.NewEd25519VerifierKey("rfc8032", public)
		if err != nil {
			t.Fatal(err)
		}
		verifier, err := noteVerifier(text)
		if err != nil {
			t.Fatal(err)
		}
		if !verifier.Verify(message, signature) {
			t.Errorf("vector %d is refused", i+1)
		}
		for bit := range 8 * len(signature) {
			signature[bit/8] ^= 1 << (bit % 8)
			if verifier.Verify(message, signature) {
				t.Errorf("vector %d with bit %d of the signature flipped is taken", i+1, bit)
			}
			signature[bit/8] ^= 1 << (bit % 8)
		}
		if verifier.Verify(append(message, 0), signature) {
			t.Errorf("vector %d with a longer message is taken", i+1)
		}
	}
}

func plain(t *testing.T, text string) []byte {
	t.Helper()
	data, err := hex.DecodeString(text)
	if err != nil {
		t.Fatal(err)
	}
	return data
}
