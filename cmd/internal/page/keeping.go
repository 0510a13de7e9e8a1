package page

import (
	"fettle/cmd/internal/desk"
)

// Copied is what a backup or a restore has copied.
type Copied desk.Copied

// Markdown says what was copied, and where what was there is.
func (p Copied) Markdown(Clock) string {
	var l lines
	l.item("%s: %d airframes, %d entries, %d photos; read again and found whole", esc(p.File), p.Airframes, p.Entries, p.Photos)
	for _, m := range p.Missing {
		l.item("**photo:** %s", esc(m))
	}
	if p.Aside != "" {
		l.item("the store that was here is kept as %s", esc(p.Aside))
	}
	return l.String()
}

// Health is how a store was found.
type Health desk.Health

// Markdown is what was found, an airframe a line.
func (h Health) Markdown(Clock) string {
	var l lines
	if h.Fault != "" {
		l.item("**DAMAGED:** %s", esc(h.Fault))
	}
	for _, p := range h.Airframes {
		if len(p.Faults) == 0 {
			l.item("%s: %d entries, as they were written", esc(p.Mark), p.Size)
		}
		for _, f := range p.Faults {
			l.item("%s: **%s**", esc(p.Mark), esc(f))
		}
	}
	if h.Fault == "" && len(h.Airframes) == 0 {
		l.item("the store is empty")
	}
	return l.String()
}
