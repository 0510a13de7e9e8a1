// Package store keeps journals: one append-only record of opaque bytes for
// each airframe, and the documents that jobs were started with.
//
// The interface is small so that more than one engine can implement it. Package
// bolt keeps a store in one file and is the default; package etcd keeps one on a
// cluster that several benches share; package memory keeps one for the life of the
// process; package storetest is the test suite that every engine must pass.
//
// # What is promised
//
//   - An append is all or nothing, and has reached the disk, or those of most members
//     of a cluster, when [Store.Append] returns. A process killed at any moment loses
//     nothing that it was told is saved.
//   - An append succeeds only if the journal still has the size its writer
//     read. Of two writers one wins, and the other is told the new size.
//   - [Store.View] shows one moment: it never sees what is appended meanwhile.
//   - Nothing is ever changed or removed. There is no method for it.
//   - A document is named by the SHA-256 of its bytes and is checked against its
//     name each time it is read.
//   - What is read is what was written. A store that finds otherwise returns
//     [ErrDamaged], and never the bytes that it has reason to doubt.
//
// # A store in a file
//
// The file must be on a local disk: locks on network shares hang or fail. It is
// open only during a transaction. A reader waits while a writer has it, and a
// writer while anyone has it, for at most a second. The file never shrinks. It can
// be copied safely while no fettle is writing to it.
//
// The file begins with two heads, written in turn. If the power fails while the
// newer one is being written, the older one is used, and the append is lost; nobody
// was told that it was saved. If the newer one is damaged after its append was
// saved, the store returns [ErrDamaged].
//
// # Versions and compatibility
//
// A store carries the number of its schema. Every later fettle reads every
// earlier schema. A store with a higher number than the program knows is
// refused with [ErrNewer], which names both, and is left as it is. Names of
// buckets, the form of keys and values, and the meaning of a digest never change
// within one schema.
package store
