// Package bolt keeps a store in one bbolt file.
//
// The file has three buckets. meta holds what the file is (format) and the
// number of its schema (schema, decimal text). journals holds a bucket for each
// mark, in which a position (8 bytes, big end first) leads to a checksum
// (CRC-32C over position, mark and all that follows, 4 bytes, big end first),
// the hashes that RFC 6962's tree gains with the record (32 bytes each: the
// record's, and that of each subtree that it completes) and the record. The
// sequence of a mark's bucket is the journal's size, and that of journals is how
// many there are, so that nothing can go missing unnoticed. documents holds
// bytes by their digest.
//
// Schema 1 had no hashes. A reader of such a file computes them from the records.
// The first write migrates the file to schema 2 in one transaction, after copying
// it to a file beside it, named like the store with "-schema-1.bak" appended (and
// a number before that if the name is taken).
//
// # Damage
//
// bbolt trusts the file that it opens: a damaged one may crash it beyond
// recovery, or make it overwrite what was still good. So bbolt is not used for
// reading. This package has its own reader, which checks the form of every page
// and the checksum of every record that it visits, and visits no others. Opening
// costs the same however large the store is.
//
// bbolt writes. Before it opens a file for writing, this package reads the pages
// that bbolt will follow in the same careful way, under the same lock, and makes
// sure that the list of free pages is as the last write left it. A stamp proves
// that (see stamp.go); without the stamp every page is checked. The stamp also
// shows when the head of the last append was damaged afterwards: the state before
// it is then neither read nor written to as though it were the newest. [Examine]
// checks everything.
package bolt
