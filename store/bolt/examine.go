package bolt

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"

	"fettle/store"
)

// Examine checks every page, and every document against its digest, and changes
// nothing. The report lists what is wrong. An error means that nothing of the file
// can be read at all (an [*store.Error]), or is ctx's.
func (s *Store) Examine(ctx context.Context) (store.Report, error) {
	var report store.Report
	fault := func(err error) {
		if err != nil {
			report.Faults = append(report.Faults, err)
		}
	}
	err := s.harmed(ctx, func(file *os.File, head head, v *view, wrong error) error {
		if errors.Is(wrong, store.ErrForeign) || errors.Is(wrong, store.ErrNewer) {
			return wrong
		}
		fault(head.checkEnd(file))
		newest := checkNewest(file, head)
		if _, err := readHeadAt(file, head.otherPage()*head.pageSize); newest == nil && isUnreadable(err) {
			newest = damaged("the older of its two heads is not as it was written: nothing is lost, and the next entry repairs it")
		}
		fault(newest)
		fault(newWalk(file, head.upTo(file)).everything())
		if fault(wrong); wrong == nil {
			report.Schema = v.schema
			v.survey(&report, fault)
		}
		return ctx.Err()
	})
	return report, err
}

// harmed opens a file that may be damaged, and calls fn with the newest of its heads
// that can be read, and with what that leads to; wrong says why nothing does.
func (s *Store) harmed(ctx context.Context, fn func(file *os.File, head head, v *view, wrong error) error) error {
	h, err := s.openToRead(ctx, func() (*handle, error) { return open(s.path, false, newestHead) })
	if err != nil {
		return s.fail(reading, err)
	}
	defer h.close()
	v, wrong := h.viewOf(newWalk(h.file, h.head.upTo(h.file)), true)
	return s.fail(reading, fn(h.file, h.head, v, wrong))
}

// survey lists what there is.
func (v *view) survey(report *store.Report, fault func(error)) {
	fault(guard(func() error {
		journals, err := v.listed()
		if err != nil {
			return err
		}
		count, records := uint64(0), uint64(0)
		err = journals.ForEach(func(mark, _ []byte) error {
			count++
			if j := journals.Bucket(mark); j != nil {
				records += j.Sequence()
				report.Journals = append(report.Journals, store.FoundJournal{Mark: string(mark), Size: int64(j.Sequence())})
			} else {
				fault(damaged(fmt.Sprintf("%q is listed as a journal but is not one", mark)))
			}
			return nil
		})
		if err == nil {
			err = errors.Join(checkCount(journals, count), v.checkRecords(records))
		}
		return err
	}))
	fault(guard(func() error {
		documents, err := v.documents(from(nil))
		if err != nil {
			return err
		}
		return documents.ForEach(func(digest, document []byte) error {
			err := checkDocument(digest, document)
			if fault(err); err == nil {
				report.Documents = append(report.Documents, string(digest))
			}
			return nil
		})
	}))
}

// Rescue reads as much as it can of a journal in a store that may be damaged. fault
// says why it got no further; if it is nil, the journal is whole.
func (s *Store) Rescue(ctx context.Context, mark string) (records [][]byte, fault error, err error) {
	err = s.harmed(ctx, func(_ *os.File, _ head, v *view, wrong error) error {
		if fault = wrong; fault == nil {
			fault = guard(func() error { return v.rescue(mark, &records) })
		}
		return ctx.Err()
	})
	if fault == nil && err == nil {
		if invalid := store.CheckAppend(mark, 0, records); invalid != nil {
			fault = damaged(fmt.Sprintf("no fettle could have written the journal %q: %v", mark, invalid))
		}
	}
	return records, fault, err
}

func (v *view) rescue(mark string, records *[][]byte) error {
	journals, err := v.listed()
	if err != nil {
		return err
	}
	journal := journals.Bucket([]byte(mark))
	if journal == nil {
		return damaged(fmt.Sprintf("the journal %q is missing", mark))
	}
	return v.recordsIn(journal, mark, 0, int64(journal.Sequence()), func(record []byte) error {
		*records = append(*records, bytes.Clone(record))
		return nil
	})
}

// RescueDocument returns a document of a store that may be damaged.
func (s *Store) RescueDocument(ctx context.Context, digest string) (document []byte, err error) {
	err = s.harmed(ctx, func(_ *os.File, _ head, v *view, wrong error) error {
		if wrong != nil {
			return wrong
		}
		err := guard(func() error {
			documents, err := v.documents(from(nil))
			if err != nil {
				return err
			}
			// One by one: a search would look at others, which may be damaged.
			return documents.ForEach(func(key, found []byte) error {
				if string(key) == digest && checkDocument(key, found) == nil {
					document = append([]byte{}, found...)
				}
				return nil
			})
		})
		if document != nil {
			return nil
		}
		if err == nil {
			err = fmt.Errorf("document %q: %w", digest, store.ErrNotFound)
		}
		return err
	})
	return document, err
}
