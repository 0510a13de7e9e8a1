//go:build unix

package cli

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"fettle/cmd/internal/screen/screentest"
)

// The program on the screen of a terminal: a coat is stamped, the window of its joint
// opens while a note is being typed, and rings; the terminal changes its size, and
// nothing is lost. What is recorded is what was answered.
func TestFollowOnTheScreen(t *testing.T) {
	play := player(t)
	t.Setenv("FETTLE_LIBRARY", filepath.Join(filepath.Dir(os.Getenv("CLOCK")), "own"))
	clock := scriptTime{os.Getenv("CLOCK")}
	for _, line := range []string{
		"fettle airframe add FN-01 --design finch", "fettle start FN-01 finch-build", "fettle bench FN-01 --temperature 20C --humidity 50% --set ventilation=on",
		"fettle done FN-01 check-kit", "fettle clear FN-01 blade-care --line 1 --line 2", "fettle done FN-01 cut-slot",
	} {
		play(line)
	}
	asked := screentest.Start(t, program(t, "measure", "FN-01", "slot", "root=4", "tip=59"), 80, 24)
	asked.See("59 mm at tip is unlikely: the other reading is 4 mm;")
	asked.Press("n\r")
	if _, err := asked.End(); err == nil {
		t.Error("an unlikely reading that was not meant is recorded")
	}
	play("fettle measure FN-01 slot root=4mm tip=4mm")
	play("fettle done FN-01 coat-left")
	p := screentest.Start(t, program(t, "follow", "FN-01"), 40, 12)
	press := func(keys, see string) {
		t.Helper()
		time.Sleep(500 * time.Millisecond) // for as long nothing answers
		p.Press(keys)
		p.See(see)
	}
	p.See("Coat the right root")
	press("s", "Spreading since")
	clock.set(clock.Now().Add(2 * time.Minute))
	press("ddd", "Fit the receiver") // what was recorded, and the next step
	press("t", "Note:")
	press("it smells", "> it smells")
	if p.Bells() != 0 {
		t.Error("it rings before the time")
	}
	clock.set(clock.Now().Add(12 * time.Minute))
	p.Await("bell beside JOIN NOW", func(s string) bool { return strings.Contains(s, "JOIN NOW") && p.Bells() == 1 })
	for _, at := range [][2]int{{120, 40}, {80, 24}} {
		p.Resize(at[0], at[1])
		p.Await("screen of that size", func(s string) bool {
			return strings.Count(s, "\n") == at[1]-1 && strings.Contains(s, "> it smells") && strings.Contains(s, "JOIN NOW") && strings.Contains(s, "FN-01 · radio")
		})
	}
	press("\r", "it smells (entry")
	press("q", "All that was answered is recorded")
	if _, err := p.End(); err != nil || !strings.Contains(p.Screen(), "OPEN, join it by 19:38 (24 min left)") {
		t.Errorf("it ended with %v on\n%s", err, p.Screen())
	}
	entries := play("fettle airframe show FN-01 --entries")
	if !strings.Contains(entries, "it smells") || strings.Contains(entries, "did fit-radio") {
		t.Errorf("the journal holds %s", entries)
	}

	at := os.Getenv("FETTLE_STORE")
	before, err := os.ReadFile(at)
	play("fettle note FN-01 'and is lost again'")
	if err := errors.Join(err, os.WriteFile(at, before, 0o600)); err != nil {
		t.Fatal(err)
	}
	for keys, stop := range map[string]func(p *screentest.Terminal){
		"Ctrl-C":  func(p *screentest.Terminal) { p.Press("\x03") },
		"SIGTERM": func(p *screentest.Terminal) { _ = p.Process().Signal(syscall.SIGTERM) },
	} {
		p := screentest.Start(t, program(t, "follow", "FN-01"), 80, 24)
		p.Await("notice of the older copy beside JOIN NOW", func(s string) bool {
			return strings.Contains(s, "JOIN NOW") && strings.Contains(s, "this is an older copy")
		})
		stop(p)
		all, err := p.End()
		var exit *exec.ExitError
		if !errors.As(err, &exit) || exit.ExitCode() != exitInterrupted || !strings.Contains(p.Screen(), "nothing is lost") {
			t.Errorf("%s: it ended with %v on\n%s", keys, err, p.Screen())
		}
		if strings.LastIndex(all, "\x1b[?1049l") < strings.LastIndex(all, "\x1b[?1049h") {
			t.Errorf("%s: the screen was not left", keys)
		}
	}
	plain := screentest.Start(t, program(t, "follow", "FN-01", "--plain"), 80, 24)
	plain.See("? more]")
	plain.Press("q\r")
	if all, err := plain.End(); err != nil || strings.Contains(all, "\x1b[?1049h") || strings.Contains(all, "\x1b[H") {
		t.Errorf("line by line it ended with %v, and wrote %q", err, all)
	}
}
