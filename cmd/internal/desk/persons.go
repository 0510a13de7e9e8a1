package desk

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"fettle/store/wholefile"
	"fettle/workflow"
)

// A person is who somebody is of the people that a plan is for, and when they asked or recorded something last, to some minutes: by what
// they recorded last of it, or as they were the first to ask. The sitting over, nobody knows.
type person struct {
	Who   int       `json:"who"`
	Since time.Time `json:"since"`
}

// sit has a seat know which person of the last plan it is, else the first whom nobody else is; 0: it is for one; and who the others are.
func (p *Plan) sit(seat *workflow.Seat, now time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.refresh()
	p.last.sit(seat, now)
}

func (o *order) sit(seat *workflow.Seat, now time.Time) {
	people := workflow.PeopleOf(o.Planned)
	var names []string
	for name, is := range o.Who {
		age := now.Sub(is.Since)
		if age < 0 || age > workflow.SittingLength || is.Who < 1 || is.Who > people {
			continue
		}
		if name == seat.By {
			seat.Who = is.Who
			continue
		}
		seat.Known |= 1 << is.Who
		if age <= workflow.Present {
			seat.Here |= 1 << is.Who
		}
		names = append(names, fmt.Sprint(is.Who, " ", name))
	}
	slices.Sort(names)
	seat.Names = strings.Join(names, "\n")
	for n := 1; n <= people && seat.Who == 0; n++ {
		if seat.Known>>n&1 == 0 {
			seat.Who = n
		}
	}
}

// who is which person of the last plan somebody is.
func (o *order) who(by string, now time.Time) int {
	seat := workflow.Seat{By: by}
	o.sit(&seat, now)
	return seat.Who
}

// BePerson has whoever is here be a person of the last plan from now on; 0: the one that they are, or the first whom nobody else is. Who was
// that person is the one that they were. Where it can't be kept, the next one who asks is taken for the same.
func (d *Desk) BePerson(ctx context.Context, who int) {
	if d.Plan == nil {
		return
	}
	p, now, seat := d.Plan, d.Now(), d.seat()
	by, had := seat.By, seat.Who
	if had == 0 || p.last.sits(by, max(who, had), now) && (who == 0 || who == had) {
		return
	}
	release, err := wholefile.Lock(p.File)
	if err != nil {
		return
	}
	defer release()
	p.mu.Lock()
	defer p.mu.Unlock()
	p.refresh()
	had = p.last.who(by, now)
	if who == 0 {
		who = had
	}
	file, err := wholefile.Open(p.File)
	if err != nil {
		return
	}
	text, err := io.ReadAll(io.LimitReader(file, mostPlan))
	_ = file.Close()
	first, rest, _ := bytes.Cut(text, []byte("\n"))
	var next order
	if err != nil || json.Unmarshal(first, &next) != nil {
		return
	}
	if next.Who == nil {
		next.Who = map[string]person{}
	}
	for name, is := range next.Who {
		if is.Who == who {
			next.Who[name] = person{had, is.Since}
		}
	}
	next.Who[by] = person{who, now}
	if first, err = json.Marshal(next); err == nil {
		_ = wholefile.Replace(context.WithoutCancel(ctx), p.File, 0o600, func(to *os.File) error {
			_, err := to.Write(append(append(first, '\n'), rest...))
			return err
		})
	}
}

// sits reports whether it is kept that somebody is that person, and was there a moment ago.
func (o *order) sits(by string, who int, now time.Time) bool {
	is := o.Who[by]
	return is.Who == who && now.Sub(is.Since) < workflow.Present/6
}

// Is reports whether it is kept that whoever is here is that person of the last plan; 0: any.
func (d *Desk) Is(who int) bool {
	if d.Plan == nil {
		return false
	}
	seat := d.seat()
	d.Plan.mu.Lock()
	defer d.Plan.mu.Unlock()
	is := d.Plan.last.Who[seat.By].Who
	return is > 0 && is == seat.Who && (who == 0 || is == who)
}

// Seated is the airframe as it is to whoever is here, as that person of the last plan; 0: as whom they are known.
func (d *Desk) Seated(s *workflow.State, who int) *workflow.State {
	seat := d.seat()
	if who > 0 && seat.Who > 0 {
		seat.Who, seat.Known, seat.Here = who, seat.Known&^(1<<who), seat.Here&^(1<<who)
	}
	return s.Seated(seat)
}

// shares reports whether a plan for several has something to do on an airframe that is soon, or was to be over a moment ago.
func (p *Plan) shares(mark string, at time.Time) bool {
	if p == nil {
		return false
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.refresh()
	return slices.ContainsFunc(p.last.Planned[mark], func(is workflow.Planned) bool {
		return len(is.Hands) > 0 && is.Begins.Sub(at) <= workflow.Soon && at.Before(is.Leave)
	})
}
