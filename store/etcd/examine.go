package etcd

import (
	"context"
	"errors"
	"maps"
	"net/url"
	"slices"
	"strings"

	"golang.org/x/mod/sumdb/tlog"

	"fettle/store"
	"fettle/store/seal"
)

// Examine reads everything in the shed and changes nothing. The report lists what is wrong. An
// error means that nothing can be read at all (an [*store.Error]), or is ctx's.
func (s *Store) Examine(ctx context.Context) (store.Report, error) {
	var report store.Report
	r, err := s.view(ctx)
	if err != nil {
		return report, s.fail(reading, err)
	}
	report.Schema = schema
	sizes, err := r.survey(&report)
	if err != nil {
		return report, s.fail(reading, err)
	}
	for _, mark := range slices.Sorted(maps.Keys(sizes)) {
		report.Journals = append(report.Journals, store.FoundJournal{Mark: mark, Size: sizes[mark]})
	}
	return report, ctx.Err()
}

// survey lists the documents and returns the sizes of the journals, by heads and by appends: what
// of a journal is left is found though its head is lost. The error is one of the cluster.
func (r *reader) survey(report *store.Report) (map[string]int64, error) {
	sizes := map[string]int64{}
	fault := func(err error) error {
		if err != nil && !errors.Is(err, store.ErrDamaged) {
			return err
		}
		if err != nil {
			report.Faults = append(report.Faults, err)
		}
		return nil
	}
	heads := 0
	err := r.each(keyHeads, end(keyHeads), func(key string, value []byte, revision int64) error {
		heads++
		mark, err := markOf(key)
		if err == nil {
			var h head
			if h, err = parseHead(key, value, revision); err == nil {
				sizes[mark] = h.size
			}
		}
		return fault(err)
	})
	if err != nil {
		return nil, err
	}
	if err := fault(r.counted(heads)); err != nil {
		return nil, err
	}
	beyond := map[string]int64{} // by mark: the last record that its head does not count
	err = r.each(keyAppends, end(keyAppends), func(key string, value []byte, _ int64) error {
		escaped, _, _ := strings.Cut(strings.TrimPrefix(key, keyAppends), "/")
		mark, err := url.PathUnescape(escaped)
		if err != nil || store.CheckMark(mark) != nil {
			return fault(damaged("%q is of no journal", key))
		}
		if a, err := parseAppended(mark, key, value); err == nil && a.last >= sizes[mark] {
			beyond[mark] = a.last
		}
		return nil // what is wrong with it is told with the journal
	})
	if err != nil {
		return nil, err
	}
	for _, mark := range slices.Sorted(maps.Keys(beyond)) {
		err := errBeyond(mark, beyond[mark])
		if sizes[mark] == 0 {
			err = errNoHead(mark)
		}
		sizes[mark] = beyond[mark] + 1
		_ = fault(err) // it is damage
	}
	err = r.each(keyDocuments, end(keyDocuments), func(key string, value []byte, _ int64) error {
		digest, err := url.PathUnescape(strings.TrimPrefix(key, keyDocuments))
		if err != nil {
			return fault(damaged("%q is not a document", key))
		}
		if _, err = r.document(digest, value); err == nil {
			report.Documents = append(report.Documents, digest)
		}
		return fault(err)
	})
	slices.Sort(report.Documents)
	return sizes, err
}

// Rescue reads as much as it can of a journal in a store that may be damaged. fault says why it
// got no further; if it is nil, the journal is whole.
func (s *Store) Rescue(ctx context.Context, mark string) (records [][]byte, fault error, err error) {
	r, err := s.view(ctx)
	if err != nil {
		return nil, nil, s.fail(reading, err)
	}
	h, fault := r.head(mark)
	if fault == nil && h.size == 0 {
		fault = damaged("the journal %q has no head", mark)
	}
	if fault != nil {
		h = head{size: seal.MaxSize}
	}
	var growing seal.Growing
	end := r.appends(mark, 0, h.size-1, h, func(_ appended, more [][]byte, _ [][]tlog.Hash) {
		for _, record := range more {
			growing.Add(record)
		}
		records = append(records, more...)
	})
	if fault == nil {
		fault = end
	}
	if fault == nil {
		root, err := tlog.TreeHash(h.size, tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) { return r.hashes(mark, indexes, h) }))
		if err != nil || root != growing.Head().Root {
			fault = damaged("the records of the journal %q are not those that its head sums up", mark)
		}
	}
	if fault != nil && !errors.Is(fault, store.ErrDamaged) {
		return records, nil, s.fail(reading, fault)
	}
	return records, fault, ctx.Err()
}

// RescueDocument returns a document of a store that may be damaged.
func (s *Store) RescueDocument(ctx context.Context, digest string) (document []byte, err error) {
	err = s.View(ctx, func(r store.Reader) error {
		document, err = r.Document(digest)
		return err
	})
	return document, err
}
