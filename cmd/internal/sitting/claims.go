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

	"fettle/cmd/internal/page"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/store"
	"fettle/workflow"
)

// This file has what benches that share a store know of each other: that something was
// written, and who is at which step. Of another store they know neither, and it does nothing.

const (
	claimLasts = time.Minute      // after a bench was last heard of
	claimAnew  = 15 * time.Second // how often it is heard of
)

// A claims is who is at which step.
type claims struct {
	heard  <-chan struct{}
	mine   *store.Claim // nil: nothing is claimed
	lost   *store.Claim // by which another bench took over what was mine, until that was told
	anew   time.Time    // when mine was claimed last
	read   bool         // others are known
	others []*store.Claim
}

// Follow hears of what other benches write, until ctx ends.
func (b *Bench) Follow(ctx context.Context) {
	if w, ok := b.desk.Store.(store.Watcher); ok {
		b.claims.heard = w.Watch(ctx)
	}
}

// Hears reports whether it hears of other benches: else it looks, now and then.
func (b *Bench) Hears() bool { return b.claims.heard != nil }

// Heard reports whether another bench may have written since it was asked last: it is time to
// [Bench.Refresh].
func (b *Bench) Heard() bool {
	select {
	case <-b.claims.heard:
		return true
	default:
		return false
	}
}

// Leave ends what is claimed here. The cluster does so too, if later.
func (b *Bench) Leave() {
	ctx, stop := context.WithTimeout(context.Background(), time.Second)
	defer stop()
	b.mu.Lock()
	claimed := b.claims.mine != nil
	b.mu.Unlock()
	if claimed {
		_ = b.desk.Unclaim(ctx)
	}
}

// refreshClaims reads who is at which step, keeps up what is claimed here, and reports whether
// another bench took that over or others are somewhere else by now.
func (b *Bench) refreshClaims(ctx context.Context) (changed bool, err error) {
	now := b.desk.Now()
	b.mu.Lock()
	mine, anew := b.claims.mine, b.claims.anew
	b.mu.Unlock()
	others, err := b.desk.Others(ctx)
	if err != nil {
		return false, err
	}
	b.mu.Lock()
	if changed = b.claims.read && !slices.EqualFunc(others, b.claims.others, (*store.Claim).Same); changed {
		b.news++
	}
	b.claims.others, b.claims.read = others, true
	b.mu.Unlock()
	if mine == nil || !slices.ContainsFunc(others, mine.Of) && now.Sub(anew) < claimAnew && !now.Before(anew) {
		return changed, nil
	}
	_, _, err = b.claim(ctx, mine.Mark, mine.Step, false)
	return changed, err
}

// claim claims a step; false: somebody else is at it.
func (b *Bench) claim(ctx context.Context, mark, step string, take bool) (*store.Claim, bool, error) {
	stands, ours, err := b.desk.Sit(ctx, mark, step, claimLasts, take)
	if err != nil || stands == nil {
		return stands, true, err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	others := sorting.Delete(slices.Clone(b.claims.others), stands.Of)
	switch had := b.claims.mine; {
	case ours:
		mine := *stands
		mine.Seat = b.desk.Seat // where another sitting of the same person is at it, it is claimed once that ends
		b.claims.mine, b.claims.anew = &mine, b.desk.Now()
	case had != nil && had.Of(stands):
		b.claims.mine, b.claims.lost = nil, stands
		fallthrough
	default:
		others = append(others, stands)
	}
	b.claims.others = others
	return stands, ours, nil
}

// at is the claim of somebody else on a step; nil: nobody is at it.
func (b *Bench) at(s *workflow.State, r workflow.StepReport) *store.Claim {
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.claims.others) == 0 {
		return nil
	}
	step, _ := r.Claim()
	for _, c := range b.claims.others {
		if c.Mark == s.Airframe.Mark && c.Step == step {
			return c
		}
	}
	return nil
}

// Claims are those of others on steps that can be worked on.
func (b *Bench) Claims(now time.Time) (all []*store.Claim) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, c := range b.claims.others {
		if s := b.states[c.Mark]; s != nil && s.Claimed(c.Step, now) {
			all = append(all, c)
		}
	}
	return all
}

// claim claims the step at hand. Where somebody else is at it, it is asked whether it is taken
// over, and put off if not.
func (c *conversation) claim(ctx context.Context) error {
	step, _ := c.hand.Claim()
	if step == "" {
		return nil
	}
	c.Bench.mu.Lock()
	mine, anew := c.Bench.claims.mine, c.Bench.claims.anew
	c.Bench.mu.Unlock()
	if since := c.now().Sub(anew); mine != nil && mine.Mark == c.mark && mine.Step == step && since >= 0 && since < claimAnew {
		return nil
	}
	claim := func(take bool) (*store.Claim, bool, error) {
		stands, ours, err := c.Bench.claim(ctx, c.mark, step, take)
		if err == nil && ours && mine != nil && c.midway(mine, step) {
			err = c.Desk.LeaveMidway(ctx, *mine)
		}
		return stands, ours, c.unclaimed(err)
	}
	stands, ours, err := claim(false)
	if where := c.mark + step; err == nil && ours && stands != nil && c.Desk.Also(stands) && c.also != where {
		c.also = where
		return c.Front.Tell(page.AlsoLine(stands, c.clock()))
	}
	if err != nil || ours || stands == nil {
		return err
	}
	c.view.ID += "/claimed"
	take := "take it over"
	if stands.From == c.Desk.Owner() {
		take = "take it back"
	}
	if _, err := c.confirm(ctx, Question{
		Prompt: fmt.Sprintf("%s from %s?", page.Capital(take), page.ClaimedBy(stands, c.clock())), // which is never cut
		Keys:   []Key{{Key: keyYes, Word: take}},
	}, leftToThem); err != nil {
		if stands.From != c.Desk.Owner() { // nobody was at the step here
			c.stay = place{}
		}
		return err
	}
	_, _, err = claim(true)
	return cmp.Or(err, errAgain)
}

// glance is how long a step is only looked at, and nothing of it begun.
const glance = 10 * time.Second

// midway reports whether the builder may be midway in a step that is left for another one: it was at
// hand for longer than a glance, is still to be done, and was not put off.
func (c *conversation) midway(of *store.Claim, other string) bool {
	now := c.now()
	i := slices.IndexFunc(c.states, func(s *workflow.State) bool { return s.Airframe.Mark == of.Mark })
	if i < 0 || of.Mark == c.mark && of.Step == other || now.Sub(of.Since) < glance {
		return false
	}
	r, _, err := c.states[i].FindStep(of.Step, now)
	return err == nil && goesOn(r, now) && !c.off[placeOf(c.states[i], r)]
}

// lost tells of a step that another bench took over while this one was not heard of, where it is no
// more to be asked whose it is.
func (c *conversation) lost() error {
	c.Bench.mu.Lock()
	of := c.Bench.claims.lost
	c.Bench.claims.lost = nil
	c.Bench.mu.Unlock()
	if of == nil || slices.ContainsFunc(c.states, func(s *workflow.State) bool { return s.Airframe.Mark == of.Mark && s.Claimed(of.Step, c.now()) }) {
		return nil
	}
	return c.Front.Tell(page.TakenLine(of) + " at " + c.clock().At(of.Since) + ": ask them what they did of it.")
}

// unclaimed says once why a step cannot be claimed: others don't see who is at it, and no more.
// While the store is away that goes without saying.
func (c *conversation) unclaimed(err error) error {
	if err == nil || c.claimless || errors.Is(err, store.ErrAway) {
		return nil
	}
	c.claimless = true
	return c.say("Other benches are not told at which step you are: " + err.Error())
}

// meanwhile tells what others recorded on the airframes that are led over since they were read
// last.
func (c *conversation) meanwhile() error {
	for _, s := range c.states {
		mark := s.Airframe.Mark
		if had, known := c.known[mark]; known && s.Size() > had {
			if err := c.recordedBy(s, had, s.Size()); err != nil {
				return err
			}
		}
		c.known[mark] = s.Size()
	}
	return nil
}

// putBack tells of journals that were put back to an older state, before anything is asked on them. What
// was confirmed on what they had counts no more.
func (c *conversation) putBack() error {
	for _, p := range c.Bench.PutBack() {
		c.known[p.Mark] = p.Has
		maps.DeleteFunc(c.ticked, func(at place, _ []bool) bool { return at.mark == p.Mark })
		if err := c.say(page.Capital(page.PutBack(p)) + "."); err != nil {
			return err
		}
	}
	return nil
}

// where says of when what is shown is, while the store is away, at which steps of the airframes that
// are led over others are, and what they took over.
func (c *conversation) where() string {
	var lines []string
	if at, why := c.Desk.AsOf(); !at.IsZero() {
		lines = append(lines, page.Escape(page.Capital(page.AsOf(at, why, c.clock()))+"."))
	}
	for _, claim := range c.Bench.Claims(c.now()) {
		if !slices.ContainsFunc(c.states, func(s *workflow.State) bool { return s.Airframe.Mark == claim.Mark }) {
			continue
		}
		line := page.ClaimLine(claim, c.clock())
		if claim.From == c.Desk.Owner() && claim.Silent == 0 {
			line = page.TakenLine(claim)
		}
		if c.Mark == "" {
			line = page.Escape(claim.Mark) + ": " + line
		}
		lines = append(lines, line+".")
	}
	return strings.Join(lines, "\n\n")
}

// left asks before the screen leaves the step that the builder was at, where what was recorded
// meanwhile leaves nothing to do there, or forbids it.
func (c *conversation) left(ctx context.Context) error {
	was := cmp.Or(c.stay, c.refused)
	done := c.stay == place{} // it was refused, and only what is done by now is no more to be asked
	c.refused = place{}
	i := slices.IndexFunc(c.states, func(s *workflow.State) bool { return s.Airframe.Mark == was.mark })
	if was.step == "" || i < 0 {
		return nil
	}
	s, now := c.states[i], c.now()
	r, found := reportAt(s, was, now)
	if found && (placeOf(s, r) == was && goesOn(r, now) || done && r.Progress != workflow.Done) {
		return nil
	}
	c.stay = place{}
	text := "It is not a step of an open job any more."
	if e, ok := s.WorkedLast(was.job, was.step); ok && (r.Progress == workflow.Done || r.Act != was.act) {
		text = page.DoneBy(e, c.clock())
	} else if found {
		text = page.WhyNot(r, c.clock())
	}
	title := was.step
	if found {
		title = r.Step.Label() // and not that of a hold that was asked for it
	}
	for at, lines := range c.ticked {
		if at.mark == was.mark && (at == was || at.job == "") && lists.Contains(lines, true) {
			text = strings.TrimRight(text, "\n") + "\n\nThe lines that you confirmed here are not recorded."
			break
		}
	}
	next, g := c.choose(now) // what is ended at once waits for no key
	c.mark, c.view = was.mark, View{ID: fmt.Sprint(was) + "/left", Mark: was.mark, Part: c.view.Part, Title: title, Cautions: c.atOnce(page.NextOf(next, g, now)), Action: "You were at this step. " + text}
	_, err := c.ask(ctx, Question{Prompt: "When you have left it as it may stay:", Keys: []Key{{Key: Enter, Word: "go on", Also: keyNo}}})
	return err
}

// notice tells once of what can't wait while the screen stays where the builder is.
func (c *conversation) notice() error {
	pressing := c.presses
	if c.presses = nil; pressing == nil {
		return nil
	}
	r, key := pressing.Step, keyJoin
	until := r.Closes
	if until.IsZero() {
		until, key = r.Begun.Closes, keyList
	}
	if until.IsZero() { // what is due waits for it
		until = pressing.By
	}
	text := fmt.Sprintf("%s can't wait longer than %s: %s goes there.", r.Step.Label(), c.clock().At(until), key)
	if text == c.noticed {
		return nil
	}
	c.noticed = text
	return c.say(text)
}

// mostMeanwhile is how many entries of others are told one by one.
const mostMeanwhile = 5

// recordedBy tells the entries from one on up to another, the newest first: there may be room for one
// line only.
func (c *conversation) recordedBy(s *workflow.State, from, to int64) error {
	all, by := page.NewJournal(s).Entries[from:to], ""
	text := "Meanwhile on " + s.Airframe.Mark
	if len(all) > 1 {
		text += fmt.Sprintf(", %d entries, the newest first", len(all))
	}
	for _, e := range slices.Backward(all[max(len(all)-mostMeanwhile, 0):]) {
		if e.By != by {
			text += ", by " + e.By + ": " + e.Says
		} else {
			text += "; " + e.Says
		}
		by = e.By
	}
	if more := len(all) - mostMeanwhile; more > 0 {
		text += fmt.Sprintf("; and %d before", more)
	}
	return c.say(text + ".")
}
