package desk

import (
	"os"
	"testing"

	"fettle/steps/leantest"
)

// TestMain spares these tests what nobody looks at.
func TestMain(m *testing.M) {
	leantest.Begin()
	os.Exit(m.Run())
}
