//go:build bare

// Command bare is the least program that shows a line of Markdown with a renderer of
// another make. The program is measured against it; nothing of it is linked.
package main

import (
	"fmt"
	"os"

	"github.com/charmbracelet/glamour"
)

func main() {
	text, err := glamour.Render("**one** line", "ascii")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	fmt.Print(text)
}
