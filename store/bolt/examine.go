package bolt

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"

	"go.etcd.io/bbolt"

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
	err := s.harmed(ctx, func(h *handle, here head, v *view, wrong error) error {
		if errors.Is(wrong, store.ErrForeign) || errors.Is(wrong, store.ErrNewer) {
			return wrong
		}
		newest := checkNewest(h.file, h.head)
		if _, err := readHeadAt(h.file, h.head.otherPage()*h.head.pageSize); newest == nil && isUnreadable(err) {
			newest = damaged("the older of its two heads is not as it was written: nothing is lost, and the next entry repairs it")
		}
		fault(newest)
		fault(newWalk(h.file, here).everything())
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
func (s *Store) harmed(ctx context.Context, fn func(h *handle, here head, v *view, wrong error) error) error {
	h, err := s.openToRead(ctx)
	if err != nil {
		return s.fail(reading, err)
	}
	defer h.close()
	here, err := h.head.upTo(h.file)
	v, wrong := h.viewOf(newWalk(h.file, here))
	return s.fail(reading, cmp.Or(err, fn(h, here, v, wrong)))
}

// keys returns the keys of one of the outer buckets that stand in pages that are in order,
// so that bbolt can look for them.
func (v *view) keys(name string) (b *bbolt.Bucket, keys [][]byte, err error) {
	if b, _, err = v.bucket(name, none); err != nil {
		return nil, nil, err
	}
	add := func(key, _ []byte) error { keys = append(keys, bytes.Clone(key)); return nil }
	if b.Root() == 0 {
		return b, keys, b.ForEach(add)
	}
	_, _ = v.walk.tree(uint64(b.Root()), from(nil), func(p page) { // Examine reports the others
		for i := range p.count() {
			_ = add(p.key(i), nil)
		}
	})
	return b, keys, nil
}

// survey lists what there is.
func (v *view) survey(report *store.Report, fault func(error)) {
	fault(guard(func() error {
		journals, marks, err := v.keys(bucketJournals)
		if err != nil {
			return err
		}
		records := uint64(0)
		for _, mark := range marks {
			if j := journals.Bucket(mark); j != nil {
				records += j.Sequence()
				report.Journals = append(report.Journals, store.FoundJournal{Mark: string(mark), Size: int64(j.Sequence())})
			} else {
				fault(damaged(fmt.Sprintf("%q is listed as a journal but is not one", mark)))
			}
		}
		return errors.Join(checkCount(journals, uint64(len(marks))), v.checkRecords(records))
	}))
	fault(guard(func() error {
		documents, digests, err := v.keys(bucketDocuments)
		for _, digest := range digests {
			err := checkDocument(digest, documents.Get(digest))
			if fault(err); err == nil {
				report.Documents = append(report.Documents, string(digest))
			}
		}
		return err
	}))
}

// Rescue reads as much as it can of a journal in a store that may be damaged. fault
// says why it got no further; if it is nil, the journal is whole.
func (s *Store) Rescue(ctx context.Context, mark string) (records [][]byte, fault error, err error) {
	err = s.harmed(ctx, func(_ *handle, _ head, v *view, wrong error) error {
		if fault = wrong; fault == nil {
			fault = guard(func() error { return v.rescue(mark, &records) })
		}
		return ctx.Err()
	})
	return records, fault, err
}

func (v *view) rescue(mark string, records *[][]byte) error {
	journals, _, err := v.bucket(bucketJournals, to([]byte(mark)))
	if err != nil {
		return err
	}
	journal := journals.Bucket([]byte(mark))
	size, err := sizeOf(mark, journal)
	if err != nil {
		return err
	}
	_, harmed := v.look(journal, from(nil))
	for at := range size {
		if harmed != nil {
			if _, err := v.look(journal, to(position(at))); err != nil {
				return err
			}
		}
		_, record, err := v.unpack(mark, at, journal.Get(position(at)))
		if err != nil {
			return err
		}
		*records = append(*records, bytes.Clone(record))
	}
	return v.checkEnd(mark, journal, size)
}

// RescueDocument returns a document of a store that may be damaged.
func (s *Store) RescueDocument(ctx context.Context, digest string) (document []byte, err error) {
	err = s.harmed(ctx, func(_ *handle, _ head, v *view, wrong error) error {
		if wrong != nil {
			return wrong
		}
		return guard(func() error {
			document, err = v.document(digest)
			document = bytes.Clone(document)
			return err
		})
	})
	return document, err
}
