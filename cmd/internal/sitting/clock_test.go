package sitting_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/sitting"
	"fettle/store"
)

// A timed store has another bench whose clock is ahead by so much, and was known first.
type timed struct {
	store.Store
	ahead time.Duration
}

func (t *timed) Clocks(context.Context, func() time.Time, bool) ([]store.BenchClock, error) {
	return []store.BenchClock{{Bench: "door", Least: t.ahead, Most: t.ahead, Older: true}}, nil
}

// By a wrong clock nothing is asked that would be refused: that comes first. What was typed all the same is
// said to be lacking, and who leaves is not told that something is recorded. Once it is set, it goes on.
func TestWrongClock(t *testing.T) {
	for _, test := range []struct {
		answers []string
		left    string
	}{
		{[]string{"q"}, "Nothing was recorded."},
		{[]string{"t", "the tin is empty", "q"}, `Not recorded: the note "the tin is empty".`},
		{[]string{"t", "the tin is empty", sitting.Changed, "1", "2", "q"}, `Not recorded: the note "the tin is empty".`},
		{[]string{sitting.Changed, "1", "2", "q"}, "All that was answered is recorded."},
	} {
		for _, mark := range []string{"FN-01", ""} {
			b, _ := shared(t)
			there := &timed{b.desk.Store, time.Hour}
			b.desk.Store, b.desk.Clocks = there, &desk.Clocks{Now: b.desk.Now}
			b.first = func() { there.ahead, b.now = 0, b.now.Add(2*time.Minute) }
			b.lead(mark, test.answers...)
			if first := b.asked[0]; !strings.Contains(first, "Nothing can be recorded by a wrong clock | Once the clock is set: | enter look again") {
				t.Errorf("asked first is %s", first)
			}
			all := strings.Join(b.told, "\n")
			for _, text := range []string{"Nothing was recorded.", "Not recorded: ", "All that was answered is recorded."} {
				if is := strings.Contains(all, text); is != strings.HasPrefix(test.left, text) {
					t.Errorf("%q: it says %s", test.answers, all)
				}
			}
			if !strings.Contains(all, test.left) {
				t.Errorf("%q: it does not say %q: %s", test.answers, test.left, all)
			}
			if len(test.answers) > 3 {
				b.asks("Before the blade")
			} else if len(b.seen) > 0 && strings.Contains(strings.Join(b.seen, ""), "first:") {
				t.Errorf("it asks for what would be refused: %q", b.seen)
			}
		}
	}
}
