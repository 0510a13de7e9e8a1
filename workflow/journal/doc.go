// Package journal says what a journal's entries are and how they are stored.
//
// An entry is something that happened, told in the past tense. Its stored form
// is one JSON object with the entry's position, kind, version and facts.
// Stored names and field names are for ever: a journal of any earlier program
// reads as it did, and one of a newer program is refused with [ErrUnknownEntry].
//
// [Kinds] has one row a kind. What an entry does to an airframe is package
// workflow's; a store's tools (backup, examination, export) need only this
// package.
package journal
