package cli

import (
	"fmt"
	"os"
	"os/exec"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/page"
	"fettle/workflow"
)

// A runner calls a command of the user's at each moment of a clock. The zero one calls
// nothing.
type runner struct {
	words   []string
	failed  func(error) // called once
	once    sync.Once
	running sync.WaitGroup
}

// patience is how long a command that was called may go on when the program has nothing
// else to do.
const patience = 10 * time.Second

// runFlag adds --run to a command. The runner is made from it once the flags are read.
func (a *app) runFlag(cmd *cobra.Command) func() (*runner, error) {
	line := cmd.Flags().String("run", "", "call `COMMAND` at each moment, without a shell; fettle help clocks has examples")
	return func() (*runner, error) {
		r := &runner{words: strings.Fields(*line)}
		if len(r.words) == 0 {
			return r, nil
		}
		r.failed = func(err error) { a.warn("--run %s: %v; this is not said again", r.words[0], err) }
		if _, err := exec.LookPath(r.words[0]); err != nil {
			return nil, usage("--run: %v", err)
		}
		return r, nil
	}
}

// facts are what a command is told of a moment, in its environment.
func facts(m workflow.Moment, c *page.Clock) []string {
	at := func(t time.Time) string {
		if t.IsZero() {
			return ""
		}
		return t.In(time.Local).Format(time.RFC3339)
	}
	return []string{
		"FETTLE_MARK=" + m.Mark, "FETTLE_JOB=" + m.Job, "FETTLE_NAME=" + m.Name, "FETTLE_MOMENT=" + string(m.Event),
		"FETTLE_AT=" + at(m.At), "FETTLE_UNTIL=" + at(m.Until), "FETTLE_THEN=" + m.Then, "FETTLE_SAYS=" + page.MomentLine(m, c),
	}
}

// call calls the command and does not wait for it.
func (r *runner) call(m workflow.Moment, c *page.Clock) {
	if len(r.words) == 0 {
		return
	}
	told := facts(m, c)
	words := make([]string, len(r.words))
	for i, word := range r.words {
		words[i] = word
		for _, fact := range told { // a word stays one word, whatever is in it
			name, value, _ := strings.Cut(fact, "=")
			words[i] = strings.ReplaceAll(words[i], "$"+name, value)
		}
	}
	cmd := exec.Command(words[0], words[1:]...)
	cmd.Env = append(os.Environ(), told...)
	var said strings.Builder
	cmd.Stderr, cmd.WaitDelay = &said, patience
	r.running.Go(func() {
		if err := cmd.Run(); err != nil {
			if text, _, _ := strings.Cut(strings.TrimSpace(said.String()), "\n"); text != "" {
				err = fmt.Errorf("%w: %s", err, text)
			}
			r.once.Do(func() { r.failed(err) })
		}
	})
}

// beside calls the command at the moments that come, beside a conversation, until it is
// ended. What fails is said only then, because until then the screen is another's.
func (r *runner) beside(moments func(after, until time.Time) []workflow.Moment, now func() time.Time, tick <-chan time.Time) (end func()) {
	say, failed, over, ended := r.failed, make(chan error, 1), make(chan struct{}), make(chan struct{})
	r.failed = func(err error) { failed <- err }
	go func() {
		defer close(ended)
		for seen := now(); ; {
			select {
			case <-over:
				return
			case <-tick:
			}
			at := now()
			for _, m := range moments(seen, at) {
				r.call(m, &page.Clock{Now: at})
			}
			seen = at
		}
	}()
	return func() {
		close(over)
		<-ended
		r.end()
		select {
		case err := <-failed:
			say(err)
		default:
		}
	}
}

// end waits a while for commands that still run.
func (r *runner) end() {
	over := make(chan struct{})
	go func() {
		r.running.Wait()
		close(over)
	}()
	select {
	case <-over:
	case <-time.After(patience):
	}
}
