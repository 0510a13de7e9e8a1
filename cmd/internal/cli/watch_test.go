package cli

import (
	"context"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"fettle/cmd/internal/ics"
	"fettle/cmd/internal/screen/screentest"
	"fettle/cmd/internal/term"
	"fettle/workflow"
)

// coated is a Finch of which these faces are coated.
func coated(t *testing.T, faces ...string) (play func(string) string) {
	t.Helper()
	play = player(t)
	t.Setenv("FETTLE_LIBRARY", filepath.Join(filepath.Dir(os.Getenv("CLOCK")), "own"))
	for _, line := range []string{
		"airframe add FN-01 --design finch", "start FN-01 finch-build", "done check-kit", "clear blade-care --line 1,2", "done cut-slot",
		"bench --temperature 20C --humidity 50% --set ventilation=on", "measure slot root=4mm tip=4mm",
	} {
		play("fettle " + line)
	}
	for _, face := range faces {
		play("fettle done " + face)
	}
	return play
}

// passing is the clock of the scripts: when the program waits something may happen.
type passing struct {
	scriptTime
	least time.Duration // waiting takes no less
	then  func(now time.Time) error
}

func (p passing) Sleep(_ context.Context, d time.Duration) error {
	now := p.Now().Add(max(d, p.least))
	p.set(now)
	return p.then(now)
}

// A watch rings at every moment, follows what another terminal records, calls a command
// that may fail, and goes on until it is stopped.
func TestWatch(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("the command is a script")
	}
	for name, interactive := range map[string]bool{"lines": false, "in place": true} {
		t.Run(name, func(t *testing.T) {
			play := coated(t, "coat-left", "coat-right")
			dir := t.TempDir()
			script, called := filepath.Join(dir, "call"), filepath.Join(dir, "called")
			text := "#!/bin/sh\necho \"$FETTLE_MOMENT $FETTLE_MARK $FETTLE_NAME $FETTLE_AT $FETTLE_UNTIL|$1|$#\" >> " + called + "\necho no screen >&2\nexit 3\n"
			if err := os.WriteFile(script, []byte(text), 0o700); err != nil {
				t.Fatal(err)
			}
			var out, said syncBuffer
			streams := term.Streams{In: strings.NewReader(""), Out: &out, Err: &said, Columns: 80, Interactive: interactive}
			joined := false
			clock := passing{scriptTime{os.Getenv("CLOCK")}, 0, func(now time.Time) error {
				switch since := now.Sub(scriptStart()); {
				case since >= 2*time.Hour:
					return context.Canceled
				case since >= 15*time.Minute && !joined:
					joined = true
					play("fettle done FN-01 join-roots")
				}
				return nil
			}}
			if interactive {
				clock.least = 20 * time.Second // the machine slept now and then
			}
			args := []string{"timers", "FN-01", "--watch", "--run", script + " $FETTLE_SAYS"}
			if code := run(t.Context(), stores(), args, streams, clock); code != exitInterrupted {
				t.Fatalf("it ended with %d: %s%s", code, out.String(), said.String())
			}
			shown := out.String()
			for _, want := range []string{"19:10 FN-01 · roots: JOIN NOW, until 19:38", "FN-01 · roots: may be handled; fully cured at"} {
				if !strings.Contains(shown, want) {
					t.Errorf("%q is not said:\n%s", want, shown[max(0, len(shown)-2000):])
				}
			}
			counted := strings.Contains(shown, "FN-01 · roots  join in 5 min, from 19:10 until 19:38") && strings.Contains(shown, "FN-01 · roots  JOIN NOW, 24 min left, until 19:38")
			if counted != interactive || strings.Contains(shown, "closes") || strings.Contains(shown, "LAPSED") {
				t.Errorf("it shows\n%s", shown[max(0, len(shown)-2000):])
			}
			if n := strings.Count(said.String(), "\a"); n != 2 {
				t.Errorf("it rang %d times", n)
			}
			if n := strings.Count(said.String(), "exit status 3: no screen; this is not said again"); n != 1 {
				t.Errorf("the failure is said %d times: %s", n, said.String())
			}
			told, _ := os.ReadFile(called)
			for _, want := range []string{
				"may-join FN-01 roots 2026-03-03T19:10:00Z 2026-03-03T19:38:00Z|FN-01 · roots: JOIN NOW, until 19:38|1\n",
				"may-handle FN-01 roots ",
			} {
				if !strings.Contains(string(told), want) {
					t.Errorf("the command was not told %q: %s", want, told)
				}
			}
		})
	}
}

// On a terminal of any size nothing but the clocks is on the screen.
func TestWatchOnATerminal(t *testing.T) {
	coated(t, "coat-left", "coat-right")
	scriptTime{os.Getenv("CLOCK")}.set(scriptStart().Add(32 * time.Minute))
	p := screentest.Start(t, program(t, "timers", "--watch"), 80, 24)
	p.See("LAPSED, coat it again")
	p.Await("a header", func(screen string) bool {
		return strings.HasPrefix(screen, "Tue 3 Mar ") || strings.HasPrefix(screen, "Wed 4 Mar ")
	})
	p.Resize(20, 3)
	p.Await("a small one", func(screen string) bool {
		lines := strings.Split(strings.TrimRight(screen, "\n"), "\n")
		return len(lines) == 3 && strings.HasSuffix(lines[2], "…") && strings.HasPrefix(lines[2], "FN-01 · roots")
	})
	if p.Bells() != 2 {
		t.Errorf("it rang %d times", p.Bells())
	}
	if err := p.Process().Signal(syscall.SIGINT); err != nil {
		t.Fatal(err)
	}
	if said, err := p.End(); err == nil || !strings.Contains(strings.Join(strings.Fields(said), " "), "stopped; nothing is lost") {
		t.Errorf("it ended with %v: %s", err, said)
	}
}

// Beside a conversation a command is called too, and its failure is said when that ends.
func TestRunBeside(t *testing.T) {
	now, ticks, asked := scriptStart(), make(chan time.Time), make(chan string, 9)
	var said error
	r := &runner{words: []string{"no-such-command-here"}, failed: func(err error) { said = err }}
	end := r.beside(func(after, until time.Time) []workflow.Moment {
		asked <- until.Sub(after).String()
		return []workflow.Moment{{Mark: "FN-01", Name: "roots", Event: workflow.IsCured}}
	}, func() time.Time { now = now.Add(time.Second); return now }, ticks)
	ticks <- time.Time{}
	ticks <- time.Time{}
	if a, b := <-asked, <-asked; a != "1s" || b != "1s" || said != nil {
		t.Errorf("asked for %s and %s, and said %v", a, b, said)
	}
	end()
	if said == nil {
		t.Error("that it failed is not said")
	}
}

func TestRunRefused(t *testing.T) {
	player(t)
	for _, args := range [][]string{{"wait", "--run", "no-such-command-here x"}, {"timers", "--run", "true"}} {
		var said syncBuffer
		code := run(t.Context(), stores(), args, term.Streams{Out: &said, Err: &said, Columns: 80}, scriptTime{os.Getenv("CLOCK")})
		if code != exitUsage {
			t.Errorf("%v ended with %d: %s", args, code, said.String())
		}
	}
}

// A calendar has the window and its alarms in UTC; when the joint is joined it has its
// strengths, and what stays keeps its name. A file that is no calendar is left alone.
func TestCalendar(t *testing.T) {
	play := coated(t, "coat-left")
	file := filepath.Join(t.TempDir(), "bench.ics")
	written := func() string {
		t.Helper()
		if said := play("fettle timers --ics " + file); !strings.Contains(said, file+" has ") {
			t.Errorf("it says %s", said)
		}
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		return string(data)
	}
	named := func(calendar string) (names []string) {
		for line := range strings.SplitSeq(calendar, "\r\n") {
			if name, ok := strings.CutPrefix(line, "UID:"); ok {
				names = append(names, name)
			}
		}
		return names
	}
	face := written()
	if !strings.Contains(face, "DTSTART:20260303T193300Z\r\nDTEND:20260303T193800Z\r\nSUMMARY:FN-01: coat the other face of roots and join it\r\n") {
		t.Errorf("of one face the calendar is\n%s", face)
	}
	play("fettle done coat-right")
	drying := written()
	want := strings.ReplaceAll(`DTSTART:20260303T191000Z
DTEND:20260303T193800Z
SUMMARY:FN-01: join roots
BEGIN:VALARM
ACTION:DISPLAY
TRIGGER;VALUE=DATE-TIME:20260303T191000Z
DESCRIPTION:FN-01: join roots
END:VALARM
BEGIN:VALARM
ACTION:DISPLAY
TRIGGER;VALUE=DATE-TIME:20260303T193300Z
DESCRIPTION:FN-01: join roots
END:VALARM
END:VEVENT
END:VCALENDAR
`, "\n", "\r\n")
	if !strings.HasSuffix(drying, want) || len(named(drying)) != 1 {
		t.Errorf("the calendar is\n%s", drying)
	}
	scriptTime{os.Getenv("CLOCK")}.set(scriptStart().Add(12 * time.Minute))
	if named(face)[0] != named(drying)[0] {
		t.Error("the window of one face and that of both have two names")
	}
	if open := written(); !strings.HasSuffix(open, want) || named(open)[0] != named(drying)[0] {
		t.Errorf("when it is open the calendar is\n%s", open)
	}
	play("fettle done FN-01 join-roots")
	joined := written()
	for _, want := range []string{"DTSTART:20260303T194200Z\r\nSUMMARY:FN-01: roots may be handled\r\n", "DTSTART:20260304T191200Z\r\nSUMMARY:FN-01: roots is cured\r\n"} {
		if !strings.Contains(joined, want) {
			t.Errorf("the calendar lacks %q:\n%s", want, joined)
		}
	}
	names := named(joined)
	if len(names) != 3 || names[0] == names[1] || names[0] == named(drying)[0] || names[2] != named(drying)[0] {
		t.Errorf("the events are called %v, and before %v", names, named(drying))
	}
	// What does not come any more is cancelled under its name, without an alarm, until its time is over.
	gone := joined[strings.LastIndex(joined, "BEGIN:VEVENT"):]
	if !strings.Contains(gone, "STATUS:CANCELLED\r\nEND:VEVENT\r\n") || strings.Count(joined, "STATUS:") != 1 || written() != joined {
		t.Errorf("the window that is over by joining is\n%s", gone)
	}
	scriptTime{os.Getenv("CLOCK")}.set(scriptStart().Add(39 * time.Minute))
	if over := written(); strings.Contains(over, "STATUS:") || len(named(over)) != 2 {
		t.Errorf("once its time is over the calendar is\n%s", over)
	}
	if back := ics.Read(joined); len(back) != 3 || back[2].UID != names[2] || !back[2].Cancelled || back[2].Sequence != ics.Read(drying)[0].Sequence+1 || back[0].Summary != "FN-01: roots may be handled" {
		t.Errorf("the calendar is read back as %+v", back)
	}
	if to := play("fettle timers --ics -"); !strings.HasPrefix(to, "BEGIN:VCALENDAR\r\n") {
		t.Errorf("on the standard output it is %s", to)
	}
	for _, other := range []string{"a letter", joined + strings.Repeat(" ", 4<<20)} { // no calendar, and none that this program wrote
		if err := os.WriteFile(file, []byte(other), 0o600); err != nil {
			t.Fatal(err)
		}
		var said syncBuffer
		code := run(t.Context(), stores(), []string{"timers", "--ics", file}, term.Streams{Out: &said, Err: &said, Columns: 80}, scriptTime{os.Getenv("CLOCK")})
		if kept, _ := os.ReadFile(file); code != exitUsage || string(kept) != other || !strings.Contains(said.String(), "name a new file") {
			t.Errorf("it ended with %d, and %.40q is kept: %s", code, kept, said.String())
		}
	}
}
