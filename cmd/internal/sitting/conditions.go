package sitting

import (
	"context"
	"fmt"
	"strings"

	"fettle/cmd/internal/page"
	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow"
)

// resolve asks for what holds the step at hand back.
func (c *conversation) resolve(ctx context.Context, s *workflow.State, suggestion workflow.Suggestion) error {
	step := c.hand.Step
	for _, reason := range suggestion.Resolve {
		switch reason.Because {
		case workflow.ByClimate, workflow.ByCondition:
			var needs []steps.Setting
			climate := false
			for _, r := range suggestion.Resolve { // a gate of the step may need more than the step
				climate = climate || r.Because == workflow.ByClimate
				if need := r.Remedy.Setting; r.Because == workflow.ByCondition && !lists.Contains(needs, need) {
					needs = append(needs, need)
				}
			}
			if climate {
				return c.askSitting(ctx, s, needs)
			}
			_, err := c.askConditions(ctx, s, needs)
			return err
		case workflow.ByHold:
			if use, err := s.Use(reason.Remedy.Name); err == nil && reason.Remedy.Kind == workflow.ToClearUse {
				return c.askUse(ctx, use)
			}
			if asked, err := c.askLookOver(ctx, s, reason.Remedy.Name); asked || err != nil {
				return err
			}
		case workflow.ByGate:
			if gate := reason.Remedy.Gate; (reason.Remedy.Kind == workflow.ToMeasure || reason.Remedy.Kind == workflow.ToDecide) && !step.Kind.Traits().Releases { // for a tool
				g, err := s.GateReport(gate, c.now())
				if err != nil {
					return err
				}
				return c.askPoints(ctx, s, g, "")
			}
			return c.askGates(ctx, s, reason.Remedy.Gate)
		case workflow.ByGauge:
			return c.askCheck(ctx, s)
		case workflow.ByTouch:
			return c.askTouch(ctx, s)
		}
	}
	return c.lookAgain(ctx)
}

// askLookOver asks for the lines of a hold that is looked over once more for what is plugged in after it, and reports whether it is one.
func (c *conversation) askLookOver(ctx context.Context, s *workflow.State, name string) (asked bool, err error) {
	of, hold := s.LooksAgain(name, c.now())
	if hold == nil {
		return false, nil
	}
	how, _, err := s.FindStep(name, c.now())
	if err != nil {
		return true, err
	}
	if use := c.uncleared(s, s.UsesOf(of, *hold, c.now())); use != nil {
		return true, c.askUse(ctx, *use)
	}
	c.showHow(s, how, hold.Name)
	return true, c.askAnew(ctx, s, of, []*steps.Step{hold})
}

// answerable reports whether resolve asks for what a reason says is missing.
func answerable(r workflow.Reason) bool {
	switch r.Because {
	case workflow.ByClimate, workflow.ByCondition, workflow.ByGate, workflow.ByGauge, workflow.ByTouch:
		return true
	}
	ofJob := r.Remedy.Kind == workflow.ToClear && strings.Contains(r.Remedy.Name, "/") // and no quarantine
	return r.Because == workflow.ByHold && (r.Remedy.Kind == workflow.ToClearUse || ofJob)
}

// askConditions asks whether each need stands that nobody has said, and reports whether
// there was one. They are what the holds need that are cleared once more, each for the one before it; none: the step at hand.
func (c *conversation) askConditions(ctx context.Context, s *workflow.State, needs []steps.Setting, holds ...*steps.Step) (asked bool, err error) {
	switch left, unsaid := c.toMakeSure(s, needs); {
	case len(left) > 0:
		needs = left
	case len(unsaid) > 0:
		return true, c.makeSure(ctx, s, unsaid)
	}
	for _, need := range needs {
		of, hold := s.Anew(need, c.now())
		if s.Holds(need.Condition, c.now()) == need.State && hold == nil {
			continue
		}
		how, uses := c.broughtBy(s, need)
		if hold != nil {
			if how, _, err = s.FindStep(of.ID+"/"+hold.Name, c.now()); err != nil {
				return false, err // its page has the cautions
			}
			uses = s.UsesOf(of, *hold, c.now())
		}
		if title, _, _ := c.endedBy(s, need); title != "" && how.Step.Name == "" {
			c.view.ID += "/" + need.String()
			c.view.Title, c.view.Action, c.view.Cautions = title, c.later, c.urgent
		}
		if how.Step.Name != "" {
			if use := c.uncleared(s, uses); use != nil {
				return true, c.askUse(ctx, *use)
			}
			c.showHow(s, how, need.String())
		}
		if look := s.LookFirst(need, needs, c.now()); hold == nil && len(look) > 0 {
			c.view.Action = "- Look first: " + strings.Join(look, "; ") + ".\n" + c.view.Action
		}
		if hold != nil {
			return true, c.askAnew(ctx, s, of, append(holds, hold))
		}
		prompt := "Is the " + stands(need) + " now?"
		if heard := c.heard(s, need); heard != "" {
			prompt += " " + heard + "."
		}
		if err := c.confirmThat(ctx, prompt, need); err != nil {
			return true, err
		}
		asked = true
	}
	return asked, nil
}

// toMakeSure are the needs that are how nobody's work is left, such as an iron that is cold, and don't stand: those of which something
// says that they stand otherwise, which are ended before anything else, and those of which nothing says that.
func (c *conversation) toMakeSure(s *workflow.State, needs []steps.Setting) (left, unsaid []steps.Setting) {
	for _, need := range needs {
		title, _, stands := c.endedBy(s, need)
		switch {
		case title == "" || s.Holds(need.Condition, c.now()) == need.State:
		case stands:
			left = append(left, need)
		default:
			unsaid = append(unsaid, need)
		}
	}
	return left, unsaid
}

// endedBy is [workflow.State.EndedBy], also by what another airframe's job says, or a caution.
//
//go:noinline
func (c *conversation) endedBy(s *workflow.State, need steps.Setting) (title, by string, stands bool) {
	title, by, stands = s.EndedBy(need, c.now())
	return title, by, stands || lists.Contains(c.ends, need) || c.heard(s, need) != ""
}

// makeSure asks in one question whether nothing is hot or on, by no step's page: nothing is to be done but to look.
func (c *conversation) makeSure(ctx context.Context, s *workflow.State, needs []steps.Setting) error {
	prompt := "Is each of these so now?"
	if len(needs) == 1 {
		prompt = "Is the " + stands(needs[0]) + " now?"
	}
	c.view.Title, c.view.Action, c.view.Cautions = "First make sure", c.later, c.urgent
	for _, need := range needs {
		title, _, _ := s.EndedBy(need, c.now())
		c.view.ID += "/" + need.String()
		c.view.Action += "- " + page.Escape(title) + "\n"
	}
	c.view.Action += "\nThen: " + page.Escape(c.hand.Step.Label()) + ".\n"
	return c.confirmThat(ctx, prompt, needs...)
}

// confirmThat records that all of these stand once that is confirmed; else the step at hand is put off.
//
//go:noinline
func (c *conversation) confirmThat(ctx context.Context, prompt string, needs ...steps.Setting) error {
	var until []string
	for _, need := range needs {
		until = append(until, fmt.Sprintf("the %s is %s", spaced(need.Condition), spaced(need.State)))
	}
	q := Question{Prompt: prompt, Keys: []Key{{Key: keyYes, Word: "yes"}}}
	without := fmt.Sprintf("%s waits until %s. Go to it from the list then.", c.hand.Step.Label(), strings.Join(until, " and "))
	if _, err := c.confirm(ctx, q, without); err != nil {
		return err
	}
	return c.record(ctx, workflow.ReadBench{Set: needs})
}

// uncleared is the first use whose hold is to be cleared in this sitting; nil: none is.
func (c *conversation) uncleared(s *workflow.State, uses []steps.Use) *steps.Use {
	for i := range uses {
		if len(uses[i].Hold) > 0 && !s.Cleared(uses[i], c.now()) {
			return &uses[i]
		}
	}
	return nil
}

// showHow shows the step that brings about what the step at hand needs.
func (c *conversation) showHow(s *workflow.State, how workflow.StepReport, id string) {
	step := page.NewStep(s, how, c.now())
	c.view.ID += "/" + id
	c.view.Title, c.view.Action, c.view.Cautions = step.Title, c.later+step.Do, nil
	for _, text := range step.Whole {
		c.view.Cautions = append(c.view.Cautions, Caution{Text: text, Read: c.read[text]})
	}
}

// toEnd notes what a key sets: what cautions ask for, and how what is hot, on or plugged in is left, but for what the step at hand
// sets so itself.
func (c *conversation) toEnd(s *workflow.State, next page.Next, step *workflow.StepReport) {
	c.ends = nil
	add := func(r workflow.Reason) {
		by := step != nil && lists.Contains(step.Step.Sets, r.Remedy.Setting)
		def, _ := s.Sheet.Condition(r.Remedy.Setting.Condition)
		elsewhere := r.Remedy.Mark != s.Airframe.Mark && !def.Bench
		if r.Remedy.Kind == workflow.ToSetCondition && !by && !elsewhere && !lists.Contains(c.ends, r.Remedy.Setting) {
			c.ends = append(c.ends, r.Remedy.Setting)
		}
	}
	for _, all := range [...][]page.Reason{next.Harms, next.EndFirst} {
		for _, r := range all {
			add(r.Reason)
		}
	}
	for _, r := range workflow.Standing([]*workflow.State{s}, c.now()) {
		add(r)
	}
}

// end records how conditions stand, each once it is confirmed.
func (c *conversation) end(ctx context.Context) error {
	all := c.ends
	c.ends = nil
	for _, is := range all {
		reply, err := c.ask(ctx, Question{Prompt: "Is the " + stands(is) + " now?", Keys: []Key{{Key: keyYes, Word: "yes"}, {Key: keyNo, Word: "no"}}})
		if err != nil {
			return err
		}
		if reply.Key == keyNo {
			continue
		}
		if err := c.record(ctx, workflow.ReadBench{Set: []steps.Setting{is}}); err != nil {
			return err
		}
	}
	return nil
}

// stands is how a condition stands, as words: "iron cold".
func stands(is steps.Setting) string { return spaced(is.Condition) + " " + spaced(is.State) }

// askAnew asks for the lines of the last of these holds, which was cleared before what it set was ended, once what it needs stands.
func (c *conversation) askAnew(ctx context.Context, s *workflow.State, of *workflow.Job, holds []*steps.Step) error {
	hold := holds[len(holds)-1]
	if lists.Contains(holds[:len(holds)-1], hold) { // each waits for the other
		return c.lookAgain(ctx)
	}
	if asked, err := c.askConditions(ctx, s, s.NeedsAt(of, *hold, c.now()), holds...); asked || err != nil {
		return err
	}
	key := place{mark: c.mark, job: of.ID, step: hold.Name}
	answers, err := c.askLines(ctx, key, hold.Confirm)
	if err != nil {
		return err
	}
	request := workflow.Clear{Step: of.ID + "/" + hold.Name, Answers: answers, Lines: hold.Confirm}
	if request.Witness, err = c.askSecond(ctx, hold); err != nil {
		return err
	}
	delete(c.ticked, key)
	return c.record(ctx, request)
}

// broughtBy is the step of an open job that brings a condition about, and what it is done
// with; none: no step does, or nothing is to be done. Of what is to be ended it is [conversation.endedBy].
func (c *conversation) broughtBy(s *workflow.State, need steps.Setting) (how workflow.StepReport, uses []steps.Use) {
	now := c.now()
	if title, by, _ := c.endedBy(s, need); title != "" {
		if by != "" {
			how, _, _ = s.FindStep(by, now) // one that the airframe has no more is none
		}
		return how, nil
	}
	for _, job := range s.OpenJobs(now) {
		for _, r := range s.Steps(job, now) {
			if lists.Contains(r.Step.Sets, need) && (how.Step.Name == "" || r.Job == c.hand.Job) {
				how, uses = r, s.UsesOf(job, r.Step, now)
			}
		}
	}
	return how, uses
}

// spaced is a name as words.
func spaced(name string) string { return strings.NewReplacer("-", " ", "_", " ").Replace(name) }
