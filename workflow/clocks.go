package workflow

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// Several benches may write to one store, each by its own clock. What the clocks of others
// differ by is counted to the safe side at the moment that is asked about: what opens does so
// later, what closes earlier. Nothing of it is in the journal, so that a fold knows nothing of it.

const (
	// ClockIgnored is by how much clocks may differ without a word.
	ClockIgnored = 2 * time.Second
	// ClockMost is by how much they may differ and still record.
	ClockMost = 2 * time.Minute
)

// UnknownMost is Most of a clock that may be ahead by any time.
const UnknownMost = time.Duration(math.MaxInt64)

// A BenchClock is what is known of the clock of another bench: it is ahead of the one here by
// Least or more and by Most or less, which are negative where it is behind.
type BenchClock struct {
	Bench       string
	Least, Most time.Duration
	Older       bool // it was known before the one here
}

// differs is by how much the clocks differ for certain, and by how much they may.
func (c BenchClock) differs() (certain, perhaps time.Duration) {
	certain = max(c.Least, -c.Most, 0)
	if c.Most == UnknownMost {
		return certain, certain
	}
	return certain, max(-c.Least, c.Most)
}

// A ClockDoubt is what clocks of other benches leave open of the time here. The zero one is of
// a store that no other bench writes to.
type ClockDoubt struct {
	Shared  bool          // others may write
	Off     time.Duration // so much is counted to the safe side
	Bench   string        // whose clock differs by it; "": none does, or nobody knows
	Behind  bool          // its clock is behind the one here
	Refused bool          // more than may be: nothing is recorded here
	Agree   int           // where it is refused, so many clocks agree with that of Bench, which is one of them
	Alone   bool          // no two clocks agree: nobody knows which is wrong
	Many    bool          // there are more than two clocks
	Astray  string        // a bench whose clock differs by more than may be from this one and most others; "": none
}

// UnknownClocks is the doubt where the clocks of others cannot be compared: nobody records whose
// clock differs by more.
func UnknownClocks() ClockDoubt { return ClockDoubt{Shared: true, Off: ClockMost} }

// CompareClocks judges the clock here by those of other benches, the one known longest first.
// Where some differ by more than may be, those are right who agree and are more, of as many the ones with
// the clock that was known first; where of several no two agree, none is known to be right.
func CompareClocks(others []BenchClock) ClockDoubt {
	d := ClockDoubt{Shared: true}
	var far []BenchClock
	count := func(c BenchClock, over time.Duration) {
		if certain, perhaps := c.differs(); certain > over && perhaps > d.Off {
			d.Off, d.Bench, d.Behind = perhaps, c.Bench, c.Most < 0
		}
	}
	for _, c := range others {
		if certain, _ := c.differs(); certain > ClockMost {
			far = append(far, c)
			continue
		}
		count(c, ClockIgnored)
	}
	if len(far) == 0 {
		return d
	}
	d.Many = len(others) > 1
	agree, near := agreeing(far), len(others)-len(far)+1
	first := others[0].Older && agree[0] == others[0]
	d.Alone = near == 1 && len(agree) == 1
	if d.Refused = len(agree) > near || len(agree) == near && first || d.Alone && len(far) > 1; !d.Refused {
		d.Astray = far[0].Bench
		return d
	}
	d.Off, d.Agree = 0, len(agree)
	for _, c := range agree {
		count(c, ClockMost)
	}
	return d
}

// agreeing are the most clocks that agree with one of them, of as many those with one that was known first.
func agreeing(clocks []BenchClock) (most []BenchClock) {
	for _, one := range clocks {
		var with []BenchClock
		for _, c := range clocks {
			if !one.before(c) && !c.before(one) {
				with = append(with, c)
			}
		}
		if len(with) > len(most) {
			most = with
		}
	}
	return most
}

// before reports whether a clock is behind another one by more than may be, for certain.
func (c BenchClock) before(other BenchClock) bool {
	return c.Most != UnknownMost && other.Least-c.Most > ClockMost
}

// Tolerates reports whether a clock that reads earlier by so much than what another bench wrote
// is explained by what the clocks differ by. Then time stands still until it is over.
func (d ClockDoubt) Tolerates(by time.Duration) bool {
	return d.Shared && !d.Refused && by <= max(d.Off, ClockIgnored)
}

// Says is what is to be said of the clocks of a bench that may record, one line; "": nothing.
func (d ClockDoubt) Says() string {
	var all []string
	switch {
	case d.Off == 0 || d.Refused: // that is said as a reason
	case d.Bench == "":
		all = append(all, "it is not known how the clocks of other benches compare with this one, so times count to the safe side by "+d.size())
	default:
		all = append(all, fmt.Sprintf("%s, so times count to the safe side by that; set the clock that is wrong", d.reads()))
	}
	if d.Astray != "" && d.Alone {
		all = append(all, "the clocks of "+d.Astray+" and of this bench differ by more than 2 min; nothing can be recorded there until the one that is wrong is set")
	} else if d.Astray != "" {
		all = append(all, "the clock of "+d.Astray+" is wrong by more than 2 min; nothing can be recorded there until it is set")
	}
	return strings.Join(all, "; ")
}

func (d ClockDoubt) reads() string {
	side := "behind"
	if d.Behind {
		side = "ahead of"
	}
	text := fmt.Sprintf("the clock of this bench reads %s %s that of %s", d.size(), side, d.Bench)
	switch {
	case d.Agree == 2:
		text += ", with which that of another bench agrees"
	case d.Agree > 2:
		text += fmt.Sprintf(", with which those of %d other benches agree", d.Agree-1)
	case d.Alone && d.Many:
		text += ", and no two benches agree"
	}
	return text
}

func (d ClockDoubt) size() string {
	switch off := d.Off; {
	case off <= ClockMost:
		return fmt.Sprintf("%d s", (off+time.Second-1)/time.Second)
	case off < 2*time.Hour:
		return fmt.Sprintf("%d min", off/time.Minute)
	default:
		return fmt.Sprintf("%d h", off/time.Hour)
	}
}

// Changed reports whether it holds back more than another one does.
func (d ClockDoubt) Changed(was ClockDoubt) bool {
	return d.Refused != was.Refused || d.Off > was.Off+ClockIgnored
}

// refuses is why nothing is recorded; nil: it may be.
//
//go:noinline
func (d ClockDoubt) refuses() *Reason {
	if !d.Refused {
		return nil
	}
	return &Reason{Because: ByClock, Text: d.reads() + ", so no waiting time can be trusted", Remedy: Remedy{Kind: ToSetBenchClock}}
}

// Doubt tells a state that was just replayed what the clocks of other benches leave open.
func (s *State) Doubt(d ClockDoubt) {
	for _, job := range append(s.Jobs[:len(s.Jobs):len(s.Jobs)], s.reworks) {
		job.off, job.wrong = d.Off, d.Refused
		for _, parts := range job.joints {
			for _, j := range parts {
				j.off, j.wrong = d.Off, d.Refused
			}
		}
	}
	for _, q := range s.Quarantines {
		if !q.Until.IsZero() {
			q.Until = q.Until.Add(d.Off - s.doubt.Off)
		}
	}
	s.doubt, s.memo = d, &memo{}
}

// Doubted is what the state was told of the clocks.
func (s *State) Doubted() ClockDoubt { return s.doubt }

// LastRecorded is when the last entry was recorded, by the clock of its bench.
//
//go:noinline
func (s *State) LastRecorded() time.Time {
	if len(s.Entries) == 0 {
		return time.Time{}
	}
	return latest(s.latest.Recorded, s.Entries[len(s.Entries)-1].Recorded)
}
