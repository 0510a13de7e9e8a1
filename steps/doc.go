// Package steps says what a person writes and what one step is: design sheets,
// procedures, the kinds of step, and when each kind is satisfied.
//
// Everything here is plain data and pure decisions; nothing here knows a clock
// or a journal.
// The arithmetic a step needs stands in sub-packages: quantity (numbers with
// units), bond (an adhesive's clocks) and measuring (a reading against its
// limits). Package workflow decides what may happen when.
package steps
