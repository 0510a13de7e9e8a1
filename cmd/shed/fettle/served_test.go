package main

import (
	"encoding/gob"
	"errors"
	"io"
	"os"
	"os/exec"
	"sync"
	"testing"

	"fettle/cmd/internal/cli"
	"fettle/cmd/internal/keep"
	"fettle/store/bolt"
)

// The commands that a bench runs one after another run in one process of that bench: of a process
// for each, most of the time goes by before its command begins. What is killed, answered, begun or
// cut off is a process of its own.

// asServed makes the test binary run the commands that it is given.
const asServed = "FETTLE_TEST_AS_SERVED"

// An answer is what came of a command.
type answer struct {
	Said []byte // on either stream, as a terminal shows it
	Code int
}

// serve runs the commands that come through standard input.
func serve() {
	commands, answers := gob.NewDecoder(os.Stdin), gob.NewEncoder(os.Stdout)
	none, err := os.Open(os.DevNull)
	if err := errors.Join(err, os.Unsetenv(asServed)); err != nil { // what examines a store is a process that it begins
		panic(err)
	}
	os.Stdin = none
	for {
		var args []string
		if commands.Decode(&args) != nil {
			os.Exit(0)
		}
		if err := answers.Encode(runs(args)); err != nil {
			panic(err)
		}
	}
}

func runs(args []string) answer {
	said, to, err := os.Pipe()
	if err != nil {
		panic(err)
	}
	defer said.Close()
	os.Args, os.Stdout, os.Stderr = append(os.Args[:1:1], args...), to, to
	all := make(chan []byte)
	go func() {
		text, _ := io.ReadAll(said)
		all <- text
	}()
	code := cli.Main(keep.Kind{Open: openBolt, Create: bolt.Create}, clusters(keep.Cluster{}))
	_ = to.Close()
	return answer{<-all, code}
}

// A process runs the commands of one bench.
type process struct {
	commands *gob.Encoder
	answers  *gob.Decoder
	end      func() error
}

// Processes are those of a bench that run nothing now: commands that run side by side have one each.
type processes struct {
	mu   sync.Mutex
	idle []*process
}

func begin(cmd *exec.Cmd) (*process, error) {
	cmd.Env, cmd.Stderr = append(cmd.Env, asServed+"=1"), os.Stderr
	in, err := cmd.StdinPipe()
	if err != nil {
		return nil, err
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	return &process{gob.NewEncoder(in), gob.NewDecoder(out), func() error { return errors.Join(in.Close(), cmd.Wait()) }}, cmd.Start()
}

// run runs a command in one of them.
func (p *processes) run(b bench, args []string) (a answer, err error) {
	p.mu.Lock()
	var one *process
	if n := len(p.idle); n > 0 {
		one, p.idle = p.idle[n-1], p.idle[:n-1]
	}
	p.mu.Unlock()
	if one == nil {
		if one, err = begin(b.command("")); err != nil {
			return a, err
		}
	}
	if err := one.commands.Encode(args); err != nil {
		return a, errors.Join(err, one.end())
	}
	if err := one.answers.Decode(&a); err != nil {
		return a, errors.Join(err, one.end())
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.idle = append(p.idle, one)
	return a, nil
}

func (p *processes) end(t testing.TB) {
	for _, one := range p.idle {
		if err := one.end(); err != nil {
			t.Error(err)
		}
	}
}
