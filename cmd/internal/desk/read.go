package desk

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"sync"

	"fettle/procedures"
	"fettle/steps"
	"fettle/steps/lists"
	"fettle/store"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// journalBytes are a journal as one view of the store returns it, with all that
// is needed to replay it when the store is closed again.
type journalBytes struct {
	mark      string
	records   [][]byte
	entries   []journal.Entry   // instead of the records: those that were wanted
	documents map[string][]byte // by digest; only those not parsed yet
}

// load reads a journal with what its replay needs. A journal that does not exist
// has no records.
func (d *Desk) load(r store.Reader, mark string) (journalBytes, error) {
	records, err := r.Read(mark, 0)
	if err != nil {
		return journalBytes{}, err
	}
	return d.complete(r, mark, records)
}

// complete reads the documents that records name.
func (d *Desk) complete(r store.Reader, mark string, records [][]byte) (journalBytes, error) {
	j := journalBytes{mark: mark, records: records}
	named, err := journal.Naming(records)
	if err != nil {
		return j, fmt.Errorf("the journal of %s: %w", mark, err)
	}
	j.documents, err = d.parsed.read(r, slices.Concat(journal.Digests(named)))
	return j, err
}

// fold replays a loaded journal.
func (d *Desk) fold(ctx context.Context, j journalBytes) (*workflow.State, error) {
	d.Written.read(ctx, d.Store, j)
	if err := d.parse(j.documents); err != nil {
		return nil, err
	}
	return d.Replay(ctx, j.mark, j.records)
}

// Replay folds the journal of one airframe, with the documents it names.
func (d *Desk) Replay(ctx context.Context, mark string, records [][]byte) (*workflow.State, error) {
	entries, err := journal.Decode(records, 0)
	if err != nil {
		return nil, fmt.Errorf("the journal of %s: %w", mark, err)
	}
	return d.replay(ctx, mark, &workflow.State{}, entries)
}

// replay is the state after more entries.
func (d *Desk) replay(ctx context.Context, mark string, before *workflow.State, more []journal.Entry) (*workflow.State, error) {
	entries := slices.Concat(before.Entries, more)
	docs, err := d.named(ctx, mark, entries, true)
	if err != nil {
		return nil, err
	}
	state, err := before.Longer(more, docs)
	if err == nil {
		err = d.clocked(ctx, state)
	}
	if err == nil && len(entries) > 0 && state.Airframe.Mark != mark {
		err = fmt.Errorf("%w: it registers %q", journal.ErrBadEntry, state.Airframe.Mark)
	}
	if err != nil {
		return nil, fmt.Errorf("the journal of %s: %w", mark, err)
	}
	return state, nil
}

// named are the sheets that entries name, and the procedures if they are wanted.
func (d *Desk) named(ctx context.Context, mark string, entries []journal.Entry, procedures bool) (workflow.Documents, error) {
	docs := workflow.Documents{Sheets: map[string]*steps.Sheet{}, Procedures: map[string]*steps.Procedure{}}
	sheets, named := journal.Digests(entries)
	if !procedures {
		named = nil
	}
	kept, err := d.documents(ctx, lists.Concat(sheets, named))
	if err != nil {
		return docs, err
	}
	for _, digest := range sheets {
		if docs.Sheets[digest] = kept[digest].Sheet; docs.Sheets[digest] == nil {
			return docs, fmt.Errorf("the journal of %s: the document %s is not a design sheet", mark, digest)
		}
	}
	for _, digest := range named {
		if docs.Procedures[digest] = kept[digest].Procedure; docs.Procedures[digest] == nil {
			return docs, fmt.Errorf("the journal of %s: the document %s is not a procedure", mark, digest)
		}
	}
	return docs, nil
}

// documents returns kept documents by digest. It opens the store only for those
// that are not parsed yet.
func (d *Desk) documents(ctx context.Context, digests []string) (map[string]*procedures.Document, error) {
	if found, ok := d.parsed.all(digests); ok {
		return found, nil
	}
	var unread map[string][]byte
	err := d.Store.View(ctx, func(r store.Reader) (err error) {
		unread, err = d.parsed.read(r, digests)
		return err
	})
	if err != nil {
		return nil, err
	}
	if err := d.parse(unread); err != nil {
		return nil, err
	}
	found, _ := d.parsed.all(digests)
	return found, nil
}

// Origin says where the document of the name with the digest is from, as far as
// the library, or the file that it was just read from, can tell.
func (d *Desk) Origin(name, digest string) procedures.Origin {
	o := d.Library.Origin(name, digest)
	if found, ok := d.parsed.all([]string{digest}); ok && !o.Embedded && o.File == "" && found[digest].File != digest {
		o.File = found[digest].File
	}
	return o
}

// parsed caches documents by digest. A digest always names the same bytes, so
// that nothing need be parsed twice.
type parsed struct {
	mu   sync.Mutex
	docs map[string]*procedures.Document
}

func (p *parsed) add(digest string, doc *procedures.Document) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.put(digest, doc)
}

func (p *parsed) put(digest string, doc *procedures.Document) {
	if p.docs == nil {
		p.docs = map[string]*procedures.Document{}
	}
	p.docs[digest] = doc
}

// all returns the documents of these digests, and whether it has all of them.
func (p *parsed) all(digests []string) (map[string]*procedures.Document, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	found := make(map[string]*procedures.Document, len(digests))
	for _, digest := range digests {
		if found[digest] = p.docs[digest]; found[digest] == nil {
			return nil, false
		}
	}
	return found, true
}

// read reads those of the documents that are not parsed yet.
func (p *parsed) read(r store.Reader, digests []string) (map[string][]byte, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	unread := map[string][]byte{}
	for _, digest := range digests {
		if p.docs[digest] != nil {
			continue
		}
		data, err := r.Document(digest)
		if err != nil {
			return nil, fmt.Errorf("reading the document %s: %w", digest, err)
		}
		unread[digest] = data
	}
	return unread, nil
}

// parse parses documents that were read. It holds the lock meanwhile, because
// those who wait mostly need the same documents.
func (d *Desk) parse(unread map[string][]byte) error {
	p, read := &d.parsed, d.Read
	if read == nil {
		read = procedures.Read
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, digest := range slices.Sorted(maps.Keys(unread)) {
		if p.docs[digest] != nil {
			continue
		}
		doc, err := read(digest, unread[digest])
		if err != nil {
			return &store.Error{Op: "read", Err: fmt.Errorf("the document %s: %w", digest, err), Hint: "if a newer fettle wrote it, use that one"}
		}
		p.put(digest, doc)
	}
	return nil
}
