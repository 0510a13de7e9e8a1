// Package bolt keeps a store in one bbolt file.
//
// The file has three buckets. meta holds what the file is (format), the
// number of its schema (schema, decimal text), and how many records all journals have
// (records: the number of the transaction and that of the records, 8 bytes each, big end
// first; it counts only if the transaction is the last one). journals holds a bucket for each
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
// bbolt reads and writes, and trusts the file that it opens. So the two heads are read here
// first, and before bbolt follows the pages of a bucket, those on the way are looked at
// (walk.go). What bbolt does runs behind a guard, which turns a panic or a fault in the
// mapped file into an error. What it returns is believed only by the records' checksums,
// the journals' sequences and the documents' digests. A page that the disk left as it was
// some writes ago can look whole: so whenever journals are read, the sum of the sequences
// is compared with how many records were written. A stamp (stamp.go) shows the next writer that the
// list of free pages is good, and a reader that a newer head was damaged. [Examine] checks
// everything. Where the page that all others hang from is damaged, nothing is rescued,
// though an older state may still be in the file.
package bolt
