// Package store keeps journals: one append-only record of opaque bytes for
// each airframe, and the documents that jobs were started with.
//
// The interface is small so that more than one engine can serve it. Package
// bolt keeps a store in one file and is the default; package memory keeps one
// for the life of the process; package storetest is the suite that every store
// passes, and is what a new engine is written against.
//
// # What is promised
//
//   - An append is all or nothing, and has reached the disk when [Store.Append]
//     returns. A process killed at any moment loses nothing it was told is kept.
//   - An append succeeds only if the journal still has the size its writer
//     read. Of two writers one wins, and the other is told the size there is.
//   - [Store.View] shows one moment: nothing that is appended meanwhile is seen.
//   - Nothing is changed or taken away. There is no call for it.
//   - A document is named by the SHA-256 of its bytes and is checked against its
//     name each time it is read.
//   - What is read is what was written. A store that finds otherwise says
//     [ErrDamaged], and never gives out bytes it has reason to doubt.
//
// # Of a store in a file
//
// It is for a local disk only: locks on network shares hang or fail. It is
// opened for the moment of one transaction; a reader waits while a writer has
// it, and a writer while anyone has it, for at most a second. The file never
// shrinks. It is copied safely while no fettle is writing to it.
//
// The file begins with two copies of its head, written in turn. Where the power
// failed while the newer one was written, the older one counts, and of that
// append, which nobody was told is kept, there is nothing. Where the newer one was
// harmed after its append was kept, the store says [ErrDamaged].
//
// # Versions and compatibility
//
// A store carries the number of its schema. Every later fettle reads every
// earlier schema. A store with a higher number than the program knows is
// refused with [ErrNewer], which names both, and is left as it is. Names of
// buckets, the form of keys and values, and the meaning of a digest are never
// changed within one schema.
package store
