// Package procedures reads the documents that people write, design sheets and
// procedures, and holds the library of them.
//
// Reading is strict and reports every fault at once, each with its file, line
// and column. It goes in three rounds:
//
//   - [Read] parses the YAML: keys, names, quantities and texts. A document kept
//     with a running job must pass only this, so that a newer program with stricter
//     checks still reads an old record.
//   - [Parse] adds the checks that need no other document: stages without a cycle,
//     joints coated and then joined, a release at the end.
//   - [Document.Against] checks a procedure against one design sheet: that the
//     sheet has what it names, and that every critical gate is measured after the
//     last work on it.
//
// Causes come before consequences: what could not be read is noted in doubts,
// and nothing is said that may only follow from that. A text that YAML refuses is
// gone through line by line (prescan.go): where that shows what was meant, it is
// read on so, for the faults beside. [Library.Check] and [Library.CheckAll] check
// documents together, and have every answer of a triage table composed.
//
// Counts, sizes and work are bounded, so that any file is judged within a second.
//
// What a document may say is one table of keys, a mapping of rows for each
// part of a document: sheetKeys, procedureKeys with stageKeys and
// stepKeys, triageKeys. The reader, the writer ([Write]) and the grammar
// ([Grammar]) follow from the rows. A new key is one row, beside its field in
// package steps and the rule that uses it; a new kind of step is one row of
// stepKinds, with its checks.
//
// Aliases, anchors, tags and merge keys are refused: a reader must see what a line
// means without looking elsewhere.
package procedures
