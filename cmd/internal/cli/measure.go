package cli

import (
	"cmp"
	"context"
	"errors"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow"
)

type measureOptions struct {
	at, gauge, concede string
	sure, anew         bool
	photos             []string
}

func (a *app) measureCommand() *cobra.Command {
	var o measureOptions
	cmd := &cobra.Command{
		Use:   "measure [MARK] GATE [POINT=VALUE]…",
		Short: "Record readings at a gate, or show it",
		Long: "Record readings at a gate. Without a reading the gate is shown. A value has a unit:\n" +
			"4.6mm, 11/64in, \"5 3/8 in\"; a bare number is in the unit of the gate. Where the sheet has\n" +
			"the chord, a throw is an angle or a travel: travel = chord × sin(angle). Scales are read as\n" +
			"they show, with their stands on: a tare that the sheet names is taken off here. A reading far\n" +
			"outside its limits, or unlike the others, is asked back on a terminal and else refused;\n" +
			"--sure keeps it. Where readings of a point lie too far apart, steady the set-up and begin\n" +
			"it anew with --anew and as many readings at once as are asked for: their mean decides,\n" +
			"and what was read before stays in the record. --concede accepts, as it is, a gate that has not passed; a critical\n" +
			"gate cannot be conceded.",
		Example:           "  fettle measure CW-01 spar-depth top-left=4.6mm \"top-root=11/64 in\" top-right=4.7mm\n  fettle measure CW-01 elevator-throw up=11deg down=11deg --gauge inclination\n  fettle measure CW-01 hinge-gap --concede \"flown so since spring\"",
		Args:              arguments(0, -1),
		ValidArgsFunction: a.completeAfterMark(gates, points),
	}
	stringFlag(cmd.Flags(), &o.gauge, "gauge", "", "the `GAUGE` used, if not the gate's own")
	boolFlag(cmd.Flags(), &o.sure, "sure", false, "keep readings that look mistyped or misread")
	boolFlag(cmd.Flags(), &o.anew, "anew", false, "begin the points anew, after the set-up was steadied")
	stringFlag(cmd.Flags(), &o.concede, "concede", "", "accept the gate as it is, for this `REASON`")
	at, photos := atFlag(cmd), photoFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		o.at, o.photos = *at, *photos
		return a.measure(cmd.Context(), args, o)
	}
	return cmd
}

func (a *app) measure(ctx context.Context, args []string, o measureOptions) error {
	s, rest, err := a.airframeAnd(ctx, "measure", "gate", dueGates, args, len(args))
	if err != nil {
		return err
	}
	gate, values := rest[0], rest[1:]
	switch {
	case o.concede != "" && len(values) > 0:
		return usage("--concede takes no readings; record the readings first, then concede")
	case o.concede != "":
		return a.act(ctx, s, workflow.Concede{Gate: gate, Reason: o.concede}, o.at, o.photos...)
	case len(values) == 0:
		now := a.time.Now()
		report, err := s.GateReport(gate, now)
		if err != nil {
			return err
		}
		return a.show(page.NewGate(s, report, now))
	}
	report, err := s.GateReport(gate, a.time.Now())
	if err != nil && !strings.ContainsAny(values[0], "0123456789") {
		d, err := a.desk()
		if err != nil {
			return err
		}
		marks, err := d.Marks(ctx) // "measure cv-01 washout 1.5deg": the first is meant for a mark
		return cmp.Or(err, workflow.UnknownMark(gate, marks))
	}
	if err != nil {
		return err
	}
	request := workflow.Measure{Gate: gate, Gauge: o.gauge, Sure: o.sure, Anew: o.anew}
	for _, v := range values {
		reading, err := parseReading(s, report.Gate, v)
		if err != nil {
			return err
		}
		request.Readings = append(request.Readings, reading)
	}
	err = a.act(ctx, s, request, o.at, o.photos...)
	var refusal *workflow.Refusal
	if !a.Interactive || !errors.As(err, &refusal) || !refusal.Doubted() {
		return err
	}
	var asked []string
	for _, reason := range refusal.Reasons {
		asked = append(asked, page.Capital(reason.Text)+". Keep it?")
	}
	if kept, asking := askLines(ctx, term.NewPrompter(ctx, a.Streams), asked); asking != nil {
		return asking
	} else if lists.Contains(kept, false) {
		return err
	}
	request.Sure = true
	return a.act(ctx, s, request, o.at, o.photos...)
}

// parseReading reads POINT=VALUE, or VALUE where the gate has one point.
func parseReading(s *workflow.State, gate steps.Gate, text string) (workflow.Reading, error) {
	point, value, named := strings.Cut(text, "=")
	if !named {
		point, value = "", text
	}
	q, err := s.ParseReading(gate.For(point), value)
	if err != nil {
		return workflow.Reading{}, usage("%v", err)
	}
	return workflow.Reading{Point: point, Value: q}, nil
}
