package seal_test

import (
	"bytes"
	"testing"

	"pgregory.net/rapid"

	"fettle/store/seal"
)

// For any records: what is sealed can be proved, and nothing else.
func TestAnyRecords(t *testing.T) {
	key := peter(t)
	rapid.Check(t, func(t *rapid.T) {
		records := rapid.SliceOfN(rapid.SliceOfN(rapid.Byte(), 0, 40), 1, 80).Draw(t, "records")
		n := rapid.IntRange(0, len(records)).Draw(t, "sealed")
		index := rapid.IntRange(0, len(records)-1).Draw(t, "index")
		hashes := seal.HashesOf(records)
		sign := func(n int) []byte {
			head, err := seal.HeadAt(int64(n), hashes)
			var growing seal.Growing
			for _, record := range records[:n] {
				growing.Add(record)
			}
			if err != nil || head != seal.HeadOf(records[:n]) || head != growing.Head() {
				t.Fatal(head, err)
			}
			signed, err := key.Sign("fettle/any", head)
			if err != nil {
				t.Fatal(err)
			}
			return signed
		}
		older, newer := sign(n), sign(len(records))

		st, err := seal.Open(older, key.Public())
		if err != nil {
			t.Fatal(err)
		}
		if err := seal.CheckAgainst(st, int64(len(records)), hashes); err != nil {
			t.Fatal(err)
		}
		grown, err := seal.ProveConsistency(older, newer, hashes)
		if err != nil {
			t.Fatal(err)
		}
		from, to, err := seal.CheckConsistency(grown.Text(), key.Public())
		if err != nil || from.Head.Size != int64(n) || to.Head.Size != int64(len(records)) {
			t.Fatal(from, to, err)
		}
		in, err := seal.ProveInclusion(records[index], int64(index), newer, hashes)
		if err != nil {
			t.Fatal(err)
		}
		record, at, _, err := seal.CheckInclusion(in.Text(), key.Public())
		if err != nil || at != int64(index) || !bytes.Equal(record, records[index]) {
			t.Fatal(record, at, err)
		}

		other := changed(records, index)
		if first, err := seal.Verify(other, hashes); first != int64(index) || err == nil {
			t.Fatal(first, err)
		}
		if err := seal.CheckAgainst(st, int64(len(records)), seal.HashesOf(other)); (err != nil) != (index < n) {
			t.Fatalf("record %d of %d sealed changed: %v", index, n, err)
		}
		text := in.Text()
		bit := rapid.IntRange(0, 8*len(text)-1).Draw(t, "bit")
		text[bit/8] ^= 1 << (bit % 8)
		if _, _, _, err := seal.CheckInclusion(text, key.Public()); err == nil {
			t.Fatalf("unnoticed: %q", text)
		}
	})
}
