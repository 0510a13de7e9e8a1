// Package seal makes seals of journals. A seal is a short signed text that gives
// the number of records in one journal and a hash over all of them. The hash is
// the root of an RFC 6962 tree whose leaves are the records, so that the seal
// alone is enough to check the journal later.
//
// # What a seal proves
//
// Somebody who has a seal and the public key of whoever made it can prove:
//
//   - that a journal still begins with exactly the records that were sealed,
//     none changed, moved, removed or inserted ([CheckAgainst], and between two
//     seals [CheckConsistency]);
//   - that one record was in the journal, at one position, when it was sealed,
//     without seeing the others ([CheckInclusion]).
//
// The two proofs are files that need nothing else: no store, no fettle, no
// network.
//
// # What it cannot prove
//
// A seal shows that nothing has changed since. It does not show that what was
// written was true, who wrote it, or when: it contains no time. Whoever has the
// private key could have lied from the start, and, as long as nobody else has a
// seal, could rewrite the journal and seal it again. So give seals away: to the
// owner, to an inspector, on paper, by mail. From then on the past cannot be
// rewritten, because the seal that was given away would not match. Somebody with a
// leaked key can sign new lies, but seals given away earlier will not match them.
//
// A seal says nothing about records written after it, and does not stop anybody
// from destroying the journal: it only shows that the journal existed.
//
// The name in a seal (its origin) is part of what was signed. Whoever checks a seal
// must also check that it names the journal they meant.
//
// # Formats
//
// A seal is a C2SP tlog-checkpoint in a C2SP signed note, of exactly three
// lines: origin, number of records, root hash. Against the advice of the checkpoint
// document, the name of the key is not the origin, because one key seals all the
// journals of a store. A proof of inclusion is a C2SP tlog-proof whose extra
// line is the record itself. A proof of consistency has a form of its own,
// described at [Consistency].
//
// Reading is strict: there is only one way to write each thing, so that a file with
// one changed bit is refused. The one exception is a line of signature
// by a key that the reader does not know, which the format says to ignore.
package seal
