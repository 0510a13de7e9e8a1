package cli

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"syscall"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"fettle/store"
)

const (
	apartPrefix = "apart-"       // of a hidden command that is another, run in a process of its own
	apartEnv    = "FETTLE_APART" // is set for it
	apartCodes  = 100            // added to an exit code there: whoever crashes gives another one
	apartTime   = 30 * time.Minute
	apartMemory = 2 << 30 // bytes
)

// bothWays are a command that may meet a file which somebody made to bring a program
// down, and the hidden one that does its work in a process of its own, with a limit of
// time and memory: whatever happens there, this process lives to say so.
func (a *app) bothWays(command func() *cobra.Command) []*cobra.Command {
	outer, inner := command(), command()
	name, work := outer.Name(), inner.RunE
	inner.Use, inner.Hidden = apartPrefix+name, true
	inner.RunE = func(cmd *cobra.Command, args []string) error {
		if os.Getenv(apartEnv) == "" {
			return usage("%s is a part of %s and does nothing by itself; run: fettle %s", inner.Name(), name, name)
		}
		a.apart = true
		limitMemory(apartMemory)
		return work(cmd, args)
	}
	outer.RunE = func(cmd *cobra.Command, args []string) error {
		k, err := a.keeper()
		if err != nil {
			return err
		}
		if a.self == "" {
			return work(cmd, args)
		}
		words := []string{inner.Use}
		cmd.Flags().Visit(func(f *pflag.Flag) { words = append(words, "--"+f.Name+"="+f.Value.String()) })
		return a.runApart(cmd.Context(), k.Path, append(append(words, "--"), args...))
	}
	return []*cobra.Command{outer, inner}
}

// runApart runs the program again with these arguments, for the store at the path.
func (a *app) runApart(ctx context.Context, path string, args []string) error {
	program, err := os.Executable()
	if err != nil {
		return fmt.Errorf("running %s in a process of its own: %w", args[0], err)
	}
	limited, stop := context.WithTimeout(ctx, apartTime)
	defer stop()
	cmd := exec.CommandContext(limited, program, args...)
	cmd.Args[0] = a.self
	cmd.Env = append(os.Environ(), "GOTRACEBACK=none", apartEnv+"=1")
	cmd.Stdin, cmd.Stdout, cmd.Stderr = a.In, a.Out, a.Err
	cmd.Cancel = func() error { return cmd.Process.Signal(os.Interrupt) }
	cmd.WaitDelay = 5 * time.Second
	err = cmd.Run()
	switch code := cmd.ProcessState.ExitCode() - apartCodes; { // of no process it is -1
	case code == exitDone:
		return nil
	case code > exitDone:
		return &silentError{code}
	case ctx.Err() != nil:
		return ctx.Err()
	case stopped(cmd.ProcessState): // this process may hear of it a moment later
		return context.Canceled
	case cmd.ProcessState == nil:
		return fmt.Errorf("running %s in a process of its own: %w", args[0], err)
	}
	return &store.Error{
		Op: "read", Path: path,
		Err:  fmt.Errorf("%w: what reads it was brought down (%v)", store.ErrDamaged, cmd.ProcessState),
		Hint: "leave the file as it is and continue with its newest good copy",
	}
}

// stopped reports whether a process was ended by Ctrl-C, or asked to end.
func stopped(p *os.ProcessState) bool {
	if p == nil {
		return false
	}
	status, ok := p.Sys().(syscall.WaitStatus)
	return ok && status.Signaled() && (status.Signal() == syscall.SIGINT || status.Signal() == syscall.SIGTERM)
}
