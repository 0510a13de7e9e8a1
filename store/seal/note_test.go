package seal_test

import (
	"crypto/sha256"
	"encoding/base64"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"fettle/store/seal"
)

func sum(data []byte) tlog.Hash { return sha256.Sum256(data) }

// signText signs any text, as only an attacker would.
func signText(t testing.TB, text string, private ...string) []byte {
	t.Helper()
	var signers []note.Signer
	for _, p := range private {
		signer, err := note.NewSigner(p)
		must(t, err)
		signers = append(signers, signer)
	}
	signed, err := note.Sign(&note.Note{Text: text}, signers...)
	must(t, err)
	return signed
}

func TestOpen(t *testing.T) {
	records := ctRecords()
	signed := sealed(t, "fettle/CW-01", records)
	want := seal.Statement{Origin: "fettle/CW-01", Head: seal.HeadOf(records), Signer: "PeterNeumann+c74f20a3"}
	lines := strings.SplitAfter(string(signed), "\n")
	if strings.Join(lines[:4], "") != "fettle/CW-01\n8\nXcnaeacGWamtVZy3Ad7ZoqudgjqtL0lgz+Nw7/RgQyg=\n\n" {
		t.Errorf("the seal is %q", signed)
	}
	got, err := seal.Open(signed, peterPublic+"\n")
	must(t, err)
	if got != want {
		t.Errorf("opened %+v", got)
	}
	if got, err = seal.Read(signed); err != nil || got != want {
		t.Errorf("read %+v, %v", got, err)
	}
}

func TestOpenNoticesEveryBit(t *testing.T) {
	everyFlip(t, sealed(t, "fettle/CW-01", ctRecords()), func(flipped []byte) error {
		_, err := seal.Open(flipped, peterPublic)
		return err
	})
}

func TestOpenNoticesEveryCut(t *testing.T) {
	signed := sealed(t, "fettle/CW-01", ctRecords())
	for n := range signed {
		if _, err := seal.Open(signed[:n], peterPublic); err == nil {
			t.Errorf("cut to %d bytes unnoticed", n)
		}
	}
	for _, more := range []string{"\n", " ", "x", "\n\n", "— x\n"} {
		_, err := seal.Open(append(signed[:len(signed):len(signed)], more...), peterPublic)
		is(t, err, seal.ErrNotNote)
	}
}

// Each of these is properly signed, but is not a checkpoint.
func TestOpenIsStrict(t *testing.T) {
	root := seal.HeadOf(ctRecords()).Root.String()
	empty := seal.HeadOf(nil).Root.String()
	loose := root[:len(root)-2] + "h=" // the bits that base64 does not use
	if data, err := base64.StdEncoding.DecodeString(loose); err != nil || len(data) != 32 {
		t.Fatal("this root should be one that a loose reader takes")
	}
	for _, text := range []string{
		"\n8\n" + root + "\n",
		"o\n08\n" + root + "\n",
		"o\n+8\n" + root + "\n",
		"o\n-8\n" + root + "\n",
		"o\n8 \n" + root + "\n",
		"o\n8_0\n" + root + "\n",
		"o\n\n" + root + "\n",
		"o\n0\n" + root + "\n",
		"o\n00\n" + empty + "\n",
		"o\n281474976710657\n" + root + "\n",
		"o\n4611686018427387905\n" + root + "\n", // package tlog would loop for ever on it
		"o\n9223372036854775807\n" + root + "\n",
		"o\n9223372036854775808\n" + root + "\n",
		"o\n8\n" + loose + "\n",
		"o\n8\n" + root[:len(root)-1] + "\n",
		"o\n8\n" + root + " \n",
		"o\n8\n\n",
		"o\n8\n",
		"o\n8\n" + root + "\nextension\n",
		"o\n8\n" + root + "\n\n",
		"o\u202e\n8\n" + root + "\n",
		"o\u0085\n8\n" + root + "\n",
		"o\x7f\n8\n" + root + "\n",
		strings.Repeat("o", 256) + "\n8\n" + root + "\n",
	} {
		_, err := seal.Open(signText(t, text, peterPrivate), peterPublic)
		is(t, err, seal.ErrCheckpoint)
	}
	for _, text := range []string{"o\r\n8\n" + root + "\n", "o\t\n8\n" + root + "\n", "o\xff\n8\n" + root + "\n"} {
		_, err := seal.Open(signText(t, text, peterPrivate), peterPublic)
		is(t, err, seal.ErrNotNote)
	}
	_, err := seal.Open(signText(t, strings.Repeat("o", 65<<10)+"\n", peterPrivate), peterPublic)
	is(t, err, seal.ErrNotNote)
	_, err = seal.Open(signText(t, "o\n281474976710656\n"+root+"\n", peterPrivate), peterPublic)
	must(t, err) // the largest size there is
}

func TestOpenManySigners(t *testing.T) {
	other, private, err := seal.NewKey("other")
	must(t, err)
	text := "o\n0\n" + seal.HeadOf(nil).Root.String() + "\n"
	signed := signText(t, text, private, peterPrivate)
	for _, public := range []string{peterPublic, other.Public()} {
		st, err := seal.Open(signed, public)
		must(t, err)
		if !strings.HasPrefix(public, st.Signer) {
			t.Errorf("opened with %s, signed by %s", public, st.Signer)
		}
	}
	alone := signText(t, text, private)
	_, err = seal.Open(alone, peterPublic)
	is(t, err, seal.ErrUnknownSigner)

	lines := strings.SplitAfter(string(alone), "\n")
	twice := string(alone) + lines[len(lines)-2]
	_, err = seal.Open([]byte(twice), other.Public())
	is(t, err, seal.ErrNotNote)

	// The format asks for at least sixteen signatures; there is a limit.
	var many []string
	for range 64 {
		_, p, err := seal.NewKey("witness")
		must(t, err)
		many = append(many, p)
	}
	_, err = seal.Open(signText(t, text, append(many[:16:16], private)...), other.Public())
	must(t, err)
	_, err = seal.Open(signText(t, text, append(many, private)...), other.Public())
	is(t, err, seal.ErrNotNote)
}

func TestOpenBadPublicKey(t *testing.T) {
	for _, public := range []string{"", "x", peterPrivate, peterPublic[:len(peterPublic)-1], strings.Replace(peterPublic, "c7", "c8", 1)} {
		_, err := seal.Open(sealed(t, "o", nil), public)
		is(t, err, seal.ErrKey)
	}
}

func TestSignRefuses(t *testing.T) {
	good := seal.HeadOf(ctRecords())
	for origin, head := range map[string]seal.Head{
		"":      good,
		"a\nb":  good,
		"a\xff": good,
		"a\x01": good,
		"minus": {Size: -1, Root: good.Root},
		"much":  {Size: seal.MaxSize + 1, Root: good.Root},
		"zero":  {Size: 0, Root: good.Root},
	} {
		_, err := peter(t).Sign(origin, head)
		is(t, err, seal.ErrCheckpoint)
	}
}

func TestCheckAgainst(t *testing.T) {
	records := ctRecords()
	for n := range len(records) + 1 {
		st, err := seal.Open(sealed(t, "o", records[:n]), peterPublic)
		must(t, err)
		must(t, seal.CheckAgainst(st, int64(len(records)), seal.HashesOf(records)))
		if n == 0 {
			continue
		}
		is(t, seal.CheckAgainst(st, int64(n-1), seal.HashesOf(records[:n-1])), seal.ErrShorter)
		for i := range n {
			is(t, seal.CheckAgainst(st, int64(len(records)), seal.HashesOf(changed(records, i))), seal.ErrDiffers)
		}
		if err := seal.CheckAgainst(st, int64(n), seal.Hashes{}); err == nil {
			t.Error("no hashes, and no error")
		}
	}
	if err := seal.CheckAgainst(seal.Statement{Head: seal.Head{Size: -1}}, 0, seal.Hashes{}); err == nil {
		t.Error("a size below 0, and no error")
	}
}

// changed returns these records with one changed.
func changed(records [][]byte, i int) [][]byte {
	others := append([][]byte(nil), records...)
	others[i] = append([]byte("x"), others[i]...)
	return others
}
