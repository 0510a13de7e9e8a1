package main

import (
	"errors"
	"strings"
	"testing"
	"time"

	"fettle/cmd/internal/desk"
	"fettle/procedures"
	"fettle/store/etcd"
	"fettle/store/photos"
	"fettle/workflow"
)

// A seat is a bench in this process, with a clock of its own.
type seat struct {
	*desk.Desk
	t    *testing.T
	off  time.Duration // of its clock
	told []string
}

// sit opens a bench of the shed whose clock is off by so much.
func sit(t *testing.T, shed, name string, off time.Duration) *seat {
	s := etcd.New(shed, etcd.Access{Name: name})
	t.Cleanup(func() { _ = s.Close() })
	b := &seat{t: t, off: off}
	least := time.Time{}
	clock := func() time.Time { return time.Now().Add(b.off) }
	b.Desk = &desk.Desk{
		Store: s, Photos: photos.Beside(t.TempDir() + "/p"), Library: procedures.Open(""), By: name, Program: "test",
		Now: func() time.Time {
			if clock().Before(least) {
				return least
			}
			return clock()
		},
		Clocks: &desk.Clocks{
			Now: clock, NotBefore: func(t time.Time) { least = t },
			Tell: func(d workflow.ClockDoubt) { b.told = append(b.told, d.Says()) },
		},
	}
	return b
}

func (b *seat) act(r workflow.Request) error {
	b.t.Helper()
	s, err := b.State(b.t.Context(), "CW-01")
	if err == nil {
		_, _, err = b.Act(b.t.Context(), s, r, time.Time{})
	}
	return err
}

// A bench whose clock is off by a second records as though it were not, also right after one
// whose clock is ahead; by a minute, and says so; by an hour it records nothing, until its clock
// is set.
func TestClocksOfBenches(t *testing.T) {
	server, host := member(t)
	defer server.Close()
	for _, off := range []time.Duration{time.Second, -time.Second, time.Minute, -time.Minute, time.Hour, -time.Hour} {
		shed := "etcd://" + host + "/shed" + off.String()
		one, two := sit(t, shed, "one", 0), sit(t, shed, "two", off)
		if _, err := one.Register(t.Context(), "CW-01", "causeway", nil, time.Time{}); err != nil {
			t.Fatal(err)
		}
		err := two.act(workflow.Note{Text: "by two"})
		told := strings.Join(two.told, "\n")
		switch off.Abs() {
		case time.Hour:
			var refusal *workflow.Refusal
			if !errors.As(err, &refusal) || refusal.Reasons[0].Because != workflow.ByClock || !strings.Contains(err.Error(), "60 min") || !strings.Contains(err.Error(), "one") {
				t.Errorf("off by %v: %v", off, err)
			}
			before, _ := one.State(t.Context(), "CW-01")
			if _, err := two.Register(t.Context(), "CW-02", "causeway", nil, time.Time{}); !errors.As(err, &refusal) {
				t.Errorf("off by %v, a new airframe: %v", off, err)
			}
			if err := one.act(workflow.Note{Text: "by one"}); err != nil { // its clock was known first
				t.Errorf("the other one, off by %v: %v", off, err)
			}
			after, _ := one.State(t.Context(), "CW-01")
			if after.Size() != before.Size()+1 {
				t.Errorf("off by %v: %d entries, then %d", off, before.Size(), after.Size())
			}
			two.off = 0
			if err := two.act(workflow.Note{Text: "set right"}); err != nil {
				t.Errorf("set right: %v", err)
			}
			continue
		case time.Minute:
			if side := map[bool]string{true: "ahead of", false: "behind"}[off > 0]; !strings.Contains(told, side+" that of one") {
				t.Errorf("off by %v: said %q", off, told)
			}
		default:
			if told != "" {
				t.Errorf("off by %v: said %q", off, told)
			}
		}
		if err != nil {
			t.Errorf("off by %v: %v", off, err)
		}
		if err := one.act(workflow.Note{Text: "by one"}); err != nil {
			t.Errorf("after one that is off by %v: %v", off, err)
		}
		s, err := one.State(t.Context(), "CW-01")
		if err != nil {
			t.Fatal(err)
		}
		if n := len(s.Entries); s.Entries[n-1].Recorded.Before(s.Entries[n-2].Recorded) {
			t.Errorf("off by %v: recorded at %v after %v", off, s.Entries[n-1].Recorded, s.Entries[n-2].Recorded)
		}
	}
}
