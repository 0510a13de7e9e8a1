package workflow

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"fettle/steps"
)

// ahead are the moments of the next days, as minutes from now.
func (b *bench) ahead() (all []string) {
	for _, m := range b.state.Moments(b.now, b.now.Add(60*24*time.Hour)) {
		text := fmt.Sprintf("%g %s %s", m.At.Sub(b.now).Minutes(), m.Name, m.Event)
		if m.Then != "" {
			text += " " + m.Then
		}
		if !m.Until.IsZero() {
			text += fmt.Sprintf(" until %g", m.Until.Sub(b.now).Minutes())
		}
		all = append(all, text)
	}
	return all
}

func TestMoments(t *testing.T) {
	long := func() *steps.Sheet { // contact that is open for 6 min, less than a minute longer than the warning
		s := sheet()
		s.Adhesives[0].Times.To = 15 * time.Minute
		return s
	}
	grip := steps.Step{Name: "grip", Kind: steps.Wait, For: q("20 min"), By: q("30 min"), From: "join", Late: steps.LateSay}
	for name, test := range map[string]struct {
		bench func(t *testing.T) *bench
		want  []string
	}{
		"nothing runs": {func(t *testing.T) *bench { return building(t) }, nil},
		"one face, which cannot be joined yet": {func(t *testing.T) *bench {
			b := building(t)
			b.done("coat-left")
			return b
		}, []string{"32 roots closes-soon until 37", "37 roots has-lapsed"}},
		"two coats; the older one lapses": {func(t *testing.T) *bench {
			b := building(t)
			b.done("coat-left")
			b.after(10 * time.Minute)
			b.done("coat-right")
			return b
		}, []string{"10 roots may-join until 27", "22 roots closes-soon until 27", "27 roots has-lapsed"}},
		"open, its opening is over": {func(t *testing.T) *bench {
			b := building(t)
			b.done("coat-left", "coat-right")
			b.after(10 * time.Minute)
			return b
		}, []string{"22 roots closes-soon until 27", "27 roots has-lapsed"}},
		"touched and wet": {func(t *testing.T) *bench {
			b := building(t)
			b.done("coat-left", "coat-right")
			b.after(12 * time.Minute)
			_ = b.try(Finish{Step: "join-roots", Touch: TouchWet})
			b.state = b.replay(append(b.state.Entries, recorded(b.try(Finish{Step: "join-roots", Touch: TouchWet}))...))
			return b
		}, []string{"5 roots may-touch until 25", "20 roots closes-soon until 25", "25 roots has-lapsed"}},
		"a window of five minutes has no warning": {func(t *testing.T) *bench {
			b := workingOn(t, long(), steps.Stage{Name: "one", Steps: []steps.Step{coating("coat", "tab"), joining("join", "tab")}})
			b.done("coat")
			return b
		}, []string{"10 tab may-join until 15", "15 tab has-lapsed"}},
		"joined": {func(t *testing.T) *bench {
			b := building(t)
			b.done("coat-left", "coat-right")
			b.after(10 * time.Minute)
			b.done("join-roots")
			return b
		}, []string{"30 roots may-handle until 1440", "1440 roots is-cured"}},
		"waits one after the other": {func(t *testing.T) *bench {
			b := working(t, steps.Stage{Name: "one", Steps: []steps.Step{plain("lay"), wait("first", "20 min"), wait("second", "30 min"), plain("press")}})
			b.done("lay")
			return b
		}, []string{"20 first wait-over", "50 second wait-over"}},
		"a wait with an end": {func(t *testing.T) *bench {
			b := working(t, steps.Stage{Name: "one", Steps: []steps.Step{plain("join"), grip, plain("press")}})
			b.done("join")
			return b
		}, []string{"20 grip wait-over press until 30", "25 grip due-soon press until 30", "30 grip is-late press"}},
		"a coat that a late wait opens again has no moments after that": {func(t *testing.T) *bench {
			b := parting(t)
			b.done("coat-one", "turn")
			return b
		}, []string{"2 while-wet is-late part"}},
	} {
		t.Run(name, func(t *testing.T) {
			b := test.bench(t)
			if got := b.ahead(); !slices.Equal(got, test.want) {
				t.Errorf("moments\n%q, want\n%q", got, test.want)
			}
		})
	}
}

// A quarantine calls when it is over; the moments of several airframes are in order.
func TestMomentsOfSeveral(t *testing.T) {
	b := building(t)
	b.done("coat-left", "coat-right")
	other := building(t)
	other.state.Airframe.Mark = "PL-02"
	other.state.Quarantines = []*Quarantine{{Damage: "D1", Lines: []string{"cold"}, Since: evening, Until: evening.Add(12 * time.Minute)}}
	var got []string
	for _, m := range Moments([]*State{b.state, other.state}, evening, evening.Add(40*time.Minute)) {
		got = append(got, m.Mark+" "+string(m.Event))
	}
	if want := []string{"PL-01 may-join", "PL-02 may-confirm", "PL-01 closes-soon", "PL-01 has-lapsed"}; !slices.Equal(got, want) {
		t.Errorf("moments %q, want %q", got, want)
	}
}
