package workflow

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// This file knows who of several is at what no plan has for anybody: there is none, it goes by another choice, or it has nothing of the airframe.

// numberOf is who of those at the bench somebody is by name, or whoever sits here; 0: nobody.
//
//go:noinline
func (s *State) numberOf(by string) int {
	if by == s.seat.By {
		return s.seat.Who
	}
	for who := 1; who <= MostHands; who++ {
		if s.seat.Here>>who&1 == 1 && lists.Contains(strings.Split(s.seat.Names, "\n"), fmt.Sprint(who, " ", by)) {
			return who
		}
	}
	return 0
}

// lastAt is who recorded something of an airframe last, if they are still at the bench: one of the others, or whoever sits here; 0: nobody is
// known to be.
//
//go:noinline
func (s *State) lastAt(of *State, now time.Time) (who int, me bool) {
	by, _ := of.RecordedLast(now)
	if by == "" {
		return 0, false
	}
	return s.numberOf(by), by == s.seat.By
}

// RecordedLast is who recorded work on the airframe last, and when, if they may still be at the bench. Where nobody did, or that was before
// the last flight or crash and nothing is plugged in since, it is who recorded this or began a job after it, else who recorded a hold of what
// is used, or how something stands. Who writes a note, reads the bench or fits equipment has their hands at nothing that somebody else is at.
//
//go:noinline
func (s *State) RecordedLast(now time.Time) (by string, at time.Time) {
	var since time.Time
	var opener *journal.Entry
	for i := len(s.Entries) - 1; i >= 0; i-- {
		e := &s.Entries[i]
		if age := now.Sub(e.Recorded); age < 0 || age > Present {
			break
		}
		if now.Sub(e.At) > Present || !s.Live(e.Position) { // typed in later, or taken back
			continue
		}
		if s.handsOn(e) {
			if e.Recorded.Before(since) && !s.plugStands(now) {
				break
			}
			return e.By, e.Recorded
		}
		switch e.Facts.(type) {
		case journal.JobOpened:
			if opener == nil {
				opener = e
			}
			continue
		case journal.FlightLogged, journal.DamageFound:
			if since = latest(since, e.At); opener != nil { // the check, or the repair
				e = opener
			}
		case journal.UseCleared, journal.ConditionSet:
		default:
			continue
		}
		if by == "" {
			by, at = e.By, e.Recorded
		}
	}
	return by, at
}

// plugStands reports whether something stands so that somebody stays by, such as the plug, and not a propeller, which a build leaves on.
//
//go:noinline
func (s *State) plugStands(now time.Time) bool {
	return slices.ContainsFunc(s.standing(now), func(is *hotThing) bool {
		return !is.bench && s.isGuarded(is.is) && !slices.ContainsFunc(s.Jobs, func(j *Job) bool {
			left, _ := s.endsItself(j.written, is.is, "")
			return j.Procedure.Kind == steps.Build && left == is.is
		})
	})
}

// HandsOn reports whether whoever recorded the entries has their hands at the airframe: of work, of readings, or of how what is guarded stands.
func (s *State) HandsOn(entries []journal.Entry) bool {
	return journal.Any(entries, func(e journal.Entry) bool { return s.handsOn(&e) })
}

func (s *State) handsOn(e *journal.Entry) bool {
	if !s.Live(e.Position) {
		return false
	}
	switch f := e.Facts.(type) {
	case journal.StepDone, journal.Begun, journal.Coated, journal.Joined, journal.HoldCleared, journal.ReadingTaken, journal.TouchTested,
		journal.Reworked, journal.Chosen:
		return true
	case journal.ConditionSet: // whoever opens the window, switches a tool on, or says that it is as it was takes no plug from who stays by it
		if def, _ := s.Sheet.Condition(f.Condition); def.Guarded == "" || def.Bench {
			return false
		}
		was := ""
		for _, c := range s.said[f.Condition] {
			if c.mark == "" && c.position < e.Position {
				was = c.state
			}
		}
		return was != f.State
	}
	return false
}

// lastWorked is when somebody had their hands at the airframe last, whenever they recorded that; zero: nobody did.
//
//go:noinline
func (s *State) lastWorked() (at time.Time) {
	for i := len(s.Entries) - 1; i >= 0 && s.Entries[i].Recorded.After(at); i-- {
		if e := &s.Entries[i]; s.handsOn(e) {
			at = latest(at, e.At)
		}
	}
	return at
}

// ledTo is who was led to a step of an airframe last, and is still there; without one, who was led to the airframe at all; 0: nobody.
//
//go:noinline
func (s *State) ledTo(of *State, r *StepReport, now time.Time) int {
	for i := len(s.seat.At) - 1; i >= 0; i-- {
		if at := &s.seat.At[i]; (r == nil || at.Step == r.Job+"/"+r.Step.Name) && s.stillAt(i, of, now) {
			return at.Who
		}
	}
	return 0
}

// stillAt reports whether somebody is at an airframe still by one of the known places: nobody took it over, and they were at no other one since,
// or what somebody stays by stands so there since before they came. Nobody leaves what is plugged in, or crashed so, by looking at another airframe.
//
//go:noinline
func (s *State) stillAt(i int, of *State, now time.Time) bool {
	at := &s.seat.At[i]
	if at.Mark != of.Airframe.Mark || s.tookOver(at, of, now) {
		return false
	}
	if !s.ledAway(at.Who, at.Mark) {
		return true
	}
	return of.guardedSince(at.Since, now)
}

// tookOver reports whether somebody else set since what nobody leaves so alone, as they pulled the plug: they go on there.
//
//go:noinline
func (s *State) tookOver(at *Place, of *State, now time.Time) bool {
	for i := range of.Sheet.Conditions {
		def := &of.Sheet.Conditions[i]
		if def.Guarded == "" || def.Bench {
			continue
		}
		all := of.said[def.Name]
		if n := saidBy(all, now); n > 0 && all[n-1].recorded.After(at.Since) && s.numberOf(of.Entries[all[n-1].position].By) != at.Who {
			return true
		}
	}
	return false
}

// guardedSince reports whether something that nobody leaves so alone stands so since then, or longer.
//
//go:noinline
func (s *State) guardedSince(since, now time.Time) bool {
	for _, is := range s.standing(now) {
		if !is.bench && s.isGuarded(is.is) && !is.At.After(since) {
			return true
		}
	}
	return false
}

// EndsAtOnce is on which airframes of the bench whoever sits here, one of several, is told to end at once what is plugged in, or crashed so,
// beside what is suggested: whoever asks after them stays clear of that.
func (s *State) EndsAtOnce(g *Suggestion, now time.Time) (marks []string) {
	if s.seat.Who == 0 {
		return nil
	}
	end, _ := s.StandsBeside(g, now)
	minded := s.Minded(g, now)
	end = append(s.LeftBy(*g, now), end...)
	for _, of := range append(s.others[:len(s.others):len(s.others)], s) {
		told := false
		for i := range end {
			told = told || end[i].Remedy.Mark == of.Airframe.Mark && of.safeSo(end[i].Remedy.Setting)
		}
		for i := range minded {
			told = told && minded[i].Mark != of.Airframe.Mark
		}
		if told {
			marks = append(marks, of.Airframe.Mark)
		}
	}
	return marks
}

// goesOn is who else goes on with the airframe: they recorded something of it last, and were not led elsewhere since. Nobody leaves what is
// plugged in.
//
//go:noinline
func (s *State) goesOn(now time.Time) int {
	who, me := s.lastAt(s, now)
	if me || s.ledAway(who, s.Airframe.Mark) && len(s.pluggedIn(now)) == 0 {
		return 0
	}
	return who
}

// ledAway reports whether somebody was led to another airframe, or recorded something there, since they were at the one of the mark.
//
//go:noinline
func (s *State) ledAway(who int, mark string) bool {
	for i := len(s.seat.At) - 1; i >= 0; i-- {
		if s.seat.At[i].Who == who {
			return s.seat.At[i].Mark != mark
		}
	}
	return false
}

// isAt is who is at an airframe, as far as is known: who was told to end at once what is plugged in there, else who was led to its next step,
// else who recorded something of it last, else who was led there last, and recorded nothing yet; one of the others, or whoever sits here. 0:
// nobody is known to be.
//
//go:noinline
func (s *State) isAt(of *State, next *StepReport, now time.Time) (who int, me bool) {
	for i := range s.seat.At {
		if at := &s.seat.At[i]; who == 0 && at.Ends && at.Mark == of.Airframe.Mark && of.guardedSince(at.Since, now) && !s.tookOver(at, of, now) {
			who = at.Who
		}
	}
	if next != nil && who == 0 {
		who = s.ledTo(of, next, now)
	}
	if who == 0 {
		if who, me = s.lastAt(of, now); me || who > 0 {
			return who, me
		}
		who = s.ledTo(of, nil, now)
	}
	return who, who > 0 && who == s.seat.Who
}

// Minded is what stands so on the airframe, or on another one of the bench, such as a battery that is plugged in, where one person of several
// is known to be there who minds it, see [State.isAt], and that is not whoever sits here. They end it at once, and nobody else does, where it
// crashed so, or stands so since an earlier sitting. What is hot at the bench they
// mind where they set it so in this sitting, and were not led elsewhere since: of an earlier one everybody ends it, since nobody works with it.
func (s *State) Minded(g *Suggestion, now time.Time) (all []Plugged) {
	for n := -1; n < len(s.others) && s.seat.Here != 0; n++ {
		of, next := s, g.Step
		if n >= 0 {
			of = s.others[n]
		}
		standing := of.standing(now)
		if len(standing) == 0 {
			continue
		}
		if n >= 0 {
			next = of.Next(now).Step
		}
		who, me := s.isAt(of, next, now)
		if me || who == 0 {
			continue
		}
		for _, is := range standing {
			old := now.Sub(is.At) > SittingLength || !is.wreck && of.forgotten(is, now)
			if is.bench && (n < 0 || old || s.ledAway(who, of.Airframe.Mark)) || !is.bench && !of.isGuarded(is.is) {
				continue
			}
			all = append(all, Plugged{of.Airframe.Mark, who, is.Reason, !is.bench && (old || is.wreck)})
		}
	}
	return all
}

// LastThere is when whoever stays by something, or is to end it, asked or recorded something there last, where that is so long ago that they
// may have gone, and whoever reads it looks (common practice, no source), or where they stay by another airframe since: nobody stays by two.
// Zero: it isn't, or nobody knows.
func (s *State) LastThere(is *Plugged, now time.Time) (at time.Time) {
	long := Soon
	if is.Ends {
		long = Slip
	}
	for i := range s.seat.At {
		if p := &s.seat.At[i]; p.Who == is.By && p.Mark == is.Mark {
			at = p.Since
		}
	}
	gone := now.Sub(at) > long
	for n := -1; n < len(s.others); n++ {
		of := s
		if n >= 0 {
			of = s.others[n]
		}
		for i := range s.seat.At {
			p := &s.seat.At[i]
			gone = gone || p.Who == is.By && p.Mark == of.Airframe.Mark && p.Mark != is.Mark && !p.Ends && p.Since.After(at) && of.guardedSince(now, now)
		}
	}
	if !gone {
		return time.Time{}
	}
	return at
}

// besideOthers is what is suggested where no plan says whose it is, and others are at the bench: not what one of them was led to, or goes on
// with, nor what can't be done beside that. Nothing is done beside what is plugged in, or crashed.
func (s *State) besideOthers(g Suggestion, now time.Time, putOff func(StepReport) bool, at func(*State, *StepReport) bool, planned []Planned) Suggestion {
	me, plan, outdated, plugged := s.seat.Who, g.planned, g.Outdated, len(s.pluggedIn(now)) > 0
	goesOn := s.goesOn(now)
	var lead, held *StepReport
	by := 0
	who := func(r *StepReport) int {
		if of := planOf(r, plan); of != nil && len(of.Hands) > 0 || !r.AtHand() {
			return 0
		}
		if by := s.ledTo(s, r, now); by > 0 {
			return by
		}
		if of := planOf(r, s.Planned); outdated && !plugged && of != nil && len(of.Hands) == 1 && of.Begins.Sub(now) <= Soon && (s.seat.Here|1<<me)>>of.Hands[0]&1 == 1 {
			return of.Hands[0]
		}
		if lead != nil && lead.Job == r.Job && lead.Step.Name == r.Step.Name {
			return goesOn
		}
		return 0
	}
	of := me // whose steps are not passed over
	passed := func(on *State, r *StepReport) bool {
		is := 0
		if on.Airframe.Mark != s.Airframe.Mark {
			is = s.ledTo(on, r, now)
		} else if is = who(r); is != 0 && is != me && (held == nil || g.Step.Job == r.Job && g.Step.Step.Name == r.Step.Name) {
			copied := *r
			held, by = &copied, is
		}
		return is != 0 && is != of || at != nil && at(on, r)
	}
	if goesOn > 0 && indexOf(g.meanwhile, func(r *StepReport) bool { return who(r) == goesOn }) < 0 {
		of = goesOn
		lead, held, of = s.Unshared().suggest(now, nil, passed, planned).Step, nil, me
	}
	alone := s.suggest(now, putOff, passed, planned)
	if held == nil {
		return alone
	}
	g.held, g.heldBy = held, by
	alone.held, alone.heldBy = held, by
	first := s.GoTo(g, *held, now)
	first.ForOthers, first.Theirs = s.forOthers(me, &first, now)
	switch is := who(g.Step); {
	case (is == 0 || is == me) && g.Presses:
		return alone
	case !first.Theirs && is == by:
		return g
	case alone.Step != nil && me > 0 && who(alone.Step) == me: // they were led to it, or took it over
		return alone
	case alone.Step == nil, first.AtOnce, plugged, len(s.wrecked(now)) > 0:
		first.Mine = s.mine(&first, now)
		return first
	}
	return alone
}

// handed is a plan as it has what is later than [Soon] for whoever recorded something of the airframe last, and is at the bench, while
// something is plugged in: they go on before the plan does, and nobody else goes there.
func (s *State) handed(planned []Planned, now time.Time) []Planned {
	who, _ := s.lastAt(s, now)
	if who == 0 || s.seat.Here == 0 || PeopleOf(s.Plans) == 0 || len(s.pluggedIn(now)) == 0 {
		return planned
	}
	planned = slices.Clone(planned)
	for i := range planned {
		if p := &planned[i]; len(p.Hands) == 1 && p.Begins.Sub(now) > Soon {
			p.Hands = []int{who}
		}
	}
	return planned
}

// inTime reports whether whoever recorded something of the airframe last is led to a step that needs what is hot, on or plugged in, and there is
// time for that in this sitting, and to end it then, while others are at the bench.
func (s *State) inTime(r *StepReport, is *hotThing, now time.Time) bool {
	who, _ := s.lastAt(s, now)
	by := s.sits(now)
	return who > 0 && s.seat.Here != 0 && r != nil && !by.IsZero() && !now.Add(s.takes(r, planOf(r, s.Planned))+s.toEnd(is.is, r.Step.Name)).After(by)
}

// wrecked is what is on or plugged in since the airframe crashed.
func (s *State) wrecked(now time.Time) []*hotThing {
	return sorting.Delete(s.standing(now), func(is *hotThing) bool { return !is.wreck })
}

// ToldApart reports whether others are known to be at the bench, so that nobody is led to what one of them is at, also where no plan says so.
func (s *State) ToldApart() bool { return s.seat.Here != 0 }

// Unplanned reports whether somebody else is at the step whom no plan has it for.
func (g *Suggestion) Unplanned() bool { return g.held != nil && len(g.Hands) > 0 && g.Planned.IsZero() }

// Held is the step that somebody else is at whom no plan has it for, where whoever sits here is led past it to another one, and who that is;
// nil: nobody is.
func (g *Suggestion) Held() (r *StepReport, by int) {
	if g.held == nil || g.Theirs || g.Step != nil && g.Step.Job == g.held.Job && g.Step.Step.Name == g.held.Step.Name {
		return nil, 0
	}
	return g.held, g.heldBy
}

// DueBy is when what is due must be joined or done, that a step is, or that waits for it; zero: nothing is.
func (g *Suggestion) DueBy(r *StepReport) (by time.Time) {
	for _, d := range g.dues {
		if by.IsZero() && (d.is(r) || d.waitsFor(r)) { // the first closes first
			by = d.closes
		}
	}
	return by
}

// TakesAll reports whether whoever takes over a step that the last plan has for others goes on with what it has for them there in that
// sitting: none of them recorded something of the airframe lately.
func (s *State) TakesAll(r *StepReport, now time.Time) bool {
	of := planOf(r, s.Planned)
	return of != nil && !journal.Any(s.Entries, func(e journal.Entry) bool {
		return now.Sub(e.Recorded) <= Present && lists.Contains(of.Hands, s.numberOf(e.By))
	})
}

// Hand gives a planned step, as job/step, to one of several, from the one who was to do it; all: and what is planned in the same sitting
// for that one alone.
func Hand(planned []Planned, step string, who int, all bool) {
	var of Planned
	for k := range 2 * len(planned) {
		p := &planned[k%len(planned)]
		is := p.Job+"/"+p.Step == step
		switch {
		case len(p.Hands) != 1:
		case k < len(planned) && is && of.Hands == nil:
			of = *p
		case k >= len(planned) && of.Hands != nil && p.Hands[0] == of.Hands[0] && (is || all && p.Leave.Equal(of.Leave)):
			p.Hands = []int{who}
		}
	}
}
