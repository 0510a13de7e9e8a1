package workflow

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fettle/steps"
	"fettle/workflow/journal"
)

// The documents of choices: a choice of three, an option, methods, a stage that
// one answer leaves empty, and a wait behind a choice.

func choiceSheet() *steps.Sheet {
	s := sheet()
	s.Options = append(s.Options,
		steps.Option{Name: "hard", Choice: "fins"}, steps.Option{Name: "soft", Choice: "fins"}, steps.Option{Name: "none", Choice: "fins"})
	return s
}

func choiceBuild() *steps.Procedure {
	do := func(name string, with, without []string) steps.Step {
		s := steps.Step{Name: name, Kind: steps.Do, Do: name, Where: steps.Where{Without: without}}
		if with != nil {
			s.With = [][]string{with}
		}
		return s
	}
	return &steps.Procedure{Name: "plover-choices", Kind: steps.Build, Design: "plover", Revision: 1, Stages: []steps.Stage{
		{Name: "first", Steps: []steps.Step{
			do("count", nil, nil),
			{Name: "which", Kind: steps.Choose, Choose: "fins"},
			{Name: "how", Kind: steps.Choose, Methods: []steps.Option{{Name: "wet"}, {Name: "dry"}}},
			{Name: "moving", Kind: steps.Choose, Choose: "rudder"},
			{Name: "rest", Kind: steps.Wait, For: q("20 min")},
			do("sand-wet", []string{"wet"}, nil),
			do("sand-dry", nil, []string{"wet"}),
		}},
		{Name: "fins", After: []string{"first"}, Steps: []steps.Step{do("set-hard", []string{"hard"}, nil), do("tack", []string{"soft", "hard"}, nil)}},
		{Name: "tail", After: []string{"fins"}, Steps: []steps.Step{do("bare", nil, []string{"soft", "hard"}), do("hinge", []string{"rudder"}, nil), do("look", nil, nil)}},
	}}
}

const (
	choiceSheetSum = "sha256:choice-sheet"
	choiceBuildSum = "sha256:choice-build"
)

// chooser is a build with choices, from its beginning.
type chooser struct {
	t     interface{ Fatal(...any) }
	state *State
	now   time.Time
}

func newChooser(t interface{ Fatal(...any) }, options ...string) *chooser {
	c := &chooser{t: t, now: evening}
	c.replay(nil)
	for _, r := range []Request{
		Register{Mark: "PL-01", Sheet: choiceSheet(), Digest: choiceSheetSum, Options: options},
		Start{Procedure: choiceBuild(), Digest: choiceBuildSum, Sheet: choiceSheet(), SheetDigest: choiceSheetSum},
	} {
		if err := c.try(r); err != nil {
			t.Fatal(err)
		}
	}
	return c
}

func (c *chooser) replay(entries []journal.Entry) {
	state, err := Replay(entries, Documents{
		Sheets:     map[string]*steps.Sheet{sheetSum: sheet(), choiceSheetSum: choiceSheet()},
		Procedures: map[string]*steps.Procedure{choiceBuildSum: choiceBuild()},
	})
	if err != nil {
		c.t.Fatal(err)
	}
	c.state = state
}

func (c *chooser) try(r Request) error {
	entries, err := c.state.Decide(r, Circumstances{Now: c.now, By: "builder", Program: "test"})
	if err == nil {
		c.replay(slices.Concat(c.state.Entries, entries))
	}
	return err
}

// there are the steps of the build now.
func (c *chooser) there() string {
	var names []string
	for _, s := range c.state.Jobs[0].Procedure.Steps() {
		names = append(names, s.Name)
	}
	return strings.Join(names, " ")
}

// What an open choice governs is not there, whether by with or by without.
func TestWhatIsThereFollowsTheAnswers(t *testing.T) {
	for _, c := range []struct{ options, answers, want string }{
		{"", "", "count which how moving rest look"},
		{"", "hard", "count which how moving rest set-hard tack look"},
		{"soft", "", "count which how moving rest tack look"},
		{"", "none", "count which how moving rest bare look"},
		{"none", "", "count which how moving rest bare look"},
		{"", "hard soft", "count which how moving rest tack look"},
		{"none", "rudder", "count which how moving rest bare hinge look"},
		{"rudder", "", "count which how moving rest hinge look"},
		{"", "done:count none wet", "count which how moving rest sand-wet bare look"},
		{"", "done:count none wet dry", "count which how moving rest sand-dry bare look"},
		{"", "done:count hard dry no:rudder", "count which how moving rest sand-dry set-hard tack look"},
		{"", "done:count hard dry undo", "count which how moving rest set-hard tack look"},
		{"", "hard soft undo", "count which how moving rest set-hard tack look"},
		{"", "hard undo", "count which how moving rest look"},
	} {
		b := newChooser(t, strings.Fields(c.options)...)
		for _, a := range strings.Fields(c.answers) {
			var r Request = Choose{Answer: a}
			if name, ok := strings.CutPrefix(a, "done:"); ok {
				r = Finish{Step: name}
			} else if name, ok := strings.CutPrefix(a, "no:"); ok {
				r = Choose{Answer: name, No: true}
			} else if a == "undo" {
				r = Undo{Position: b.state.Size() - 1}
			}
			if err := b.try(r); err != nil {
				t.Fatalf("%s: %v", c.answers, err)
			}
		}
		if got := b.there(); got != c.want {
			t.Errorf("registered with %q, then %q: %s, want %s", c.options, c.answers, got, c.want)
		}
	}
}

// A stage of which an answer leaves nothing is stepped over, and what is after it
// waits for what it was after. A wait behind a choice counts from what was done
// before the choice, where that was answered at registration.
func TestEmptyStagesAndWaitsBehindAChoice(t *testing.T) {
	b := newChooser(t, "none", "rudder")
	for _, r := range []Request{Finish{Step: "count"}, Choose{Answer: "dry"}} {
		if err := b.try(r); err != nil {
			t.Fatal(err)
		}
	}
	if err := b.try(Finish{Step: "bare"}); err == nil || !strings.Contains(err.Error(), "stage tail comes after first") {
		t.Errorf("the stage that is left over holds nothing back: %v", err)
	}
	b.now = b.now.Add(19 * time.Minute)
	if err := b.try(Finish{Step: "sand-dry"}); err == nil {
		t.Error("the wait is over early")
	}
	b.now = b.now.Add(time.Minute)
	for _, name := range []string{"sand-dry", "bare", "hinge", "look"} {
		if err := b.try(Finish{Step: name}); err != nil {
			t.Error(err)
		}
	}
}

// Random answers, work and undos: no work stands whose step the answers that stand
// do not have, and the steps are those of a plain count of the answers.
func TestRandomChoices(t *testing.T) {
	t.Parallel()
	names := []string{"hard", "soft", "none", "rudder", "wet", "dry"}
	often(t, func(t *rapid.T) {
		registered := rapid.SampledFrom([][]string{nil, {"soft"}, {"rudder"}, {"hard", "rudder"}}).Draw(t, "options")
		b := newChooser(t, registered...)
		for range rapid.IntRange(1, 60).Draw(t, "length") {
			b.now = b.now.Add(time.Duration(rapid.IntRange(0, 15).Draw(t, "minutes")) * time.Minute)
			switch rapid.IntRange(0, 9).Draw(t, "what") {
			case 0, 1, 3:
				_ = b.try(Choose{Answer: rapid.SampledFrom(names).Draw(t, "answer"), No: rapid.IntRange(0, 4).Draw(t, "no") == 0})
			case 2:
				_ = b.try(Undo{Position: int64(rapid.IntRange(2, max(2, int(b.state.Size())-1)).Draw(t, "position"))})
			default:
				if next := b.state.Next(b.now); next.Step != nil {
					_ = b.try(Finish{Step: next.Step.Step.Name})
				}
			}
			b.check(t, registered)
		}
	})
}

// check counts the answers anew, from the entries alone.
func (c *chooser) check(t *rapid.T, registered []string) {
	answers := map[string]string{}
	for _, o := range registered {
		answers[map[string]string{"hard": "fins", "soft": "fins", "none": "fins", "rudder": "rudder"}[o]] = o
	}
	for _, e := range c.state.Entries {
		if f, ok := e.Facts.(journal.Chosen); ok && c.state.Live(e.Position) {
			answers[f.Choice] = f.Answer
		}
	}
	fins, rudder, how := answers["fins"], answers["rudder"], answers["how"]
	want := map[string]bool{
		"sand-wet": how == "wet", "sand-dry": how == "dry", "set-hard": fins == "hard", "tack": fins == "hard" || fins == "soft",
		"bare": fins == "none", "hinge": rudder == "rudder",
	}
	there := c.there()
	for name, is := range want {
		if slices.Contains(strings.Fields(there), name) != is {
			t.Fatalf("with the answers %v there are %s", answers, there)
		}
	}
	for _, e := range c.state.Entries {
		work, ok := journal.WorkOf(e.Facts)
		if is, governed := want[work.Step]; ok && governed && !is && c.state.Live(e.Position) {
			t.Fatalf("%s stands with the answers %v", work.Step, answers)
		}
	}
	if s := fmt.Sprint(c.state.Selection().Has); len(c.state.Selection().Has) > 2 {
		t.Fatalf("it has %s", s)
	}
}

// An airframe that is older than a choice.
func TestOlderThanTheChoice(t *testing.T) {
	for _, c := range []struct {
		plain, options []string // of the sheet of the registration
		want           string
	}{
		{[]string{"hard", "soft"}, nil, "[none]"},
		{[]string{"hard", "soft"}, []string{"soft"}, "[soft]"},
		{[]string{"hard", "soft"}, []string{"hard", "soft"}, "it has hard and soft, which exclude each other: both are answers of fins"},
		{[]string{"hard"}, nil, "nobody has said which of fins it has: hard, soft, none"},
		{nil, nil, "nobody has said which of fins it has: hard, soft, none"},
		{[]string{"hard", "soft", "none"}, nil, "nobody has said which of fins it has: hard, soft, none"},
	} {
		old := sheet()
		for _, name := range c.plain {
			old.Options = append(old.Options, steps.Option{Name: name})
		}
		s, err := Replay(nil, Documents{Sheets: map[string]*steps.Sheet{sheetSum: old}})
		if err != nil {
			t.Fatal(err)
		}
		entries, err := s.Decide(Register{Mark: "PL-01", Sheet: old, Digest: sheetSum, Options: c.options}, Circumstances{Now: evening, By: "builder", Program: "test"})
		if err != nil {
			t.Fatal(err)
		}
		if s, err = Replay(entries, Documents{Sheets: map[string]*steps.Sheet{sheetSum: old}}); err != nil {
			t.Fatal(err)
		}
		got := fmt.Sprint(s.selection(choiceSheet()).Has)
		if reasons := s.undecided(choiceSheet(), true); len(reasons) > 0 {
			got = reasons[0].Text
			if reasons[0].Remedy.Kind != ToChoose {
				t.Errorf("no remedy: %+v", reasons[0])
			}
		}
		if got != c.want {
			t.Errorf("with %v of %v: %s, want %s", c.options, c.plain, got, c.want)
		}
	}
}

// With an answer that was given by a command, the work that it governs is taken
// back, in whatever job, and no other.
func TestUndoOfAnAnswerByCommand(t *testing.T) {
	b := newChooser(t)
	answer := b.state.Size()
	for _, r := range []Request{Choose{Answer: "soft"}, Finish{Step: "count"}, Choose{Answer: "dry"}, Choose{Answer: "rudder", No: true}} {
		if err := b.try(r); err != nil {
			t.Fatal(err)
		}
	}
	b.now = b.now.Add(time.Hour)
	for _, name := range []string{"sand-dry", "tack"} {
		if err := b.try(Finish{Step: name}); err != nil {
			t.Fatal(err)
		}
	}
	tacked := b.state.Size() - 1
	if err := b.try(Choose{Answer: "hard"}); err == nil || !strings.Contains(err.Error(), "soft was chosen, and tack, which depends on it, is done") {
		t.Errorf("it is changed under what rests on it: %v", err)
	}
	if err := b.try(Undo{Position: answer}); err != nil {
		t.Fatal(err)
	}
	undone := b.state.Entries[b.state.Size()-1].Facts.(journal.Undone).TakesBack
	if !slices.Equal(undone, []int64{answer, tacked}) {
		t.Errorf("taken back: %v, want %v", undone, []int64{answer, tacked})
	}
	if got := b.there(); got != "count which how moving rest sand-dry look" {
		t.Errorf("there are %s", got)
	}
}
