// Package etcd keeps a store on an etcd cluster, so that several benches have one record.
//
// # What is where
//
// All keys of a shed begin with "fettle/", the shed's name and "/". After that:
//
//	format            what this is, and the number of its schema
//	journals          how many journals there are (8 bytes)
//	heads/MARK        a journal's size, and the hashes that its tree grows from
//	appends/MARK/LAST the records of one append with their hashes; LAST is the position of
//	                  its last record in 16 hexadecimal digits
//	documents/DIGEST  a document
//	drafts/ID         something large that is being written: the number of a lease
//	clocks/BENCH      what the clock of a bench read, as JSON; it ends with a lease
//	pieces/ID/N       a piece of it; N has 8 hexadecimal digits
//	claims/MARK/STEP  who is at a step, as JSON; it ends with a lease
//
// MARK is the mark as in a path of a URL. Every value but that of format begins with a checksum
// (CRC-32C over key and all that follows, 4 bytes, big end first, as all numbers are). A head has
// the size (8 bytes) and 32 bytes for each hash of [seal.Edge]. An append has its ID (16 bytes),
// the position of its first record (8 bytes) and a body; a document is a body. A body begins with
// a byte: 0, and its bytes follow; or 1, and there follow the ID of its pieces, their number (4
// bytes), and how many bytes they are together (8 bytes). The body of an append has for each
// record the hashes that the tree gains with it, the record's length (4 bytes) and its bytes.
//
// # How it is written
//
// What is small is written by one transaction: it happens only if the head still has the
// revision that it was read with. What is large is laid down in pieces under a draft first, which
// no reader looks at, and then published by such a transaction, which also ends the draft. Who
// writes the next thing sweeps away drafts whose lease has run out: their writer was killed, or
// finds when it comes to publish that its draft is gone. A piece is laid down only while
// its draft is there.
//
// If the answer to a publishing transaction is lost, the same one is sent again: it cannot happen
// twice, and where it is refused, the append's ID tells whether it had happened.
//
// # How it is read
//
// A view reads everything at the revision that the cluster had when the view began. A watch is of
// the heads and the claims, and begins anew where the cluster ends it.
package etcd
