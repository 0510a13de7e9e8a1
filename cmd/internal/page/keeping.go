package page

import (
	"fmt"
	"strings"

	"fettle/cmd/internal/keep"
	"fettle/store"
)

// Copied is what a backup or a restore has copied.
type Copied keep.Copied

// Markdown says what was copied, and where what was there is.
func (p Copied) Markdown(Clock) string {
	var l lines
	l.item("%s: %s, %s, %s; read again and found whole", esc(p.File), many(p.Airframes, "airframe"), many(p.Entries, "entry"), many(p.Photos, "photo"))
	for _, m := range p.Missing {
		l.item("**photo:** %s", esc(m))
	}
	if p.Aside != "" {
		l.item("the store that was here is kept as %s; its photos are where they were, beside those of the copy", esc(p.Aside))
	}
	return l.String()
}

// Examination is how a store was found.
type Examination keep.Examination

// Markdown is what was found, an airframe a line.
func (x Examination) Markdown(Clock) string {
	var l lines
	damaged := len(x.Faults) > 0
	for _, f := range x.Faults {
		l.item("**DAMAGED:** %s", esc(fault(f)))
	}
	for _, p := range x.Airframes {
		damaged = damaged || len(p.Faults) > 0
		if len(p.Faults) == 0 {
			l.item("%s: %s, as they were written", esc(p.Mark), many(p.Size, "entry"))
		}
		for _, f := range p.Faults {
			l.item("%s: **DAMAGED:** %s", esc(p.Mark), esc(fault(f)))
		}
		for _, f := range p.Photos {
			l.item("%s: **photo:** %s", esc(p.Mark), esc(f))
		}
		if p.Saved < p.Size {
			l.item("%s: the first %d of %d entries can be read", esc(p.Mark), p.Saved, p.Size)
		}
	}
	switch sound := keep.Examination(x).Sound(); {
	case sound && len(x.Airframes) == 0:
		l.item("the store is empty")
	case sound:
		l.item("%d documents, as they were kept; every page of the file is in order", x.Documents)
	case !damaged:
		l.add("\nThe journals are whole; only photos are not. They lie beside every copy that `fettle backup` made, in its folder `.photos`.\n")
	case len(x.Airframes) == 0:
		l.add("\nLeave the file as it is, and go on with the newest good copy: `fettle restore FILE`. Nothing of it can be read here.\n")
	default:
		l.add("\nLeave the file as it is, and go on with the newest good copy: `fettle restore FILE`. " +
			"Without one, `fettle examine --salvage NEW-FILE` saves every journal that is whole.\n")
	}
	return l.String()
}

// fault is what is damaged, without saying again that it is.
func fault(text string) string { return strings.TrimPrefix(text, store.ErrDamaged.Error()+": ") }

// An Exported says where an airframe is, for another store.
type Exported struct {
	Mark string `json:"mark"`
	File string `json:"file"`
	keep.Exported
}

// Markdown says what the file holds.
func (e Exported) Markdown(Clock) string {
	var l lines
	what := "its journal, documents and photos"
	if len(e.Missing) > 0 {
		what = "its journal and documents, and the photos that are there"
	}
	l.add("%s is in %s: %s. Take it in elsewhere with:\n\n%s", esc(e.Mark), esc(e.File), what, command("fettle import "+e.File))
	return l.String()
}

// Imported is an airframe that was taken in.
type Imported struct{ Airframe }

// Markdown is where it stands, and where to look for the rest.
func (a Imported) Markdown(c Clock) string {
	var l lines
	l.add("Taken in, with %s:\n", many(a.Entries, "entry"))
	a.short(&l, c)
	l.add("\nThe rest is on its page:\n\n%s", command("fettle airframe show "+a.Mark))
	return l.String()
}

// A Bound says where the book of an airframe is.
type Bound struct {
	Mark string `json:"mark"`
	File string `json:"file"`
}

// Markdown says it in a line.
func (b Bound) Markdown(Clock) string {
	return fmt.Sprintf("The book of %s is in %s.", esc(b.Mark), esc(b.File))
}

// Salvage is what was saved of a damaged store.
type Salvage keep.Salvage

// Markdown is what was saved, and what was not.
func (s Salvage) Markdown(c Clock) string {
	var l lines
	l.item("%s: %s, %s, %s, each journal whole", esc(s.File), many(s.Airframes, "airframe"), many(s.Entries, "entry"), many(s.Photos, "photo"))
	for _, f := range s.Faults {
		l.item("**the file:** %s", esc(fault(f)))
	}
	for _, p := range s.Parts {
		kept := "nothing of it can be read"
		if p.File != "" {
			kept = fmt.Sprintf("its first %d of %d entries are in %s, to be read; it is no record to fly by", p.Entries, p.Size, esc(p.File))
		}
		l.item("**%s is not whole:** %s (%s)", esc(p.Mark), kept, esc(p.Why))
	}
	for _, d := range s.Documents {
		l.item("**lost:** %s; without it that airframe cannot be opened", esc(fault(d)))
	}
	for _, m := range s.Missing {
		l.item("**photo:** %s", esc(m))
	}
	return l.String()
}
