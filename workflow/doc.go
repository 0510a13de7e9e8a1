// Package workflow says what happens over time to one airframe: the entries
// of its journal, the state that they add up to, what may be done next, and
// what is refused and why.
//
// The journal is the truth. [Replay] folds entries into a [State]; it reads
// no clock and does no I/O, so the same entries always give the same state.
// [State.Decide] takes a request and the circumstances (the time among them)
// and returns either the entries that would record it or a [Refusal] with every
// reason. The caller stores the entries; nothing here does.
//
// Four rules carry the rest:
//
//   - A gate counts as passed while its passing readings are newer than every
//     disturbance of the zones it depends on (gates.go).
//   - A joint has a window in which it must be joined, and two clocks after
//     that (joints.go; the arithmetic is in steps/bond).
//   - A step is open when what stands before it is met and nothing forbids it
//     (board.go).
//   - A release is a proof from all of these (release.go).
//
// An entry is never changed. A mistake is taken back by a later Undone entry
// that names it. Kinds and versions of entries are permanent: a new meaning is
// a new version (package journal). What each kind does to the state is a row in
// effects.go; what each kind of step needs is a row in kinds.go.
package workflow
