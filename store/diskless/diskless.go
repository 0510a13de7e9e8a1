// Package diskless spares tests the disk. No program links it.
package diskless
