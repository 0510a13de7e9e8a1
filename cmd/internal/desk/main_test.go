package desk

import (
	"os"
	"testing"

	"fettle/steps/leantest"
	"fettle/store/diskless"
)

// TestMain spares these tests what nobody looks at.
func TestMain(m *testing.M) {
	leantest.Begin()
	diskless.Begin()
	os.Exit(m.Run())
}
