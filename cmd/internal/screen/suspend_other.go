//go:build !unix

package screen

// canSuspend reports whether there is a shell to go back to.
func canSuspend() bool { return false }
