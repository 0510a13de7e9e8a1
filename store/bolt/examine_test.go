package bolt_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"go.etcd.io/bbolt"

	"fettle/store"
	"fettle/store/bolt"
)

// examined writes bytes to a file and examines it.
func examined(t *testing.T, file []byte) (path string, report store.Report) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "fettle.db")
	mustWriteFile(t, path, file, 0o600)
	report, err := bolt.New(path).Examine(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(mustReadFile(t, path), file) {
		t.Error("the examination changed the file")
	}
	return path, report
}

// rescued returns what can be read of each journal in a report, and which are whole.
func rescued(t *testing.T, path string, report store.Report) (journals map[string][]string, whole map[string]bool) {
	t.Helper()
	journals, whole = map[string][]string{}, map[string]bool{}
	for _, j := range report.Journals {
		records, fault, err := bolt.New(path).Rescue(t.Context(), j.Mark)
		if err != nil {
			t.Fatal(err)
		}
		for _, record := range records {
			journals[j.Mark] = append(journals[j.Mark], string(record))
		}
		whole[j.Mark] = fault == nil
	}
	return journals, whole
}

func TestExamineSound(t *testing.T) {
	for _, large := range []bool{false, true} {
		s := makeSample(t, large)
		path, report := examined(t, s.file)
		if len(report.Faults) > 0 || report.Schema != newestSchema() {
			t.Errorf("%+v", report)
		}
		var marks []string
		for _, j := range report.Journals {
			marks = append(marks, j.Mark)
			if j.Size != int64(len(s.full.journals[j.Mark])) {
				t.Errorf("%+v", j)
			}
		}
		if want := slices.Sorted(maps.Keys(s.full.journals)); !slices.Equal(marks, want) {
			t.Errorf("found %q, want %q", marks, want)
		}
		if want := slices.Sorted(slices.Values(s.digests)); !slices.Equal(report.Documents, want) {
			t.Errorf("found the documents %q, want %q", report.Documents, want)
		}
		journals, whole := rescued(t, path, report)
		if !maps.EqualFunc(journals, s.full.journals, slices.Equal) {
			t.Errorf("rescued %.300v", journals)
		}
		for mark, is := range whole {
			if !is {
				t.Errorf("%s is not whole", mark)
			}
		}
		for _, digest := range s.digests {
			document, err := bolt.New(path).RescueDocument(t.Context(), digest)
			if err != nil || string(document) != s.full.documents[digest] {
				t.Errorf("%q, %v", document, err)
			}
		}
		if _, err := bolt.New(path).RescueDocument(t.Context(), store.Digest([]byte("another"))); !errors.Is(err, store.ErrNotFound) {
			t.Error(err)
		}
	}
}

func TestExamineNothing(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fettle.db")
	_, err := bolt.New(path).Examine(t.Context())
	wantError(t, err, "read", path, fs.ErrNotExist)
}

func TestExamineForeign(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fettle.db")
	mustWriteFile(t, path, []byte("a letter"), 0o600)
	_, err := bolt.New(path).Examine(t.Context())
	wantError(t, err, "read", path, store.ErrForeign)
	_, _, err = bolt.New(path).Rescue(t.Context(), "CW-01")
	wantError(t, err, "read", path, store.ErrForeign)
}

// TestExamineHarmed damages a byte in each place where an element or a page begins,
// and elsewhere. A rescue never returns anything that was not written, and if
// reading notices the damage, so does the examination or the rescue.
func TestExamineHarmed(t *testing.T) {
	t.Parallel()
	s := makeSample(t, true)
	step := counts(8209, 331)
	path := filepath.Join(t.TempDir(), "fettle.db")
	noticed := 0
	for at := 0; at < s.inUse; at++ {
		if at%os.Getpagesize() != 8 && at%os.Getpagesize() != 20 && at%step != 0 {
			continue
		}
		harmed := bytes.Clone(s.file)
		harmed[at] ^= 1 << (at % 8)
		mustWriteFile(t, path, harmed, 0o600)
		report, err := bolt.New(path).Examine(t.Context())
		if err != nil {
			wantFamily(t, err)
			continue
		}
		journals, whole := rescued(t, path, report)
		sound := len(report.Faults) == 0
		for mark, records := range journals {
			want := s.full.journals[mark]
			if len(records) > len(want) || !slices.Equal(records, want[:len(records)]) {
				t.Errorf("byte %d: rescued %s as %.300q", at, mark, records)
			}
			sound = sound && whole[mark]
		}
		if got, err := read(t, path, s.digests...); sound && (err != nil || !got.equal(s.full)) {
			t.Errorf("byte %d: called sound, and read as %.300v, %v", at, got, err)
		}
		if !sound {
			noticed++
		}
	}
	t.Logf("%d harmed files noticed", noticed)
	if noticed == 0 {
		t.Error("nothing was harmed")
	}
}

// TestExamineTruncated cuts off the end of a store: what comes before it can still be
// rescued, but the store is never called sound.
func TestExamineTruncated(t *testing.T) {
	s := makeSample(t, true)
	size := os.Getpagesize()
	rescuedSome := 0
	for pages := s.inUse/size - 1; pages >= 2; pages-- {
		cut := pages*size + pages%3*100
		path, report := examined(t, s.file[:cut])
		if len(report.Faults) == 0 {
			t.Errorf("cut to %d of %d bytes: called sound", cut, s.inUse)
		}
		journals, _ := rescued(t, path, report)
		for mark, records := range journals {
			want := s.full.journals[mark]
			if len(records) > len(want) || !slices.Equal(records, want[:len(records)]) {
				t.Errorf("cut to %d bytes: rescued %s as %.300q", cut, mark, records)
			}
			rescuedSome += len(records)
		}
		for _, digest := range report.Documents {
			document, err := bolt.New(path).RescueDocument(t.Context(), digest)
			if err != nil || string(document) != s.full.documents[digest] {
				t.Errorf("cut to %d bytes: a document is %.100q, %v", cut, document, err)
			}
		}
	}
	if rescuedSome == 0 {
		t.Error("nothing was ever rescued")
	}
}

// One journal is damaged: it is readable up to there, and the others are whole.
func TestRescueBesideHarm(t *testing.T) {
	s := makeSample(t, true)
	at := bytes.Index(s.file, []byte(s.full.journals["CW-01"][200]))
	harmed := bytes.Clone(s.file)
	harmed[at] ^= 4
	path, report := examined(t, harmed)
	if len(report.Faults) > 0 {
		t.Errorf("no page is harmed in its form: %v", report.Faults)
	}
	journals, whole := rescued(t, path, report)
	for mark, want := range s.full.journals {
		if mark == "CW-01" {
			want = want[:200]
		}
		if !slices.Equal(journals[mark], want) || whole[mark] != (mark != "CW-01") {
			t.Errorf("%s: %d records, whole: %v", mark, len(journals[mark]), whole[mark])
		}
	}
}

// The page that everything hangs from is damaged: nothing is made up from what the
// older head still leads to, whose number of pages is not believed either.
func TestExamineHarmedRoot(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fettle.db")
	mustAppend(t, path, "CW-01", 0, "first")
	mustAppend(t, path, "CW-01", 1, "last")
	harmed, size := mustReadFile(t, path), os.Getpagesize()
	clear(harmed[rootPage(t, path)*size:][16:64])
	older := harmed
	if txid := func(file []byte) uint64 { return binary.NativeEndian.Uint64(file[16+48:]) }; txid(harmed[size:]) < txid(harmed) {
		older = harmed[size:]
	}
	binary.NativeEndian.PutUint64(older[16+40:], 1<<60)
	fitHeads(harmed)

	path, report := examined(t, harmed)
	if len(report.Faults) == 0 || len(report.Journals) > 0 {
		t.Errorf("%+v", report)
	}
	records, fault, err := bolt.New(path).Rescue(t.Context(), "CW-01")
	if len(records) > 0 || !errors.Is(fault, store.ErrDamaged) || err != nil {
		t.Errorf("%q, %v, %v", records, fault, err)
	}
}

// A journal that no store would accept is not called whole, because a whole journal
// is appended to another store.
func TestRescueWhatNoStoreTakes(t *testing.T) {
	long := strings.Repeat("M", store.MaxMark+1)
	path := filepath.Join(t.TempDir(), "fettle.db")
	mustAppend(t, path, "CW-01", 0, "a")
	bare(t, path, func(tx *bbolt.Tx) error {
		journals := tx.Bucket([]byte("journals"))
		_, err := journals.CreateBucket([]byte("EMPTY"))
		if err != nil {
			return err
		}
		named, err := journals.CreateBucket([]byte(long))
		if err != nil {
			return err
		}
		value := slices.Concat(make([]byte, 4), make([]byte, 32), []byte("a"))
		position := make([]byte, 8)
		sum := crc32.Checksum(slices.Concat(position, []byte(long), value[4:]), crc32.MakeTable(crc32.Castagnoli))
		binary.BigEndian.PutUint32(value, sum)
		return errors.Join(named.Put(position, value), named.SetSequence(1), journals.SetSequence(3))
	})
	_, report := examined(t, mustReadFile(t, path))
	_, whole := rescued(t, path, report)
	if want := map[string]bool{"CW-01": true, "EMPTY": false, long: false}; !maps.Equal(whole, want) {
		t.Errorf("whole are %v, want %v", whole, want)
	}
}

// Every branch points to one long page: it is read only once.
func TestCheckPagesThatMeet(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fettle.db")
	if _, err := bolt.New(path).Keep(t.Context(), make([]byte, 1<<20)); err != nil {
		t.Fatal(err)
	}
	err := bolt.New(path).Append(t.Context(), "CW-01", 0, slices.Repeat([][]byte{make([]byte, 1000)}, 2000))
	if err != nil {
		t.Fatal(err)
	}
	file, size := mustReadFile(t, path), os.Getpagesize()
	order, long, led := binary.NativeEndian, uint64(0), 0
	flags := func(id uint64) uint16 { return order.Uint16(file[int(id)*size+8:]) }
	for id := range uint64(len(file) / size) {
		if order.Uint64(file[int(id)*size:]) == id && flags(id) == 2 && order.Uint32(file[int(id)*size+12:]) > 200 {
			long = id
		}
	}
	for id := range uint64(len(file) / size) {
		page := file[int(id)*size:]
		if long == 0 || order.Uint64(page) != id || flags(id) != 1 {
			continue
		}
		for i := range int(order.Uint16(page[10:])) {
			if child := page[16+16*i+8:]; flags(order.Uint64(child)) == 2 {
				order.PutUint64(child, long)
				led++
			}
		}
	}
	if led < 100 {
		t.Fatalf("%d branches lead to the page %d", led, long)
	}
	mustWriteFile(t, path, file, 0o600)
	n, err := bolt.BytesToCheck(path)
	if !errors.Is(err, store.ErrDamaged) || n > int64(4*len(file)) {
		t.Errorf("%d bytes were read of a file of %d, %v", n, len(file), err)
	}
}

// rootPage is the page of a store's outermost bucket.
func rootPage(t *testing.T, path string) (id int) {
	t.Helper()
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	err = db.View(func(tx *bbolt.Tx) error {
		id = int(tx.Cursor().Bucket().Root())
		return nil
	})
	if err := errors.Join(err, db.Close()); err != nil {
		t.Fatal(err)
	}
	return id
}
