// Package leantest spares tests what nobody looks at. No program links it.
package leantest

import (
	"flag"
	"runtime"
	"runtime/debug"
)

// Begin is called by TestMain. Little of what tests make is kept, and collecting it took a quarter of
// their time: garbage waits. To note where memory was asked for takes a twelfth, and is done for -memprofile alone.
func Begin() {
	flag.Parse()
	if profile := flag.Lookup("test.memprofile"); profile == nil || profile.Value.String() == "" {
		Program()
	}
	debug.SetGCPercent(400)
}

// Program is called by a test binary that plays a program, in which nothing can ask for that profile either.
func Program() { runtime.MemProfileRate = 0 }
