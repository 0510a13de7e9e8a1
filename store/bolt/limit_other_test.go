//go:build !linux

package bolt_test

import "errors"

func appendUnderLimit(string) error { return errors.New("this system sets no such limit") }
