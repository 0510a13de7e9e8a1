package seal_test

import (
	"slices"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"fettle/store/seal"
)

// The values in this file are those of github.com/transparency-dev/merkle, which
// certificate transparency implementations share, unless marked otherwise.

var ctRoots = []string{
	"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
	"6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
	"fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
	"aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
	"d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
	"4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
	"76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
	"ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
	"5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
}

func TestRoots(t *testing.T) {
	records := ctRecords()
	hashes := seal.HashesOf(records)
	for n, text := range ctRoots {
		want := seal.Head{Size: int64(n), Root: unhex(t, text)}
		if got := seal.HeadOf(records[:n]); got != want {
			t.Errorf("the head of %d records is %x", n, got.Root)
		}
		got, err := seal.HeadAt(int64(n), hashes)
		must(t, err)
		if got != want {
			t.Errorf("the head at %d records is %x", n, got.Root)
		}
	}
}

func TestStoredHashCounts(t *testing.T) {
	for i, want := range []int64{1, 3, 4, 7, 8, 10, 11, 15} {
		hashes := seal.HashesOf(ctRecords()[:i+1])
		if got := int64(len(hashes)); got != want || tlog.StoredHashCount(int64(i+1)) != want {
			t.Errorf("%d records have %d hashes, not %d", i+1, got, want)
		}
	}
}

func TestHasher(t *testing.T) {
	leaf := unhex(t, "395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56")
	if got := seal.HeadOf([][]byte{[]byte("L123456")}).Root; got != leaf || tlog.RecordHash([]byte("L123456")) != leaf {
		t.Errorf("leaf: %x", got)
	}
	// The vector's children are shorter than a hash, so NodeHash cannot take them:
	// the rule is checked here, and that NodeHash follows it below.
	node := unhex(t, "aa217fe888e47007fa15edab33c2b492a722cb106c64667fc2b044444de66bbb")
	if got := sum(append([]byte{1}, "N123N456"...)); got != node {
		t.Errorf("node: %x", got)
	}
	left, right := tlog.RecordHash([]byte("a")), tlog.RecordHash([]byte("b"))
	want := sum(slices.Concat([]byte{1}, left[:], right[:]))
	if got := seal.HeadOf([][]byte{[]byte("a"), []byte("b")}).Root; got != want {
		t.Errorf("the root of two: %x", got)
	}
}

func TestInclusionVectors(t *testing.T) {
	records := ctRecords()
	hashes := seal.HashesOf(records)
	for index, want := range map[int64][]string{
		5: {
			"bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
			"ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
			ctRoots[4],
		},
		0: {
			"96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
			"5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
			"6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
		},
	} {
		p, err := seal.ProveInclusion(records[index], index, sealed(t, "ct", records), hashes)
		must(t, err)
		same(t, p.Hashes, want)
		record, at, st, err := seal.CheckInclusion(p.Text(), peterPublic)
		must(t, err)
		if string(record) != string(records[index]) || at != index || st.Origin != "ct" {
			t.Errorf("proved %x at %d of %s", record, at, st.Origin)
		}
	}
}

func TestConsistencyVectors(t *testing.T) {
	records := ctRecords()
	hashes := seal.HashesOf(records)
	for _, v := range []struct {
		from, to int
		want     []string
	}{
		{6, 8, []string{
			"0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
			"ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
			ctRoots[4],
		}},
		{2, 5, []string{
			"5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
			"bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
		}},
	} {
		p, err := seal.ProveConsistency(sealed(t, "ct", records[:v.from]), sealed(t, "ct", records[:v.to]), hashes)
		must(t, err)
		same(t, p.Hashes, v.want)
		_, _, err = seal.CheckConsistency(p.Text(), peterPublic)
		must(t, err)
	}
}

func same(t *testing.T, got []tlog.Hash, want []string) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%d hashes, not %d", len(got), len(want))
	}
	for i, text := range want {
		if got[i] != unhex(t, text) {
			t.Errorf("hash %d is %x", i, got[i])
		}
	}
}

// The text is golang.org/x/mod's; its two lines are not a checkpoint, which alone
// shows that it is not a seal.
func TestNoteVectors(t *testing.T) {
	const text = "If you think cryptography is the answer to your problem,\n" +
		"then you don't know what your problem is.\n"
	const signed = text + "\n— PeterNeumann x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngotpRZb6KE6RyyBwJnAM=\n"
	if got := peter(t).Public(); got != peterPublic {
		t.Errorf("the public key is %s", got)
	}
	signer, err := note.NewSigner(peterPrivate)
	must(t, err)
	got, err := note.Sign(&note.Note{Text: text}, signer)
	must(t, err)
	if string(got) != signed {
		t.Errorf("signed: %s", got)
	}
	_, err = seal.Open([]byte(signed), peterPublic)
	is(t, err, seal.ErrCheckpoint) // and so neither unknown nor badly signed
	_, err = seal.Open([]byte(strings.Replace(signed, "problem", "Problem", 1)), peterPublic)
	is(t, err, seal.ErrSignature)

	const foo = "example.com/foo+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k"
	const message = "This is an example message.\n\n— example.com/foo Uw2QOkn8srV1yJGh2VYRlL1Tnagv1YEq6TfXppzi2ONncAlTgK7Ztg1ERYNZXsYjOBH3mFXmRKuwHjG1Yu72IneyaQM=\n"
	_, err = seal.Open([]byte(message), foo)
	is(t, err, seal.ErrCheckpoint)
	_, err = seal.Open([]byte(strings.Replace(message, "This", "this", 1)), foo)
	is(t, err, seal.ErrSignature)
	_, err = seal.Open([]byte(message), peterPublic)
	is(t, err, seal.ErrUnknownSigner)
}
