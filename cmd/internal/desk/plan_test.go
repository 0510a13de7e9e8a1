package desk

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"fettle/store/wholefile"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// A plan that was kept is followed by the airframes that it means, as long as its file can be read.
func TestPlanIsFollowed(t *testing.T) {
	since := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	s := &workflow.State{Airframe: journal.Registered{Mark: "FN-01"}, Since: since}
	other := &workflow.State{Airframe: journal.Registered{Mark: "FN-01"}, Since: since.Add(time.Second)} // of another store
	unplanned := &workflow.State{Airframe: journal.Registered{Mark: "FN-02"}, Since: since}
	p := &Plan{File: filepath.Join(t.TempDir(), "store.plan")}
	if p.planned(s) != nil || p.Last([]*workflow.State{s}) != nil || (*Plan)(nil).planned(s) != nil {
		t.Error("planned before there was a plan")
	}
	turn := workflow.Turn{Mark: "FN-01", Job: "finch-build", Step: "cut", Act: workflow.ToCoat, Begins: since.Add(time.Hour), Hands: []int{2}}
	made := workflow.Timetable{Made: since, Hands: 2, Visits: []workflow.Visit{{Turns: []workflow.Turn{turn, {Mark: "WR-01", Step: "trim"}}}}}
	interrupted, interrupt := context.WithCancel(t.Context())
	interrupt() // what was found until then is kept
	if err := p.Keep(interrupted, []*workflow.State{s}, made, nil); err != nil {
		t.Fatal(err)
	}
	again := &Plan{File: p.File}
	if got := again.planned(s); !reflect.DeepEqual(got, []workflow.Planned{{Job: "finch-build", Step: "cut", Act: workflow.ToCoat, Begins: since.Add(time.Hour), Hands: []int{2}}}) {
		t.Errorf("planned: %+v", got)
	}
	// It is for nobody in particular where fewer people are there than it is for, and as it was for as many.
	for people, want := range map[int][]int{0: {2}, 1: nil, 2: {2}, 3: {2}} {
		among := &Plan{File: p.File, Hands: people}
		told := *s
		among.Tell(&told)
		if got := told.Planned; len(got) != 1 || !reflect.DeepEqual(got[0].Hands, want) || !reflect.DeepEqual(told.Plans["FN-01"], got) {
			t.Errorf("among %d it is planned %+v, all of it %+v", people, got, told.Plans)
		}
	}
	if again.planned(other) != nil || again.planned(unplanned) != nil || again.Last([]*workflow.State{unplanned}) != nil {
		t.Error("another airframe follows it")
	}
	made.Visits[0].Turns = made.Visits[0].Turns[:1]
	was, _ := json.Marshal(made)
	if is, _ := json.Marshal(again.Last([]*workflow.State{unplanned, s})); string(is) != string(was) {
		t.Errorf("read back %s, was %s", is, was)
	}
	// What is planned of another one alone takes nothing from it.
	alone := workflow.Timetable{Made: since.Add(time.Minute), Hands: 1, Visits: []workflow.Visit{{Turns: []workflow.Turn{{Mark: "FN-02", Job: "finch-build", Step: "sand", Begins: since.Add(time.Hour)}}}}}
	if err := again.Keep(t.Context(), []*workflow.State{unplanned}, alone, nil); err != nil {
		t.Fatal(err)
	}
	if last := again.Last([]*workflow.State{s}); last == nil || len(last.Visits) != 1 || len(last.Visits[0].Turns) != 1 || last.Visits[0].Turns[0].Step != "cut" || !last.Made.Equal(since) || last.Hands != 2 {
		t.Errorf("the last plan of it is %+v", last)
	}
	if last := again.Last([]*workflow.State{unplanned}); last == nil || len(last.Planned("FN-01")) > 0 || len(last.Planned("FN-02")) != 1 || !last.Made.Equal(alone.Made) || last.Hands != 1 {
		t.Errorf("the last plan of the other is %+v", last)
	}
	// It is of both as the one that was planned last, for no more people than there can be.
	if last := again.Last([]*workflow.State{s, unplanned}); last == nil || last.Hands != 1 {
		t.Errorf("the last plan of both is %+v", last)
	}
	for _, many := range []int{-1, workflow.MostHands + 1} {
		alone.Hands = many
		if err := again.Keep(t.Context(), []*workflow.State{unplanned}, alone, nil); err != nil {
			t.Fatal(err)
		}
		if last := again.Last([]*workflow.State{unplanned}); last == nil || last.Hands != 0 {
			t.Errorf("of %d people it is %+v", many, last)
		}
	}
	for _, text := range []string{"", "{}", "\n", "{\"since\":{}}\n{}\n", "{\"since\":7}\n{}\n", strings.Repeat("x", 100), "[1]\n[2]\n"} {
		if err := os.WriteFile(p.File, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if again.planned(s) != nil || again.Last([]*workflow.State{s}) != nil {
			t.Errorf("%q is followed", text)
		}
		if err := again.Keep(t.Context(), []*workflow.State{s}, made, nil); err != nil || len((&Plan{File: p.File}).planned(s)) != 1 {
			t.Errorf("in the place of %q nothing is kept: %v", text, err)
		}
	}
	if err := os.Remove(p.File); err != nil {
		t.Fatal(err)
	}
	if again.planned(s) != nil {
		t.Error("a plan that was deleted is followed")
	}
}

// A plan that can't be written is followed while the program runs, until somebody writes the file.
func TestPlanThatIsNotWritten(t *testing.T) {
	since := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	s := &workflow.State{Airframe: journal.Registered{Mark: "FN-01"}, Since: since}
	made := func(step string) workflow.Timetable {
		return workflow.Timetable{Made: since, Visits: []workflow.Visit{{Turns: []workflow.Turn{{Mark: "FN-01", Job: "finch-build", Step: step, Begins: since}}}}}
	}
	p := &Plan{File: filepath.Join(t.TempDir(), "store.plan")}
	if err := p.Keep(t.Context(), []*workflow.State{s}, made("cut"), nil); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(p.File); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(p.File, 0o700); err != nil { // a folder has its name
		t.Fatal(err)
	}
	if err := p.Keep(t.Context(), []*workflow.State{s}, made("sand"), nil); err == nil {
		t.Fatal("a folder is replaced")
	}
	for range 2 {
		if got := p.planned(s); len(got) != 1 || got[0].Step != "sand" {
			t.Errorf("planned: %+v", got)
		}
		if last := p.Last([]*workflow.State{s}); last == nil || len(last.Visits) != 1 || last.Visits[0].Turns[0].Step != "sand" {
			t.Errorf("the last plan is %+v", last)
		}
	}
	if got := (&Plan{File: p.File}).planned(s); got != nil {
		t.Errorf("another program follows %+v", got)
	}
	if err := os.Remove(p.File); err != nil {
		t.Fatal(err)
	}
	if err := (&Plan{File: p.File}).Keep(t.Context(), []*workflow.State{s}, made("trim"), nil); err != nil {
		t.Fatal(err)
	}
	if got := p.planned(s); len(got) != 1 || got[0].Step != "trim" {
		t.Errorf("once the file is written, planned: %+v", got)
	}
	if last := p.Last([]*workflow.State{s}); last == nil || last.Visits[0].Turns[0].Step != "trim" {
		t.Errorf("once the file is written, the last plan is %+v", last)
	}
}

// What could not be written is not put in the place of what was written since, by this program or another one.
func TestPlanThatIsNotWrittenGivesWay(t *testing.T) {
	since := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	keep := func(p *Plan, mark string) error {
		s := &workflow.State{Airframe: journal.Registered{Mark: mark}, Since: since}
		return p.Keep(t.Context(), []*workflow.State{s}, workflow.Timetable{Made: since, Visits: []workflow.Visit{{Turns: []workflow.Turn{{Mark: mark, Job: "finch-build", Step: "cut", Begins: since}}}}}, nil)
	}
	for _, own := range []bool{true, false} {
		p := &Plan{File: filepath.Join(t.TempDir(), "store.plan")}
		writes := p
		if !own {
			writes = &Plan{File: p.File}
		}
		if err := os.Mkdir(p.File, 0o700); err != nil {
			t.Fatal(err)
		}
		if err := keep(p, "FN-01"); err == nil {
			t.Fatal("a folder is replaced")
		}
		if err := errors.Join(os.Remove(p.File), keep(writes, "FN-02"), keep(p, "FN-03")); err != nil {
			t.Fatal(err)
		}
		s := &workflow.State{Airframe: journal.Registered{Mark: "FN-02"}, Since: since}
		if got := (&Plan{File: p.File}).planned(s); len(got) != 1 {
			t.Errorf("own %t: planned: %+v", own, got)
		}
	}
}

// Programs that keep their plans at the same time lose none of each other's.
func TestPlansAreKeptAtOnce(t *testing.T) {
	since := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	file := filepath.Join(t.TempDir(), "store.plan")
	of := func(mark string) *workflow.State {
		return &workflow.State{Airframe: journal.Registered{Mark: mark}, Since: since}
	}
	var all sync.WaitGroup
	for _, mark := range []string{"FN-01", "FN-02", "FN-03"} {
		all.Go(func() {
			p := &Plan{File: file}
			for n := range 10 {
				visits := []workflow.Visit{{Turns: []workflow.Turn{{Mark: mark, Job: "finch-build", Step: fmt.Sprint("step-", n), Begins: since}}}}
				if err := p.Keep(t.Context(), []*workflow.State{of(mark)}, workflow.Timetable{Made: since, Visits: visits}, nil); err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
	for _, mark := range []string{"FN-01", "FN-02", "FN-03"} {
		if got := (&Plan{File: file}).planned(of(mark)); len(got) != 1 || got[0].Step != "step-9" {
			t.Errorf("%s has %+v", mark, got)
		}
	}
}

// A plan waits while another program holds the folder, and where that goes on it is followed, and does not overwrite what is there.
func TestPlanWaitsForAnotherProgram(t *testing.T) {
	since := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	file := filepath.Join(t.TempDir(), "store.plan")
	s := &workflow.State{Airframe: journal.Registered{Mark: "FN-01"}, Since: since}
	for held, kept := range map[time.Duration]bool{time.Second: true, time.Minute: false} {
		synctest.Test(t, func(t *testing.T) {
			release, err := wholefile.Lock(file)
			if err != nil {
				t.Fatal(err)
			}
			go func() {
				time.Sleep(held)
				release()
			}()
			p := &Plan{File: file}
			visits := []workflow.Visit{{Turns: []workflow.Turn{{Mark: "FN-01", Job: "finch-build", Step: held.String(), Begins: since}}}}
			if err := p.Keep(t.Context(), []*workflow.State{s}, workflow.Timetable{Made: since, Visits: visits}, nil); (err == nil) != kept {
				t.Errorf("held for %v: %v", held, err)
			}
			if got := p.planned(s); len(got) != 1 || got[0].Step != held.String() {
				t.Errorf("held for %v it has %+v", held, got)
			}
			if got := (&Plan{File: file}).planned(s); (len(got) == 1 && got[0].Step == held.String()) != kept {
				t.Errorf("held for %v another program has %+v", held, got)
			}
			time.Sleep(held)
		})
	}
}
