package store

// A Builder fills a new store with whole journals and with documents. It keeps no
// copy of its arguments: do not change them until the store is made.
type Builder interface {
	// Append adds a whole journal, which must not be there yet. For arguments that
	// [CheckAppend] refuses it returns that error.
	Append(mark string, records [][]byte) error

	// Keep adds a document. It does nothing if the document is already there.
	Keep(document []byte) error
}

// A Report is what an examination of a whole store found.
type Report struct {
	Schema    int            // 0 if it cannot be read
	Faults    []error        // of the store as a whole: heads, pages, the list of free pages, documents
	Journals  []FoundJournal // those whose names can be read, sorted by name
	Documents []string       // the digests of the undamaged documents, sorted
}

// A FoundJournal is one that a store has or had.
type FoundJournal struct {
	Mark string
	Size int64 // the size on record; not all of it may be readable
}
