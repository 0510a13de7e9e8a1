package bolt

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"

	"fettle/store"
)

// Examine checks every page, and every document against its digest, and changes
// nothing. The report lists what is wrong. An error means that nothing of the file
// can be read at all (an [*store.Error]), or is ctx's. A missing file is a good
// empty store.
func (s *Store) Examine(ctx context.Context) (store.Report, error) {
	var report store.Report
	err := s.eachState(ctx, func(file *os.File, states []state) error {
		found := map[string]store.FoundJournal{}
		for i, state := range states {
			older := i > 0
			v := &survey{walk: newWalk(file, state.head), journals: found, older: older, report: &report}
			v.run()
			if older {
				break // nobody asked what is wrong with the older state
			}
			if state.cut != nil {
				v.faults = slices.Insert(v.faults, 0, state.cut)
			}
			if err := checkNewest(file, state.head); err != nil {
				report.Faults = append(report.Faults, err)
			} else if len(states) == 1 {
				report.Faults = append(report.Faults, damaged("one of its two heads is not as it was written: if it was the newer one, the last append is missing"))
			}
			report.Faults = append(report.Faults, v.faults...)
			if len(v.faults) == 0 {
				break
			}
		}
		for _, mark := range slices.Sorted(maps.Keys(found)) {
			report.Journals = append(report.Journals, found[mark])
		}
		slices.Sort(report.Documents)
		report.Documents = slices.Compact(report.Documents)
		return ctx.Err()
	})
	return report, err
}

// A state is what one of the heads points to, as far as the file goes.
type state struct {
	head
	cut error // set if the end of it is missing
}

// eachState opens the file, whatever it holds, and calls fn with the states that
// its heads point to, the newer first. If there is no file, fn is not called.
func (s *Store) eachState(ctx context.Context, fn func(file *os.File, states []state) error) error {
	h, err := s.openToRead(ctx, func() (*handle, error) { return lockFile(s.path, false) })
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return s.fail(reading, err)
	}
	defer h.close()
	newer, err := newestHead(h.file)
	if err != nil {
		return s.fail(reading, err)
	}
	info, err := h.file.Stat()
	if err != nil {
		return s.fail(reading, err)
	}
	heads := []head{newer}
	older, err := readHeadAt(h.file, olderPage(newer)*newer.pageSize)
	if err == nil && older.pageSize == newer.pageSize {
		heads = append(heads, older)
	}
	states := make([]state, len(heads))
	for i, found := range heads {
		states[i] = state{found, found.checkEnd(h.file)}
		states[i].pages = min(found.pages, uint64(info.Size())/found.pageSize)
	}
	return s.fail(reading, fn(h.file, states))
}

// A survey walks one state for an examination.
type survey struct {
	*walk
	journals map[string]store.FoundJournal
	older    bool
	report   *store.Report
}

func (v *survey) run() {
	if !v.older {
		if view, err := newView(v.pager.file, v.pager.head); err != nil {
			v.fault(err)
		} else {
			v.report.Schema = view.schema
		}
	}
	missing := map[string]bool{bucketMeta: true, bucketJournals: true, bucketDocuments: true}
	v.bucket(v.pager.top(), func(it item, b *bucket) {
		delete(missing, string(it.key))
		switch name := string(it.key); {
		case b == nil:
			v.fault(damaged(fmt.Sprintf("it holds %q, which is not a bucket", it.key)))
		case name == bucketJournals:
			v.surveyJournals(b)
		case name == bucketDocuments:
			v.bucket(b, v.document)
		default:
			v.everything(b, 1)
		}
	})
	for _, name := range slices.Sorted(maps.Keys(missing)) {
		v.fault(damaged("its " + name + " are missing"))
	}
	v.free()
}

func (v *survey) surveyJournals(b *bucket) {
	count := uint64(0)
	v.bucket(b, func(it item, journal *bucket) {
		count++
		mark := string(it.key)
		if journal == nil {
			v.fault(damaged(fmt.Sprintf("%q is listed as a journal but is not one", mark)))
			return
		}
		if _, ok := v.journals[mark]; !ok {
			v.journals[mark] = store.FoundJournal{Mark: mark, Size: int64(journal.sequence), Older: v.older}
		}
		v.everything(journal, 1)
	})
	if count != b.sequence {
		v.fault(damaged(fmt.Sprintf("it has %d journals where %d were written", count, b.sequence)))
	}
}

func (v *survey) document(it item, _ *bucket) {
	if err := checkDocument(it); err != nil {
		v.fault(err)
		return
	}
	v.report.Documents = append(v.report.Documents, string(it.key))
}

// Rescue reads as much as it can of a journal in a store that may be damaged, from
// whichever state yields more. fault says why it got no further; if it is nil, the
// journal is whole.
func (s *Store) Rescue(ctx context.Context, mark string) (records [][]byte, fault error, err error) {
	fault = damaged(fmt.Sprintf("nothing of the journal %q can be read", mark))
	err = s.eachState(ctx, func(file *os.File, states []state) error {
		for i, state := range states {
			found, wrong := rescueFrom(file, state.head, mark)
			if wrong == nil && i > 0 {
				wrong = damaged("this is its state before the last append")
			}
			if len(found) > len(records) || i == 0 {
				records, fault = found, wrong
			}
			if fault == nil {
				break
			}
		}
		return ctx.Err()
	})
	return records, fault, err
}

func rescueFrom(file *os.File, from head, mark string) (records [][]byte, fault error) {
	v, err := newView(file, from)
	if err != nil {
		return nil, err
	}
	journals, err := v.top(bucketJournals)
	if err != nil {
		return nil, err
	}
	journal, err := journals.sub([]byte(mark))
	if err != nil {
		return nil, err
	}
	if journal == nil {
		return nil, damaged(fmt.Sprintf("the journal %q is missing", mark))
	}
	fault = v.recordsIn(journal, mark, 0, int64(journal.sequence), func(record []byte) error {
		records = append(records, bytes.Clone(record))
		return nil
	})
	if fault == nil {
		if err := store.CheckAppend(mark, 0, records); err != nil {
			fault = damaged(fmt.Sprintf("no fettle could have written the journal %q: %v", mark, err))
		}
	}
	return records, fault
}

// RescueDocument returns a document of a store that may be damaged, from whichever
// state has it undamaged.
func (s *Store) RescueDocument(ctx context.Context, digest string) (document []byte, err error) {
	err = s.eachState(ctx, func(file *os.File, states []state) error {
		var first error
		for _, state := range states {
			v, err := newView(file, state.head)
			if err == nil {
				document, err = v.document(digest)
			}
			if err == nil {
				return nil
			}
			if first == nil {
				first = err
			}
		}
		return first
	})
	if err == nil && document == nil {
		err = fmt.Errorf("document %q: %w", digest, store.ErrNotFound)
	}
	return document, err
}
