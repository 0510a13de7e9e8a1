package cli

import (
	"bytes"
	"context"
	"path/filepath"
	"strings"
	"testing"

	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/term"
	"fettle/store"
)

// counted counts how often a store is opened.
type counted struct {
	keep.Store
	opens *int
}

func (c counted) View(ctx context.Context, fn func(store.Reader) error) error {
	*c.opens++
	return c.Store.View(ctx, fn)
}

func (c counted) Append(ctx context.Context, mark string, size int64, records [][]byte) error {
	*c.opens++
	return c.Store.Append(ctx, mark, size, records)
}

func (c counted) Keep(ctx context.Context, document []byte) (string, error) {
	*c.opens++
	return c.Store.Keep(ctx, document)
}

// A command reads the store once, and opens it once more for each thing that it
// writes, and after entries to see how far the journal is written now.
func TestOpens(t *testing.T) {
	dir := t.TempDir()
	if err := setUp(dir, t.Setenv); err != nil {
		t.Fatal(err)
	}
	t.Setenv("FETTLE_KEY", filepath.Join(dir, "seal.key")) // the default was found when this process began
	opens := 0
	kinds := stores()
	open := kinds[0].Open
	kinds[0].Open = func(path string, migrated func(from, to int, kept string)) keep.Store {
		return counted{open(path, migrated), &opens}
	}
	clock := scriptTime{filepath.Join(dir, "clock")}
	for _, test := range []struct {
		command string
		code    int
		opens   int
	}{
		{"airframe add FN-01 --design finch", exitDone, 4}, // read, keep the sheet, append, look
		{"start FN-01 finch-build", exitDone, 6},           // keeps the procedure too, and looks whether its revision was ever another
		{"bench --temperature 20C", exitDone, 3},
		{"next", exitDone, 2}, // read, and look what stands on others
		{"next fn-01", exitDone, 2},
		{"next FN-01", exitDone, 2},
		{"next FN-02", exitNotFound, 1},
		{"done nosuch", exitNotFound, 1},
		{"done FN-01 nosuch", exitNotFound, 1},
		{"done check-kit", exitDone, 3},
		{"note the third evening", exitDone, 3},
		{"note FN-01 the tip --photo " + filepath.Join(dir, "break.png"), exitDone, 5},
		{"clear FN-01 nosuch --line 1", exitNotFound, 1},
		{"status", exitDone, 1},
		{"timers", exitDone, 1},
		{"airframe list", exitDone, 1},
		{"audit", exitDone, 1},
		{"audit FN-01 --prove", exitDone, 1},
		{"flight FN-01", exitDone, 3},
		{"undo", exitUsage, 1},
		{"seal", exitDone, 5}, // read, read the tree, keep the seal, append, look
		{"library list", exitDone, 0},
	} {
		opens = 0
		var out bytes.Buffer
		streams := term.Streams{In: strings.NewReader(""), Out: &out, Err: &out, Columns: term.Width}
		args := append([]string{"--library", filepath.Join(dir, "own")}, splitCommand(test.command)...)
		if code := run(context.Background(), kinds, args, streams, clock); code != test.code {
			t.Errorf("%s ended with %d, want %d: %s", test.command, code, test.code, out.String())
		}
		if opens != test.opens {
			t.Errorf("%s opened the store %d times, want %d", test.command, opens, test.opens)
		}
	}
}

// Which kind of store a name is of is told by how it begins.
func TestKindOfStore(t *testing.T) {
	opened := ""
	kind := func(prefix string) keep.Kind {
		return keep.Kind{Prefix: prefix, Open: func(string, func(from, to int, kept string)) keep.Store {
			opened = prefix
			return nil
		}}
	}
	kinds := keep.Kinds{kind(""), kind("net:"), kind("net:far:")}
	for name, want := range map[string]string{"bench.db": "", "net:bench": "net:", "net:far:bench": "net:far:", "internet:bench": ""} {
		kinds.Of(name).Open(name, nil)
		if opened != want {
			t.Errorf("%s is opened as %q, want %q", name, opened, want)
		}
	}
}
