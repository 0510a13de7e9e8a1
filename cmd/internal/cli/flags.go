package cli

import "github.com/spf13/pflag"

// Options are made by these two: there are a hundred, and in each one's place what makes it is four times as large as a call.

//go:noinline
func stringFlag(flags *pflag.FlagSet, to *string, name, otherwise, usage string) {
	flags.StringVar(to, name, otherwise, usage)
}

//go:noinline
func boolFlag(flags *pflag.FlagSet, to *bool, name string, otherwise bool, usage string) {
	flags.BoolVar(to, name, otherwise, usage)
}
