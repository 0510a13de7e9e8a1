package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/store"
	"fettle/workflow"
)

// reads counts how often each journal is read from its beginning.
type reads struct {
	keep.Store
	of map[string]int
}

type readsOf struct {
	store.Reader
	of map[string]int
}

func (r readsOf) Read(mark string, from int64) ([][]byte, error) {
	if from == 0 {
		r.of[mark]++
	}
	return r.Reader.Read(mark, from)
}

func (r reads) View(ctx context.Context, fn func(store.Reader) error) error {
	return r.Store.View(ctx, func(of store.Reader) error { return fn(readsOf{of, r.of}) })
}

// What was done is found with one reading of each journal: where all are planned with that, and while plans are made anew only
// where it has grown.
func TestWorkedReadsOnce(t *testing.T) {
	dir := t.TempDir()
	if err := setUp(dir, t.Setenv); err != nil {
		t.Fatal(err)
	}
	count := map[string]int{}
	kinds := stores()
	open := kinds[0].Open
	kinds[0].Open = func(path string, migrated func(from, to int, kept string)) keep.Store {
		return reads{open(path, migrated), count}
	}
	clock := scriptTime{filepath.Join(dir, "clock")}
	var out bytes.Buffer
	streams := term.Streams{In: strings.NewReader(""), Out: &out, Err: &out, Columns: term.Width}
	fettle := func(args ...string) {
		t.Helper()
		if code := run(t.Context(), kinds, append([]string{"--library", filepath.Join(dir, "own")}, args...), streams, clock); code != exitDone {
			t.Fatalf("%v ended with %d: %s", args, code, out.String())
		}
	}
	for _, mark := range []string{"FN-01", "FN-02"} {
		fettle("airframe", "add", mark, "--design", "finch")
		fettle("start", mark, "finch-build")
	}
	clear(count)
	fettle("plan", "--sitting", "every day 09:00-21:00")
	for mark, n := range count {
		if n > 1 {
			t.Errorf("plan read %s %d times", mark, n)
		}
	}

	a := &app{stores: kinds, Streams: streams, time: clock, libraryPath: filepath.Join(dir, "own")}
	d, err := a.desk()
	if err != nil {
		t.Fatal(err)
	}
	var work worked
	clear(count)
	done := func(known ...*workflow.State) (steps int) {
		for _, w := range work.all(t.Context(), d, known) {
			for _, r := range w.Steps {
				steps += len(r.Done)
			}
		}
		return steps
	}
	if n := done(); n != 0 || count["FN-01"] != 1 || count["FN-02"] != 1 {
		t.Fatalf("%d steps are done after %v readings, want none after one each", n, count)
	}
	fettle("bench", "--temperature", "20C")
	fettle("done", "FN-01", "check-kit")
	known, err := d.State(t.Context(), "FN-02")
	if err != nil {
		t.Fatal(err)
	}
	clear(count)
	if n := done(known); n != 1 || count["FN-01"] != 1 || count["FN-02"] != 0 {
		t.Errorf("%d steps are done after %v readings, want the one of FN-01 after one of it alone", n, count)
	}
}

// A repair shows the days that a plan has for it: both go by the builder's own pace.
func TestRepairAtOwnPace(t *testing.T) {
	play := player(t)
	text := "procedure: tidy\ntitle: Tidy it\nkind: check\nrevision: 1\nstages:\n  - stage: all\n    title: All\n    steps:\n"
	for i := range workflow.TimedInAll {
		text += fmt.Sprintf("      - step: tidy-%d\n        title: Wipe part %[1]d\n        do: Wipe it.\n        why: Dirt hides cracks.\n        hands: 10 min\n", i)
	}
	file := filepath.Join(t.TempDir(), "tidy.yaml")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	play("fettle airframe add CW-01 --design causeway")
	play("fettle start CW-01 " + file)
	for i := range workflow.TimedInAll {
		play("pass 30m")
		play(fmt.Sprintf("fettle done CW-01 tidy-%d", i))
	}
	play("fettle crash CW-01 --found wing=cracked:serious")
	t.Setenv("FETTLE_SITTINGS", "every day 18:00-23:00")
	var repair struct{ Days struct{ Finish time.Time } }
	var plan struct {
		Finish time.Time
		Pace   *page.PlanPace `json:"own_pace"`
	}
	for line, to := range map[string]any{"fettle repair CW-01 --json": &repair, "fettle plan CW-01 --json": &plan} {
		if out := play(line); json.Unmarshal([]byte(out), to) != nil {
			t.Fatalf("%s shows %s", line, out)
		}
	}
	if plan.Finish.IsZero() || plan.Pace == nil || plan.Pace.Minutes <= plan.Pace.Written || !repair.Days.Finish.Equal(plan.Finish) {
		t.Errorf("repair is done by %s, the plan by %s: %+v", repair.Days.Finish, plan.Finish, plan.Pace)
	}
}
