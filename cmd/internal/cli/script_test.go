package cli

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"fettle/cmd/internal/keep"
	"fettle/steps/leantest"
	"fettle/store"
	"fettle/store/bolt"
	"fettle/store/diskless"
)

// TestMain lets tests call the program as users do: "fettle" is this test binary, with
// the clock of the script.
func TestMain(m *testing.M) {
	programs := map[string]func(){"fettle": func() {
		tuneMemory()
		ctx, stop := interruptible()
		defer stop()
		code := runProcess(ctx, stores(), scriptTime{os.Getenv("CLOCK")})
		if file := os.Getenv("MEMORY"); file != "" {
			status, _ := os.ReadFile("/proc/self/status")
			_ = os.WriteFile(file, status, 0o600) // for benchmarks; where there is none they say so
		}
		os.Exit(code)
	}, "fettle-served": serve, "deaf": func() { // asked to stop, it does not
		ctx, _ := interruptible()
		fmt.Println("ready")
		<-ctx.Done()
		fmt.Println("asked to stop")
		select {}
	}}
	name := filepath.Base(os.Args[0])
	if program := programs[name]; program != nil {
		os.Args[0] = name
		leantest.Program()
		program()
		return
	}
	leantest.Begin()
	diskless.Begin()
	os.Exit(onPath(programs, m.Run))
}

// onPath runs with this binary on the path by each of the names.
func onPath(programs map[string]func(), run func() int) int {
	self, err := os.Executable()
	if err != nil {
		panic(err)
	}
	folder, err := os.MkdirTemp("", "fettle-programs")
	if err != nil {
		panic(err)
	}
	defer os.RemoveAll(folder)
	for name := range programs {
		if err := os.Symlink(self, filepath.Join(folder, name)); err != nil {
			panic(err)
		}
	}
	if err := os.Setenv("PATH", folder+string(filepath.ListSeparator)+os.Getenv("PATH")); err != nil {
		panic(err)
	}
	return run()
}

// stores are the kinds of store that the program knows.
func stores() keep.Kinds {
	return keep.Kinds{{
		Open: func(path string, migrated func(from, to int, kept string)) keep.Store {
			s := bolt.New(path)
			s.Migrated = migrated
			return s
		},
		Create: bolt.Create,
	}, {
		Prefix: "trap:",
		Open: func(name string, _ func(from, to int, kept string)) keep.Store {
			return trap{bolt.New(name), strings.TrimPrefix(name, "trap:")}
		},
	}}
}

// A trap is a store that brings down whoever examines it.
type trap struct {
	keep.Store
	how string
}

func (s trap) Examine(ctx context.Context) (store.Report, error) {
	switch s.how {
	case "stack":
		debug.SetMaxStack(1 << 20)
		return s.Examine(ctx) // for ever
	case "memory":
		return store.Report{Documents: make([]string, 1<<28)}, nil
	}
	self, err := os.FindProcess(os.Getpid())
	if err == nil {
		err = self.Kill()
	}
	return store.Report{}, err
}

// scriptTime is a clock in a file, which scripts set and waiting moves on.
type scriptTime struct{ file string }

func (s scriptTime) Now() time.Time {
	data, err := os.ReadFile(s.file)
	if errors.Is(err, fs.ErrNotExist) { // its test is over, and something still looks whether a store is back
		return time.Time{}
	}
	if err != nil {
		panic(err)
	}
	now, err := time.Parse(time.RFC3339, strings.TrimSpace(string(data)))
	if err != nil {
		panic(err)
	}
	return now
}

func (s scriptTime) Sleep(ctx context.Context, d time.Duration) error {
	s.set(s.Now().Add(d))
	return ctx.Err()
}

// set writes another file and gives it the name, so that a process that looks at
// the clock meanwhile finds a time there.
func (s scriptTime) set(t time.Time) {
	next := fmt.Sprintf("%s.%d", s.file, os.Getpid())
	if err := os.WriteFile(next, []byte(t.Format(time.RFC3339Nano)), 0o600); err != nil {
		panic(err)
	}
	if err := os.Rename(next, s.file); err != nil {
		panic(err)
	}
}

// scriptStart is when every script begins: a Tuesday evening.
func scriptStart() time.Time { return time.Date(2026, 3, 3, 19, 0, 0, 0, time.UTC) }

// setUp gives a script a clock, a bench of its own and a person at it.
func setUp(dir string, setenv func(k, v string)) error {
	clock := filepath.Join(dir, "clock")
	scriptTime{clock}.set(scriptStart())
	for k, v := range map[string]string{
		"CLOCK": clock, "TZ": "UTC", "HOME": filepath.Join(dir, "home"), "FETTLE_BY": "Ro", "FETTLE_STORE": filepath.Join(dir, "bench.db"),
		"WORDS": "said \"good enough\", and\ncarried on", "EVIL": "red \x1b[31m and bell \x07", "XDG_CONFIG_HOME": filepath.Join(dir, "config"), "XDG_DATA_HOME": filepath.Join(dir, "data"),
	} {
		setenv(k, v)
	}
	setenv("GOGC", "400") // of some hundred short processes, which spend a third of their time on garbage
	for _, name := range []string{"break.png", "placed.jpg", "dunlin.yaml", "dunlin-build.yaml"} {
		photo, err := os.ReadFile(filepath.Join("testdata", name))
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(dir, name), photo, 0o600); err != nil {
			return err
		}
	}
	for _, doc := range []string{"finch.yaml", "finch-build.yaml"} {
		data, err := os.ReadFile(filepath.Join("testdata", doc))
		if err != nil {
			return err
		}
		if err := os.MkdirAll(filepath.Join(dir, "own"), 0o755); err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(dir, "own", doc), data, 0o600); err != nil {
			return err
		}
	}
	return nil
}

func TestScripts(t *testing.T) {
	names := setByScripts(t)
	var serving processes
	t.Cleanup(func() { serving.end(t) }) // after the last of the scripts, which run side by side
	testscript.Run(t, testscript.Params{
		Dir: filepath.Join("testdata", "script"),
		Setup: func(e *testscript.Env) error {
			s := &served{setting: slices.Clone(names), from: &serving}
			e.Values["served"] = s
			e.Defer(s.stop)
			return setUp(e.WorkDir, func(name, value string) {
				s.setting = append(s.setting, name)
				e.Setenv(name, value)
			})
		},
		Condition: func(cond string) (bool, error) {
			if cond == "root" {
				return os.Geteuid() == 0, nil
			}
			return false, fmt.Errorf("unknown condition %q", cond)
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			// pass 20m: so much time goes by. pass -1h: the clock goes back.
			"pass": func(ts *testscript.TestScript, neg bool, args []string) {
				d, err := time.ParseDuration(strings.Join(args, ""))
				ts.Check(err)
				clock := scriptTime{ts.Getenv("CLOCK")}
				clock.set(clock.Now().Add(d))
			},
			// fettle …: a command, and exec fettle … one that is a process of its own.
			"fettle": func(ts *testscript.TestScript, neg bool, args []string) {
				if a := fettle(ts, args...); (a.Code != 0) != neg {
					ts.Fatalf("it ended with %d", a.Code)
				}
			},
			// code 3 fettle …, code 3 exec …: the command ends with exactly that exit code.
			"code": func(ts *testscript.TestScript, neg bool, args []string) {
				want, got := args[0], "0"
				if args[1] == "fettle" {
					got = strconv.Itoa(fettle(ts, args[2:]...).Code)
				} else if args[1] != "exec" {
					ts.Fatalf("code %s runs fettle, or exec and a program", want)
				} else if err := ts.Exec(args[2], args[3:]...); err != nil {
					got = strings.TrimPrefix(err.Error(), "exit status ")
				}
				if (got == want) == neg {
					ts.Fatalf("%s ended with %s; want %s", strings.Join(args[1:], " "), got, want)
				}
			},
			// stale MARK GATE…: these gates have no reading that counts, and no others.
			"stale": func(ts *testscript.TestScript, neg bool, args []string) {
				answer := fettle(ts, "airframe", "show", args[0], "--json")
				var shown struct {
					Gates []struct {
						Name     string `json:"gate"`
						Standing string `json:"standing"`
					} `json:"gates"`
				}
				ts.Check(json.Unmarshal([]byte(answer.Out), &shown))
				var got []string
				for _, g := range shown.Gates {
					if g.Standing != "current" {
						got = append(got, g.Name)
					}
				}
				want := slices.Sorted(slices.Values(args[1:]))
				slices.Sort(got)
				if !slices.Equal(got, want) {
					ts.Fatalf("not current are %v; want %v", got, want)
				}
			},
			// ask ROWS SQL TABLE COLUMNS [FILTER]…: these are the answer of the tables TABLE.csv here:
			// of the columns of TABLE in the rows that fit, read as CSV, and of the SQL where there is a
			// sqlite3. A filter is COLUMN=TEXT, COLUMN!=TEXT, COLUMN>=NUMBER or COLUMN<NUMBER.
			"ask": func(ts *testscript.TestScript, _ bool, args []string) {
				if got := asked(ts, args[2], args[3], args[4:]); got != args[0] {
					ts.Fatalf("read as CSV the answer is %q; want %q", got, args[0])
				}
				if _, err := exec.LookPath("sqlite3"); err != nil {
					return
				}
				files, err := filepath.Glob(ts.MkAbs("*.csv"))
				ts.Check(err)
				sql := []string{":memory:"}
				for _, file := range files {
					sql = append(sql, ".import --csv "+file+" "+strings.TrimSuffix(filepath.Base(file), ".csv"))
				}
				out, err := exec.Command("sqlite3", append(sql, args[1])...).CombinedOutput()
				ts.Check(err)
				if got := strings.ReplaceAll(strings.TrimSpace(string(out)), "\n", ";"); got != args[0] {
					ts.Fatalf("by %s the answer is %q; want %q", args[1], got, args[0])
				}
			},
			// sample N FILE: a store as the program wrote it when it had schema N.
			"sample": func(ts *testscript.TestScript, _ bool, args []string) {
				file, err := os.Open(filepath.Join("testdata", "schema-"+args[0]+".db.gz"))
				ts.Check(err)
				defer file.Close()
				z, err := gzip.NewReader(file)
				ts.Check(err)
				data, err := io.ReadAll(z)
				ts.Check(err)
				ts.Check(os.WriteFile(ts.MkAbs(args[1]), data, 0o600))
			},
			// harm FILE TEXT: one bit of the text, where it stands last in the file, is another.
			"harm": func(ts *testscript.TestScript, _ bool, args []string) {
				path := ts.MkAbs(args[0])
				data, err := os.ReadFile(path)
				ts.Check(err)
				at := bytes.LastIndex(data, []byte(args[1]))
				if at < 0 {
					ts.Fatalf("%s does not hold %q", args[0], args[1])
				}
				data[at] ^= 1
				ts.Check(os.WriteFile(path, data, 0o600))
			},
			// takeseal JSON SEAL KEY: the seal and the public key of seal --json, as files.
			"takeseal": func(ts *testscript.TestScript, neg bool, args []string) {
				var made struct {
					Note string `json:"seal"`
					Key  string `json:"public_key"`
				}
				ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[0])), &made))
				ts.Check(os.WriteFile(ts.MkAbs(args[1]), []byte(made.Note), 0o600))
				ts.Check(os.WriteFile(ts.MkAbs(args[2]), []byte(made.Key), 0o600))
			},
			// withkey FILE fettle …: the command with --key and what the file holds.
			"withkey": func(ts *testscript.TestScript, neg bool, args []string) {
				if a := fettle(ts, append(args[2:], "--key", ts.ReadFile(args[0]))...); (a.Code != 0) != neg {
					ts.Fatalf("it ended with %d", a.Code)
				}
			},
			// fill FILE N BYTE: a file of N bytes.
			"fill": func(ts *testscript.TestScript, neg bool, args []string) {
				n := 0
				_, err := fmt.Sscan(args[1], &n)
				ts.Check(err)
				ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(strings.Repeat(args[2], n)), 0o600))
			},
		},
	})
}

// asked are the columns of a table in the rows that fit all filters.
func asked(ts *testscript.TestScript, table, columns string, filters []string) string {
	rows, err := csv.NewReader(strings.NewReader(ts.ReadFile(table + ".csv"))).ReadAll()
	ts.Check(err)
	cell := func(row []string, column string) string {
		i := slices.Index(rows[0], column)
		if i < 0 {
			ts.Fatalf("%s has no column %s", table, column)
		}
		return row[i]
	}
	fits := func(row []string, filter string) bool {
		for _, op := range []string{"!=", ">=", "<", "="} {
			column, want, is := strings.Cut(filter, op)
			if !is {
				continue
			}
			got := cell(row, column)
			switch op {
			case "=":
				return got == want
			case "!=":
				return got != want
			}
			number, err := strconv.ParseFloat(got, 64)
			limit, err2 := strconv.ParseFloat(want, 64)
			ts.Check(err2)
			return err == nil && (number < limit) == (op == "<")
		}
		ts.Fatalf("%q is not a filter", filter)
		return false
	}
	var all []string
	for _, row := range rows[1:] {
		if slices.ContainsFunc(filters, func(f string) bool { return !fits(row, f) }) {
			continue
		}
		var cells []string
		for _, column := range strings.Split(columns, ",") {
			cells = append(cells, cell(row, column))
		}
		all = append(all, strings.Join(cells, "|"))
	}
	return strings.Join(all, ";")
}
