package bolt_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"go.etcd.io/bbolt"

	"fettle/store"
	"fettle/store/bolt"
	"fettle/store/wholefile"
)

// A sample is a sound store, as bytes, and what it holds.
type sample struct {
	file    []byte
	digests []string
	full    content
	before  content // without the last append, as the older head has it
	inUse   int     // bytes from the start of which some are used
}

// makeSample returns a store of a few pages, or one with trees of several levels.
func makeSample(t testing.TB, large bool) sample {
	t.Helper()
	path := filepath.Join(t.TempDir(), "fettle.db")
	s := bolt.New(path)
	out := sample{full: content{map[string][]string{}, map[string]string{}}}
	add := func(mark string, records ...string) {
		var all [][]byte
		for _, record := range records {
			all = append(all, []byte(record))
		}
		if err := s.Append(t.Context(), mark, int64(len(out.full.journals[mark])), all); err != nil {
			t.Fatal(err)
		}
		out.full.journals[mark] = append(out.full.journals[mark], records...)
	}
	keep := func(document string) {
		digest, err := s.Keep(t.Context(), []byte(document))
		if err != nil {
			t.Fatal(err)
		}
		out.digests = append(out.digests, digest)
		out.full.documents[digest] = document
	}
	keep("procedure: causeway-build\n")
	add("SK-02", "started")
	add("CW-01", "started", "joined", strings.Repeat("measured ", 20))
	if large {
		for i := range 3 {
			var records []string
			for n := range 120 {
				records = append(records, fmt.Sprintf("%d %d %s", i, n, strings.Repeat("z", n)))
			}
			add("CW-01", records...)
			add(fmt.Sprintf("JT-%02d", i), records[:40]...)
			keep(strings.Repeat("line\n", 3000*i+1))
		}
	}
	out.before = content{map[string][]string{}, out.full.documents}
	for mark, records := range out.full.journals {
		out.before.journals[mark] = records
	}
	add("SK-02", "last")

	db, err := bbolt.Open(path, 0o600, &bbolt.Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	err = db.View(func(tx *bbolt.Tx) error {
		out.inUse = int(tx.Size())
		return nil
	})
	if err := errors.Join(err, db.Close()); err != nil {
		t.Fatal(err)
	}
	if out.file, err = os.ReadFile(path); err != nil {
		t.Fatal(err)
	}
	return out
}

// headsEnd is where the two heads end: an append can be lost unnoticed only if there
// is damage in more than one place before it.
func headsEnd() int { return 2 * os.Getpagesize() }

// Once an append has been acknowledged, damage to its head is noticed: the store is
// not read or written to as though the append had never been made.
func TestHarmedNewerHead(t *testing.T) {
	t.Parallel()
	s := makeSample(t, false)
	path := filepath.Join(t.TempDir(), "fettle.db")
	at, size := 0, os.Getpagesize()
	if txid := func(file []byte) uint64 { return binary.NativeEndian.Uint64(file[16+48:]) }; txid(s.file[size:]) > txid(s.file) {
		at = size
	}
	for bit := range 8 * 64 {
		harmed := bytes.Clone(s.file)
		harmed[at+16+bit/8] ^= 1 << (bit % 8)
		mustWriteFile(t, path, harmed, 0o600)
		_, err := read(t, path)
		wantError(t, err, "read", path, store.ErrDamaged)
		wantError(t, tryAppend(t, path, "CW-01", 3, "after"), "write", path, store.ErrDamaged)
		report, err := bolt.New(path).Examine(t.Context())
		if err != nil || len(report.Faults) != 1 || !strings.Contains(report.Faults[0].Error(), "its newer head is not as it was written") {
			t.Errorf("bit %d: %v, %v", bit, report.Faults, err)
		}
		if t.Failed() {
			t.FailNow()
		}
	}
}

// Zeroed sectors in a row around the heads, of a store whose newest head is in one page or the
// other: the last append is there or the store is refused.
func TestZeroedAroundHeads(t *testing.T) {
	t.Parallel()
	s := makeSample(t, false)
	path := filepath.Join(t.TempDir(), "fettle.db")
	for range 2 {
		for from := 0; from < headsEnd(); from += sectorSize {
			for to := from + sectorSize; to <= headsEnd(); to += sectorSize {
				harmed := bytes.Clone(s.file)
				clear(harmed[from:to])
				mustWriteFile(t, path, harmed, 0o600)
				if got, err := read(t, path, s.digests...); err != nil {
					wantFamily(t, err)
				} else if !got.equal(s.full) {
					t.Fatalf("bytes %d to %d zeroed: read as %.300v", from, to, got)
				}
			}
		}
		mustWriteFile(t, path, s.file, 0o600)
		if err := tryAppend(t, path, "CW-01", int64(len(s.full.journals["CW-01"])), "more"); err != nil {
			t.Fatal(err)
		}
		s.full.journals["CW-01"] = append(s.full.journals["CW-01"], "more")
		s.file = mustReadFile(t, path)
	}
}

// A page that a disk did not write, or that is from an older copy, is noticed: nothing is
// read as it was some appends ago. An examination says so too.
func TestStalePage(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "fettle.db")
	s := bolt.New(path)
	full := content{map[string][]string{}, map[string]string{}}
	var copies [][]byte
	for i := range 40 {
		mark, record := fmt.Sprintf("CW-%02d", i*i%7), fmt.Sprint(i)
		if mark == "CW-01" { // the others stay within the page that lists all
			record = strings.Repeat("long ", 200)
		}
		if err := s.Append(t.Context(), mark, int64(len(full.journals[mark])), [][]byte{[]byte(record)}); err != nil {
			t.Fatal(err)
		}
		full.journals[mark] = append(full.journals[mark], record)
		copies = append(copies, mustReadFile(t, path))
	}
	last, size := copies[len(copies)-1], os.Getpagesize()
	tried, refused := 0, 0
	for _, older := range copies[:len(copies)-1] {
		for at := 0; at < min(len(older), len(last)); at += size {
			if bytes.Equal(older[at:at+size], last[at:at+size]) {
				continue
			}
			tried++
			harmed := bytes.Clone(last)
			copy(harmed[at:at+size], older[at:])
			mustWriteFile(t, path, harmed, 0o600)
			got := readable(t, path, sample{full: full})
			for mark, records := range got.journals {
				if !slices.Equal(records, full.journals[mark]) {
					t.Fatalf("page %d is stale: %s is read as %.300q", at/size, mark, records)
				}
			}
			if len(got.journals) < len(full.journals) {
				refused++
				examined := bolt.New(path)
				report, err := examined.Examine(t.Context())
				faults := append(report.Faults, err)
				for _, j := range report.Journals {
					_, fault, err := examined.Rescue(t.Context(), j.Mark)
					faults = append(faults, fault, err)
				}
				if errors.Join(faults...) == nil {
					t.Fatalf("page %d is stale: it is refused, and examined as sound", at/size)
				}
			}
		}
	}
	if refused == 0 {
		t.Error("nothing was refused: no page that counts was stale")
	}
	t.Log(tried, "stale pages,", refused, "refused")
}

// checkHarmed wants a damaged file to be either refused or read correctly. Then it
// appends, which may be refused or not, and wants every journal and document that
// could be read to be unchanged. It reports whether reading was refused.
func checkHarmed(t tester, path string, s sample, inHead bool) (refused bool) {
	t.Helper()
	got, err := read(t, path, s.digests...)
	switch {
	case err != nil:
		wantFamily(t, err)
	case got.equal(s.full):
	case inHead && got.equal(s.before):
	default:
		t.Errorf("read as %.300v", got)
	}
	before := readable(t, path, s)
	size := int64(len(before.journals["CW-01"]))
	if size == 0 {
		size = int64(len(s.full.journals["CW-01"]))
	}
	// Twice: what the first wrongly frees, the second writes over.
	for range 2 {
		if err := tryAppend(t, path, "CW-01", size, "after"); err != nil {
			wantFamily(t, err)
			break
		}
		if len(before.journals["CW-01"]) > 0 {
			before.journals["CW-01"] = append(before.journals["CW-01"], "after")
		}
		size++
	}
	after := readable(t, path, s)
	for mark, records := range before.journals {
		if !slices.Equal(after.journals[mark], records) {
			t.Errorf("an append left %s as %.300q", mark, after.journals[mark])
		}
	}
	for digest, document := range before.documents {
		if after.documents[digest] != document {
			t.Errorf("an append left the document %s as %.300q", digest, after.documents[digest])
		}
	}
	return err != nil
}

// readable returns the parts of a damaged file that can be read, one by one.
func readable(t tester, path string, s sample) content {
	t.Helper()
	got := content{map[string][]string{}, map[string]string{}}
	_ = bolt.New(path).View(t.Context(), func(r store.Reader) error {
		for mark := range s.full.journals {
			records, err := r.Read(mark, 0)
			if err == nil && len(records) > 0 {
				for _, record := range records {
					got.journals[mark] = append(got.journals[mark], string(record))
				}
			}
		}
		for digest := range s.full.documents {
			if document, err := r.Document(digest); err == nil {
				got.documents[digest] = string(document)
			}
		}
		return nil
	})
	return got
}

// wantFamily wants an error of the store's family about the file itself.
func wantFamily(t tester, err error) {
	t.Helper()
	var failure *store.Error
	if !errors.As(err, &failure) {
		t.Errorf("not of the family: %v", err)
		return
	}
	if !errors.Is(err, store.ErrDamaged) && !errors.Is(err, store.ErrForeign) && !errors.Is(err, store.ErrNewer) {
		t.Errorf("of no kind that harm to the file has: %v", err)
	}
}

func TestTruncated(t *testing.T) {
	t.Parallel()
	for _, large := range []bool{false, true} {
		s := makeSample(t, large)
		path := filepath.Join(t.TempDir(), "fettle.db")
		for cut := 0; cut < len(s.file); cut += 1 + cut/7 + cut%13 {
			mustWriteFile(t, path, s.file[:cut], 0o600)
			_, err := read(t, path)
			switch {
			case cut >= s.inUse:
				// The part cut off was never used, as after growing the file.
				if err != nil {
					t.Errorf("cut to %d with %d in use: %v", cut, s.inUse, err)
				}
			case cut < 20:
				wantError(t, err, "read", path, store.ErrForeign)
			default:
				wantError(t, err, "read", path, store.ErrDamaged)
				wantWriteFailure(t, path, store.ErrDamaged)
			}
			if t.Failed() {
				t.Fatalf("cut to %d", cut)
			}
		}
	}
}

// TestFlipped damages the bytes of a small store, one at a time, including the heads,
// the list of free pages and unused space: every byte at the start of a page, and
// some or all of the rest.
func TestFlipped(t *testing.T) {
	t.Parallel()
	s := makeSample(t, false)
	path := filepath.Join(inMemory(t), "fettle.db")
	step, head := counts(127, 1), counts(24, os.Getpagesize())
	harmed, harms, refused := bytes.Clone(s.file), 0, 0
	for at := range s.inUse {
		if at%os.Getpagesize() >= head && at%step != 0 {
			continue
		}
		for _, flip := range []byte{1 << (at % 8), 0xFF} {
			harmed[at] ^= flip
			mustWriteFile(t, path, harmed, 0o600)
			if checkHarmed(t, path, s, false) {
				refused++
			}
			harms++
			harmed[at] ^= flip
			if t.Failed() {
				t.Fatalf("byte %d, flipped by %#x", at, flip)
			}
		}
	}
	t.Logf("%d harms in %d bytes: %d refused, %d read as written; none as anything else", harms, s.inUse, refused, harms-refused)
}

// TestCircles leads pages back to themselves and to others that have been come to,
// which bbolt alone would follow until memory ends. A small bucket's page within that
// of its parent can be made to do that too.
func TestCircles(t *testing.T) {
	t.Parallel()
	s := makeSample(t, true)
	order, size := binary.NativeEndian, os.Getpagesize()
	at := func(file []byte, id uint64) []byte { return file[int(id)*size:][:size] }
	var branches []uint64
	for id := uint64(2); int(id)*size < s.inUse; id++ {
		if p := at(s.file, id); order.Uint64(p) == id && order.Uint16(p[8:]) == 1 {
			branches = append(branches, id)
		}
	}
	harms := map[string][]byte{}
	for _, id := range branches {
		for i := range order.Uint16(at(s.file, id)[10:]) {
			harmed := bytes.Clone(s.file)
			order.PutUint64(at(harmed, id)[16+16*int(i)+8:], id)
			harms[fmt.Sprintf("element %d of page %d", i, id)] = harmed
			if i > 0 {
				continue
			}
			harmed = bytes.Clone(harmed)
			order.PutUint16(at(harmed, id)[10:], 1)
			harms[fmt.Sprintf("the only element of page %d", id)] = harmed
			for _, other := range branches {
				both := bytes.Clone(harmed)
				order.PutUint64(at(both, id)[16+8:], other)
				order.PutUint16(at(both, other)[10:], 1)
				order.PutUint64(at(both, other)[16+8:], id)
				harms[fmt.Sprintf("pages %d and %d", id, other)] = both
			}
		}
	}
	within := bytes.Clone(s.file)
	small := within[rootPage(t, writeTo(t, s.file))*size:][:size]
	for i := range order.Uint16(small[10:]) {
		element := small[16+16*int(i):]
		value := element[order.Uint32(element[4:])+order.Uint32(element[8:]):]
		if order.Uint32(element) == 1 && order.Uint64(value) == 0 {
			order.PutUint16(value[16+8:], 1) // a branch, of which the first element leads to page 0: itself
			clear(value[16+16+8 : 16+16+16])
		}
	}
	if len(branches) == 0 || bytes.Equal(within, s.file) {
		t.Fatal("there is nothing to make a circle of")
	}
	harms["a page within another"] = within

	path := filepath.Join(inMemory(t), "fettle.db")
	for name, harmed := range harms {
		mustWriteFile(t, path, harmed, 0o600)
		_, err := read(t, path, s.digests...)
		wantError(t, err, "read", path, store.ErrDamaged)
		if report, err := bolt.New(path).Examine(t.Context()); err == nil && len(report.Faults) == 0 {
			t.Error("called sound")
		}
		readable(t, path, s)
		for mark, records := range s.full.journals {
			rescued, _, _ := bolt.New(path).Rescue(t.Context(), mark)
			if len(rescued) > len(records) {
				t.Errorf("rescued %d records of %s", len(rescued), mark)
			}
			_ = tryAppend(t, path, mark, int64(len(records)), "after")
		}
		if t.Failed() {
			t.Fatal(name)
		}
	}
	t.Logf("%d circles", len(harms))
}

// A page that says it is as long as a large sparse file is refused before it is read into
// memory.
func TestLongPage(t *testing.T) {
	s := makeSample(t, false)
	size, order := os.Getpagesize(), binary.NativeEndian
	path := writeTo(t, s.file)
	root, pages := rootPage(t, path), 1<<30/size
	head := s.file[:size]
	if order.Uint64(s.file[size+64:]) > order.Uint64(head[64:]) {
		head = s.file[size:][:size]
	}
	order.PutUint64(head[16+40:], uint64(pages))
	sum := fnv.New64a()
	sum.Write(head[16:][:56])
	order.PutUint64(head[16+56:], sum.Sum64())
	order.PutUint32(s.file[root*size+12:], uint32(pages-root-1))
	mustWriteFile(t, path, s.file, 0o600)
	if err := os.Truncate(path, int64(pages*size)); err != nil {
		t.Fatal(err)
	}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	_, err := read(t, path)
	wantError(t, err, "read", path, store.ErrDamaged)
	wantError(t, tryAppend(t, path, "CW-01", 3, "after"), "write", path, store.ErrDamaged)
	runtime.ReadMemStats(&after)
	if took := after.TotalAlloc - before.TotalAlloc; took > 32<<20 {
		t.Errorf("that took %d MB", took>>20)
	}
}

// TestMixed harms a store as disks do that lose, mislay or forget what was written:
// sectors of zeros, pages in each other's place, and pages as they once were.
func TestMixed(t *testing.T) {
	t.Parallel()
	s := makeSample(t, true)
	path := filepath.Join(inMemory(t), "fettle.db")
	mustWriteFile(t, path, s.file, 0o600)
	var past [][]byte
	for i := range 12 { // so that pages have been used for more than one thing
		past = append(past, mustReadFile(t, path))
		mark := []string{"CW-01", "SK-02", "JT-00"}[i%3]
		record := strings.Repeat(fmt.Sprint(i), 700)
		mustAppend(t, path, mark, int64(len(s.full.journals[mark])), record)
		s.before = s.full.clone()
		s.full = s.full.with(mark, record)
	}
	s.file = mustReadFile(t, path)

	seed := rand.Uint64()
	random := rand.New(rand.NewPCG(seed, 0))
	pages := s.inUse / os.Getpagesize()
	refused := 0
	for n := range counts(60, 4000) {
		harmed := bytes.Clone(s.file)
		for range 1 + random.IntN(3) {
			one, two := page(harmed, 2+random.IntN(pages-2)), page(harmed, 2+random.IntN(pages-2))
			old := past[random.IntN(len(past))]
			switch n % 4 {
			case 0:
				clear(one[random.IntN(len(one)/sectorSize)*sectorSize:][:sectorSize])
			case 1:
				kept := bytes.Clone(one)
				copy(one, two)
				copy(two, kept)
			case 2:
				copy(one, two)
			case 3:
				number := 2 + random.IntN(min(len(old)/len(one), pages)-2)
				copy(page(harmed, number), page(old, number))
			}
		}
		mustWriteFile(t, path, harmed, 0o600)
		if checkHarmed(t, path, s, false) {
			refused++
		}
		if t.Failed() {
			t.Fatalf("seed %d, harm %d", seed, n)
		}
	}
	t.Logf("%d refused", refused)
	if refused == 0 {
		t.Error("nothing was harmed")
	}
}

// writeTo writes bytes to a file of their own.
func writeTo(t *testing.T, file []byte) (path string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "fettle.db")
	mustWriteFile(t, path, file, 0o600)
	return path
}

// TestCutWhileOpen truncates a file under an open view, which no check on opening can
// foresee.
func TestCutWhileOpen(t *testing.T) {
	s := makeSample(t, true)
	path := filepath.Join(t.TempDir(), "fettle.db")
	mustWriteFile(t, path, s.file, 0o600)
	err := bolt.New(path).View(t.Context(), func(r store.Reader) error {
		if err := os.Truncate(path, int64(headsEnd())); err != nil {
			t.Fatal(err)
		}
		for range 2 {
			_, err := r.Read("CW-01", 0)
			wantError(t, err, "read", path, store.ErrDamaged)
		}
		return nil
	})
	if err != nil {
		t.Error(err)
	}
	// The lock was released nevertheless.
	mustWriteFile(t, path, s.file, 0o600)
	mustAppend(t, path, "CW-01", int64(len(s.full.journals["CW-01"])), "after")
}

// TestGap deletes a record in the middle, which bbolt lets anyone do.
func TestGap(t *testing.T) {
	t.Parallel()
	for name, harm := range map[string]func(journals, journal *bbolt.Bucket) error{
		"record missing":  func(_, j *bbolt.Bucket) error { return j.Delete(key(2)) },
		"first missing":   func(_, j *bbolt.Bucket) error { return j.Delete(key(0)) },
		"last missing":    func(_, j *bbolt.Bucket) error { return j.Delete(key(4)) },
		"record moved":    func(_, j *bbolt.Bucket) error { return j.Put(key(2), bytes.Clone(j.Get(key(1)))) },
		"record changed":  func(_, j *bbolt.Bucket) error { return j.Put(key(2), []byte("sum.changed")) },
		"record empty":    func(_, j *bbolt.Bucket) error { return j.Put(key(2), nil) },
		"key of a kind":   func(_, j *bbolt.Bucket) error { return j.Put([]byte("\x00\x00\x00\x00\x00\x00\x00\x01x"), nil) },
		"one too many":    func(_, j *bbolt.Bucket) error { return j.Put(key(5), []byte("more")) },
		"size too small":  func(_, j *bbolt.Bucket) error { return j.SetSequence(4) },
		"size beyond all": func(_, j *bbolt.Bucket) error { return j.SetSequence(1 << 63) },
		"journal missing": func(js, _ *bbolt.Bucket) error { return js.DeleteBucket([]byte("CW-01")) },
		"journal added": func(js, _ *bbolt.Bucket) error {
			_, err := js.CreateBucket([]byte("CW-02"))
			return err
		},
		"no journal": func(js, _ *bbolt.Bucket) error { return js.Put([]byte("CW-02"), []byte("text")) },
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "fettle.db")
			mustAppend(t, path, "CW-01", 0, "0", "1", "2", "3", "4")
			bare(t, path, func(tx *bbolt.Tx) error {
				all := tx.Bucket([]byte("journals"))
				return harm(all, all.Bucket([]byte("CW-01")))
			})
			_, err := read(t, path)
			wantError(t, err, "read", path, store.ErrDamaged)
		})
	}
}

// TestRenamed flips a bit of a journal's mark: the store must not think that the
// journal never existed and begin it again.
func TestRenamed(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fettle.db")
	mustAppend(t, path, "CW-01", 0, "0", "1")
	file := mustReadFile(t, path)
	at := bytes.LastIndex(file, []byte("CW-01"))
	file[at] ^= 1
	mustWriteFile(t, path, file, 0o600)
	wantError(t, tryAppend(t, path, "CW-01", 0, "0"), "write", path, store.ErrDamaged)
	err := bolt.New(path).View(t.Context(), func(r store.Reader) error {
		_, err := r.Size("CW-01")
		return err
	})
	wantError(t, err, "read", path, store.ErrDamaged)
}

func TestDamagedDocument(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fettle.db")
	digest, err := bolt.New(path).Keep(t.Context(), []byte("document"))
	if err != nil {
		t.Fatal(err)
	}
	bare(t, path, func(tx *bbolt.Tx) error {
		return tx.Bucket([]byte("documents")).Put([]byte(digest), []byte("dokument"))
	})
	for _, asked := range []string{digest, store.Digest([]byte("another"))} {
		_, err = read(t, path, asked)
		wantError(t, err, "read", path, store.ErrDamaged)
	}
	_, err = bolt.New(path).Keep(t.Context(), []byte("document"))
	wantError(t, err, "write", path, store.ErrDamaged)
}

func key(at uint64) []byte { return binary.BigEndian.AppendUint64(nil, at) }

// A stamp counts only for the state that it was made for; what it says of the records, only
// as it was written.
func TestStampOfAnotherState(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fettle.db")
	mustAppend(t, path, "CW-01", 0, "a")
	mustAppend(t, path, "CW-01", 1, "b")
	sound := mustReadFile(t, path)
	size := os.Getpagesize()
	for name, harm := range map[string]func([]byte){
		"another stamp": func(file []byte) { file[size-1]++; file[2*size-1]++ },
		"more pages": func(file []byte) {
			for _, at := range []int{0, size} {
				file[at+56]++ // see readHeadAt
			}
			fitHeads(file)
		},
		"another number": func(file []byte) { file[size-stampBytes]++; file[2*size-stampBytes]++ },
	} {
		file := append(bytes.Clone(sound), make([]byte, size)...)
		harm(file)
		mustWriteFile(t, path, file, 0o600)
		if stamped := bolt.Stamped(path); stamped != (name == "another number") {
			t.Errorf("%s: stamped is %v", name, stamped)
		}
		if got, err := read(t, path); err != nil || !slices.Equal(got.journals["CW-01"], []string{"a", "b"}) {
			t.Errorf("%s: read as %v, %v", name, got, err)
		}
	}
}

// A disk that fails once the new head is there leaves it open whether it is kept.
func TestUnconfirmed(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fettle.db")
	mustAppend(t, path, "CW-01", 0, "a")
	if err := bolt.CommitBroken(t.Context(), path); !errors.Is(err, wholefile.ErrUnconfirmed) {
		t.Errorf("it said %v", err)
	}
}
