package sitting

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/workflow"
)

// askReadings asks for the missing readings of the step's first gate that is not met.
func (c *conversation) askReadings(ctx context.Context, s *workflow.State) error {
	job, err := s.Job(c.hand.Job)
	if err != nil {
		return err
	}
	for _, g := range s.GatesOf(job, c.hand.Step, c.now()) {
		if g.Met() {
			continue
		}
		// Each gate has a page of its own, and what the step says stands on the first.
		says := c.view.Action
		if c.first[c.here()] == "" {
			c.first[c.here()] = g.Gate.Name
		} else if c.first[c.here()] != g.Gate.Name {
			says = ""
		}
		return c.askPoints(ctx, s, g, says) // and look again: the gate may want a rework now
	}
	return c.finish(ctx, workflow.Finish{})
}

// askPoints asks for the first reading that is missing at a gate, and before it for what
// must stand when it is read. The reading is recorded as it is given. says is shown before
// how the gate is measured.
func (c *conversation) askPoints(ctx context.Context, s *workflow.State, g workflow.GateReport, says string) error {
	needs := s.NeedsOf(g.Gate, c.now())
	if first := s.BeforePower(g.Gate, c.now()); first != nil {
		if asked, err := c.askLookOver(ctx, s, first.Remedy.Name); asked || err != nil {
			return err
		}
		if first.Remedy.Kind == workflow.ToSetCondition {
			needs = []steps.Setting{first.Remedy.Setting}
		}
	}
	if asked, err := c.askConditions(ctx, s, needs); asked || err != nil {
		return err
	}
	missing := g.Missing()
	if len(missing) == 0 {
		return c.lookAgain(ctx)
	}
	gate, before := page.NewGate(s, g, c.now()), c.view
	c.view.ID += "/" + g.Gate.Name
	c.view.Title, c.view.Action = gate.Title, strings.TrimSpace(says+"\n\n"+gate.Action(c.clock()))
	point, unit := missing[0], g.Gate.Unit()
	what := strings.TrimSpace(g.Gate.Name + " " + point)
	request := workflow.Measure{Gate: g.Gate.Name, Readings: []workflow.Reading{{Point: point}}}
	read := func(text string) (r workflow.Measure, err error) {
		r = request
		r.Readings = slices.Clone(r.Readings)
		text, r.Gauge, _ = strings.Cut(text, " with ")
		r.Readings[0].Value, err = s.ParseReading(g.Gate, text)
		return r, err
	}
	also := "a value with its unit"
	if _, throw := s.Sheet.ControlOf(g.Gate.Name); throw {
		also = "an angle or a travel with its unit"
	}
	q := Question{
		View:   View{Rows: rowsOf(s, g, point)},
		Prompt: fmt.Sprintf("%s, in %s:", what, unit),
		Field: &Field{Label: "a number in " + unit + ", or " + also + "; \"with GAUGE\" for another gauge", Check: func(text string) Verdict {
			r, err := read(text)
			if err != nil {
				return Verdict{Said: err.Error()}
			}
			return c.verdict(s, r)
		}},
	}
	undecided := g.Standing == workflow.Undecided && g.Finding.Missing == ""
	if undecided {
		q.Keys = append(q.Keys, Key{Key: keyReworked, Word: "reworked"})
		if !g.Gate.Critical {
			q.Keys = append(q.Keys, Key{Key: keyConcede, Word: "grant a concession", Words: true})
		}
	}
	other, either := s.OtherWay(g, c.now())
	if either {
		q.Keys = append(q.Keys, Key{Key: keyOther, Word: "with the " + gate.Or.With})
	}
	reply, err := c.ask(ctx, q)
	if err != nil {
		return err
	}
	switch reply.Key {
	case keyOther:
		c.view = before
		c.view.ID += "/other"
		return c.askPoints(ctx, s, other, says)
	case keyReworked:
		return c.reworked(ctx, g)
	case keyConcede:
		return c.concede(ctx, g, reply.Text)
	}
	if request, err = read(reply.Text); err != nil {
		return err
	}
	err = c.record(ctx, request)
	var refusal *workflow.Refusal
	if !errors.As(err, &refusal) || !refusal.Doubted() {
		return err
	}
	// Enter asks for it again.
	again := Question{View: q.View, Prompt: page.Capital(refusal.Reasons[0].Text) + ".", Keys: []Key{{Key: keyYes, Word: "keep it"}, {Key: Enter, Word: "type it again", Also: keyNo}}}
	if reply, err = c.ask(ctx, again); err != nil || reply.Key != keyYes {
		return err
	}
	request.Sure = true
	return c.record(ctx, request)
}

// verdict is what a reading that is being typed would come to, by the rule that judges
// it once it is recorded.
func (c *conversation) verdict(s *workflow.State, r workflow.Measure) Verdict {
	then, err := s.Try(r, workflow.Circumstances{Now: c.now(), By: c.Desk.By})
	var refusal *workflow.Refusal
	var said []string
	unlikely := errors.As(err, &refusal) && refusal.Doubted()
	if unlikely {
		said = append(said, refusal.Reasons[0].Text)
		r.Sure = true
		then, err = s.Try(r, workflow.Circumstances{Now: c.now(), By: c.Desk.By})
	}
	switch {
	case errors.As(err, &refusal):
		return Verdict{Said: refusal.Reasons[0].Text, State: Bad, Taken: true} // the answer says what would help
	case err != nil:
		return Verdict{Said: err.Error()}
	}
	v := Verdict{Taken: true}
	point := r.Readings[0].Point
	for _, p := range page.Parts(s, then) {
		own := p.Label == point
		switch {
		case own:
			v.Scale = p.Scale
		case !lists.Contains(p.Of, point) && len(p.Of) > 0, p.Verdict == measuring.In:
			continue
		}
		if p.Says != "" {
			says := p.Says
			if p.Sure != "" {
				says += ", " + p.Sure
			}
			said = append(said, strings.TrimPrefix(p.Label+": "+says, point+": "))
		}
		if state := stateOf(p.Verdict); v.State == Unanswered || v.State == Good || state == Bad {
			v.State = state
		}
	}
	if v.State == Good && then.Standing != workflow.Current && then.Finding.Missing == "" {
		v.State, said = Unsure, append(said[:0], then.Says().Text) // by what was read before it
	}
	if unlikely && v.State != Bad {
		v.State = Unsure
	}
	v.Said = strings.Join(said, "; ")
	return v
}

// stateOf is how a row stands by its verdict.
func stateOf(v measuring.Verdict) RowState {
	return map[measuring.Verdict]RowState{measuring.In: Good, measuring.Out: Bad, measuring.Undecided: Unsure}[v]
}

// rowsOf are the points of a gate with what was read there; here is the one that is asked
// for.
func rowsOf(s *workflow.State, g workflow.GateReport, here string) []Row {
	var rows []Row
	for _, p := range page.Parts(s, g) {
		row := Row{Label: p.Label, Value: strings.TrimSpace(p.Value + " " + p.Says), State: stateOf(p.Verdict), Here: len(p.Of) == 1 && p.Label == here}
		if p.Value != "" {
			row.Scale = p.Scale
		}
		if row.Label != "" || row.Value != "" {
			rows = append(rows, row)
		}
	}
	return rows
}

// askGates asks for the rework of gates that are out of tolerance, or before a release for
// the readings of critical gates that are not met.
func (c *conversation) askGates(ctx context.Context, s *workflow.State, first string) error {
	gates, err := c.gatesAtHand(s)
	if err != nil {
		return err
	}
	for _, g := range gates {
		if g.Standing == workflow.Failed || s.ReworkLeft(g.Gate.Name, c.now()) != "" {
			return c.askRework(ctx, s, g)
		}
	}
	for _, g := range gates {
		if c.hand.Step.Kind.Traits().Releases && !g.Met() && (first == "" || g.Gate.Name == first) {
			gauge, err := s.GaugeReport(g.Gate.Gauge, c.now())
			if err != nil {
				return err
			}
			if len(gauge.Barred) > 0 {
				return c.askCheck(ctx, s)
			}
			return c.askPoints(ctx, s, g, "")
		}
	}
	return c.lookAgain(ctx)
}

// gatesAtHand returns the gates of the step at hand; a release has all gates but those of
// the work.
func (c *conversation) gatesAtHand(s *workflow.State) ([]workflow.GateReport, error) {
	if c.hand.Step.Kind.Traits().Releases {
		return s.GatesOfUse(c.now()), nil
	}
	job, err := s.Job(c.hand.Job)
	if err != nil {
		return nil, err
	}
	return s.GatesOf(job, c.hand.Step, c.now()), nil
}

// The keys at a gate that has not passed.
const (
	keyConcede  = "c"
	keyReworked = "r"
	keyOther    = "o" // it is measured in the other way
)

// askRework asks whether a gate was reworked, or for a concession. A misreading is taken
// back by the key that holds everywhere.
func (c *conversation) askRework(ctx context.Context, s *workflow.State, g workflow.GateReport) error {
	gate := page.NewGate(s, g, c.now())
	c.view.ID += "/" + g.Gate.Name + "/rework"
	c.view.Title, c.view.Action = gate.Title, gate.Action(c.clock())
	q := Question{
		View:   View{Rows: rowsOf(s, g, "")},
		Prompt: "Is it reworked? If it was mistyped or misread, take it back.",
		Keys:   []Key{{Key: keyYes, Word: "reworked"}},
	}
	if !g.Gate.Critical {
		q.Keys = append(q.Keys, Key{Key: keyConcede, Word: "grant a concession", Words: true})
	}
	reply, err := c.confirm(ctx, q, fmt.Sprintf("What needs \"%s\" waits until it passes. Go to it from the list once it is reworked.", term.Line(gate.Title)))
	if err != nil {
		return err
	}
	if reply.Key == keyYes {
		if err := c.unhurriedFor(ctx, c.since, hasty/4, "What was read no longer counts once it is reworked, and this was"); err != nil {
			return err
		}
		return c.reworked(ctx, g)
	}
	return c.concede(ctx, g, reply.Text)
}

// concede records a concession; "": the reason is asked for.
func (c *conversation) concede(ctx context.Context, g workflow.GateReport, reason string) error {
	if reason == "" {
		reply, err := c.words(ctx, "Why may it stay as it is?", "the reason of the concession")
		if err != nil {
			return err
		}
		reason = reply.Text
	}
	return c.record(ctx, workflow.Concede{Gate: g.Gate.Name, Reason: reason})
}

// words asks for words; Enter goes back.
func (c *conversation) words(ctx context.Context, prompt, label string) (Reply, error) {
	reply, err := c.ask(ctx, Question{Prompt: prompt, Keys: []Key{{Key: Enter, Word: "back"}}, Field: &Field{Label: label, Words: true}})
	if err == nil && reply.Text == "" {
		err = errAgain
	}
	return reply, err
}

// reworked records a rework, after asking which way it was done and, of one that glues,
// what with and when that was mixed.
func (c *conversation) reworked(ctx context.Context, g workflow.GateReport) error {
	r := workflow.Rework{Gate: g.Gate.Name}
	s := c.state()
	left := s.ReworkLeft(r.Gate, c.now())
	if n := len(g.Gate.Reworks); left == "" && n > 1 {
		q := Question{Prompt: fmt.Sprintf("Which way was it done, 1 to %d?", n)}
		for i, way := range g.Gate.Reworks {
			key := strconv.Itoa(i + 1)
			label := oneLine(way.Do)
			if way.Joint != "" {
				label += " Joint " + term.Line(way.Joint) + " is glued again."
			}
			q.View.Rows = append(q.View.Rows, Row{Key: key, Label: label})
			q.Keys = append(q.Keys, Key{Key: key, Word: "way " + key})
		}
		c.view.ID += "/way"
		reply, err := c.ask(ctx, q)
		if err != nil {
			return err
		}
		if r.Way, err = strconv.Atoi(reply.Key); err != nil {
			return err
		}
	}
	if may := s.AdhesivesOfRework(r.Gate, r.Way, c.now()); len(may) > 0 {
		adhesive, err := c.askAdhesive(ctx, may)
		if err != nil {
			return err
		}
		r.With = adhesive.Name
		if adhesive.Times.Mixed {
			if r.Mixed, err = c.askMixed(ctx, adhesive); err != nil {
				return err
			}
		}
	}
	if left == workflow.ToRecoat {
		r.Began = c.now()
		if _, err := c.ask(ctx, Question{Prompt: "Spread a fresh coat now. When it is on:", Keys: []Key{c.done("done")}}); err != nil {
			return err
		}
	}
	return c.record(ctx, r)
}

// oneLine is what is to be done, as a row shows it.
func oneLine(markdown string) string {
	lines := strings.Split(strings.TrimSpace(markdown), "\n")
	for i, line := range lines {
		lines[i] = strings.TrimPrefix(strings.TrimSpace(line), "- ")
	}
	return term.Line(strings.Join(lines, " "))
}

// askCheck asks for a check of the first gauge that may not be used.
func (c *conversation) askCheck(ctx context.Context, s *workflow.State) error {
	gates, err := c.gatesAtHand(s)
	if err != nil {
		return err
	}
	for _, g := range gates {
		gauge, err := s.GaugeReport(g.Gate.Gauge, c.now())
		if err != nil {
			return err
		}
		if g.Met() || len(gauge.Barred) == 0 {
			continue
		}
		read := func(text string) (workflow.CheckGauge, error) {
			r := workflow.CheckGauge{Gauge: gauge.Gauge.Name}
			reads, of, both := strings.Cut(text, " of ")
			if !both {
				return r, fmt.Errorf("give what the gauge reads and the true size: … of …")
			}
			var err error
			unit := gauge.Gauge.Resolution.Unit()
			if r.Reads, err = quantity.ParseIn(reads, unit); err == nil {
				r.Of, err = quantity.ParseIn(of, unit)
			}
			return r, err
		}
		reply, err := c.ask(ctx, Question{
			Prompt: fmt.Sprintf("%s failed its last check. Measure a reference: … of …", term.Line(gauge.Gauge.Name)),
			Field: &Field{
				Label: "what the gauge reads, \"of\", and the true size; to use another gauge, leave and measure with --gauge",
				Check: func(text string) Verdict {
					if _, err := read(text); err != nil {
						return Verdict{Said: err.Error()}
					}
					return Verdict{Taken: true}
				},
			},
		})
		if err != nil {
			return err
		}
		request, err := read(reply.Text)
		if err != nil {
			return err
		}
		return c.record(ctx, request)
	}
	return c.lookAgain(ctx)
}
