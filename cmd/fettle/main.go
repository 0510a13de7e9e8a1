// Fettle is the build book and repair record of a bench where small foam
// aircraft are built, flown, broken and repaired.
package main

import (
	"os"

	"fettle/cmd/internal/cli"
	"fettle/cmd/internal/keep"
	"fettle/store/bolt"
)

func main() {
	os.Exit(cli.Main(keep.Kind{Open: openBolt, Create: bolt.Create}))
}

func openBolt(path string, migrated func(from, to int, kept string)) keep.Store {
	s := bolt.New(path)
	s.Migrated = migrated
	return s
}
