package screen

import "time"

// What keeps a key from answering that nobody meant to press.
const (
	settled = 50 * time.Millisecond   // a question has been drawn, and what had waited was read
	deaf    = 400 * time.Millisecond  // after an answer, while the next question is looked at
	repeats = 150 * time.Millisecond  // the same key again within it is one press, or a key held down
	holding = 1500 * time.Millisecond // the longest that a held key takes to begin to repeat
	pause   = 400 * time.Millisecond  // after a text whose beginning was ignored
)

// A guard tells presses that were meant from those of a held key, from keys that
// waited, and from a second press that was meant for the question before. A terminal
// says only that a key came, so it goes by when.
type guard struct {
	ready time.Time // the question is drawn
	deaf  time.Time // until then no key answers
	last  string    // the key that was pressed last
	at    time.Time // when it came last
	lost  time.Time // when text was ignored
	once  bool      // the key that opened a field came again, and nothing since
}

// A press is what a key amounts to.
type press int

const (
	meant press = iota
	early       // it came before the question could be read
	again       // the key before, held down
	doubt       // perhaps the first repeat of a held key, or of a burst: the next one tells
	burst       // it came with others at once, as no hand presses them
)

// drawn says that a question is drawn now.
func (g *guard) drawn(now time.Time) { g.ready = now.Add(settled) }

// answered says that a question was answered now.
func (g *guard) answered(now time.Time) { g.deaf = now.Add(deaf) }

// press says what a key amounts to that is pressed now. Where alone is set, keys that
// come faster than a person presses them are all ignored, the first one too.
func (g *guard) press(key string, alone bool, now time.Time) press {
	same, since := key == g.last, now.Sub(g.at)
	g.last, g.at = key, now
	switch {
	case same && since < repeats:
		return again
	case alone && since < repeats:
		return burst
	case now.Before(g.deaf), now.Before(g.ready):
		g.lost = now
		return early
	case alone, same && since < holding:
		return doubt
	}
	return meant
}

// text says what a character is that comes for a field: again is one that the key types
// which opened the field, held down or pressed a second time, and doubt perhaps the first
// of those. Where the beginning of a number came too early, the rest of it is not taken
// for one: 14.5 is never 4.5.
func (g *guard) text(key string, now time.Time) press {
	same, since := key != "" && key == g.last && now.Sub(g.at) < holding, now.Sub(g.at)
	g.at = now
	once := g.once && since < 2*pause // on a busy machine a held key comes slowly
	if g.once = false; !same {
		g.last = ""
	}
	switch {
	case same && (since < repeats || now.Before(g.deaf) || once):
		g.once = true
		g.lost = now
		return again
	case now.Before(g.ready), now.Sub(g.lost) < pause:
		g.lost = now
		return early
	case same:
		g.once = true
		return doubt
	}
	return meant
}
