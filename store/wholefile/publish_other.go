//go:build !linux && !windows

package wholefile

// publish gives a file its name. It returns fs.ErrExist if the name is taken.
func publish(from, to string) error { return publishByLink(from, to) }
