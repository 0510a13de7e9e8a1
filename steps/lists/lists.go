// Package lists does what slices does, with code that is in the program once, or once for a type:
// that of slices is copied into each of several hundred callers, which takes 250 KB. What takes a
// function has it for text alone: for every type it was larger than the copies.
package lists

import "slices"

// Contains reports whether it is in the list.
//
//go:noinline
func Contains[T comparable](list []T, one T) bool { return slices.Contains(list, one) }

// ContainsFunc reports whether any text of the list is such.
//
//go:noinline
func ContainsFunc(list []string, such func(string) bool) bool {
	return slices.ContainsFunc(list, such)
}

// Index is its place in the list; -1: it is not there.
//
//go:noinline
func Index[T comparable](list []T, one T) int { return slices.Index(list, one) }

// Concat is a new list of what all the lists have, in their order.
//
//go:noinline
func Concat(all ...[]string) []string { return slices.Concat(all...) }

// Compact drops each text that is the same as the one before it, in the list itself.
//
//go:noinline
func Compact(list []string) []string { return slices.Compact(list) }

// Clone is a copy of the list; of none it is none.
//
//go:noinline
func Clone(list []string) []string { return slices.Clone(list) }

// Equal reports whether both lists have the same texts, in the same order.
//
//go:noinline
func Equal(a, b []string) bool { return slices.Equal(a, b) }
