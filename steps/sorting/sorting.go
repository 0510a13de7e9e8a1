// Package sorting sorts lists of any type with code that is in the program once.
// That of slices is there again for every type, some 15 KB each time, and its
// speed is of no use to lists as short as these.
package sorting

import (
	"reflect"
	"sort"
)

// Stable sorts a list by a comparison of what is at two places of it; what is equal keeps its order. It takes places and not what is
// there: so no type has code of its own, and nothing large is copied to be compared.
//
//go:noinline
func Stable(all any, compare func(i, k int) int) {
	sort.SliceStable(all, func(i, k int) bool { return compare(i, k) < 0 })
}

// Positions sorts those of entries.
//
//go:noinline
func Positions(all []int64) {
	sort.Slice(all, func(i, k int) bool { return all[i] < all[k] })
}

// Insert puts one more at a place of the list.
//
//go:noinline
func Insert[T any](all []T, at int, one T) []T {
	all = append(all, one)
	copy(all[at+1:], all[at:])
	all[at] = one
	return all
}

// Delete is [slices.DeleteFunc]: the list without those that are meant, in its place. What has
// nothing to lose is only read. Each type has a small copy of it, with all its fields in the name: where they are many, a
// loop takes less room.
//
//go:noinline
func Delete[T any](all []T, is func(T) bool) []T {
	n := keep(len(all), func(i int) bool { return !is(all[i]) }, reflect.Swapper(all))
	clear(all[n:])
	return all[:n]
}

// keep moves those that are kept to the front, in their order, and returns how many they are.
//
//go:noinline
func keep(all int, kept func(i int) bool, swap func(i, k int)) (n int) {
	for i := range all {
		if !kept(i) {
			continue
		}
		if n < i {
			swap(n, i)
		}
		n++
	}
	return n
}
