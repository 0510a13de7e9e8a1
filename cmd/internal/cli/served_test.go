package cli

import (
	"context"
	"encoding/gob"
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

// The commands of a script run one after another in one process of the script's own: of a
// process for each, two thirds of the time go by before its command begins. Each has an app
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

// A served is the process of one script; it starts with the first command.
type served struct {
	setting []string // the names of the variables that scripts set
	cmd     *exec.Cmd
	calls   *gob.Encoder
	answers *gob.Decoder
	close   func() error
}

func (s *served) start(dir string) error {
	self, err := os.Executable()
	if err != nil {
		return err
	}
	s.cmd = exec.Command(self)
	s.cmd.Args[0], s.cmd.Dir, s.cmd.Stderr = "fettle-served", dir, os.Stderr
	in, err := s.cmd.StdinPipe()
	if err != nil {
		return err
	}
	out, err := s.cmd.StdoutPipe()
	if err != nil {
		return err
	}
	s.calls, s.answers, s.close = gob.NewEncoder(in), gob.NewDecoder(out), in.Close
	return s.cmd.Start()
}

func (s *served) stop() {
	if s.cmd != nil {
		_ = s.close()
		_ = s.cmd.Wait()
	}
}

// fettle runs a command of the script and writes what it says where the script looks for it.
func fettle(ts *testscript.TestScript, args ...string) answer {
	s := ts.Value("served").(*served)
	if s.cmd == nil {
		ts.Check(s.start(ts.MkAbs(".")))
	}
	c := call{Args: args, Dir: ts.MkAbs("."), Env: map[string]string{}}
	for _, name := range s.setting {
		c.Env[name] = ts.Getenv(name)
	}
	var a answer
	ts.Check(s.calls.Encode(c))
	if err := s.answers.Decode(&a); err != nil {
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
