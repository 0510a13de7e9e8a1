//go:build unix

package screen_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"fettle/cmd/internal/screen"
	"fettle/cmd/internal/screen/screentest"
	"fettle/cmd/internal/sitting"
	"fettle/cmd/internal/term"
	"fettle/steps/leantest"
	"fettle/store/diskless"
)

// TestMain is also a program with a short conversation.
func TestMain(m *testing.M) {
	if os.Getenv("CONVERSE") == "" {
		leantest.Begin()
		diskless.Begin()
		os.Exit(m.Run())
	}
	if err := screen.Run(context.Background(), term.Standard(), still{}, time.Now, converse); err != nil {
		fmt.Println("ended:", err)
		os.Exit(7)
	}
}

type still struct{}

func (still) Timers(time.Time) []sitting.Timer        { return nil }
func (still) Moments(_, _ time.Time) []sitting.Moment { return nil }
func (still) Refresh(context.Context) (bool, error)   { return false, nil }
func (still) Heard() bool                             { return false }

// converse asks for readings, and tells what it was given.
func converse(ctx context.Context, f sitting.Front) error {
	for n := 1; ; n++ {
		r, err := f.Ask(ctx, sitting.Question{
			View: sitting.View{ID: fmt.Sprint(n), Mark: "CW-01", Part: "wing", Step: n, Of: 9, Title: "Measure the slot",
				Cautions: []sitting.Caution{{Text: "A fresh blade goes through a finger. \x1b]0;owned\x07\x1b[2J"}}, Action: "Tail of the caliper on the floor.", More: "Behind."},
			Prompt: fmt.Sprintf("Reading %d", n), Field: &sitting.Field{Label: "mm"},
			Keys: []sitting.Key{{Key: "q", Word: "quit", Common: true}},
		})
		if errors.Is(err, term.ErrEnd) {
			return os.WriteFile(os.Getenv("CONVERSE"), []byte("the end"), 0o600)
		}
		if err != nil {
			return err
		}
		if r.Key == "q" {
			return f.Tell("**Left** after " + fmt.Sprint(n-1))
		}
		if err := f.Tell("Recorded: " + r.Text); err != nil {
			return err
		}
	}
}

func begin(t testing.TB, width, height int, env ...string) *screentest.Terminal {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("sh", "-c", `"$0"; exit $?`, self) // it is not the first of its session
	cmd.Env = append(os.Environ(), append([]string{"CONVERSE=" + t.TempDir() + "/end"}, env...)...)
	p := screentest.Start(t, cmd, width, height)
	p.See("Reading 1")
	time.Sleep(100 * time.Millisecond) // it listens from then on
	return p
}

// Keys in, screen out, at three sizes; another size keeps what was typed; what was told
// last is there when the screen is left.
func TestTerminal(t *testing.T) {
	t.Parallel()
	p := begin(t, 80, 24)
	p.Press("4.6")
	p.See("> 4.6")
	for _, at := range [][2]int{{40, 12}, {120, 40}, {20, 5}, {80, 24}} {
		p.Resize(at[0], at[1])
		p.Await("screen that fits", func(s string) bool {
			lines := strings.Split(s, "\n")
			return len(lines) == at[1] && (strings.Contains(lines[at[1]-3], "> 4.6") && strings.Contains(lines[0], "CW-01 · wing") || at[0] == 20 && strings.Contains(s, "too"))
		})
	}
	p.Press("\x1b[200~.5\r\n7\x1b[201~")
	p.See("> 4.6.5")
	p.Press("\r\r\r\r")
	p.See("Recorded: 4.6.5")
	p.See("Reading 2")
	time.Sleep(500 * time.Millisecond)
	p.Press("q")
	all, err := p.End()
	if err != nil || !strings.Contains(p.Screen(), "Left after 1") {
		t.Errorf("ended with %v on\n%s", err, p.Screen())
	}
	if strings.Contains(all, "owned\a") || strings.Contains(all, "\x1b]0;") {
		t.Error("a title from a document reached the terminal")
	}
	if !strings.Contains(all, "\x1b[?1049h") || !strings.Contains(all, "\x1b[?1049l") {
		t.Error("it left no screen as it was")
	}
}

// Without colour there is none, and weight says what is said beside it in words.
func TestNoColour(t *testing.T) {
	t.Parallel()
	coloured := func(env ...string) bool {
		p := begin(t, 80, 24, env...)
		p.Press("q")
		all, _ := p.End()
		return strings.Contains(all, "\x1b[31")
	}
	if coloured("NO_COLOR=1") {
		t.Error("there is colour")
	}
	if !coloured("NO_COLOR=") {
		t.Error("a caution has no colour")
	}
}

// Ctrl-Z gives the terminal back and comes back to what was typed; Ctrl-C and a lost
// terminal end the conversation.
func TestLeaving(t *testing.T) {
	t.Parallel()
	p := begin(t, 80, 24)
	p.Press("4.6")
	p.See("> 4.6")
	p.Press("\x1a")
	p.Await("screen of before", func(s string) bool { return !strings.Contains(s, "CW-01") })
	time.Sleep(100 * time.Millisecond) // it is stopped, or would be if the shell had job control
	signal(t, p, syscall.SIGCONT)
	p.See("> 4.6")
	p.Press("\x03")
	all, err := p.End()
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.ExitCode() != 7 || !strings.Contains(p.Screen(), context.Canceled.Error()) {
		t.Errorf("Ctrl-C: %v, %q", err, all[max(len(all)-200, 0):])
	}

	lost := begin(t, 80, 24)
	signal(t, lost, syscall.SIGHUP)
	if _, err := lost.End(); err == nil {
		t.Error("it ended well without a terminal")
	}
}

// signal tells all of the program's session something.
func signal(t *testing.T, p *screentest.Terminal, s syscall.Signal) {
	t.Helper()
	if err := syscall.Kill(-p.Process().Pid, s); err != nil {
		t.Fatal(err)
	}
}

// From a key to the screen it takes no time that can be felt: on a busy machine at the
// median, and with FETTLE_LONG on a quiet one 99 times of 100.
func TestKeyToScreen(t *testing.T) {
	p := begin(t, 80, 24)
	keys, of := 60, 0.5
	if os.Getenv("FETTLE_LONG") != "" {
		keys, of = 600, 0.99
	}
	var took []time.Duration
	text := ""
	for i := range keys {
		text += string(rune('0' + i%10))
		if len(text) > 40 {
			p.Press("\x15")
			p.Await("empty field", func(s string) bool { return !strings.Contains(s, "> "+text[:1]) })
			text = text[len(text)-1:]
		}
		began := time.Now()
		p.Press(text[len(text)-1:])
		p.See("> " + text)
		took = append(took, time.Since(began))
	}
	slices.Sort(took)
	at := took[int(float64(keys)*of)]
	t.Logf("key to screen: median %v, 99 of 100 within %v, slowest %v", took[keys/2], took[keys*99/100], took[keys-1])
	if at > 50*time.Millisecond {
		t.Errorf("a key takes %v", at)
	}
}
