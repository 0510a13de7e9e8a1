// Package seal makes seals of journals. A seal is a short signed text that says
// of one journal: so many records, and this hash over all of them. A journal is
// taken as the leaves of an RFC 6962 tree, so that later the seal alone is
// enough to hold it to its word.
//
// # What a seal proves
//
// Somebody who has a seal and the public key of whoever made it can prove:
//
//   - that a journal still begins with exactly the records that were sealed,
//     none changed, moved, left out or slipped in ([CheckAgainst], and between
//     two seals [CheckConsistency]);
//   - that one record was in the journal, at one place, when it was sealed,
//     without being shown the others ([CheckInclusion]).
//
// The two proofs are files that need nothing else: no store, no fettle, no
// network.
//
// # What it cannot prove
//
// A seal says that nothing was changed since. It does not say that what was
// written was true, who wrote it, or when: there is no clock in it. Whoever has
// the private key could have lied from the start, and as long as nobody else
// has a seal could rewrite the journal and seal it again. So give seals away: to
// the owner, to an inspector, on paper, by mail. From then on the past is bound,
// for the seal that was given away fits no other past. A key that has leaked
// makes new lies, but no seal that was given away before fits them.
//
// A seal binds nothing that was written after it, and does not keep anybody from
// destroying the journal: it only shows that it was there.
//
// The name in a seal (its origin) is part of what was signed. Whoever checks one
// must also look whether it is the journal that they meant.
//
// # Formats
//
// A seal is a C2SP tlog-checkpoint in a C2SP signed note, of exactly three
// lines: origin, number of records, root hash. Unlike the checkpoint document's
// advice, the name of the key is not the origin, as one key seals all the
// journals of a store. A proof of inclusion is a C2SP tlog-proof whose extra
// line is the record itself. A proof of consistency has a form of its own,
// described at [Consistency].
//
// What is read is read strictly: there is one way only to write each thing, so
// that a changed bit is a refused file. The one exception is a line of signature
// by a key that the reader does not know, which the format says to ignore.
package seal
