package workflow

import (
	"flag"
	"os"
	"testing"

	"fettle/steps/leantest"
)

// TestMain spares these tests what nobody looks at. Of each property a long run has the hundred lives that
// package rapid has by itself, thirty times; others a third of them.
func TestMain(m *testing.M) {
	if os.Getenv("FETTLE_LONG") == "" {
		if err := flag.Set("rapid.checks", "33"); err != nil {
			panic(err)
		}
	}
	leantest.Begin()
	os.Exit(m.Run())
}
