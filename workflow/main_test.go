package workflow

import (
	"flag"
	"os"
	"runtime/debug"
	"testing"
)

// TestMain lets garbage wait: little of what these tests make is kept, and collecting it
// took a quarter of their time. Of each property a long run has the hundred lives that
// package rapid has by itself, thirty times; others a third of them.
func TestMain(m *testing.M) {
	debug.SetGCPercent(400)
	if os.Getenv("FETTLE_LONG") == "" {
		if err := flag.Set("rapid.checks", "33"); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}
