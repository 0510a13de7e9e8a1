package book

import (
	"flag"
	"testing"

	"fettle/cmd/internal/packed/packedtest"
)

var update = flag.Bool("update", false, "pack the layouts anew")

// The program carries the files of layouts as they are.
func TestLayoutsArePacked(t *testing.T) { packedtest.Check(t, *update, "layouts", "layouts.zip") }
