package seal_test

import (
	"bytes"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"fettle/store"
	"fettle/store/seal"
)

func inclusion(t testing.TB, records [][]byte, index int64) []byte {
	t.Helper()
	p, err := seal.ProveInclusion(records[index], index, sealed(t, "fettle/CW-01", records), seal.HashesOf(records))
	must(t, err)
	return p.Text()
}

func consistency(t testing.TB, records [][]byte, from int) []byte {
	t.Helper()
	p, err := seal.ProveConsistency(sealed(t, "fettle/CW-01", records[:from]), sealed(t, "fettle/CW-01", records), seal.HashesOf(records))
	must(t, err)
	return p.Text()
}

func TestInclusionText(t *testing.T) {
	got := string(inclusion(t, ctRecords(), 5))
	if want := "c2sp.org/tlog-proof@v1\nextra QEFCQw==\nindex 5\nvBoGQ7EuTS18d5GPROD095qDi2z57FtcKD4fTYhZnms=\n"; !strings.HasPrefix(got, want) {
		t.Errorf("got %s", got)
	}
	if got := string(inclusion(t, ctRecords(), 0)); !strings.HasPrefix(got, "c2sp.org/tlog-proof@v1\nindex 0\n") {
		t.Errorf("an empty record: %s", got)
	}
}

func TestInclusionNoticesEveryBit(t *testing.T) {
	for _, index := range []int64{0, 3, 5, 7} {
		flips := someFlips
		if index == 5 {
			flips = everyFlip
		}
		flips(t, inclusion(t, ctRecords(), index), func(flipped []byte) error {
			_, _, _, err := seal.CheckInclusion(flipped, peterPublic)
			return err
		})
	}
	everyFlip(t, inclusion(t, [][]byte{[]byte("alone")}, 0), func(flipped []byte) error {
		_, _, _, err := seal.CheckInclusion(flipped, peterPublic)
		return err
	})
}

func TestInclusionNoticesEveryBitOfTheRecord(t *testing.T) {
	p, err := seal.ReadInclusion(inclusion(t, ctRecords(), 7))
	must(t, err)
	everyFlip(t, p.Record, func(flipped []byte) error {
		other := *p
		other.Record = flipped
		_, _, _, err := seal.CheckInclusion(other.Text(), peterPublic)
		is(t, err, seal.ErrUnproved)
		return err
	})
}

func TestConsistencyNoticesEveryBit(t *testing.T) {
	for _, from := range []int{0, 1, 4, 6, 8} {
		flips := someFlips
		if from == 6 { // its proof has the most hashes
			flips = everyFlip
		}
		flips(t, consistency(t, ctRecords(), from), func(flipped []byte) error {
			_, _, err := seal.CheckConsistency(flipped, peterPublic)
			return err
		})
	}
}

func TestProofsNoticeEveryCut(t *testing.T) {
	text := inclusion(t, ctRecords(), 5)
	for n := range text {
		if _, _, _, err := seal.CheckInclusion(text[:n], peterPublic); err == nil {
			t.Errorf("inclusion cut to %d bytes", n)
		}
	}
	text = consistency(t, ctRecords(), 6)
	for n := range text {
		if _, _, err := seal.CheckConsistency(text[:n], peterPublic); err == nil {
			t.Errorf("consistency cut to %d bytes", n)
		}
	}
}

func TestInclusionRefusals(t *testing.T) {
	records := ctRecords()
	good := string(inclusion(t, records, 5))
	for old, other := range map[string]string{
		"c2sp.org/tlog-proof@v1\n": "c2sp.org/tlog-proof@v2\n",
		"extra QEFCQw==\n":         "extra QEFCQx==\n",
		"extra ":                   "Extra ",
		"index 5":                  "index 05",
		"index 5\n":                "",
		"index 5\nv":               "index 5\n\nv",
		"\n\n":                     "\n" + strings.Repeat(tlog.Hash{}.String()+"\n", 65) + "\n",
	} {
		_, _, _, err := seal.CheckInclusion([]byte(strings.Replace(good, old, other, 1)), peterPublic)
		if old == "index 5\nv" {
			is(t, err, seal.ErrSignature) // the hashes are taken for the seal's text
			continue
		}
		is(t, err, seal.ErrNotProof)
	}
	_, _, _, err := seal.CheckInclusion([]byte(strings.Replace(good, "extra QEFCQw==\n", "extra \n", 1)), peterPublic)
	is(t, err, seal.ErrNotProof)
	_, _, _, err = seal.CheckInclusion([]byte(strings.Replace(good, "index 5", "index 4", 1)), peterPublic)
	is(t, err, seal.ErrUnproved)
	_, _, _, err = seal.CheckInclusion([]byte(strings.Replace(good, "index 5", "index 8", 1)), peterPublic)
	is(t, err, seal.ErrUnproved)
	_, _, _, err = seal.CheckInclusion(bytes.Repeat([]byte("x"), 3<<20), peterPublic)
	is(t, err, seal.ErrNotProof)
	_, _, _, err = seal.CheckInclusion(nil, peterPublic)
	is(t, err, seal.ErrNotProof)

	signed, hashes := sealed(t, "o", records), seal.HashesOf(records)
	_, err = seal.ProveInclusion(records[5], 4, signed, hashes)
	is(t, err, seal.ErrDiffers)
	_, err = seal.ProveInclusion(records[5], 5, signed, seal.HashesOf(changed(records, 7)))
	is(t, err, seal.ErrDiffers)
	_, err = seal.ProveInclusion(records[5], -1, signed, hashes)
	is(t, err, seal.ErrShorter)
	_, err = seal.ProveInclusion(records[5], 8, signed, hashes)
	is(t, err, seal.ErrShorter)
	_, err = seal.ProveInclusion(make([]byte, store.MaxRecord+1), 5, signed, hashes)
	is(t, err, seal.ErrNotProof)
	_, err = seal.ProveInclusion(records[5], 5, nil, hashes)
	is(t, err, seal.ErrNotNote)
}

func TestInclusionOfTheLongestRecord(t *testing.T) {
	records := append(ctRecords(), bytes.Repeat([]byte("r"), store.MaxRecord))
	record, index, _, err := seal.CheckInclusion(inclusion(t, records, 8), peterPublic)
	must(t, err)
	if index != 8 || !bytes.Equal(record, records[8]) {
		t.Error("another record came back")
	}
}

func TestConsistencyRefusals(t *testing.T) {
	records := ctRecords()
	hashes := seal.HashesOf(records)
	signed := func(origin string, n int) []byte { return sealed(t, origin, records[:n]) }
	_, err := seal.ProveConsistency(signed("o", 8), signed("o", 6), hashes)
	is(t, err, seal.ErrShorter)
	_, err = seal.ProveConsistency(signed("o", 6), signed("other", 8), hashes)
	is(t, err, seal.ErrDiffers)
	_, err = seal.ProveConsistency(sealed(t, "o", changed(records, 2)[:6]), signed("o", 8), hashes)
	is(t, err, seal.ErrDiffers)
	_, err = seal.ProveConsistency(sealed(t, "o", changed(records, 2)), signed("o", 8), hashes)
	is(t, err, seal.ErrDiffers)

	p, err := seal.ProveConsistency(signed("o", 6), signed("o", 8), hashes)
	must(t, err)
	for _, other := range []seal.Consistency{
		{Hashes: p.Hashes, Older: p.Newer, Newer: p.Older},
		{Hashes: p.Hashes[1:], Older: p.Older, Newer: p.Newer},
		{Older: p.Older, Newer: signed("other", 6)},
		{Hashes: p.Hashes, Older: sealed(t, "o", changed(records, 2)[:6]), Newer: p.Newer},
		{Hashes: p.Hashes, Older: signed("o", 0), Newer: p.Newer},
	} {
		_, _, err := seal.CheckConsistency(other.Text(), peterPublic)
		is(t, err, seal.ErrUnproved)
	}
	_, _, err = seal.CheckConsistency(inclusion(t, records, 0), peterPublic)
	is(t, err, seal.ErrNotProof)
	stranger, _, err := seal.NewKey("stranger")
	must(t, err)
	_, _, err = seal.CheckConsistency(p.Text(), stranger.Public())
	is(t, err, seal.ErrUnknownSigner)
}
