package workflow

import (
	"os"
	"runtime/debug"
	"testing"
)

// TestMain lets garbage wait: little of what these tests make is kept, and collecting it
// took a quarter of their time.
func TestMain(m *testing.M) {
	debug.SetGCPercent(400)
	os.Exit(m.Run())
}
