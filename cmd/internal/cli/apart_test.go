package cli

import (
	"os/exec"
	"testing"
)

// A process that Ctrl-C ended before it listened for it shows nothing about the store.
func TestStopped(t *testing.T) {
	for script, want := range map[string]bool{
		"kill -INT $$": true, "kill -TERM $$": true,
		"kill -KILL $$": false, "kill -ABRT $$": false, "exit 2": false, "exit 0": false,
	} {
		cmd := exec.Command("sh", "-c", script)
		_ = cmd.Run()
		if cmd.ProcessState == nil {
			t.Skip("no shell")
		}
		if got := stopped(cmd.ProcessState); got != want {
			t.Errorf("%s: %t", script, got)
		}
	}
	if stopped(nil) {
		t.Error("what never ran was stopped")
	}
}
