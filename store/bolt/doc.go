// Package bolt keeps a store in one bbolt file.
//
// The file has three buckets. meta holds what the file is (format) and the
// number of its schema (schema, decimal text). journals holds a bucket for each
// mark, in which a position (8 bytes, big end first) leads to a checksum
// (CRC-32C over position, mark and all that follows, 4 bytes, big end first),
// the hashes that RFC 6962's tree gains with the record (32 bytes each: the
// record's, and that of each subtree that it completes) and the record. The
// sequence of a mark's bucket is the journal's size, and that of journals is how
// many there are, so that nothing can go missing unseen. documents holds bytes
// by their digest.
//
// Schema 1 had no hashes. It is read as it is, and hashes are computed from the
// records then. The first write brings it to schema 2 in one transaction, after
// a copy of the file has been put beside it under the name of the store with
// "-schema-1.bak" at its end (with a number before that, where it is taken).
//
// # Damage
//
// bbolt trusts the file that it opens: given a damaged one it may crash beyond
// recovery, or write over what was still good. So it does not read: a reading
// goes by a reader of its own, which checks the form of each page that it comes
// to, and the checksum of each record, and looks at no other. Opening costs the
// same however much there is.
//
// bbolt writes. Before it sees a file for writing, the pages that it will follow
// have been read in that way, under the same lock, and its list of free pages
// has been found as the last write left it, by a stamp (see stamp.go); without
// the stamp every page is looked at. The stamp also tells when the head of the
// last append was harmed afterwards: then the state before is neither read nor
// written to as though it were the newest. [Examine] looks at everything.
package bolt
