package seal_test

import (
	"encoding/hex"
	"errors"
	"os"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"fettle/store/seal"
)

// The published test key of package note's examples.
const (
	peterPrivate = "PRIVATE+KEY+PeterNeumann+c74f20a3+AYEKFALVFGyNhPJEMzD1QIDr+Y7hfZx09iUvxdXHKDFz"
	peterPublic  = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW"
)

func peter(t testing.TB) *seal.Key {
	t.Helper()
	key, err := seal.ParseKey(peterPrivate)
	must(t, err)
	return key
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// is fails unless err is an *Error of this kind.
func is(t testing.TB, err, kind error) {
	t.Helper()
	var e *seal.Error
	if !errors.Is(err, kind) || !errors.As(err, &e) {
		t.Fatalf("got %v, want %v", err, kind)
	}
}

func unhex(t testing.TB, text string) tlog.Hash {
	t.Helper()
	data, err := hex.DecodeString(text)
	must(t, err)
	return tlog.Hash(data)
}

// ctRecords are the leaves that the certificate transparency projects test with.
func ctRecords() [][]byte {
	var records [][]byte
	for _, text := range []string{"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"} {
		data, err := hex.DecodeString(text)
		if err != nil {
			panic(err)
		}
		records = append(records, data)
	}
	return records
}

func sealed(t testing.TB, origin string, records [][]byte) []byte {
	t.Helper()
	signed, err := peter(t).Sign(origin, seal.HeadOf(records))
	must(t, err)
	return signed
}

// everyFlip calls check with every text that is one bit away from this one.
func everyFlip(t *testing.T, text []byte, check func(flipped []byte) error) {
	t.Helper()
	flipsOf(t, text, 8, check)
}

// someFlips is everyFlip with two bits of each byte, which change from byte to byte; with FETTLE_LONG all. It is for
// further texts of a kind of which another one is tried in every bit: they are laid out alike, and no byte of any is left out.
func someFlips(t *testing.T, text []byte, check func(flipped []byte) error) {
	t.Helper()
	bits := 2
	if os.Getenv("FETTLE_LONG") != "" {
		bits = 8
	}
	flipsOf(t, text, bits, check)
}

func flipsOf(t *testing.T, text []byte, bits int, check func(flipped []byte) error) {
	t.Helper()
	for i := range text {
		for n := range bits {
			bit := (i + n*8/bits) % 8
			flipped := append([]byte(nil), text...)
			flipped[i] ^= 1 << bit
			if check(flipped) == nil {
				t.Errorf("bit %d of byte %d flipped unnoticed: %q", bit, i, around(flipped, i))
			}
		}
	}
}

func around(text []byte, i int) string {
	return strings.ToValidUTF8(string(text[max(0, i-10):min(len(text), i+10)]), "?")
}
