package sitting

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/steps"
	"fettle/steps/sorting"
	"fettle/store"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// A Sitting is one visit to the bench.
type Sitting struct {
	Desk      *desk.Desk
	Bench     *Bench
	Front     Front
	Mark      string // the airframe that is worked on; "": all that have an open job
	BothUnits bool
	Short     bool   // the short text of every step that has one
	Options   string // of the command that began it, to go on with
	Nameless  bool   // nobody said who is at the bench: Desk.By is a login name

	// When reads a moment as people write it, such as "8 min ago".
	When func(text string) (time.Time, error)
	// Release releases an airframe to fly, and returns what is shown of it.
	Release func(ctx context.Context, mark string) (markdown string, err error)
	// Replan plans anew what is left of these airframes; nil: nobody does, or there is no plan.
	Replan func(ctx context.Context, fleet []*workflow.State) *workflow.Timetable
}

// Lead leads the builder from step to step until nothing is left, or until they leave.
// What was answered is recorded.
func (s *Sitting) Lead(ctx context.Context) error {
	c := &conversation{
		Sitting: s, mark: s.Mark, read: map[string]bool{}, off: map[place]bool{}, asked: map[string]bool{},
		ticked: map[place][]bool{}, first: map[place]string{}, known: map[string]int64{},
		unknown: map[*desk.Outcome]answer{}, began: s.Desk.Recorded(),
	}
	welcomed := false
	for {
		n := c.questions
		recorded, unsure := c.Desk.Recorded(), c.Desk.Outcome()
		err := c.look(ctx)
		if err == nil {
			err = c.settle(ctx)
		}
		if err == nil { // else it tells of what is read anew before that
			err = cmp.Or(c.meanwhile(), c.lost())
		}
		if err == nil && !welcomed {
			welcomed, err = true, c.welcome(ctx)
		}
		if err == nil {
			err = c.turn(ctx)
		}
		var refusal *workflow.Refusal
		switch {
		case errors.Is(err, errLeave), errors.Is(err, term.ErrEnd):
			return c.leave(ctx)
		case errors.Is(err, context.Canceled): // Ctrl-C
			return errors.Join(c.leave(ctx), err)
		case errors.Is(err, errOver):
			return nil
		case errors.Is(err, errAgain):
		case n < c.questions && errors.Is(err, store.ErrOlder): // that is said once it is read anew
			c.lack(c.answer)
			c.Bench.missing()
		case errors.As(err, &refusal), errors.Is(err, workflow.ErrBadRequest):
			c.refused = c.here()
			if refusal != nil && slices.ContainsFunc(refusal.Reasons, func(r workflow.Reason) bool { return r.Because == workflow.ByClock }) {
				c.lack(c.answer) // it is to be given again once the clock is set
			}
			if err := c.tell(err); err != nil {
				return err
			}
			if n == c.questions { // else it would be refused for ever
				if err := c.lookAgain(ctx); errors.Is(err, errLeave) || errors.Is(err, term.ErrEnd) {
					return c.leave(ctx)
				} else if err != nil && !errors.Is(err, errAgain) {
					return err
				}
			}
		case n < c.questions && (errors.Is(err, store.ErrAway) || errors.Is(err, store.ErrUnknown)): // it is asked again: it may be back by then
			if err := c.away(err, recorded, unsure); err != nil {
				return err
			}
		case err != nil:
			return err
		}
	}
}

// A conversation is a sitting under way. What it knows beyond the journal is lost with
// it: what was put off, what was confirmed of a hold.
type conversation struct {
	*Sitting

	states []*workflow.State // that are led over
	mark   string            // of the airframe at hand
	hand   workflow.StepReport
	view   View
	later  string          // when the step at hand is planned, for another time: said with all that is asked before it
	urgent []Caution       // what comes before any work: said with all that is asked before the step at hand
	ends   []steps.Setting // what a key sets: how to leave what is hot, on or plugged in, and what a caution asks for
	since  time.Time       // when the step at hand was first shown
	shown  place           // which that is
	jump   place           // what was chosen from the list; zero: nothing
	kept   place           // the step of the last answer: it is gone on with until it is done or put off
	hands  []int           // who of several does the step at hand, by the plan
	who    int             // of them answered last; 0: nobody knows
	noted  bool            // nobody else is led to what is shown

	planned  time.Time // when it was planned last; zero: not in this sitting
	finishes time.Time // when all is done by the plan, as was told last
	stops    string    // where that ends before the work does, as was told last
	outdated bool      // a plan for what is suggested went by another choice, and was to be made anew

	questions int                      // that were asked
	answer    answer                   // the last
	lacks     []answer                 // that could not be recorded, and were not given again
	unknown   map[*desk.Outcome]answer // that the store gave no answer to, and were not given again
	began     *desk.Outcome            // what was recorded last before it
	recorded  string                   // the airframe of what was recorded last; "": nothing was

	read   map[string]bool  // cautions that were shown whole
	off    map[place]bool   // what was put off
	asked  map[string]bool  // airframes whose bench was asked for
	ticked map[place][]bool // by hold: the lines that were confirmed
	first  map[place]string // by measure step: the gate that was asked for first

	known     map[string]int64     // how long each journal was when it was read, or written to here, last
	stay      place                // the step that was asked about when others recorded something: it is left only once that was said
	refused   place                // the step of which an answer was refused just now
	presses   *workflow.Suggestion // what can't wait for the step that is stayed at; nil: nothing was found
	noticed   string               // what was told last of that
	also      string               // the mark and step of which it was told that the builder is at it in another sitting too
	claimless bool                 // it was said that others aren't told at which step the builder is
}

// A place is an act of a step of an airframe.
type place struct {
	mark, job, step string
	act             workflow.Act
}

//go:noinline
func placeOf(s *workflow.State, r workflow.StepReport) place {
	return place{s.Airframe.Mark, r.Job, r.Step.Name, r.Act}
}

// here is the place of the step at hand.
//
//go:noinline
func (c *conversation) here() place { return place{c.mark, c.hand.Job, c.hand.Step.Name, c.hand.Act} }

var (
	errLeave = errors.New("left")  // ends the conversation
	errOver  = errors.New("over")  // ends it too: nothing is left to go on with
	errAgain = errors.New("again") // looks anew at what is to be done
)

// Not inlined: its many copies would make the program larger.
//
//go:noinline
func (c *conversation) now() time.Time { return c.Desk.Now() }

//go:noinline
func (c *conversation) clock() *page.Clock {
	return &page.Clock{Now: c.now(), BothUnits: c.BothUnits, Stands: true}
}

// state is the airframe at hand, as it was read last.
//
//go:noinline
func (c *conversation) state() *workflow.State {
	i := slices.IndexFunc(c.states, func(s *workflow.State) bool { return s.Airframe.Mark == c.mark })
	return c.states[max(i, 0)]
}

// look reads the journals again: another terminal may have added to them.
func (c *conversation) look(ctx context.Context) error {
	if c.Mark != "" {
		s, err := c.Bench.Read(ctx, c.Mark)
		if len(c.states) > 0 && errors.Is(err, store.ErrAway) {
			c.states[0] = c.Desk.Clocked(ctx, c.states[0])
			return nil // what was read stands; nothing is recorded on it
		}
		if err := cmp.Or(c.putBack(), err); err != nil {
			return err
		}
		c.states = []*workflow.State{s}
		if _, err = c.Bench.refreshClaims(ctx); errors.Is(err, store.ErrAway) {
			err = nil // it is kept up once the store is back
		}
		return err
	}
	if _, err := c.Bench.Refresh(ctx); errors.Is(err, store.ErrAway) {
		if len(c.states) == 0 { // then nobody knows what is open
			return err
		}
	} else if err != nil {
		if err := c.say(err.Error()); err != nil {
			return err
		}
	}
	if err := c.putBack(); err != nil {
		return err
	}
	now := c.now()
	c.states = sorting.Delete(c.Bench.States(), func(s *workflow.State) bool { return len(s.OpenJobs(now)) == 0 })
	if len(c.states) == 0 { // one that is not made safe, or left plugged in
		if s := workflow.Foremost(c.Bench.States(), now); s != nil {
			c.states = []*workflow.State{s}
		}
	}
	for i, s := range c.states { // something may have been said on another one of the bench they share
		beside, err := c.Desk.Beside(ctx, s, now)
		if err == nil {
			c.states[i] = beside
		} else if !errors.Is(err, store.ErrAway) || c.questions == 0 {
			return err
		}
	}
	if len(c.states) == 0 {
		return cmp.Or(c.say("No job is open on any airframe."), errOver)
	}
	return nil
}

// away is how long nothing was recorded on an airframe whose builder comes back to it.
const away = time.Hour

// welcome plans what is left, and says how the airframes stand to which the builder comes back.
func (c *conversation) welcome(ctx context.Context) error {
	now := c.now()
	if owner := c.Desk.Owner(); owner != "" && c.Nameless {
		if err := c.say("To the other benches you are " + owner + ", by login and machine: bench: and by: in the config name you (fettle help sheds)."); err != nil {
			return err
		}
	}
	if err := c.replan(ctx, now); err != nil {
		return err
	}
	for _, s := range c.states {
		if len(s.OpenJobs(now)) == 0 || now.Sub(s.Entries[len(s.Entries)-1].Recorded) < away {
			continue
		}
		if err := c.Front.Tell(page.NewAirframe(s, now).Return(c.clock())); err != nil {
			return err
		}
	}
	return nil
}

// turn shows one step and asks its question.
func (c *conversation) turn(ctx context.Context) error {
	c.Bench.turns.Store(0)
	if err := c.left(ctx); err != nil {
		return err
	}
	now := c.now()
	c.Desk.BePerson(ctx, c.who)
	if c.Desk.Is(c.who) { // from here on others may take that over
		c.who = 0
	}
	s, suggestion := c.choose(now)
	outdated := suggestion.Outdated && !c.outdated
	c.outdated = suggestion.Outdated
	if outdated || suggestion.Late(now) > 0 && now.Sub(c.planned) > workflow.Slip {
		if err := c.replan(ctx, now); err != nil {
			return err
		}
		s, suggestion = c.choose(now)
	}
	if c.jump == (place{}) && !suggestion.Theirs {
		s.LeaveFor(&suggestion, now)
		c.Bench.turns.Store(s.BeginBy(&suggestion, now))
	}
	c.mark = s.Airframe.Mark
	if s.Untrusted(now) != nil {
		c.show(s, suggestion)
		return c.askClock(ctx)
	}
	first := s.UnsafeFirst(&suggestion, now)
	if _, known := s.Temperature(now); !known && !first && !c.asked[c.mark] && !suggestion.Over && !suggestion.AtOnce && !c.Bench.dated.Load() {
		c.hand = workflow.StepReport{}
		c.show(s, workflow.Suggestion{})
		c.view.Cautions = c.atOnce(page.NextOf(s, suggestion, now)) // what stands hot may be needed for it
		return c.askSitting(ctx, s, nil)
	}
	var anew bool
	if c.noted, anew = c.Desk.Led(ctx, s, &suggestion); anew {
		return errAgain
	}
	c.show(s, suggestion)
	if err := c.notice(); err != nil {
		return err
	}
	switch {
	case suggestion.Over:
		next := page.NewNext(s, now)
		next.Checks = c.Desk.BeforeFlight(s)
		return cmp.Or(c.Front.Tell(next.Markdown(c.clock())+"\n"+c.running().Strip(c.clock())), errOver)
	case first:
		return c.lookAgainBy(ctx, suggestion.Until)
	case suggestion.Step == nil:
		return c.askWait(ctx, suggestion)
	case suggestion.Theirs:
		return c.askTheirs(ctx, s, suggestion)
	}
	if err := c.claim(ctx); err != nil {
		return err
	}
	if len(suggestion.Resolve) > 0 {
		return c.resolve(ctx, s, suggestion)
	}
	return questions()[c.hand.Step.Kind](c, ctx, s)
}

// show makes the view of what is suggested.
func (c *conversation) show(s *workflow.State, suggestion workflow.Suggestion) {
	now, clock := c.now(), c.clock()
	c.hands = suggestion.Hands
	c.view = View{ID: c.mark + "/" + suggestion.Until.String(), Mark: c.mark}
	next := page.NextOf(s, suggestion, now)
	next.ToldAlike(c.Desk.People(), c.noted)
	next.Unsettled = c.Replan == nil
	c.urgent, c.later = c.atOnce(next), next.Later(clock)
	c.view.Cautions = c.urgent
	c.toEnd(s, next, suggestion.Step)
	if next.First {
		c.hand, c.hands, c.view.ID, c.view.Title, c.view.Action = workflow.StepReport{}, nil, c.mark+"/first", fmt.Sprintf(page.BeforeThat, c.mark), ""
		for i := range next.Damaged {
			c.view.ID += "/" + next.Damaged[i].Text
		}
		return
	}
	if suggestion.Step == nil {
		c.hand, c.view.Title, c.view.Action = workflow.StepReport{}, cmp.Or(next.StayFree(clock), "Nothing can be done now"), next.Meanwhile(clock)
		return
	}
	if suggestion.Theirs {
		c.hand, c.hands = workflow.StepReport{}, nil
		c.view.ID, c.view.Title, c.view.Action = fmt.Sprint(placeOf(s, *suggestion.Step), "/theirs"), next.Nothing(clock), next.Action(clock)
		return
	}
	c.hand = *suggestion.Step
	if here := c.here(); c.since.IsZero() || here != c.shown {
		c.shown, c.since = here, now
	}
	c.view.ID = fmt.Sprint(c.here())
	step := next.Step
	step.Brief(s, c.Desk.By, "?", c.Short)
	c.view.Part, c.view.Title = step.Stage, step.Title
	c.view.Step, c.view.Of = c.count(s)
	for _, text := range step.Whole {
		c.view.Cautions = append(c.view.Cautions, Caution{Text: text, Read: c.read[text]})
	}
	c.view.Action, c.view.More = next.Action(clock), next.More(clock)
	for _, reason := range suggestion.Resolve { // what is asked next
		c.view.ID += "/" + reason.Text
	}
}

// atOnce are the cautions that come before any work.
func (c *conversation) atOnce(next page.Next) []Caution {
	text := next.AtOnce(c.clock())
	if text == "" {
		return nil
	}
	return []Caution{{Text: strings.NewReplacer("- **Caution, at once:**", "**At once:**", "- **Caution, by", "**By", "- **Caution, stay", "**Stay", "- **Caution, person", "**Person").Replace(text)}} // that it is a caution stands there already
}

// count is which step of its job the step at hand is, and of how many.
func (c *conversation) count(s *workflow.State) (n, of int) {
	job, err := s.Job(c.hand.Job)
	if err != nil {
		return 0, 0
	}
	all := job.Procedure.Steps()
	for i := range all {
		if all[i].Name == c.hand.Step.Name {
			return i + 1, len(all)
		}
	}
	return 0, 0
}

// ask asks a question about what is shown. The keys that hold everywhere are answered
// here.
func (c *conversation) ask(ctx context.Context, q Question) (Reply, error) {
	rows := q.View.Rows
	q.View = c.view
	q.View.Rows = rows
	q.View.Where = c.where()
	q.Keys = append(q.Keys, c.common(q.Keys)...)
	q.Offers = c.offers()
	for {
		c.questions++
		reply, err := c.Front.Ask(ctx, q)
		if err != nil {
			return Reply{}, err
		}
		c.answered("")
		c.stay = place{}
		for i, caution := range c.view.Cautions {
			c.read[caution.Text], c.view.Cautions[i].Read = true, true
		}
		q.View.Cautions = c.view.Cautions
		switch reply.Key {
		case Changed:
			c.stay = c.here()
			return Reply{}, errAgain
		case Due:
			return reply, nil
		case Quit:
			return Reply{}, errLeave
		case keyPutOff:
			if slices.ContainsFunc(q.Keys, Key.saysNo) {
				return reply, nil
			}
			c.off[c.here()], c.jump = true, place{}
			return Reply{}, errAgain
		case keyList:
			return Reply{}, cmp.Or(c.list(ctx), errAgain)
		case keyTakeBack:
			return Reply{}, cmp.Or(c.takeBack(ctx), errAgain)
		case keyJoin:
			c.joinNow()
			return Reply{}, errAgain
		case keyEnd:
			return Reply{}, cmp.Or(c.end(ctx), errAgain)
		case keyNote:
			err = c.note(ctx, reply.Text)
		case keyPhoto:
			err = c.photo(ctx, reply.Text)
		default:
			if c.kept = c.here(); len(c.hands) == 1 {
				c.who = c.hands[0]
			}
			return reply, nil
		}
		if err != nil && !errors.Is(err, errAgain) {
			return Reply{}, err
		}
	}
}

// The keys that hold at every question.
const (
	keyPutOff   = "n" // but where a question has a no
	keyNo       = keyPutOff
	keyList     = "l"
	keyTakeBack = "u"
	keyNote     = "t"
	keyPhoto    = "p"
	keyJoin     = "j" // where a joint can be joined
	keyEnd      = "h" // where something is hot, on or plugged in
)

// common are the keys that hold everywhere. Where one of the question's own keys says no,
// nothing is put off by that letter.
func (c *conversation) common(own []Key) []Key {
	keys := []Key{
		{Key: keyTakeBack, Word: "take back", Common: true}, {Key: keyList, Word: "list", Common: true},
		{Key: keyNote, Word: "note", Common: true, Words: true}, {Key: keyPhoto, Word: "photo", Common: true, Words: true}, {Key: Quit, Word: "quit", Common: true},
	}
	if len(c.ends) > 0 {
		keys = append([]Key{{Key: keyEnd, Word: spaced(c.ends[0].Condition) + " is " + spaced(c.ends[0].State), Common: true}}, keys...)
	}
	if c.hand.Step.Name == "" || slices.ContainsFunc(own, Key.saysNo) {
		return keys
	}
	return append([]Key{{Key: keyPutOff, Word: "not now", Common: true}}, keys...)
}

// saysNo reports whether a key of a question's own answers it with no.
func (k Key) saysNo() bool { return !k.Common && k.Is(keyNo) }

// offers has a key for the joint that must be joined first, or coated again, unless that is
// at hand.
func (c *conversation) offers() func(now time.Time) []Key {
	mark, joint := c.mark, c.hand.Step.Joint
	return func(now time.Time) []Key {
		if t, ok := c.open(now); ok && (t.Mark != mark || t.Name != joint) {
			if t.Phase == workflow.Late {
				return []Key{{Key: keyJoin, Word: "coat " + t.Name + " again"}}
			}
			return []Key{{Key: keyJoin, Word: "join " + t.Name}}
		}
		return nil
	}
}

// open is the joint whose window is open and closes first, also one that was found wet;
// where there is none, one that has lapsed.
func (c *conversation) open(now time.Time) (first Timer, ok bool) {
	all := c.Bench.Timers(now)
	if i := slices.IndexFunc(all, func(t Timer) bool { return t.Phase == workflow.Late }); i >= 0 {
		defer func() {
			if !ok {
				first, ok = all[i], true
			}
		}()
	}
	for _, t := range all {
		if (t.Phase == workflow.Open || t.Phase == workflow.Tacking && !now.Before(t.Opens)) && (!ok || t.Closes.Before(first.Closes)) {
			first, ok = t, true
		}
	}
	return first, ok
}

// joinNow goes to the joint that must be joined first, or coated again.
func (c *conversation) joinNow() {
	now := c.now()
	t, _ := c.open(now)
	for _, s := range c.states {
		job, err := s.Job(t.Job)
		if err != nil || s.Airframe.Mark != t.Mark {
			continue
		}
		for _, r := range s.Steps(job, now) {
			traits := r.Step.Kind.Traits()
			if does := t.Phase == workflow.Late && traits.Coats || t.Phase != workflow.Late && traits.Joins; does && r.Step.Joint == t.Name && r.AtHand() {
				c.take(s, r)
				return
			}
		}
	}
}

// take goes to a step, though it was put off.
//
//go:noinline
func (c *conversation) take(s *workflow.State, r workflow.StepReport) {
	c.jump = placeOf(s, r)
	delete(c.off, placeOf(s, r))
}

// record records a request on the airframe at hand and shows what was recorded.
func (c *conversation) record(ctx context.Context, r workflow.Request) error {
	return c.recordOn(ctx, c.state(), r, time.Time{})
}

// recordOn records it on an airframe as it was read last: if another terminal has added
// entries since, it is decided anew. It was done at that time; zero: now.
func (c *conversation) recordOn(ctx context.Context, before *workflow.State, r workflow.Request, at time.Time) error {
	entries, state, err := c.Desk.Act(ctx, before, r, at)
	if state != nil {
		c.took(state)
	}
	if len(entries) > 0 && entries[0].Position > before.Size() { // others were faster, and it was decided anew
		if err := c.recordedBy(state, before.Size(), entries[0].Position); err != nil {
			return err
		}
	}
	if err != nil {
		return err
	}
	c.since = time.Time{}
	return c.tellRecorded(state, entries)
}

// tellRecorded shows what was recorded.
func (c *conversation) tellRecorded(s *workflow.State, entries []journal.Entry) error {
	return c.Front.Tell(page.NewRecorded(s, entries, c.now()).AtBench().Markdown(c.clock()))
}

// took is told how an airframe stands after something was recorded.
func (c *conversation) took(s *workflow.State) {
	c.Bench.Put(s)
	c.recorded = s.Airframe.Mark
	lacks := c.lacks
	c.lacks = nil
	for i := range lacks {
		if lacks[i] != c.answer {
			c.lacks = append(c.lacks, lacks[i])
		}
	}
	maps.DeleteFunc(c.unknown, func(_ *desk.Outcome, of answer) bool { return of == c.answer })
	c.known[c.recorded] = s.Size()
	if i := slices.IndexFunc(c.states, func(had *workflow.State) bool { return had.Airframe.Mark == c.recorded }); i >= 0 {
		c.states[i] = s
	}
}

// tell shows what was refused, and why.
func (c *conversation) tell(err error) error {
	var part *workflow.PartError
	if errors.As(err, &part) {
		for _, err := range part.Refused {
			if err := c.tell(err); err != nil {
				return err
			}
		}
		for _, e := range part.Record {
			if line := page.RecordedLine(e); line != "" {
				if err := c.say(line); err != nil {
					return err
				}
			}
		}
		return nil
	}
	var refusal *workflow.Refusal
	if errors.As(err, &refusal) {
		return c.Front.Tell(page.Refusal(refusal, c.clock()))
	}
	text := err.Error()
	var bad *workflow.BadRequestError
	if errors.As(err, &bad) && !bad.Remedy.IsZero() {
		advice, _ := page.Remedy(bad.Remedy)
		text += "; " + advice
	}
	return c.say(text)
}

// say tells plain words.
//
//go:noinline
func (c *conversation) say(text string) error {
	return c.Front.Tell(page.Escape(text))
}

// running are the clocks of the bench.
func (c *conversation) running() (clocks page.Clocks) {
	for _, t := range c.Bench.Timers(c.now()) {
		clocks.Timers = append(clocks.Timers, page.NewTimer(t.Mark, t.Timer))
	}
	return clocks
}
