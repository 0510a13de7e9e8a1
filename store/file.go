package store

// A Builder fills a new store with whole journals and with documents. What it is
// given it may still read until it is done.
type Builder interface {
	// Append adds a whole journal, which must not be there yet. Arguments that
	// [CheckAppend] refuses give that refusal.
	Append(mark string, records [][]byte) error

	// Keep adds a document, and does nothing more when it is already there.
	Keep(document []byte) error
}

// A Report is what an examination of a whole store found.
type Report struct {
	Schema    int            // 0 where it cannot be read
	Faults    []error        // of the store as a whole: heads, pages, the list of free ones, documents
	Journals  []FoundJournal // whose names can be read, sorted by them
	Documents []string       // the digests of those that are as they were written, sorted
}

// A FoundJournal is one that a store has or had.
type FoundJournal struct {
	Mark  string
	Size  int64 // as it is written; how much of it can be read is another matter
	Older bool  // only in the state before the last append: that one may be missing from it
}
