package bolt_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"hash/fnv"
	"os"
	"path/filepath"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fettle/store"
	"fettle/store/bolt"
)

// TestHarmed damages larger stores more severely, and corrects their heads' checksums.
func TestHarmed(t *testing.T) {
	t.Parallel()
	s := makeSample(t, true)
	path := filepath.Join(inMemory(t), "fettle.db")
	offset := rapid.Custom(func(rt *rapid.T) int {
		if rapid.Bool().Draw(rt, "at the start of a page") {
			page := rapid.IntRange(0, s.inUse/os.Getpagesize()-1).Draw(rt, "page")
			return page*os.Getpagesize() + rapid.IntRange(0, 64).Draw(rt, "within")
		}
		return rapid.IntRange(0, s.inUse-1).Draw(rt, "offset")
	})
	word := rapid.SliceOfN(rapid.OneOf(rapid.Byte(), rapid.SampledFrom([]byte{0, 1, 2, 0xFF})), 1, 16)
	rapid.Check(t, func(rt *rapid.T) {
		harmed := bytes.Clone(s.file)
		inHead := false
		for range rapid.IntRange(1, 3).Draw(rt, "places") {
			at := offset.Draw(rt, "at")
			inHead = inHead || at < headsEnd()
			copy(harmed[at:], word.Draw(rt, "with"))
		}
		if inHead && rapid.Bool().Draw(rt, "heads made to fit") {
			fitHeads(harmed)
			mustWriteFile(t, path, harmed, 0o600)
			tryAll(rt, path) // only a forger writes such a head
		} else {
			mustWriteFile(t, path, harmed, 0o600)
			checkHarmed(rt, path, s, inHead)
		}
	})
}

// fitHeads makes the checksums of both heads right.
func fitHeads(file []byte) {
	for _, at := range []int{0, os.Getpagesize()} {
		if len(file) < at+80 {
			return
		}
		sum := fnv.New64a()
		sum.Write(file[at+16 : at+72])
		binary.NativeEndian.PutUint64(file[at+72:], sum.Sum64())
	}
}

// tryAll reads and writes a file of any bytes: all it may do is refuse the file.
func tryAll(t tester, path string) {
	t.Helper()
	got, err := read(t, path)
	if err != nil {
		wantFamily(t, err)
	}
	err = tryAppend(t, path, "CW-01", int64(len(got.journals["CW-01"])), "after")
	var failure *store.Error
	if err != nil && !errors.As(err, &failure) && !errors.Is(err, store.ErrConflict) {
		t.Errorf("not of the family: %v", err)
	}
	if _, err := bolt.New(path).Keep(t.Context(), []byte("after")); err != nil {
		wantFamily(t, err)
	}
}

// FuzzOpen opens files of any bytes, whole or as changes to a sound store.
func FuzzOpen(f *testing.F) {
	s := makeSample(f, false)
	f.Add([]byte(nil), uint32(0), []byte(nil), false)
	f.Add(s.file[:s.inUse], uint32(0), []byte(nil), false)
	f.Add([]byte(nil), uint32(headsEnd()+8), []byte{1, 0, 0xFF, 0xFF}, false)
	f.Add([]byte(nil), uint32(16+16), key(1<<60), true)
	f.Fuzz(func(t *testing.T, whole []byte, at uint32, change []byte, fit bool) {
		if len(whole) > 1<<20 {
			return
		}
		if len(whole) == 0 {
			whole = bytes.Clone(s.file[:s.inUse])
		}
		if int64(at) < int64(len(whole)) {
			copy(whole[at:], change)
		}
		if fit {
			fitHeads(whole)
		}
		path := filepath.Join(t.TempDir(), "fettle.db")
		mustWriteFile(t, path, whole, 0o600)
		began := time.Now()
		tryAll(t, path)
		if took := time.Since(began); took > 10*time.Second {
			t.Errorf("it took %v", took)
		}
	})
}
