package bolt_test

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"os/exec"
	"testing"
	"time"

	"fettle/steps/leantest"

	"go.etcd.io/bbolt"
)

// The test binary runs itself again as another process; these tell it what to do.
const (
	envRole = "FETTLE_STORE_TEST_ROLE"
	envPath = "FETTLE_STORE_TEST_PATH"
)

func TestMain(m *testing.M) {
	path := os.Getenv(envPath)
	switch role := os.Getenv(envRole); role {
	case "":
		leantest.Begin()
		os.Exit(m.Run())
	case "hold":
		os.Exit(report(hold(path)))
	case "append":
		os.Exit(report(appendForEver(path)))
	case "limit":
		os.Exit(report(appendUnderLimit(path)))
	case "enter":
		os.Exit(report(enterMany(path)))
	case "watch":
		os.Exit(report(watch(path)))
	case "write some":
		os.Exit(report(writeSome(path)))
	case "migrate":
		os.Exit(report(appendToSample(path)))
	default:
		os.Exit(report(fmt.Errorf("no such role: %s", role)))
	}
}

func report(err error) int {
	if err != nil {
		fmt.Println("failed:", err)
		return 1
	}
	return 0
}

// hold keeps a store locked until it is killed.
func hold(path string) error {
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{Timeout: time.Second})
	if err != nil {
		return err
	}
	defer db.Close()
	fmt.Println("held")
	_, err = io.Copy(io.Discard, os.Stdin)
	return err
}

// counts returns a small number for everyday runs, and a large one if FETTLE_LONG is
// set.
func counts(small, large int) int {
	if os.Getenv("FETTLE_LONG") != "" {
		return large
	}
	return small
}

type process struct {
	t     *testing.T
	cmd   *exec.Cmd
	lines *bufio.Scanner
}

func start(t *testing.T, role, path string) *process {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(exe)
	cmd.Env = append(os.Environ(), envRole+"="+role, envPath+"="+path)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	p := &process{t, cmd, bufio.NewScanner(out)}
	t.Cleanup(p.kill)
	return p
}

func (p *process) expect(line string) {
	p.t.Helper()
	if !p.lines.Scan() || p.lines.Text() != line {
		p.t.Fatalf("the other process said %q, want %q", p.lines.Text(), line)
	}
}

// rest returns every line up to the end.
func (p *process) rest() []string {
	var all []string
	for p.lines.Scan() {
		all = append(all, p.lines.Text())
	}
	return all
}

// kill ends the process at once, and returns when it is gone.
func (p *process) kill() {
	_ = p.cmd.Process.Kill()
	_ = p.cmd.Wait()
}
