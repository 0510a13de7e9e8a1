// Fettle is the build book and repair record of a bench where small foam
// aircraft are built, flown, broken and mended.
package main

import (
	"os"

	"fettle/cmd/internal/cli"
)

func main() { os.Exit(cli.Main()) }
