//go:build !linux

package bolt_test

import "errors"

func appendUnderLimit(string) error { return errors.New("this system sets no such limit") }

func writeSome(string) error { return errors.New("this system has no strace") }

func appendToSample(string) error { return errors.New("this system has no strace") }
