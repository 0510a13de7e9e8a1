package seal_test

import (
	"bytes"
	"strings"
	"testing"

	"fettle/store/seal"
)

// Whatever opens is what was signed: the only signed text, possibly with more
// signature lines.
func FuzzOpen(f *testing.F) {
	records := ctRecords()
	for n := range len(records) + 1 {
		f.Add(sealed(f, "fettle/CW-01", records[:n]))
	}
	f.Add([]byte("o\n9223372036854775807\n\n\n— x AAAAAAA=\n"))
	key := peter(f)
	f.Fuzz(func(t *testing.T, signed []byte) {
		st, err := seal.Open(signed, peterPublic)
		claim, readErr := seal.Read(signed)
		if err != nil {
			if readErr == nil { // a bound size: this must end
				_ = seal.CheckAgainst(claim, claim.Head.Size, seal.HashesOf(records))
			}
			return
		}
		if readErr != nil || claim.Origin != st.Origin || claim.Head != st.Head {
			t.Fatalf("read %+v, %v; opened %+v", claim, readErr, st)
		}
		again, err := key.Sign(st.Origin, st.Head)
		if err != nil {
			t.Fatal(err)
		}
		text, line, _ := strings.Cut(string(again), "\n\n")
		if !bytes.HasPrefix(signed, []byte(text+"\n\n")) || !strings.Contains(string(signed), line) {
			t.Fatalf("%q opened as %q", signed, again)
		}
	})
}

// Whatever is proved is in the sealed journal.
func FuzzCheckInclusion(f *testing.F) {
	records := ctRecords()
	for i := range records {
		f.Add(inclusion(f, records, int64(i)))
	}
	f.Add(consistency(f, records, 6))
	f.Fuzz(func(t *testing.T, proof []byte) {
		if p, err := seal.ReadInclusion(proof); err == nil && !bytes.Equal(p.Text(), proof) {
			t.Fatalf("%q reads as %q", proof, p.Text())
		}
		if p, err := seal.ReadConsistency(proof); err == nil && !bytes.Equal(p.Text(), proof) {
			t.Fatalf("%q reads as %q", proof, p.Text())
		}
		_, _, _ = seal.CheckConsistency(proof, peterPublic)
		record, index, st, err := seal.CheckInclusion(proof, peterPublic)
		if err != nil {
			return
		}
		if st.Head != seal.HeadOf(records) {
			return // of a journal that only a fuzzer with the test key can have
		}
		if !bytes.Equal(record, records[index]) {
			t.Fatalf("proved %x at %d", record, index)
		}
	})
}

// Lifting adds nothing, and leaves well-formed seals alone: a statement that opens was
// in the text line by line.
func FuzzLift(f *testing.F) {
	records := ctRecords()
	one := string(sealed(f, "fettle/CW-01", records[:3]))
	for _, text := range []string{
		one, "words\n\n  " + strings.ReplaceAll(one, "\n", "\r\n  ") + "\nmore", one[:60] + "\n" + one[60:], one[:len(one)-20] + "\n" + one[len(one)-20:],
		"— Ro\n\n" + one + "\n— Ro\n", one + "\n" + one, "\n" + one, strings.Replace(one, "\n\n", "\n\n\n", 1), "— x\nAAAA\n",
		"c2sp.org/tlog-proof@v1\n" + one, string(inclusion(f, records, 2)), "Look:\n" + string(consistency(f, records, 6)) + "\nYours",
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, copied []byte) {
		lifted, err := seal.Lift(copied)
		if err != nil {
			return
		}
		if again, err := seal.Lift(lifted); err != nil || !bytes.Equal(again, lifted) {
			t.Fatalf("%q, lifted out of %q, is lifted again as %q: %v", lifted, copied, again, err)
		}
		if _, err := seal.Read(copied); err == nil && !bytes.Equal(lifted, copied) {
			t.Fatalf("%q is well made, and lifted as %q", copied, lifted)
		}
		if _, err := seal.Open(lifted, peterPublic); err != nil {
			return
		}
		rest := string(copied)
		for _, line := range strings.Split(string(lifted), "\n")[:3] {
			_, after, ok := strings.Cut(rest, line)
			if !ok {
				t.Fatalf("%q opens, and %q is not in %q", lifted, line, copied)
			}
			rest = after
		}
	})
}
