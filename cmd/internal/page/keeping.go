package page

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/keep"
	"fettle/store"
)

// Copied is what a backup or a restore has copied.
type Copied keep.Copied

// Markdown says what was copied, and where the previous store is.
func (p Copied) Markdown(*Clock) string {
	var l lines
	whole := "verified by reading it back"
	if len(p.Missing) > 0 {
		whole = "its records verified by reading them back, and **not whole**: " + many(len(p.Missing), "photo") + " missing"
	}
	l.item("%s: %s, %s, %s; %s", esc(p.File), many(p.Airframes, "airframe"), many(p.Entries, "entry"), many(p.Photos, "photo"), whole)
	for _, m := range p.Missing {
		l.item("**photo:** %s", esc(m))
	}
	if len(p.Missing) > 0 && p.Shared {
		l.add(elsewhere)
	}
	for _, o := range p.Older {
		l.item("**older:** %s", esc(OlderLine(o)))
	}
	if p.Aside != "" {
		l.item("the previous store is kept as %s; its photos stay in the photo folder, next to those of the copy", esc(p.Aside))
	}
	return l.String()
}

// PhotosHere says that other benches that share the store lack a photo that was just kept.
const PhotosHere = "the photo is at this bench alone, and no other bench can show it or back it up: photos: in the config names a folder that all share (fettle help sheds)"

// elsewhere is where photos are that a bench lacks which shares its store.
const elsewhere = "\nThe bench of whoever kept them has them: photos are each bench's own where its config names no `photos:` folder that all share (`fettle help sheds`).\n"

// OlderLine says that a journal lacks what was written from here.
func OlderLine(o desk.Older) string {
	if o.Differs {
		return fmt.Sprintf("%s has other entries than were written here: the first %d are not the same; see fettle help keeping", o.Mark, o.Written)
	}
	return fmt.Sprintf("%s has %s, and %d were written here: this is an older copy; see fettle help keeping", o.Mark, many(o.Size, "entry"), o.Written)
}

// mostLost is how many entries are named that a store lacks by now.
const mostLost = 5

// PutBack says what a journal lacks since the store was put back to an older state, and what to do.
func PutBack(p desk.PutBack) string {
	text := "the store was put back to an older state: "
	switch n := len(p.Lost); {
	case p.Has == 0:
		text += fmt.Sprintf("%s is not in it any more; it had %s", p.Mark, many(p.Had, "entry"))
	case n > 0:
		text += fmt.Sprintf("%s lacks %s that it had: %s", p.Mark, many(n, "entry"), SaysOf(p.Lost[:min(n, mostLost)]))
		if n > mostLost {
			text += fmt.Sprintf("; and %d after", n-mostLost)
		}
		if p.Others > 0 {
			text += fmt.Sprintf("; it has %s instead", many(p.Others, "other entry"))
		}
	case p.Has < p.Had:
		text += fmt.Sprintf("%s has %s, and had %d", p.Mark, many(p.Has, "entry"), p.Had)
	default:
		text += p.Mark + " has other entries than it had"
	}
	return text + PutBackDo
}

// PutBackDo is what to do then: the end of those words.
const PutBackDo = "; record again what was done, and tell whoever looks after the store"

// AsOf says of when what is shown is, while the store is away.
func AsOf(at time.Time, why error, c *Clock) string {
	ago := ", " + Span(c.Now.Sub(at)) + " ago"
	if c.Stands { // it would soon be wrong
		ago = ""
	}
	return fmt.Sprintf("as of %s%s: the store %s; others may have recorded since; until it answers nothing is recorded; all times count to the safe side by 2 min", c.At(at), ago, reasonAway(why))
}

// reasonAway is why a store is away, without its name, the words of the network and what to do.
func reasonAway(why error) string {
	if errors.Is(why, store.ErrAway) {
		why = store.ErrAway
	}
	var failure *store.Error
	if errors.As(why, &failure) {
		why = failure.Err
	}
	return why.Error()
}

// Examination is the result of examining a store.
type Examination keep.Examination

// Markdown is the result, one line for each airframe.
func (x Examination) Markdown(*Clock) string {
	var l lines
	damaged := len(x.Faults) > 0
	for _, f := range x.Faults {
		l.item("**DAMAGED:** %s", esc(fault(f)))
	}
	for _, p := range x.Airframes {
		damaged = damaged || len(p.Faults) > 0
		if len(p.Faults) == 0 {
			l.item("%s: %s, intact", esc(p.Mark), many(p.Size, "entry"))
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
		l.item("%s intact; everything in the store is in order", many(x.Documents, "document"))
	case !damaged && x.Shared:
		l.add("\nThe journals are intact; only photos are missing or damaged.\n" + elsewhere)
	case !damaged:
		l.add("\nThe journals are intact; only photos are missing or damaged. Each backup keeps its photos in the `.photos` folder beside it.\n")
	case x.Shared:
		l.add("\nRecord nothing more in it. Copy the newest good backup into a new shed, and name that one from then on: `fettle store copy FILE etcd://HOST:2379/NEW`\n\n" + salvage)
	case len(x.Airframes) == 0:
		l.add("\nNothing in this file can be read. Leave it as it is and restore the newest good backup: `fettle restore FILE`\n")
	default:
		l.add("\nLeave the file as it is and restore the newest good backup: `fettle restore FILE`\n\n" + salvage)
	}
	return l.String()
}

// salvage is what to do where there is no backup.
const salvage = "Without a backup, save every journal that is complete: `fettle examine --salvage NEW-FILE`\n"

// fault is a fault without the word "damaged" in front, which is shown already.
func fault(text string) string { return strings.TrimPrefix(text, store.ErrDamaged.Error()+": ") }

// An Exported says which file an airframe was exported to.
type Exported struct {
	Mark string `json:"mark"`
	File string `json:"file"`
	keep.Exported
}

// Markdown says what the file holds.
func (e Exported) Markdown(*Clock) string {
	var l lines
	what := "its journal, documents and photos"
	if len(e.Missing) > 0 {
		what = "its journal and documents, and those photos that are not missing"
	}
	l.add("%s is in %s: %s. To import it into another store:\n\n%s", esc(e.Mark), esc(e.File), what, command("fettle import "+e.File))
	return l.String()
}

// Imported is an airframe that was imported.
type Imported struct {
	Airframe
	New     int64          `json:"new_entries"`
	Signers []keep.Signer  `json:"signers"`
	Against *keep.Coverage `json:"against,omitempty"`
}

// Markdown says what was taken in, what vouches for it, where it stands, and where to
// look for the rest.
func (a Imported) Markdown(c *Clock) string {
	var l lines
	switch a.New {
	case a.Entries:
		l.add("Imported, with %s:\n", many(a.Entries, "entry"))
	case 0:
		l.add("Nothing to import: the %s of the file are here already.\n", many(a.Entries, "entry"))
	default:
		l.add("Continued, by %s; %d were here already:\n", many(a.New, "entry"), a.Entries-a.New)
	}
	a.short(&l, c)
	a.vouched(&l)
	l.add("\nTo see everything:\n\n%s", command("fettle airframe show "+a.Mark))
	return l.String()
}

// vouched says which seals the file was compared with, and what nobody vouches for.
func (a Imported) vouched(l *lines) {
	l.add("")
	if a.Against != nil {
		signer := esc(a.Against.Signer)
		if a.Against.Own {
			signer = "your own key"
		}
		l.item("**Seal:** the first %s are as %s sealed them", many(a.Against.Size, "entry"), signer)
	}
	theirs := false
	for _, s := range a.Signers {
		key := "your own key"
		if !s.Own {
			key, theirs = "the key "+esc(s.Public), true
		}
		l.item("**In the file:** %s by %s; every one matches, and the newest covers the first %s", many(s.Seals, "seal"), key, many(s.Covers, "entry"))
	}
	switch {
	case a.Against != nil:
		return
	case len(a.Signers) == 0:
		l.add("\n**The file has no seal:** nothing shows that its entries are those that were written. Ask for a seal by other means, and compare:\n")
	case theirs:
		l.add("\nWhoever packed the file could have made that key. Compare it with the one that its owner gives you, or ask for a seal by other means, and compare:\n")
	default:
		return
	}
	l.add("%s", command("fettle audit "+a.Mark+" --against SEAL --key KEY"))
}

// A Bound says which file the book of an airframe is in.
type Bound struct {
	Mark string `json:"mark"`
	File string `json:"file"`
}

// Markdown says it in a line.
func (b Bound) Markdown(*Clock) string {
	return fmt.Sprintf("The book of %s is in %s.", esc(b.Mark), esc(b.File))
}

// Salvage is what was saved from a damaged store.
type Salvage keep.Salvage

// Markdown says what was saved and what was not.
func (s Salvage) Markdown(c *Clock) string {
	var l lines
	sure := "every journal in it is complete"
	switch {
	case s.Airframes == 0:
		sure = "no journal could be saved"
	case len(s.Faults) > 0:
		sure = "every journal in it is as long as the file says; compare it with a backup, which may have more"
	}
	l.item("%s: %s, %s, %s; %s", esc(s.File), many(s.Airframes, "airframe"), many(s.Entries, "entry"), many(s.Photos, "photo"), sure)
	for _, f := range s.Faults {
		l.item("**the file:** %s", esc(fault(f)))
	}
	for _, p := range s.Parts {
		kept := "none of it can be read"
		if p.File != "" {
			of := fmt.Sprintf("%d of %d entries", p.Entries, p.Size)
			if int64(p.Entries) > p.Size { // its count is harmed too
				of = many(p.Entries, "entry")
			}
			kept = fmt.Sprintf("its first %s are in %s, for reading only; do not fly by them", of, esc(p.File))
		}
		l.item("**%s is incomplete:** %s (%s)", esc(p.Mark), kept, esc(p.Why))
	}
	for _, d := range s.Documents {
		l.item("**lost:** %s; the airframe that needs it cannot be opened", esc(fault(d)))
	}
	for _, m := range s.Missing {
		l.item("**photo:** %s", esc(m))
	}
	return l.String()
}
