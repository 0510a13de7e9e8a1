package sitting

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
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
	if asked, err := c.askConditions(ctx, s, s.NeedsOf(g.Gate, c.now())); asked || err != nil {
		return err
	}
	missing := g.Missing()
	if len(missing) == 0 {
		return c.lookAgain(ctx)
	}
	gate := page.NewGate(s, g)
	c.view.ID += "/" + g.Gate.Name
	c.view.Title, c.view.Action = gate.Title, strings.TrimSpace(says+"\n\n"+gate.Action(c.clock()))
	point, unit := missing[0], g.Gate.Unit()
	what := strings.TrimSpace(g.Gate.Name + " " + point)
	reply, err := c.ask(ctx, Question{
		View:   View{Rows: rowsOf(g, point)},
		Prompt: fmt.Sprintf("%s, in %s:", what, unit),
		Field: &Field{Label: "a value with its unit, or a bare number in " + unit, Check: func(text string) Verdict {
			if _, err := readValue(g, text); err != nil {
				return Verdict{Said: err.Error()}
			}
			return Verdict{Taken: true}
		}},
	})
	if err != nil {
		return err
	}
	value, err := readValue(g, reply.Text)
	if err != nil {
		return err
	}
	return c.record(ctx, workflow.Measure{Gate: g.Gate.Name, Readings: []workflow.Reading{{Point: point, Value: value}}})
}

// rowsOf are the points of a gate with what was read there; here is the one that is asked
// for.
func rowsOf(g workflow.GateReport, here string) []Row {
	var rows []Row
	for _, name := range slices.Compact(g.Gate.Readings()) {
		row := Row{Label: name, Here: name == here}
		for _, p := range g.Points {
			if p.Name == name && g.Finding.Missing != "" { // else all of it is measured again
				for _, q := range p.Readings {
					row.Value = strings.TrimPrefix(row.Value+", "+q.String(), ", ")
				}
			}
		}
		if row.Label != "" || row.Value != "" {
			rows = append(rows, row)
		}
	}
	return rows
}

// readValue reads a reading of a gate; a bare number has the gate's unit.
func readValue(g workflow.GateReport, text string) (quantity.Quantity, error) {
	if text != "" && strings.Trim(text, "0123456789.,-+ ") == "" {
		text += " " + g.Gate.Unit()
	}
	return quantity.Parse(text, g.Gate.Dimension())
}

// askGates asks for the rework of gates that are out of tolerance, or before a release for
// the readings of critical gates that are not met.
func (c *conversation) askGates(ctx context.Context, s *workflow.State) error {
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
		if c.hand.Step.Kind.Traits().Releases && !g.Met() {
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
		return slices.DeleteFunc(s.Gates(c.now()), func(g workflow.GateReport) bool { return g.Gate.Work }), nil
	}
	job, err := s.Job(c.hand.Job)
	if err != nil {
		return nil, err
	}
	return s.GatesOf(job, c.hand.Step, c.now()), nil
}

// keyConcede grants a concession in place of a rework.
const keyConcede = "c"

// askRework asks whether a gate was reworked, or for a concession. A misreading is taken
// back by the key that holds everywhere.
func (c *conversation) askRework(ctx context.Context, s *workflow.State, g workflow.GateReport) error {
	gate := page.NewGate(s, g)
	c.view.ID += "/" + g.Gate.Name + "/rework"
	c.view.Title, c.view.Action = gate.Title, gate.Action(c.clock())
	q := Question{
		View:   View{Rows: rowsOf(g, "")},
		Prompt: fmt.Sprintf("Is %s reworked? If it was mistyped or misread, take it back.", g.Gate.Name),
		Keys:   []Key{{Key: keyYes, Word: "reworked"}},
	}
	if !g.Gate.Critical {
		q.Keys = append(q.Keys, Key{Key: keyConcede, Word: "grant a concession", Words: true})
	}
	reply, err := c.ask(ctx, q)
	if err != nil {
		return err
	}
	if reply.Key == keyYes {
		return c.reworked(ctx, g)
	}
	if reply.Text == "" {
		if reply, err = c.words(ctx, "Why may it stay as it is?", "the reason of the concession"); err != nil {
			return err
		}
	}
	return c.record(ctx, workflow.Concede{Gate: g.Gate.Name, Reason: reply.Text})
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
		for i := range n {
			q.Keys = append(q.Keys, Key{Key: strconv.Itoa(i + 1), Word: "way " + strconv.Itoa(i+1)})
		}
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
			if r.Reads, err = quantity.Parse(strings.TrimSpace(reads), ""); err == nil {
				r.Of, err = quantity.Parse(strings.TrimSpace(of), "")
			}
			return r, err
		}
		reply, err := c.ask(ctx, Question{
			Prompt: fmt.Sprintf("%s failed its last check. Measure a reference: … of …", term.Line(gauge.Gauge.Name)),
			Field: &Field{
				Label: "what the gauge reads, \"of\", and the true size, both with units; to use another gauge, leave and measure with --gauge",
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
