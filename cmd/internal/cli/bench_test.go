package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"fettle/store"
	"fettle/store/bolt"
	"fettle/workflow/journal"
)

// demoStore gives a store as the demo makes it.
func demoStore(b *testing.B) string {
	b.Helper()
	dir := b.TempDir()
	path := filepath.Join(dir, "demo.db")
	b.Setenv("CLOCK", filepath.Join(dir, "clock"))
	b.Setenv("HOME", dir)
	scriptTime{filepath.Join(dir, "clock")}.set(scriptStart())
	ranToEnd(b, program(b, "--store", path, "demo"))
	return path
}

// ranToEnd runs a process to its end.
func ranToEnd(b *testing.B, cmd *exec.Cmd) {
	b.Helper()
	if out, err := cmd.CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, out)
	}
}

// bench runs a process over and over, and reports the most memory that it had in
// RAM at once, as Linux says it of the program itself. What a parent sees of its
// child includes the parent's own.
func bench(b *testing.B, make func() *exec.Cmd) {
	file := filepath.Join(b.TempDir(), "memory")
	most := 0
	for b.Loop() {
		cmd := make()
		cmd.Env = append(os.Environ(), "MEMORY="+file)
		ranToEnd(b, cmd)
		most = max(most, highWater(file))
	}
	if most > 0 {
		b.ReportMetric(float64(most)/1024, "MiB-resident")
	}
}

// highWater reads the VmHWM of a process's status, in KiB; 0 where there is none.
func highWater(file string) (most int) {
	status, err := os.ReadFile(file)
	if err != nil {
		return 0
	}
	_, rest, _ := strings.Cut(string(status), "VmHWM:")
	_, _ = fmt.Sscan(rest, &most)
	return most
}

// BenchmarkNext is a cold next: a process of its own, on the demo's store.
func BenchmarkNext(b *testing.B) {
	path := demoStore(b)
	bench(b, func() *exec.Cmd { return program(b, "--store", path, "next", "CW-01") })
}

// fleet is how many airframes a large store has, and how many entries each. They
// are fewer where FETTLE_FLEET says so.
func fleet(b *testing.B) (airframes, entries int) {
	b.Helper()
	if text := os.Getenv("FETTLE_FLEET"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil {
			b.Fatal(err)
		}
		return n, 1000
	}
	return 1000, 1000
}

// fleetStore makes a large store: every airframe has the life of the demo's
// CW-01, and notes until it is long enough. It gives the bytes of all records in
// a file too.
func fleetStore(b *testing.B) (path, raw string) {
	b.Helper()
	airframes, size := fleet(b)
	var records [][]byte
	var documents [][]byte
	err := bolt.New(demoStore(b)).View(b.Context(), func(r store.Reader) (err error) {
		if records, err = r.Read("CW-01", 0); err != nil {
			return err
		}
		entries, err := journal.Decode(records, 0)
		if err != nil {
			return err
		}
		sheets, procedures := journal.Digests(entries)
		for _, digest := range append(sheets, procedures...) {
			document, err := r.Document(digest)
			if err != nil {
				return err
			}
			documents = append(documents, document)
		}
		last := entries[len(entries)-1]
		for at := int64(len(records)); at < int64(size); at++ {
			last.Position, last.Facts = at, journal.Noted{Text: fmt.Sprintf("evening %d: foam dust swept up, the bench is as it was; nothing was done to the airframe tonight", at)}
			record, err := json.Marshal(last)
			if err != nil {
				return err
			}
			records = append(records, record)
		}
		return nil
	})
	if err != nil {
		b.Fatal(err)
	}
	if len(records) != size {
		b.Fatalf("a life has %d entries, want %d", len(records), size)
	}
	dir := b.TempDir()
	path, raw = filepath.Join(dir, "fleet.db"), filepath.Join(dir, "fleet.raw")
	bytesOf, err := os.Create(raw)
	if err != nil {
		b.Fatal(err)
	}
	defer bytesOf.Close()
	err = bolt.Create(b.Context(), path, func(to store.Builder) error {
		for _, document := range documents {
			if err := to.Keep(document); err != nil {
				return err
			}
		}
		for i := range airframes {
			mark := fmt.Sprintf("CW-%04d", i)
			own := append([][]byte{bytes.ReplaceAll(records[0], []byte("CW-01"), []byte(mark))}, records[1:]...)
			if err := to.Append(mark, own); err != nil {
				return err
			}
			for _, record := range own {
				if _, err := bytesOf.Write(record); err != nil {
					return err
				}
			}
		}
		return nil
	}, func(store.Store) error { return nil })
	if err != nil {
		b.Fatal(err)
	}
	return path, raw
}

// BenchmarkFleet is of whole processes on a store of a million entries.
func BenchmarkFleet(b *testing.B) {
	path, raw := fleetStore(b)
	info, err := os.Stat(raw)
	if err != nil {
		b.Fatal(err)
	}
	for _, command := range [][]string{
		{"next", "CW-0007"},
		{"status", "CW-0007"},
		{"note", "CW-0007", "and on"},
		{"audit", "CW-0007"},
		{"audit", "--prove", "CW-0007"},
		{"seal", "CW-0008"},
	} {
		b.Run(command[0]+command[1], func(b *testing.B) {
			bench(b, func() *exec.Cmd { return program(b, append([]string{"--store", path}, command...)...) })
		})
	}
	for name, make := range map[string]func() *exec.Cmd{
		"prove-all": func() *exec.Cmd { return program(b, "--store", path, "audit", "--prove", "--all") },
		"sha256sum": func() *exec.Cmd { return exec.Command("sha256sum", raw) },
		"examine":   func() *exec.Cmd { return program(b, "--store", path, "examine") },
		"board":     func() *exec.Cmd { return program(b, "--store", path, "status") },
		"list":      func() *exec.Cmd { return program(b, "--store", path, "airframe", "list") },
		"timers":    func() *exec.Cmd { return program(b, "--store", path, "timers") },
		"backup": func() *exec.Cmd {
			return program(b, "--store", path, "backup", filepath.Join(b.TempDir(), "copy.db"))
		},
	} {
		b.Run(name, func(b *testing.B) {
			b.SetBytes(info.Size())
			bench(b, make)
		})
	}
}

// build builds the package of a folder, and gives the program.
func build(b *testing.B, dir string, flags ...string) string {
	b.Helper()
	program := filepath.Join(b.TempDir(), "program")
	cmd := exec.Command("go", append([]string{"build", "-o", program}, flags...)...)
	cmd.Dir = dir
	if out, err := cmd.CombinedOutput(); err != nil {
		b.Skipf("building in %s: %v: %s", dir, err, out)
	}
	return program
}

// BenchmarkStart holds the built program against the bare one, which links another
// renderer with its highlighter: the time that both processors spent for a process, as the
// median of the ratios of runs side by side. The budget is 0.9 for next on a store
// of three airframes, 0.35 for --version, and 22 MB. More runs: -benchtime 50x.
func BenchmarkStart(b *testing.B) {
	fettle, bare := build(b, "../../fettle"), build(b, "bare", "-tags=bare")
	path := demoStore(b) // in a home of its own, which has no modules
	info, err := os.Stat(fettle)
	if err != nil {
		b.Fatal(err)
	}
	spent := func(name string, args ...string) float64 {
		cmd := exec.Command(name, args...)
		ranToEnd(b, cmd)
		return float64(cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime())
	}
	var next, version []float64
	for b.Loop() {
		next = append(next, spent(fettle, "--store", path, "next", "CW-01")/spent(bare))
		version = append(version, spent(fettle, "--version")/spent(bare))
	}
	for name, ratios := range map[string][]float64{"next/bare": next, "version/bare": version} {
		slices.Sort(ratios)
		b.ReportMetric(ratios[len(ratios)/2], name)
	}
	b.ReportMetric(float64(info.Size())/1e6, "MB")
}
