// Package journal defines the entries of a journal and how they are stored.
//
// An entry records something that happened, in the past tense. Its stored form
// is one JSON object with the entry's position, kind, version and facts.
// Stored names and field names never change: a journal of any earlier program
// still means what it meant, and one of a newer program is refused with
// [ErrUnknownEntry].
//
// [Kinds] has one row for each kind. What an entry does to an airframe is the
// business of package workflow; the tools of a store (backup, examination,
// export) need only this package.
package journal
