// Package steps defines what a person writes: design sheets, procedures, triage
// tables, the kinds of step, and what satisfies each kind.
//
// Everything here is plain data and pure decisions, without a clock or a journal.
// The arithmetic is in sub-packages: quantity (numbers with units), bond (an
// adhesive's times) and measuring (readings against limits). Package workflow
// decides what may happen when.
package steps
