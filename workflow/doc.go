// Package workflow says what happens over time to one airframe: the entries
// of its journal, the state that they add up to, what may be done next, and
// what is refused and why.
//
// The journal is the truth. [Replay] folds entries into a [State]; it reads
// no clock and does no I/O, so the same entries always give the same state.
// [State.Decide] takes a request and the circumstances (the time among them)
// and gives either the entries that would record it or a [Refusal] with every
// reason. Somebody else keeps the entries; nothing here does.
//
// Four rules carry the rest:
//
//   - A gate is current while its passing readings are newer than every
//     disturbance of the zones it depends on (gates.go).
//   - A joint has a window before it is closed and two clocks after
//     (joints.go; the arithmetic is in steps/bond).
//   - A step is open when what stands before it is met and nothing forbids it
//     (board.go).
//   - A release is a proof from all of these (release.go).
//
// An entry is never changed. A mistake is taken back by a later Undone entry
// that names it. Kinds and versions of entries are for ever: a new meaning is
// a new version (facts.go).
package workflow
