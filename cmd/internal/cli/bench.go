package cli

import (
	"context"
	"errors"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/page"
	"fettle/steps"
	"fettle/steps/quantity"
	"fettle/steps/sorting"
	"fettle/workflow"
)

type benchOptions struct {
	temperature, humidity, at string
	set                       []string
}

func (a *app) benchCommand() *cobra.Command {
	var o benchOptions
	cmd := &cobra.Command{
		Use:   "bench [MARK]…",
		Short: "Record temperature, humidity and conditions at the bench",
		Long: "Record what the bench is like in this sitting. Without a mark it is recorded for every\n" +
			"airframe with an open job or a joint that has not cured. --set records a condition,\n" +
			"such as ventilation=on, for each that knows it; what is on one alone, such as battery=out,\n" +
			"needs its mark.",
		Example:           "  fettle bench --temperature 16C --humidity 60%\n  fettle bench CW-01 --set ventilation=on",
		Args:              arguments(0, -1),
		ValidArgsFunction: a.completeAllMarks,
	}
	flags := cmd.Flags()
	stringFlag(flags, &o.temperature, "temperature", "", "the `TEMPERATURE` at the bench: 16C, 61F")
	stringFlag(flags, &o.humidity, "humidity", "", "the relative `HUMIDITY`: 60%")
	flags.StringArrayVar(&o.set, "set", nil, "how a `CONDITION=STATE` stands; may be repeated")
	at := atFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		o.at = *at
		return a.bench(cmd.Context(), args, o)
	}
	return cmd
}

func (a *app) bench(ctx context.Context, marks []string, o benchOptions) error {
	request, err := o.request()
	if err != nil {
		return err
	}
	d, err := a.desk()
	if err != nil {
		return err
	}
	var states []*workflow.State
	if len(marks) == 0 {
		states, err = a.atBench(ctx, d)
	} else {
		states, err = a.states(ctx, marks)
	}
	if err != nil {
		return err
	}
	when, err := a.when(o.at)
	if err != nil {
		return err
	}
	requests := slices.Repeat([]workflow.ReadBench{request}, len(states))
	if len(marks) == 0 {
		if requests, err = request.Among(states); err != nil {
			return err
		}
	}
	recorded := page.Records{Airframes: []page.Recorded{}}
	for i, s := range states {
		if len(marks) == 0 && requests[i].Empty() {
			continue
		}
		entries, state, err := d.Act(ctx, s, requests[i], when)
		if err != nil {
			return errors.Join(a.showSome(recorded), err)
		}
		recorded.Airframes = append(recorded.Airframes, page.NewRecorded(state, entries, a.time.Now()))
	}
	return a.show(recorded)
}

// showSome shows what was recorded before something was refused.
//
//go:noinline
func (a *app) showSome(recorded page.Records) error {
	if len(recorded.Airframes) == 0 {
		return nil
	}
	return a.show(recorded)
}

func (o benchOptions) request() (workflow.ReadBench, error) {
	var r workflow.ReadBench
	var err error
	if o.temperature != "" {
		if r.Temperature, err = quantity.Parse(o.temperature, quantity.Temperature); err != nil {
			return r, usage("%v", err)
		}
	}
	if o.humidity != "" {
		if r.Humidity, err = quantity.Parse(o.humidity, quantity.Ratio); err != nil {
			return r, usage("%v", err)
		}
	}
	for _, text := range o.set {
		condition, state, ok := strings.Cut(text, "=")
		if !ok {
			return r, usage("%q has no state; write propeller=off", text)
		}
		r.Set = append(r.Set, steps.Setting{Condition: condition, State: state})
	}
	return r, nil
}

// atBench reads the airframes that are being worked on: with an open job, or a
// joint that is not cured.
func (a *app) atBench(ctx context.Context, d *desk.Desk) ([]*workflow.State, error) {
	now := a.time.Now()
	all, err := desk.Rows(ctx, d, func(s *workflow.State, _ int) *workflow.State {
		if len(s.OpenJobs(now)) > 0 || len(s.Timers(now)) > 0 {
			return s
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	busy := sorting.Delete(all, func(s *workflow.State) bool { return s == nil })
	if len(busy) == 0 {
		return nil, usage("no airframe has an open job or a curing joint; name the airframe")
	}
	return busy, nil
}
