package bolt_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"iter"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"fettle/store/bolt"
)

// After a power cut, any part of what was written since the last sync may be on the
// disk. These tests build the files that a power cut can leave, and open them.
//
// They rely on the order in which an append writes: it makes the file longer if it
// must, and syncs; writes the data pages, and syncs; writes the page of the older
// head, and syncs; and writes the stamp in two places, without a sync. If the state
// before has no stamp in its own page, it gets that before anything else. A new store is written like
// that under another name, synced, and then renamed; and the copy that a migration
// keeps gets its name before any of that.
// TestOrderOfWrites sees the system's calls in that order (strace on Linux, with
// bbolt 1.5.0).

const (
	sectorSize = 512 // a disk writes that much at once, or nothing of it
	headLength = 80  // of a head's page, the bytes that count
	stampBytes = 44  // at the end of both heads' pages
)

// A commit is one write to a file, as the bytes before and after.
type commit struct{ before, after []byte }

// A cut is a file as a power cut during a commit can leave it.
type cut struct {
	during string // what was being written
	how    string
	file   []byte
	done   bool // whether it has what the commit wrote: all of it, or nothing
}

// newerHead returns the page of the head that is valid after the commit.
func (c commit) newerHead() int {
	txid := func(page int) uint64 {
		return binary.NativeEndian.Uint64(c.after[page*os.Getpagesize()+64:])
	}
	if txid(1) > txid(0) {
		return 1
	}
	return 0
}

func (c commit) grown() bool { return len(c.after) > len(c.before) }

// longer is the file before the commit, at its length after it.
func (c commit) longer() []byte {
	return append(bytes.Clone(c.before), make([]byte, len(c.after)-len(c.before))...)
}

// page returns the bytes of one page.
func page(file []byte, number int) []byte {
	size := os.Getpagesize()
	return file[number*size : (number+1)*size]
}

// stampIn returns where a page has a stamp.
func stampIn(file []byte, number int) []byte {
	of := page(file, number)
	return of[len(of)-stampBytes:]
}

// A stretch is data pages in a row that a commit changed.
type stretch struct{ from, to int }

func (s stretch) sectors() int { return (s.to - s.from) / sectorSize }

func (c commit) stretches() (all []stretch) {
	size, old := os.Getpagesize(), c.longer()
	for at := headsEnd(); at < len(c.after); at += size {
		switch {
		case bytes.Equal(old[at:at+size], c.after[at:at+size]):
		case len(all) > 0 && all[len(all)-1].to == at:
			all[len(all)-1].to += size
		default:
			all = append(all, stretch{at, at + size})
		}
	}
	return all
}

// A part tells which sectors of a write reached the disk.
type part func(sector int) bool

func whole(int) bool            { return true }
func nothing(int) bool          { return false }
func upTo(end int) part         { return func(sector int) bool { return sector < end } }
func fromOn(begin int) part     { return func(sector int) bool { return sector >= begin } }
func oneOf(sectors []bool) part { return func(sector int) bool { return sectors[sector] } }

// write puts the part of a write over what was there.
func write(over, what []byte, reached part) {
	for at := 0; at < len(what); at += sectorSize {
		if reached(at / sectorSize) {
			copy(over[at:at+sectorSize], what[at:])
		}
	}
}

// duringData is a cut before the data pages were synced: the store has the old head
// and the old content.
func (c commit) duringData(how string, long bool, reached func(write int) part) cut {
	file := c.longer()
	for i, s := range c.stretches() {
		write(file[s.from:s.to], c.after[s.from:s.to], reached(i))
	}
	if !long {
		file = file[:len(c.before)]
	}
	return cut{"the data", how, file, false}
}

// duringHead is a cut after that, with the new head's page a mix of old and new. The
// new state is valid once all of its head is there.
func (c commit) duringHead(how string, mix func(old, fresh []byte) []byte) cut {
	file, head := bytes.Clone(c.after), c.newerHead()
	copy(page(file, 1-head), page(c.before, 1-head)) // the stamp is written later
	fresh := bytes.Clone(page(c.after, head))
	clear(fresh[len(fresh)-stampBytes:]) // and there too
	copy(page(file, head), mix(bytes.Clone(page(c.before, head)), fresh))
	done := bytes.Equal(page(file, head)[:headLength], page(c.after, head)[:headLength])
	return cut{"the head", how, file, done}
}

// duringStamp is a cut after that, with so many bytes of the stamps written.
func (c commit) duringStamp(other, own int) cut {
	file, head := bytes.Clone(c.after), c.newerHead()
	clear(stampIn(file, 1-head)[other:])
	clear(stampIn(file, head)[own:])
	return cut{"the stamp", fmt.Sprint(other, " and ", own, " bytes"), file, true}
}

// lostStamp removes from a cut what had not been written of the stamp before.
func (c commit) lostStamp(in cut, written int) cut {
	in.how += fmt.Sprintf(", %d bytes of the stamp before", written)
	clear(stampIn(in.file, c.newerHead())[written:])
	clear(stampIn(in.file, 1-c.newerHead())[stampBytes-written:])
	return in
}

// every yields the cuts of a commit one by one: every subset of its data writes; each
// data write torn at every sector, alone and with all others whole; and the head and
// the stamp torn at every byte.
func (c commit) every() iter.Seq[cut] {
	return func(yield func(cut) bool) {
		stretches := c.stretches()
		lengths := []bool{true}
		if c.grown() {
			lengths = []bool{true, false}
		}
		for _, long := range lengths {
			for set := range 1 << min(len(stretches), 8) {
				how := fmt.Sprintf("writes %b, longer %t", set, long)
				if !yield(c.duringData(how, long, func(write int) part {
					if write < 8 && set>>write&1 == 0 {
						return nothing
					}
					return whole
				})) {
					return
				}
			}
		}
		for torn, s := range stretches {
			for end := range s.sectors() {
				for _, others := range []part{nothing, whole} {
					how := fmt.Sprintf("write %d torn at sector %d, others %t", torn, end, others(0))
					if !yield(c.duringData(how, true, func(write int) part {
						if write != torn {
							return others
						}
						return upTo(end)
					})) {
						return
					}
				}
			}
		}
		for _, end := range headTears() {
			if !yield(c.duringHead(fmt.Sprint("up to byte ", end), func(old, fresh []byte) []byte {
				return append(fresh[:end:end], old[end:]...)
			})) || !yield(c.duringHead(fmt.Sprint("from byte ", end), func(old, fresh []byte) []byte {
				return append(old[:end:end], fresh[end:]...)
			})) {
				return
			}
		}
		for written := range stampBytes + 1 {
			if !yield(c.duringStamp(written, 0)) || !yield(c.duringStamp(stampBytes, written)) {
				return
			}
		}
	}
}

// headTears are the bytes at which a head's page is torn: each of the head, each
// sector, and each of the stamp that the page has at its end.
func headTears() (all []int) {
	size := os.Getpagesize()
	for at := range size + 1 {
		if at <= headLength || at%sectorSize == 0 || at >= size-stampBytes {
			all = append(all, at)
		}
	}
	return all
}

// drawPart draws how much of a write reached the disk.
func drawPart(rt *rapid.T, sectors int) part {
	switch rapid.IntRange(0, 5).Draw(rt, "part") {
	case 0:
		return nothing
	case 1:
		return whole
	case 2:
		return upTo(rapid.IntRange(0, sectors).Draw(rt, "up to sector"))
	case 3:
		return fromOn(rapid.IntRange(0, sectors).Draw(rt, "from sector"))
	case 4:
		perPage := os.Getpagesize() / sectorSize
		return upTo(perPage * rapid.IntRange(0, sectors/perPage).Draw(rt, "up to page"))
	}
	return oneOf(rapid.SliceOfN(rapid.Bool(), sectors, sectors).Draw(rt, "sectors"))
}

// drawCut draws one of all the cuts of a commit.
func drawCut(rt *rapid.T, c commit) cut {
	switch rapid.IntRange(0, 4).Draw(rt, "during") {
	case 0, 1, 2:
		var parts []part
		for _, s := range c.stretches() {
			parts = append(parts, drawPart(rt, s.sectors()))
		}
		long := !c.grown() || rapid.Bool().Draw(rt, "made longer")
		drawn := c.duringData("drawn", long, func(write int) part { return parts[write] })
		if rapid.Bool().Draw(rt, "stamp before lost") {
			drawn = c.lostStamp(drawn, rapid.IntRange(0, stampBytes-1).Draw(rt, "of the stamp"))
		}
		return drawn
	case 3:
		if rapid.Bool().Draw(rt, "by sectors") {
			reached := drawPart(rt, os.Getpagesize()/sectorSize)
			return c.duringHead("sectors drawn", func(old, fresh []byte) []byte {
				write(old, fresh, reached)
				return old
			})
		}
		end := rapid.SampledFrom(headTears()).Draw(rt, "up to byte")
		return c.duringHead(fmt.Sprint("up to byte ", end), func(old, fresh []byte) []byte {
			return append(fresh[:end:end], old[end:]...)
		})
	}
	return c.duringStamp(rapid.IntRange(0, stampBytes).Draw(rt, "of the stamp"), rapid.IntRange(0, stampBytes).Draw(rt, "of the other"))
}

func (c content) clone() content {
	out := content{map[string][]string{}, maps.Clone(c.documents)}
	for mark, records := range c.journals {
		out.journals[mark] = slices.Clip(records)
	}
	return out
}

// with returns the content with records added to a journal.
func (c content) with(mark string, records ...string) content {
	out := c.clone()
	out.journals[mark] = append(out.journals[mark], records...)
	return out
}

// A tally counts the files that were opened.
type tally struct {
	cuts    map[string]int // by what was being written
	done    int            // that had what the commit wrote
	lost    int            // acknowledged entries, and documents
	longest int            // file, in bytes
	commits int
	grown   int // commits that made the file longer
}

func newTally() *tally { return &tally{cuts: map[string]int{}} }

func (c *tally) add(of commit) {
	c.commits++
	c.longest = max(c.longest, len(of.after))
	if of.grown() {
		c.grown++
	}
}

func (c *tally) String() string {
	all := 0
	for _, n := range c.cuts {
		all += n
	}
	return fmt.Sprintf("%d files that a power cut could leave (%d during the data, %d during the head, %d during the stamp) of %d commits, %d of which made the file longer, up to %d KiB; %d held the commit; %d acknowledged entries or documents were lost",
		all, c.cuts["the data"], c.cuts["the head"], c.cuts["the stamp"], c.commits, c.grown, c.longest>>10, c.done, c.lost)
}

// check opens what a cut left. It must have all or nothing of the commit, as expected,
// and everything before it; be well formed; and accept an append.
func (c *tally) check(t tester, path string, left cut, before, after content, mark string) {
	t.Helper()
	c.cuts[left.during]++
	want := before
	if left.done {
		c.done++
		want = after
	}
	mustWriteFile(t, path, left.file, 0o600)
	c.wantContent(t, path, left, "", want)

	next := fmt.Sprintf("after the cut of %d bytes", len(left.file))
	if err := tryAppend(t, path, mark, int64(len(want.journals[mark])), next); err != nil {
		t.Errorf("cut during %s, %s: the next append: %v", left.during, left.how, err)
		return
	}
	c.wantContent(t, path, left, " after the next append", want.with(mark, next))
	if err := bolt.CheckPages(path); err != nil {
		t.Errorf("cut during %s, %s: after the next append: %v", left.during, left.how, err)
	}
}

func (c *tally) wantContent(t tester, path string, left cut, when string, want content) {
	t.Helper()
	got, err := read(t, path, want.digests()...)
	if err != nil || !got.equal(want) {
		c.lost += missingFrom(got, want)
		t.Errorf("cut during %s, %s:%s read as %.300v, %v", left.during, left.how, when, got, err)
		return
	}
	wantTrees(t, path, want)
}

// missingFrom counts what is not where it should be.
func missingFrom(got, want content) (n int) {
	for mark, records := range want.journals {
		for at, record := range records {
			if at >= len(got.journals[mark]) || got.journals[mark][at] != record {
				n++
			}
		}
	}
	for digest, document := range want.documents {
		if is, ok := got.documents[digest]; !ok || is != document {
			n++
		}
	}
	return n
}

// A change is one append, or one document kept.
type change struct {
	mark     string
	records  []string
	document string
}

func drawChange(rt *rapid.T) change {
	length := rapid.OneOf(rapid.IntRange(0, 40), rapid.IntRange(0, 9000))
	letter := rapid.SampledFrom(strings.Split("abcdefghijklmnopqrstuvwxyz", ""))
	text := func(name string) string {
		return strings.Repeat(letter.Draw(rt, name), length.Draw(rt, "length"))
	}
	if rapid.IntRange(0, 3).Draw(rt, "what") == 0 {
		return change{document: text("document")}
	}
	in := change{mark: rapid.SampledFrom(killMarks()).Draw(rt, "mark")}
	for range rapid.IntRange(1, 4).Draw(rt, "records") {
		in.records = append(in.records, text("record"))
	}
	return in
}

// make makes a change to a store with the given content, and returns the new content.
func (in change) make(t tester, path string, holds content) content {
	t.Helper()
	if in.mark == "" {
		digest, err := bolt.New(path).Keep(t.Context(), []byte(in.document))
		if err != nil {
			t.Fatal(err)
		}
		out := holds.clone()
		out.documents[digest] = in.document
		return out
	}
	if err := tryAppend(t, path, in.mark, int64(len(holds.journals[in.mark])), in.records...); err != nil {
		t.Fatal(err)
	}
	return holds.with(in.mark, in.records...)
}

// TestPowerCut cuts the power at any moment of any write of a run.
func TestPowerCut(t *testing.T) {
	t.Parallel()
	most, each := counts(4, 20), counts(2, 40)
	path, cutPath := filepath.Join(inMemory(t), "fettle.db"), filepath.Join(inMemory(t), "fettle.db")
	count := newTally()
	rapid.Check(t, func(rt *rapid.T) {
		if err := os.RemoveAll(path); err != nil {
			rt.Fatal(err)
		}
		holds := drawChange(rt).make(rt, path, content{map[string][]string{}, map[string]string{}})
		for range rapid.IntRange(1, most).Draw(rt, "writes") {
			var c commit
			c.before = mustReadFile(rt, path)
			next := drawChange(rt).make(rt, path, holds)
			c.after = mustReadFile(rt, path)
			if bytes.Equal(c.before, c.after) {
				continue // a document that was there
			}
			count.add(c)
			for range each {
				mark := rapid.SampledFrom(killMarks()).Draw(rt, "next mark")
				count.check(rt, cutPath, drawCut(rt, c), holds, next, mark)
			}
			holds = next
		}
	})
	t.Log(count)
}

// TestPowerCutAnywhere cuts the power at every moment of a few writes: small and
// large, within the file and beyond its end.
func TestPowerCutAnywhere(t *testing.T) {
	t.Parallel()
	step := counts(31, 1)
	path, cutPath := filepath.Join(inMemory(t), "fettle.db"), filepath.Join(inMemory(t), "fettle.db")
	holds := change{mark: "CW-01", records: []string{"started"}}.make(t, path, content{map[string][]string{}, map[string]string{}})
	count := newTally()
	number := 0
	for _, in := range []change{
		{mark: "CW-01", records: []string{"joined"}},
		{mark: "SK-02", records: []string{strings.Repeat("measured ", 1000), "", "weighed"}},
		{document: strings.Repeat("procedure: causeway-build\n", 500)},
		{mark: "CW-01", records: []string{strings.Repeat("x", 9000), strings.Repeat("y", 8999), strings.Repeat("z", 4096)}},
		{mark: "JT-01", records: []string{"started"}},
	} {
		c := commit{before: mustReadFile(t, path)}
		next := in.make(t, path, holds)
		c.after = mustReadFile(t, path)
		count.add(c)
		for left := range c.every() {
			if number++; number%step == 0 {
				count.check(t, cutPath, left, holds, next, "CW-01")
			}
			if t.Failed() {
				t.FailNow()
			}
		}
		holds = next
	}
	if count.grown == 0 {
		t.Error("no write made the file longer")
	}
	t.Log(count)
}

// TestPowerCutWhileMaking cuts the power while a store is made. Its file has reached
// the disk whole before it gets its name: until then there is no store, and what is
// left under the other name does not matter.
func TestPowerCutWhileMaking(t *testing.T) {
	path := filepath.Join(inMemory(t), "fettle.db")
	mustAppend(t, path, "CW-01", 0, "a", strings.Repeat("b", 9000))
	made := mustReadFile(t, path)

	folder := filepath.Join(inMemory(t), "folder")
	path = filepath.Join(folder, "fettle.db")
	litter := filepath.Join(folder, ".fettle.db.new-1")
	tried := 0
	rapid.Check(t, func(rt *rapid.T) {
		for range counts(1, 20) {
			if err := os.RemoveAll(folder); err != nil {
				rt.Fatal(err)
			}
			if err := os.Mkdir(folder, 0o700); err != nil {
				rt.Fatal(err)
			}
			left := make([]byte, rapid.IntRange(0, len(made)/sectorSize).Draw(rt, "length")*sectorSize)
			write(left, made[:len(left)], drawPart(rt, len(made)/sectorSize))
			mustWriteFile(rt, litter, left, 0o600)
			if got := mustRead(rt, path); len(got.journals) != 0 {
				rt.Errorf("there is a store before it has its name: %.300v", got)
			}
			if err := tryAppend(rt, path, "CW-01", 0, "anew"); err != nil {
				rt.Fatal(err)
			}
			if got := mustRead(rt, path).journals; len(got) != 1 || !slices.Equal(got["CW-01"], []string{"anew"}) {
				rt.Errorf("made anew it holds %.300v", got)
			}
			if !bytes.Equal(mustReadFile(rt, litter), left) {
				rt.Errorf("what was left was written to")
			}
			tried++
		}
	})

	// And with its name, with all of the stamp or any part.
	count := newTally()
	c := commit{before: made, after: made}
	holds := content{map[string][]string{"CW-01": {"a", strings.Repeat("b", 9000)}}, map[string]string{}}
	for written := range stampBytes + 1 {
		count.check(t, path, c.duringStamp(written, 0), holds, holds, "CW-01")
	}
	t.Logf("%d half-made files, and %d named ones; %d entries lost", tried, count.cuts["the stamp"], count.lost)
}

// TestPowerCutWhileMigrating cuts the power while a store of schema 1 is migrated, and
// during the append that caused the migration.
func TestPowerCutWhileMigrating(t *testing.T) {
	t.Parallel()
	step := counts(83, 1)
	folder := inMemory(t)
	path := filepath.Join(folder, "fettle.db")
	copied := path + "-schema-1.bak"
	unzipSample(t, samples()[1], path)
	if err := bolt.Stamp(path); err != nil { // as the migration does first
		t.Fatal(err)
	}
	old := mustReadFile(t, path)
	migrated := migrateOnly(t, path)
	kept := mustReadFile(t, copied)
	holds := sampleContent()
	next := change{mark: "SK-02", records: []string{"more", strings.Repeat("m", 9000)}}.make(t, path, holds)

	cutFolder := filepath.Join(inMemory(t), "folder")
	path = filepath.Join(cutFolder, "fettle.db")
	copied = path + "-schema-1.bak"
	number := 0
	count := newTally()
	for _, stage := range []struct {
		commit
		after content
	}{
		{commit{old, migrated}, holds},
		{commit{migrated, mustReadFile(t, filepath.Join(folder, "fettle.db"))}, next},
	} {
		count.add(stage.commit)
		for left := range stage.every() {
			if number++; number%step != 0 {
				continue
			}
			mustHold(t, cutFolder, map[string][]byte{copied: kept})
			count.check(t, path, left, holds, stage.after, "CW-01")
			if !bytes.Equal(mustReadFile(t, copied), kept) {
				t.Error("the copy was written to")
			}
			if t.Failed() {
				t.FailNow()
			}
		}
	}

	// While the copy is made, the store is unchanged.
	copying := 0
	for length := 0; length <= len(kept); length += sectorSize * counts(64, 1) {
		mustHold(t, cutFolder, map[string][]byte{filepath.Join(cutFolder, ".fettle.db.new-1"): kept[:length]})
		count.check(t, path, cut{"the copy", fmt.Sprint("up to ", length), old, false}, holds, holds, "CW-01")
		if !bytes.Equal(mustReadFile(t, copied), kept) {
			t.Error("the next append kept no good copy")
		}
		copying++
	}
	t.Log(count)
	t.Logf("and %d during the copy", copying)
}

// migrateOnly migrates a store with an append that ends right after that, and returns
// its bytes.
func migrateOnly(t *testing.T, path string) []byte {
	t.Helper()
	before := mustReadFile(t, path)
	for calls := 1; ; calls++ {
		err := bolt.New(path).Append(&endsAt{t.Context(), calls}, "SK-02", 1, [][]byte{[]byte("more")})
		if !errors.Is(err, context.Canceled) {
			t.Fatalf("ended at call %d: %v", calls, err)
		}
		if after := mustReadFile(t, path); !bytes.Equal(after, before) {
			return after
		}
	}
}

// mustHold makes a folder hold these files and nothing else.
func mustHold(t tester, folder string, files map[string][]byte) {
	t.Helper()
	if err := os.RemoveAll(folder); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	for name, data := range files {
		mustWriteFile(t, name, data, 0o600)
	}
}
