package sitting

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"

	"fettle/cmd/internal/page"
	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/quantity"
	"fettle/steps/sorting"
	"fettle/workflow"
)

// askSitting asks in one question for all that is missing of this sitting: temperature,
// humidity where an adhesive has limits of it, and the conditions that last a sitting and
// that the open stages need, or that are given. The answer is recorded for every airframe
// that is led over.
func (c *conversation) askSitting(ctx context.Context, s *workflow.State, needs []steps.Setting) error {
	now := c.now()
	for _, of := range c.states {
		c.asked[of.Airframe.Mark] = true
		needs = append(needs, c.lacking(of, now)...)
	}
	all := slices.Clone(needs)
	needs = sorting.Delete(needs, func(n steps.Setting) bool { // two that contradict each other are asked one by one
		def, _ := s.Sheet.Condition(n.Condition)
		return !def.Lapses() || c.broughtByTool(s, n) || steps.AnySetting(all, func(o steps.Setting) bool { return o.Condition == n.Condition && o.State != n.State })
	})
	sorting.Stable(needs, func(i, k int) int {
		a, b := &needs[i], &needs[k]
		return strings.Compare(a.Condition, b.Condition)
	})
	needs = slices.Compact(needs)
	var words []string
	for _, n := range needs {
		word := fmt.Sprintf("the %s is %s", spaced(n.Condition), spaced(n.State))
		if heard := c.heard(s, n); heard != "" {
			word += " (" + heard + ")"
		}
		words = append(words, word)
	}
	figures, example := "Temperature", "…C"
	if slices.ContainsFunc(c.states, func(s *workflow.State) bool { return s.HumidityCounts(now) }) {
		figures, example = "Temperature and humidity", "…C …%"
	}
	q := Question{Prompt: figures + " at the bench, as " + example + ":", Keys: []Key{{Key: Enter, Word: "not read"}}, Field: &Field{Label: example}}
	if len(needs) > 0 {
		q.Prompt = fmt.Sprintf("%s at the bench, as %s, and y behind it if %s:", figures, example, strings.Join(words, " and "))
		q.Field.Label += " y"
	}
	if c.view.Title == "" || c.hand.Step.Name == "" {
		c.view.Title = "The bench in this sitting"
	}
	q.Field.Check = func(text string) Verdict {
		if _, err := readSitting(text, needs); err != nil {
			return Verdict{Said: err.Error()}
		}
		return Verdict{Taken: true}
	}
	for {
		reply, err := c.ask(ctx, q)
		if err != nil {
			return err
		}
		if reply.Text == "" {
			return c.unread()
		}
		request, err := readSitting(reply.Text, needs)
		if err != nil {
			return err
		}
		if why := s.UnlikelyAtBench(request, now); why != "" {
			sure := Question{Prompt: page.Capital(why) + ".", Keys: []Key{{Key: keyYes, Word: "keep it"}, {Key: Enter, Word: "type it again", Also: keyNo}}}
			if reply, err = c.ask(ctx, sure); err != nil {
				return err
			}
			if reply.Key != keyYes {
				continue
			}
		}
		for _, of := range slices.Clone(c.states) {
			if of.Airframe.Mark != c.mark && err == nil {
				err = c.recordOn(ctx, of, fitting(of, request), time.Time{})
			}
		}
		if err == nil {
			err = c.record(ctx, request)
		}
		if err == nil || !errors.Is(err, workflow.ErrBadRequest) {
			return err
		}
		if err := c.tell(err); err != nil { // above the question, which is asked again
			return err
		}
	}
}

// heard is what another airframe's job said last of a condition, if that is not what is
// needed; "": nothing.
func (c *conversation) heard(s *workflow.State, need steps.Setting) string {
	mark, state, since := s.SaidBeside(need.Condition, c.now())
	if mark == "" || state == "" || state == need.State {
		return ""
	}
	return fmt.Sprintf("%s said at %s that it is %s", mark, c.clock().At(since), spaced(state))
}

// unread says what follows where the temperature is not read. A step that was chosen and
// needs it is put off: it would be asked for again at once.
func (c *conversation) unread() error {
	if c.hand.Step.Name != "" {
		c.off[c.here()], c.jump = true, place{}
	}
	return c.say("Not read. Steps that need it wait; the list shows them.")
}

// lacking are the conditions of a sitting that nobody has confirmed and that a step of an
// open stage needs, but for what a step that is left brings about itself: nobody says that
// a tool is hot before it is to be heated. Nor what a tool brings about: that is asked
// beside how it is done.
func (c *conversation) lacking(s *workflow.State, now time.Time) []steps.Setting {
	var needs []steps.Setting
	for _, job := range s.OpenJobs(now) {
		reports := s.Steps(job, now)
		open := map[string]bool{}
		var set []steps.Setting
		for _, r := range reports {
			if r.Progress != workflow.Done {
				set = append(set, r.Step.Sets...)
			}
			open[r.Stage] = open[r.Stage] || r.Progress == workflow.Ready || r.Progress == workflow.Waiting
		}
		for _, r := range reports {
			if !open[r.Stage] || r.Progress == workflow.Done {
				continue
			}
			for _, n := range s.NeedsAt(job, r.Step, now) {
				if def, ok := s.Sheet.Condition(n.Condition); ok && def.Lapses() && s.Holds(n.Condition, now) != n.State && !lists.Contains(set, n) && !c.broughtByTool(s, n) {
					needs = append(needs, n)
				}
			}
		}
	}
	return needs
}

// broughtByTool reports whether a step brings a condition about with a tool, what stands hot or on is ended for it, or a hold is cleared
// once more.
func (c *conversation) broughtByTool(s *workflow.State, need steps.Setting) bool {
	if _, _, stands := s.EndedBy(need, c.now()); stands {
		return true
	}
	how, _ := c.broughtBy(s, need)
	_, hold := s.Anew(need, c.now())
	return hold != nil || len(how.Step.Tools) > 0
}

// fitting leaves out the conditions that the design of an airframe does not know.
func fitting(s *workflow.State, r workflow.ReadBench) workflow.ReadBench {
	r.Set = sorting.Delete(slices.Clone(r.Set), func(n steps.Setting) bool {
		def, ok := s.Sheet.Condition(n.Condition)
		return !ok || !lists.Contains(def.States, n.State)
	})
	return r
}

// readSitting reads a temperature, a humidity after it if there is one, and a y if the
// conditions stand, or an n. Bare numbers are in the units that the question shows.
func readSitting(text string, needs []steps.Setting) (workflow.ReadBench, error) {
	var r workflow.ReadBench
	words := strings.Fields(text)
	if n := len(words) - 1; n >= 0 && len(needs) > 0 && (words[n] == "y" || words[n] == "yes") {
		r.Set, words = needs, words[:n]
	}
	if len(words) == 0 && len(r.Set) > 0 {
		return r, nil
	}
	if n := len(words) - 1; n >= 0 && len(needs) > 0 && (words[n] == "n" || words[n] == "no") {
		words = words[:n]
	}
	for n := len(words) - 1; n > 0; n-- { // the humidity first
		if _, err := quantity.Parse(strings.Join(words[:n], " "), quantity.Ratio); err == nil {
			words = lists.Concat(words[n:], words[:n])
			break
		}
	}
	text = strings.Join(words, " ")
	if _, err := quantity.Parse(text, quantity.Ratio); err == nil {
		return r, fmt.Errorf("give the temperature too: …C %s", strings.Join(words, ""))
	}
	var err error
	for n := len(words); n > 0; n-- { // so many of them are the temperature: 20 C 50 %
		r.Temperature, err = quantity.ParseIn(strings.Join(words[:n], " "), "°C")
		if err != nil {
			continue
		}
		if n < len(words) {
			r.Humidity, err = quantity.ParseIn(strings.Join(words[n:], " "), "%")
		}
		return r, err
	}
	if len(words) > 1 && strings.IndexFunc(words[1], unicode.IsDigit) != 0 { // 20 X
		_, err = quantity.Parse(text, quantity.Temperature)
	}
	return r, err
}
