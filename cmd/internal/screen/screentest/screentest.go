// Package screentest runs a program in a terminal that remembers what stands on its
// screen: keys in, screen out.
package screentest

import (
	"errors"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/charmbracelet/x/vt"
	"github.com/creack/pty"
)

// A Terminal is a program in a terminal of its own.
type Terminal struct {
	t     testing.TB
	tty   *os.File
	cmd   *exec.Cmd
	mu    sync.Mutex
	glass *vt.Emulator
	bells atomic.Int64
	drawn chan struct{} // something was written
	ended chan error
	all   strings.Builder // all that was written; read it once the program has ended
}

// Start starts a program in a terminal of a size. It is stopped at the end of the test.
func Start(t testing.TB, cmd *exec.Cmd, width, height int) *Terminal {
	t.Helper()
	if cmd.Env == nil {
		cmd.Env = os.Environ()
	}
	cmd.Env = append(cmd.Env, "TERM=xterm-256color")
	tty, err := pty.StartWithSize(cmd, &pty.Winsize{Rows: uint16(height), Cols: uint16(width)})
	if errors.Is(err, pty.ErrUnsupported) {
		t.Skip("no terminals here: ", err)
	}
	if err != nil {
		t.Fatal(err)
	}
	p := &Terminal{t: t, tty: tty, cmd: cmd, glass: vt.NewEmulator(width, height), drawn: make(chan struct{}, 1), ended: make(chan error, 1)}
	p.glass.SetCallbacks(vt.Callbacks{Bell: func() { p.bells.Add(1) }})
	read := make(chan struct{})
	go func() {
		defer close(read)
		_, _ = io.Copy(p, tty) // until the program ends
	}()
	go func() { _, _ = io.Copy(tty, p.glass) }() // what the terminal answers
	go func() {
		<-read
		p.ended <- cmd.Wait()
	}()
	t.Cleanup(func() {
		_ = cmd.Process.Kill()                                  // if it still runs
		if answers, ok := p.glass.InputPipe().(io.Closer); ok { // Close would race with a Read that waits
			_ = answers.Close()
		}
		_ = tty.Close()
	})
	return p
}

// Write draws what the program writes.
func (p *Terminal) Write(b []byte) (int, error) {
	p.all.Write(b)
	p.mu.Lock()
	n, err := p.glass.Write(b)
	p.mu.Unlock()
	select {
	case p.drawn <- struct{}{}:
	default:
	}
	return n, err
}

// Press types a text as it is: "\r" is Enter.
func (p *Terminal) Press(keys string) {
	p.t.Helper()
	if _, err := p.tty.WriteString(keys); err != nil {
		p.t.Fatal(err)
	}
}

// Screen is what stands on the screen, without space at the ends of lines.
func (p *Terminal) Screen() string {
	p.mu.Lock()
	lines := strings.Split(p.glass.String(), "\n")
	p.mu.Unlock()
	for i, line := range lines {
		lines[i] = strings.TrimRight(line, " \r")
	}
	return strings.Join(lines, "\n")
}

// Await waits until the screen is as it should be.
func (p *Terminal) Await(what string, holds func(screen string) bool) {
	p.t.Helper()
	late := time.After(20 * time.Second)
	for !holds(p.Screen()) {
		select {
		case <-p.drawn:
		case <-late:
			p.t.Fatalf("no %s on\n%s", what, p.Screen())
		}
	}
}

// See waits until a text stands on the screen.
func (p *Terminal) See(text string) {
	p.t.Helper()
	p.Await(text, func(screen string) bool { return strings.Contains(screen, text) })
}

// Resize gives the terminal another size.
func (p *Terminal) Resize(width, height int) {
	p.t.Helper()
	p.mu.Lock()
	p.glass.Resize(width, height)
	p.mu.Unlock()
	if err := pty.Setsize(p.tty, &pty.Winsize{Rows: uint16(height), Cols: uint16(width)}); err != nil {
		p.t.Fatal(err)
	}
}

// Bells is how often it rang.
func (p *Terminal) Bells() int { return int(p.bells.Load()) }

// Process is the program.
func (p *Terminal) Process() *os.Process { return p.cmd.Process }

// End waits for the program to end, and returns its error and all that it wrote.
func (p *Terminal) End() (string, error) {
	p.t.Helper()
	select {
	case err := <-p.ended:
		return p.all.String(), err
	case <-time.After(20 * time.Second):
		p.t.Fatalf("it did not end; on the screen is\n%s", p.Screen())
		return "", nil
	}
}
