package book_test

import (
	"os"
	"runtime/debug"
	"testing"
)

// TestMain lets garbage wait: of what these tests make one airframe is kept.
func TestMain(m *testing.M) {
	debug.SetGCPercent(400)
	os.Exit(m.Run())
}
