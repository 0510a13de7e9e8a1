package cli

import (
	"bytes"
	"context"
	"errors"
	"io"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
)

// program is this test binary run as the program, see TestMain.
func program(t testing.TB, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	link := filepath.Join(t.TempDir(), "fettle")
	if err := os.Symlink(self, link); err != nil {
		t.Skip("no symbolic links here:", err)
	}
	return exec.Command(link, args...)
}

// A first Ctrl-C asks to stop, and a second ends a program that doesn't.
func TestSecondInterrupt(t *testing.T) {
	cmd := program(t)
	deaf := filepath.Join(filepath.Dir(cmd.Path), "deaf")
	if err := os.Rename(cmd.Path, deaf); err != nil {
		t.Fatal(err)
	}
	var out syncBuffer
	cmd = exec.Command(deaf)
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	out.await(t, "ready")
	if err := cmd.Process.Signal(syscall.SIGINT); err != nil {
		t.Fatal(err)
	}
	out.await(t, "asked to stop")
	go func() { ended <- cmd.Wait() }()
	late := time.After(20 * time.Second)
	for {
		_ = cmd.Process.Signal(syscall.SIGINT) // again, until the first one's handler is gone
		select {
		case err := <-ended:
			if status, ok := cmd.ProcessState.Sys().(syscall.WaitStatus); !ok || status.Signal() != syscall.SIGINT {
				t.Errorf("ended with %v", err)
			}
			return
		case <-late:
			_ = cmd.Process.Kill()
			t.Fatal("the second interrupt did not end it")
		case <-time.After(10 * time.Millisecond):
		}
	}
}

// Ctrl-C at a question ends the conversation with its own exit code, and what
// was answered before stays.
func TestInterrupted(t *testing.T) {
	play := player(t)
	library := filepath.Join(filepath.Dir(os.Getenv("CLOCK")), "own")
	t.Setenv("FETTLE_LIBRARY", library)
	play("fettle airframe add FN-01 --design finch")
	play("fettle start FN-01 finch-build")
	cmd := program(t, "follow", "FN-01")
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	var out syncBuffer
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	if _, err := io.WriteString(in, "20C 50%\nd\ny\n"); err != nil {
		t.Fatal(err)
	}
	out.await(t, "The mat is clear")
	if err := cmd.Process.Signal(syscall.SIGINT); err != nil {
		t.Fatal(err)
	}
	err = cmd.Wait()
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.ExitCode() != exitInterrupted {
		t.Fatalf("ended with %v: %s", err, out.String())
	}
	if !strings.Contains(out.String(), "nothing is lost") {
		t.Errorf("it says %s", out.String())
	}
	if journal := play("fettle airframe show FN-01 --entries"); !strings.Contains(journal, "did check-kit") {
		t.Errorf("the journal holds %s", journal)
	}
}

// Ctrl-C at the question how bad it is loses nothing of what was found.
func TestCrashInterrupted(t *testing.T) {
	play := player(t)
	t.Setenv("FETTLE_LIBRARY", filepath.Join(filepath.Dir(os.Getenv("CLOCK")), "own"))
	play("fettle airframe add FN-01 --design finch")
	cmd := program(t, "crash", "FN-01")
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	var out syncBuffer
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	if _, err := io.WriteString(in, "it whistles when it rolls\n"); err != nil {
		t.Fatal(err)
	}
	out.await(t, "How bad?")
	if err := cmd.Process.Signal(syscall.SIGINT); err != nil {
		t.Fatal(err)
	}
	err = cmd.Wait()
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.ExitCode() != exitInterrupted {
		t.Fatalf("ended with %v: %s", err, out.String())
	}
	if !strings.Contains(out.String(), "recorded as serious") || !strings.Contains(out.String(), "FN-01 is grounded") {
		t.Errorf("it says %s", out.String())
	}
	if journal := play("fettle airframe show FN-01 --entries"); !strings.Contains(journal, "found damage D1: it whistles when it rolls at wing, serious") {
		t.Errorf("the journal holds %s", journal)
	}
}

// A place with a space in it can be pasted.
func TestQuoted(t *testing.T) {
	for word, want := range map[string]string{"my/own-1.db": "my/own-1.db", "my own": "'my own'", "it's": `'it'\''s'`, "": "''", "$HOME": "'$HOME'"} {
		if got := quoted(word); got != want {
			t.Errorf("%q is quoted as %s, want %s", word, got, want)
		}
	}
}

// The name of the demo's store cannot act on the terminal.
func TestGoOnAfterDemo(t *testing.T) {
	for path, want := range map[string]string{"demo.db": "--store demo.db follow", "my own.db": "--store 'my own.db' follow", "e\x1b]0;X\ax\nfettle: well": `--store 'e\u001b]0;X\u0007x\nfettle: well' follow`} {
		if got := goOn(path); strings.Count(got, want) != 2 {
			t.Errorf("of %q it says %q", path, got)
		}
	}
}

// A syncBuffer is written by a process and read by a test.
type syncBuffer struct {
	mu  sync.Mutex
	all bytes.Buffer
}

func (b *syncBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.all.Write(p)
}

func (b *syncBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.all.String()
}

func (b *syncBuffer) await(t *testing.T, text string) {
	t.Helper()
	for deadline := time.Now().Add(20 * time.Second); time.Now().Before(deadline); time.Sleep(10 * time.Millisecond) {
		if strings.Contains(b.String(), text) {
			return
		}
	}
	t.Fatalf("%q never came: %s", text, b.String())
}

func TestSpansAsTheyAreSaid(t *testing.T) {
	for d, want := range map[time.Duration]string{
		0: "0 s", 59 * time.Second: "59 s", time.Minute: "1 min", 90 * time.Second: "1 min 30 s",
		11*time.Minute + 8*time.Second: "11 min", time.Hour: "1 h", 90 * time.Minute: "1 h 30 min", 49 * time.Hour: "2 days 1 h", -time.Hour: "0 s",
	} {
		if got := page.Span(d); got != want {
			t.Errorf("%v is %q, want %q", d, got, want)
		}
	}
}

// A plan that is stopped while it is looked for ends as any command that is stopped, and the plan that was kept stays.
func TestPlanInterrupted(t *testing.T) {
	play := player(t)
	for _, mark := range []string{"CW-01", "CW-02", "CW-03"} {
		play("fettle airframe add " + mark + " --design causeway")
		play("fettle start " + mark + " causeway-build")
	}
	play("fettle plan --think 1ms --sitting \"every sat 14:00-18:00\"")
	kept := func() map[string]string {
		files := map[string]string{}
		all, err := filepath.Glob(filepath.Join(filepath.Dir(os.Getenv("FETTLE_STORE")), "*.plan*"))
		if err != nil || len(all) == 0 {
			t.Fatalf("no plan is kept: %v", err)
		}
		for _, name := range all {
			text, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			files[name] = string(text)
		}
		return files
	}
	before := kept()
	ctx, cancel := context.WithCancel(t.Context())
	time.AfterFunc(300*time.Millisecond, cancel) // it is stopped whatever it is at
	var out, said syncBuffer
	code := run(ctx, stores(), []string{"plan", "--think", "1h", "--sitting", "every day 19:00-21:00"}, term.Streams{In: strings.NewReader(""), Out: &out, Err: &said, Columns: 80}, scriptTime{os.Getenv("CLOCK")})
	if code != exitInterrupted || out.String() != "" || !strings.Contains(said.String(), "nothing is lost") {
		t.Errorf("it ended with %d: %s%s", code, out.String(), said.String())
	}
	if after := kept(); !maps.Equal(before, after) {
		t.Error("another plan is kept")
	}
}
