package cli

import (
	"context"
	"encoding/gob"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime/debug"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/adrg/xdg"
	"github.com/rogpeppe/go-internal/testscript"

	"fettle/cmd/internal/term"
	"fettle/procedures"
)

// The commands of a script run one after another in one process: of a process for each, two
// thirds of the time go by before its command begins. Each has an app
// of its own, as in a process. "exec fettle" in a script is still a process, and all that is
// typed into a command is typed into one.

// A call is one command for the process of a script.
type call struct {
	Args []string
	Dir  string
	Env  map[string]string // what scripts set
}

// An answer is what came of it.
type answer struct {
	Out, Err string
	Code     int
}

// serve runs the commands that come through standard input.
func serve() {
	debug.SetGCPercent(400)
	calls, answers := gob.NewDecoder(os.Stdin), gob.NewEncoder(os.Stdout)
	for {
		var c call
		if calls.Decode(&c) != nil {
			return
		}
		if err := answers.Encode(c.run()); err != nil {
			panic(err)
		}
	}
}

func (c call) run() answer {
	for name, value := range c.Env {
		if err := os.Setenv(name, value); err != nil {
			panic(err)
		}
	}
	zone, err := time.LoadLocation(os.Getenv("TZ"))
	if err != nil {
		panic(err)
	}
	time.Local = zone
	xdg.Reload()
	if err := os.Chdir(c.Dir); err != nil {
		panic(err)
	}
	var out, errs strings.Builder
	streams := term.Standard()
	streams.In, streams.Out, streams.Err = strings.NewReader(""), &out, &errs
	code := (&app{Streams: streams, time: scriptTime{os.Getenv("CLOCK")}, stores: stores(), read: readOnce, self: "fettle"}).run(context.Background(), c.Args)
	return answer{out.String(), errs.String(), code}
}

// readAlready are the kept documents that commands of this process have read.
var readAlready sync.Map

// readOnce reads a kept document, once in a process: reading it takes a command most of its
// time, and scripts are many commands. One that anything changed would show in the next.
func readOnce(digest string, data []byte) (*procedures.Document, error) {
	is := digest + string(data)
	if doc, known := readAlready.Load(is); known {
		return doc.(*procedures.Document), nil
	}
	doc, err := procedures.Read(digest, data)
	if err == nil {
		readAlready.Store(is, doc)
	}
	return doc, err
}

// A process serves one script after another: it has read the library, and each script's
// first command would read it anew.
type process struct {
	calls   *gob.Encoder
	answers *gob.Decoder
	end     func() error
}

func begin() (*process, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	cmd := exec.Command(self)
	cmd.Args[0], cmd.Stderr = "fettle-served", os.Stderr
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

// Processes are those that serve no script now.
type processes struct {
	mu   sync.Mutex
	idle []*process
}

func (p *processes) take() (*process, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if n := len(p.idle); n > 0 {
		last := p.idle[n-1]
		p.idle = p.idle[:n-1]
		return last, nil
	}
	return begin()
}

func (p *processes) give(back *process) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.idle = append(p.idle, back)
}

func (p *processes) end(t *testing.T) {
	for _, one := range p.idle {
		if err := one.end(); err != nil {
			t.Error(err)
		}
	}
}

// A served is a script's process, from its first command on.
type served struct {
	setting []string // the names of the variables that scripts set
	from    *processes
	process *process
}

func (s *served) stop() {
	if s.process != nil {
		s.from.give(s.process)
	}
}

// fettle runs a command of the script and writes what it says where the script looks for it.
func fettle(ts *testscript.TestScript, args ...string) answer {
	s := ts.Value("served").(*served)
	if s.process == nil {
		var err error
		s.process, err = s.from.take()
		ts.Check(err)
	}
	c := call{Args: args, Dir: ts.MkAbs("."), Env: map[string]string{}}
	for _, name := range s.setting {
		c.Env[name] = ts.Getenv(name)
	}
	var a answer
	err := s.process.calls.Encode(c)
	if err == nil {
		err = s.process.answers.Decode(&a)
	}
	if err != nil {
		s.process = nil // it is of no use to another
		ts.Fatalf("fettle %s brought its process down: %v", strings.Join(args, " "), err)
	}
	fmt.Fprint(ts.Stdout(), a.Out)
	fmt.Fprint(ts.Stderr(), a.Err)
	return a
}

var (
	setInScript = regexp.MustCompile(`(?m)^env ([A-Z_]+)=`)
	typedInto   = regexp.MustCompile(`(?m)^stdin .*\n(.*)$`)
)

// setByScripts are the variables that scripts set, beside those that all begin with. It
// sees to it that what is typed is typed into a process.
func setByScripts(t *testing.T) []string {
	var names []string
	files, err := filepath.Glob(filepath.Join("testdata", "script", "*.txtar"))
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range setInScript.FindAllStringSubmatch(string(text), -1) {
			names = append(names, m[1])
		}
		for _, m := range typedInto.FindAllStringSubmatch(string(text), -1) {
			if !strings.Contains(m[1], "exec fettle") {
				t.Errorf("%s: %q is given no input; write exec fettle", file, m[1])
			}
		}
	}
	return names
}
