package bolt_test

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"fettle/store/bolt"
)

// TestOrderOfWrites watches in which order a store writes and syncs, which is what
// keeps it whole through a power cut.
func TestOrderOfWrites(t *testing.T) {
	const (
		grow   = "(TS)?"             // make the file longer, and sync
		commit = "D+sHsPP"           // the data and then the head, each synced, and the stamps
		stamp  = "PP"                // of the state before, which has none
		name   = "SNF"               // sync a file, name it, sync its folder
		lay    = "Is"                // the first pages of an empty database
		moved  = "C+" + name         // a copy with its name
		write  = grow + commit       // one append, or one document kept
		made   = lay + stamp + write // a new file
	)
	for _, test := range []struct{ role, want string }{
		{"write some", "^" + made + name + "(" + write + ")+TS" + commit + "$"},
		{"migrate", "^" + moved + stamp + write + write + "$"},
	} {
		t.Run(test.role, func(t *testing.T) {
			folder := t.TempDir()
			path := filepath.Join(folder, "fettle.db")
			if test.role == "migrate" {
				unzipSample(t, samples()[1], path)
			}
			got := callsOf(t, folder, test.role, path)
			if !regexp.MustCompile(test.want).MatchString(got) {
				t.Errorf("the store wrote in the order %s, want %s", got, test.want)
			}
			t.Log(got)
		})
	}
}

// writeSome makes a store, and writes to it within the file and beyond its end.
func writeSome(path string) error {
	s := bolt.New(path)
	for size, record := range []string{"a", "b", "c", strings.Repeat("d", 9000), strings.Repeat("e", 30000)} {
		if err := s.Append(context.Background(), "CW-01", int64(size), [][]byte{[]byte(record)}); err != nil {
			return err
		}
	}
	return nil
}

func appendToSample(path string) error {
	return bolt.New(path).Append(context.Background(), "SK-02", 1, [][]byte{[]byte("more")})
}

// callsOf has another process do something, and returns a letter for each of its
// system calls that write or sync in a folder.
func callsOf(t *testing.T, folder, role, path string) string {
	t.Helper()
	strace, err := exec.LookPath("strace")
	if err != nil {
		t.Skip("no strace to look on with:", err)
	}
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	trace := filepath.Join(t.TempDir(), "trace")
	cmd := exec.Command(strace, "-f", "-y", "-s", "0", "-o", trace,
		"-e", "trace=write,pwrite64,copy_file_range,sendfile,ftruncate,fsync,fdatasync,msync,rename,renameat,renameat2,link,linkat", exe)
	cmd.Env = append(os.Environ(), envRole+"="+role, envPath+"="+path)
	if out, err := cmd.CombinedOutput(); err != nil {
		if strings.Contains(string(out), "ptrace") || strings.Contains(string(out), "PTRACE") {
			t.Skipf("strace may not look on: %s", out)
		}
		t.Fatalf("%v: %s", err, out)
	}
	var calls strings.Builder
	for line := range strings.Lines(string(mustReadFile(t, trace))) {
		if strings.Contains(line, folder) {
			calls.WriteString(letter(t, line, folder))
		}
	}
	return calls.String()
}

// letter returns the letter of a call. The arguments are at the start of a call's
// output, even if another thread's call splits that output in two.
func letter(t *testing.T, line, folder string) string {
	t.Helper()
	call := regexp.MustCompile(`^\d+ +(\w+)\((?:\d+<([^>]*)>)?(?:.*, (\d+), (\d+)[) ])?`).FindStringSubmatch(line)
	if call == nil {
		if strings.Contains(line, " resumed>") {
			return ""
		}
		t.Fatalf("strace said %q", line)
	}
	size := fmt.Sprint(os.Getpagesize())
	switch name, file := call[1], call[2]; {
	case name == "fsync" && file == folder:
		return "F"
	case name == "fsync":
		return "S"
	case name == "fdatasync":
		return "s"
	case name == "ftruncate":
		return "T"
	case strings.HasPrefix(name, "rename"), strings.HasPrefix(name, "link"):
		return "N"
	case name == "copy_file_range", name == "sendfile", name == "write":
		return "C"
	case name == "pwrite64":
		switch length, at := call[3], call[4]; {
		case length == fmt.Sprint(stampBytes):
			return "P"
		case length == size && (at == "0" || at == size):
			return "H"
		case at == "0":
			return "I"
		}
		return "D"
	}
	return "?"
}
