package page

import (
	"fmt"

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
	for _, f := range h.Faults {
		l.item("**DAMAGED:** %s", esc(f))
	}
	for _, p := range h.Airframes {
		if len(p.Faults) == 0 {
			l.item("%s: %d entries, as they were written", esc(p.Mark), p.Size)
		}
		for _, f := range p.Faults {
			l.item("%s: **DAMAGED:** %s", esc(p.Mark), esc(f))
		}
		if p.Saved < p.Size {
			l.item("%s: the first %d of %d entries can be read", esc(p.Mark), p.Saved, p.Size)
		}
	}
	switch sound := desk.Health(h).Sound(); {
	case sound && len(h.Airframes) == 0:
		l.item("the store is empty")
	case sound:
		l.item("%d documents, as they were kept; every page of the file is in order", h.Documents)
	default:
		l.add("\nLeave the file as it is, and go on with the newest good copy: `fettle restore FILE`. " +
			"Without one, `fettle doctor --salvage NEW-FILE` saves every journal that is whole.\n")
	}
	return l.String()
}

// Salvage is what was saved of a damaged store.
type Salvage desk.Salvage

// Markdown is what was saved, and what was not.
func (s Salvage) Markdown(c Clock) string {
	var l lines
	l.item("%s: %d airframes, %d entries, %d photos, each journal whole", esc(s.File), s.Airframes, s.Entries, s.Photos)
	for _, f := range s.Faults {
		l.item("**the file:** %s", esc(f))
	}
	for _, p := range s.Parts {
		kept := "nothing of it can be read"
		if p.File != "" {
			kept = fmt.Sprintf("its first %d of %d entries are in %s, to be read; it is no record to fly by", p.Entries, p.Size, esc(p.File))
		}
		l.item("**%s is not whole:** %s (%s)", esc(p.Mark), kept, esc(p.Why))
	}
	for _, d := range s.Documents {
		l.item("**lost:** %s", esc(d))
	}
	for _, m := range s.Missing {
		l.item("**photo:** %s", esc(m))
	}
	return l.String()
}
