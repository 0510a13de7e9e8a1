package sitting_test

import (
	"context"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/sitting"
	"fettle/procedures"
	"fettle/store/memory"
	"fettle/workflow"
	"fettle/workflow/robot"
)

// A builder answers every question of a build by its keys, as a careful person would, and
// takes the time that the sheet gives.
type builder struct {
	t     *testing.T
	now   time.Time
	desk  *desk.Desk
	mark  string
	keys  int
	views map[string]sitting.View
	told  string
}

func (b *builder) Tell(markdown string) error {
	b.told = markdown
	return nil
}

func (b *builder) Ask(ctx context.Context, q sitting.Question) (sitting.Reply, error) {
	b.keys++
	if b.views[q.View.ID].ID == "" {
		b.views[q.View.ID] = q.View
	}
	if b.keys > 5000 {
		return sitting.Reply{}, fmt.Errorf("it goes in a circle at %q: %s", q.View.Title, q.Prompt)
	}
	b.now = b.now.Add(3 * time.Second)
	has := func(key string) bool {
		return slices.ContainsFunc(q.Keys, func(k sitting.Key) bool { return k.Key == key })
	}
	press := func(key string) (sitting.Reply, error) { return sitting.Reply{Key: key}, nil }
	enter := func(text string) (sitting.Reply, error) {
		if q.Field.Check != nil {
			if v := q.Field.Check(text); !v.Taken {
				return sitting.Reply{}, fmt.Errorf("%q is not taken at %s: %s", text, q.Prompt, v.Said)
			}
		}
		return sitting.Reply{Text: text}, nil
	}
	state, err := b.desk.State(ctx, b.mark)
	if err != nil {
		return sitting.Reply{}, err
	}
	switch {
	case !q.Until.IsZero():
		b.now = q.Until
		return press(sitting.Due)
	case strings.Contains(q.Prompt, "at the bench"):
		text := "20C 50%"
		if strings.Contains(q.Prompt, "y behind it") {
			text += " y"
		}
		return enter(text)
	case strings.HasPrefix(q.Prompt, "Confirm each line"):
		for _, r := range q.View.Rows {
			if r.State != sitting.Good && has(r.Key) {
				return press(r.Key)
			}
		}
	case strings.Contains(q.Prompt, "second person"):
		return enter("second")
	case strings.HasPrefix(q.Prompt, "Release"):
		if len(q.View.Rows) < 2 {
			return sitting.Reply{}, fmt.Errorf("the release shows %d readings", len(q.View.Rows))
		}
		return enter("signer")
	case strings.HasPrefix(q.Prompt, "Which name"):
		return enter("A1")
	case strings.HasPrefix(q.Prompt, "Which"):
		return press("1")
	case q.Field != nil && strings.Contains(q.Prompt, ", in "):
		move, err := robot.Next(state, b.now)
		measure, ok := move.Request.(workflow.Measure)
		if err != nil || !ok {
			return sitting.Reply{}, fmt.Errorf("%s: the robot would do %+v, %w", q.Prompt, move.Request, err)
		}
		for _, r := range measure.Readings {
			if strings.HasPrefix(q.Prompt, strings.TrimSpace(measure.Gate+" "+r.Point)+",") {
				return enter(r.Value.String())
			}
		}
	case has("s"):
		return press("s")
	case has("y"):
		return press("y")
	case has("m"):
		return press("m")
	case has("d"), has(sitting.Enter):
		if move, err := robot.Next(state, b.now); err == nil {
			b.now = b.now.Add(move.Takes)
		}
		if has("d") {
			return press("d")
		}
		return press(sitting.Enter)
	}
	return sitting.Reply{}, fmt.Errorf("nothing answers %q: %s (%+v)", q.View.Title, q.Prompt, q.Keys)
}

// A whole build is carried to its release by its keys alone. Every page has a title and
// something to press, and each caution of a step is on it.
func TestAWholeBuildByKeys(t *testing.T) {
	design := "reed"
	if os.Getenv("FETTLE_LONG") != "" {
		design = "causeway"
	}
	b := &builder{t: t, now: time.Date(2026, 3, 3, 19, 0, 0, 0, time.UTC), mark: "XX-01", views: map[string]sitting.View{}}
	b.desk = &desk.Desk{Store: memory.New(), Library: procedures.Open(t.TempDir()), Now: func() time.Time { return b.now }, By: "builder", Program: "test"}
	s, err := b.desk.Register(t.Context(), b.mark, design, nil, time.Time{})
	must(t, err)
	_, _, err = b.desk.Start(t.Context(), s, design+"-build", "", time.Time{})
	must(t, err)
	sit := &sitting.Sitting{Desk: b.desk, Bench: sitting.NewBench(b.desk), Front: b, Mark: b.mark, Nameless: true,
		When: func(string) (time.Time, error) { return b.now, nil },
		Release: func(ctx context.Context, mark string) (string, error) {
			s, err := b.desk.State(ctx, mark)
			if err != nil {
				return "", err
			}
			_, _, err = b.desk.Act(ctx, s, workflow.GiveRelease{}, time.Time{})
			return "released", err
		}}
	must(t, sit.Lead(t.Context()))
	s, err = b.desk.State(t.Context(), b.mark)
	must(t, err)
	if !s.Airworthiness(b.now).Released || s.Release.By != "signer" {
		t.Errorf("it is not released by who signed; told last %s", b.told)
	}
	words := 0
	for _, v := range b.views {
		if v.Title == "" || v.Mark != b.mark {
			t.Errorf("a page without title or mark: %+v", v)
		}
		words += len(strings.Fields(v.Title + " " + v.Action))
	}
	t.Logf("%s: %d pages, %d words a page, %d keys, %d entries", design, len(b.views), words/len(b.views), b.keys, len(s.Entries))
	for _, step := range s.Jobs[0].Procedure.Steps() {
		for _, caution := range step.Cautions {
			shown := false
			for _, v := range b.views {
				shown = shown || slices.ContainsFunc(v.Cautions, func(c sitting.Caution) bool { return c.Text == caution })
			}
			if !shown {
				t.Errorf("the caution of %s was never shown", step.Name)
			}
		}
	}
}
