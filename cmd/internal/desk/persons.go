package desk

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"fettle/steps/sorting"
	"fettle/store/wholefile"
	"fettle/workflow"
)

// A person is who somebody is of the people that a plan is for, and when they asked or recorded something last, to some minutes: by what
// they recorded last of it, or as they were the first to ask. The sitting over, nobody knows.
type person struct {
	Who   int       `json:"who"`
	Since time.Time `json:"since"`
	At    place     `json:"at,omitzero"`   // as far as is known
	Was   []place   `json:"was,omitempty"` // on other airframes before
}

// A place is what somebody was led to last, on which airframe, and when; without a step they recorded something of it since, and go on there.
// Whoever is led, or records something, elsewhere leaves the first to the others, but for what is plugged in: [workflow.State] knows.
type place struct {
	Mark  string    `json:"mark"`
	Step  string    `json:"step,omitempty"` // as job/step
	Since time.Time `json:"since"`
	Ends  bool      `json:"ends,omitempty"` // they were told to end at once what is plugged in there
}

// sit has a seat know which person of the last plan it is, else the first whom nobody else is; 0: it is for one; and who the others are.
func (p *Plan) sit(seat *workflow.Seat, now time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.refresh()
	p.last.sit(seat, p.People, now)
}

// sit goes by so many people where no plan is for several: each who asks or records something is one of them.
func (o *order) sit(seat *workflow.Seat, hands int, now time.Time) {
	people := workflow.PeopleOf(o.Planned)
	if people == 0 && hands > 1 {
		people = workflow.MostHands
	} else if people > 0 {
		people = max(people, o.Hands)
	}
	var names []string
	var at []workflow.Place
	for name, is := range o.Who {
		age := now.Sub(is.Since)
		if age < 0 || age > workflow.SittingLength || is.Who < 1 || is.Who > people {
			continue
		}
		for _, p := range append(is.Was[:len(is.Was):len(is.Was)], is.At) {
			if p.counts(now) && age <= workflow.Present {
				at = append(at, workflow.Place{Who: is.Who, Mark: p.Mark, Step: p.Step, Since: p.Since, Ends: p.Ends})
			}
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
	sorting.Stable(at, func(i, k int) int { return cmp.Or(at[i].Since.Compare(at[k].Since), at[i].Who-at[k].Who) })
	seat.Names, seat.At = strings.Join(names, "\n"), at
	for n := 1; n <= people && seat.Who == 0; n++ {
		if seat.Known>>n&1 == 0 {
			seat.Who = n
		}
	}
}

// meet has those who are at the bench be persons of the first plan for several: as they were, and whoever recorded something of an airframe
// last, of whom nobody knew who they are, is the one whom it has there first.
func (o *order) meet(fleet []*workflow.State, now time.Time) {
	taken := 0
	for name, is := range o.Who {
		if now.Sub(is.Since) > workflow.Present {
			delete(o.Who, name)
			continue
		}
		taken |= 1 << is.Who
	}
	for _, s := range fleet {
		by, at := s.RecordedLast(now)
		for _, p := range o.Planned[s.Airframe.Mark] {
			if len(p.Hands) == 0 {
				continue
			}
			if who := p.Hands[0]; by != "" && o.Who[by].Who == 0 && taken>>who&1 == 0 {
				if o.Who == nil {
					o.Who = map[string]person{}
				}
				o.Who[by] = person{who, at, place{Mark: s.Airframe.Mark, Since: at}, nil}
				taken |= 1 << who
			}
			break
		}
	}
}

// BePerson has whoever is here be a person of the last plan from now on; 0: the one that they are, or the first whom nobody else is. Who was
// that person is the one that they were. Where it can't be kept, the next one who asks is taken for the same.
func (d *Desk) BePerson(ctx context.Context, who int) { _, _ = d.note(ctx, who, "", "", nil, nil) }

// Led notes the step that whoever is here is led to on an airframe, so that nobody else is led there too, and where they are told to end
// something at once, so that nobody else is. kept is false where others may be: it can't be kept. Where somebody else came to the airframe
// since it was seated, nothing is noted, and what is suggested is to be found anew. Nobody is led to a step that isn't shown before what
// stands so is ended.
func (d *Desk) Led(ctx context.Context, s *workflow.State, g *workflow.Suggestion) (kept, anew bool) {
	ends := s.EndsAtOnce(g, d.Now())
	switch led := g.Step != nil && !g.Theirs && !g.Asked; {
	case led && !s.UnsafeFirst(g, d.Now()):
		return d.note(ctx, g.Becomes, s.Airframe.Mark, g.Step.Job+"/"+g.Step.Step.Name, nil, s, ends...)
	case led || len(ends) > 0:
		_, anew = d.note(ctx, 0, "", "", nil, s, ends...)
	}
	return false, anew
}

// Take has whoever is here do a step that somebody else is at or was to do. Both stay who they are: the last plan has it for the one from
// now on, and what it has in the same sitting for the other one on the airframe too, unless they recorded something of it lately.
// It returns the airframe as it is to them then. Where somebody else came there since it was seated, maybe to take it over too, nothing is
// taken, see [Desk.Led].
func (d *Desk) Take(ctx context.Context, s *workflow.State, step *workflow.StepReport) (taken *workflow.State, anew bool) {
	name, all := step.Job+"/"+step.Step.Name, s.TakesAll(step, d.Now())
	_, anew = d.note(ctx, 0, s.Airframe.Mark, name, func(planned []workflow.Planned, who int) { workflow.Hand(planned, name, who, all) }, s)
	is := *d.Seated(s, 0)
	d.Plan.Tell(&is)
	return &is, anew
}

// note keeps who whoever is here is, and where they are on the airframe of the mark; "": as before. take is done with its rows of the plan.
// s is the airframe as they were led there, see [Desk.Led]; nil: that doesn't matter. ends are the marks where they end something at once.
func (d *Desk) note(ctx context.Context, who int, mark, step string, take func(planned []workflow.Planned, who int), s *workflow.State, ends ...string) (kept, anew bool) {
	if d.Plan == nil {
		return false, false
	}
	p, now, seat := d.Plan, d.Now(), d.seat()
	by, had := seat.By, seat.Who
	if had == 0 || p.last.sits(by, max(who, had), now) && (who == 0 || who == had) && take == nil && p.last.isAt(by, mark, step, ends, now) {
		return had > 0, false
	}
	release, err := wholefile.Lock(p.File)
	if err != nil {
		return false, false
	}
	defer release()
	p.mu.Lock()
	defer p.mu.Unlock()
	p.refresh()
	seat = workflow.Seat{By: by}
	p.last.sit(&seat, p.People, now)
	if s != nil && s.CameSince(&seat) {
		return false, true
	}
	if had = seat.Who; who == 0 {
		who = had
	}
	text := []byte("{}\n") // there is no plan
	if file, err := wholefile.Open(p.File); err == nil {
		text, err = io.ReadAll(io.LimitReader(file, mostPlan))
		_ = file.Close()
		if err != nil {
			return false, false
		}
	} else if !errors.Is(err, fs.ErrNotExist) {
		return false, false
	}
	first, rest, _ := bytes.Cut(text, []byte("\n"))
	var next order
	if json.Unmarshal(first, &next) != nil {
		return false, false
	}
	if next.Who == nil {
		next.Who = map[string]person{}
	}
	for name, is := range next.Who {
		if name != by && is.Who == who {
			is.Who = had
		}
		if take != nil && name != by {
			if is.Was = sorting.Delete(is.Was, func(p place) bool { return p.Mark == mark }); is.At.Mark == mark && is.At.Step == step {
				is.At = place{}
			}
		}
		next.Who[name] = is
	}
	at, was := next.Who[by].At, next.Who[by].Was
	if mark != "" {
		was = sorting.Delete(append(was, at), func(p place) bool { return p.Mark == mark || !p.counts(now) })
		at = place{Mark: mark, Step: step, Since: now}
	}
	for _, mark := range ends {
		was = append(sorting.Delete(was, func(p place) bool { return p.Ends && p.Mark == mark }), place{Mark: mark, Since: now, Ends: true})
	}
	if take != nil {
		take(next.Planned[mark], who)
	}
	next.Who[by] = person{who, now, at, was}
	if first, err = json.Marshal(next); err == nil {
		err = wholefile.Replace(context.WithoutCancel(ctx), p.File, 0o600, func(to *os.File) error {
			_, err := to.Write(append(append(first, '\n'), rest...))
			return err
		})
	}
	return err == nil, false
}

// counts reports whether somebody may be there still.
func (p *place) counts(now time.Time) bool {
	ago := now.Sub(p.Since)
	return p.Mark != "" && ago >= 0 && ago <= workflow.Present
}

// sits reports whether it is kept that somebody is that person, and was there a moment ago.
func (o *order) sits(by string, who int, now time.Time) bool {
	is := o.Who[by]
	return is.Who == who && now.Sub(is.Since) < workflow.Slip/10
}

// isAt reports whether it is kept that somebody is there on an airframe, and ends what they are told to, since a moment ago.
func (o *order) isAt(by, mark, step string, ends []string, now time.Time) bool {
	is := o.Who[by]
	for _, mark := range ends {
		kept := false
		for i := range is.Was {
			p := &is.Was[i]
			kept = kept || p.Ends && p.Mark == mark && now.Sub(p.Since) < workflow.Slip/10
		}
		if !kept {
			return false
		}
	}
	at := is.At
	return mark == "" || at.Mark == mark && at.Step == step && now.Sub(at.Since) < workflow.Slip/10
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

// People is how many people are at the bench, as far as that was said; 0: that was not.
func (d *Desk) People() int {
	if d.Plan == nil {
		return 0
	}
	return d.Plan.People
}
