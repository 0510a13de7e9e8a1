// Package robot carries out jobs as a careful builder would: it does the
// suggested step, reads each gate in the middle of its limits and confirms every
// line of a hold. Tests run whole procedures with it, and the demo builds its
// other airframes with it.
package robot

import (
	"cmp"
	"errors"
	"fmt"
	"math/big"
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// A Move is what the robot does next: a request, a wait until a time, or nothing
// because no job is open.
type Move struct {
	Request workflow.Request
	Step    *workflow.StepReport // that the request brings further
	Takes   time.Duration        // attended time before the request is made
	Until   time.Time
	Over    bool
}

// ErrStuck is returned (wrapped) if nothing can be done and waiting won't help.
var ErrStuck = errors.New("nothing can be done, and waiting will not help")

// Next returns the robot's next move at the time, at a bench of 20 °C.
func Next(s *workflow.State, now time.Time) (Move, error) {
	suggestion := s.Next(now)
	switch {
	case suggestion.Over:
		return Move{Over: true}, nil
	case suggestion.Step == nil && !suggestion.Until.IsZero():
		return Move{Until: suggestion.Until}, nil
	case suggestion.Step == nil:
		return Move{}, stuck(suggestion)
	}
	for _, reason := range suggestion.Resolve {
		if request, err := resolve(s, suggestion.Step.Step, reason, now); request != nil || err != nil {
			return Move{Request: request, Step: suggestion.Step}, err
		}
	}
	if len(suggestion.Resolve) > 0 {
		return Move{}, stuck(suggestion)
	}
	takes, _ := suggestion.Step.Step.Hands.Duration()
	request, err := do(s, *suggestion.Step, now)
	return Move{Request: request, Step: suggestion.Step, Takes: takes}, err
}

func stuck(s workflow.Suggestion) error {
	waiting := s.Waiting
	if s.Step != nil {
		waiting = append(waiting, *s.Step)
	}
	if len(waiting) == 0 {
		return ErrStuck
	}
	return fmt.Errorf("%w: %s: %v", ErrStuck, waiting[0].Step.Name, waiting[0].Reasons)
}

// A Worker carries out jobs on one airframe: its state, and the time for the worker.
type Worker struct {
	State     *workflow.State
	Documents workflow.Documents
	Now       time.Time
	By        string
	Program   string
	Other     bool     // gates that may be measured in two ways are measured in their second one
	Answers   []string // of what is asked for: options and methods; else it is the first answer, and no option
	Second    string   // who helps; "": it works alone wherever there is a way
}

// Act decides one request and has the state of the longer journal.
func (w *Worker) Act(r workflow.Request) error {
	entries, err := w.State.Decide(r, workflow.Circumstances{Now: w.Now, By: w.By, Program: w.Program})
	if err != nil {
		return err
	}
	w.State, err = w.State.Longer(entries, w.Documents)
	return err
}

// Carry makes up to so many moves, until no job is left. If the sitting ends
// during a step, it reads the bench again and does the step again; what is refused
// is no move, and the fourth refusal of a step is returned.
func (w *Worker) Carry(moves int) error {
	again := 0
	for made := 0; made < moves; {
		m, err := Next(w.State, w.Now)
		switch {
		case err != nil:
			return err
		case m.Over:
			return nil
		case m.Request == nil:
			w.Now = m.Until
			made++
			continue
		}
		m.Request = w.own(m.Request, *m.Step)
		w.Now = w.Now.Add(m.Takes)
		if measures, is := m.Request.(workflow.Measure); is && w.Other {
			if m.Request, err = otherWay(w.State, measures, w.Now); err != nil {
				return err
			}
		}
		err = w.Act(m.Request)
		var refused *workflow.Refusal
		if m.Takes > 0 && again < 3 && errors.As(err, &refused) {
			again++
			continue
		}
		if err != nil {
			return err
		}
		again = 0
		made++
	}
	return nil
}

// Do does a step that is begun now, by its name with its job in front, and takes so long. What it asks for is seen to as it
// begins; what was measured or confirmed is recorded when it is over.
func (w *Worker) Do(name string, takes time.Duration) error {
	began := w.Now
	for range 100 {
		r, _, err := w.State.FindStep(name, w.Now)
		if err != nil {
			return err
		}
		request, err := w.towards(r)
		switch {
		case r.Progress == workflow.Done:
			return nil
		case err != nil:
			return err
		}
		if r.Progress == workflow.Ready {
			w.Now = began.Add(takes)
		}
		if f, is := request.(workflow.Finish); is && r.Step.Kind.Traits().Coats && r.Act != workflow.ToPress {
			adhesive, _ := w.State.Sheet.Adhesive(cmp.Or(f.With, r.Step.Adhesives[0]))
			if !r.Step.Kind.Traits().Joins || adhesive.Dries() || adhesive.Times.Mixed {
				f.Began = began
			}
			request = f
		}
		if err := w.Act(w.own(request, r)); err != nil {
			return err
		}
		if r.Act == workflow.ToCoat || r.Act == workflow.ToRecoat {
			return nil
		}
	}
	return fmt.Errorf("%w: %s", ErrStuck, name)
}

// towards is what brings a step further: what it waits for of a person, or the step.
func (w *Worker) towards(r workflow.StepReport) (workflow.Request, error) {
	if r.Progress == workflow.Ready {
		return do(w.State, r, w.Now)
	}
	for _, reason := range r.Reasons {
		if request, err := resolve(w.State, r.Step, reason, w.Now); request != nil || err != nil {
			return request, err
		}
	}
	return nil, fmt.Errorf("%w: %s: %v", ErrStuck, r.Step.Name, r.Reasons)
}

// own is the request towards a step with the worker's own answer, and with its helper.
func (w *Worker) own(r workflow.Request, towards workflow.StepReport) workflow.Request {
	helped := func(x workflow.Witness) workflow.Witness {
		if w.Second != "" && x != (workflow.Witness{}) {
			return workflow.Witness{Second: w.Second}
		}
		return x
	}
	switch r := r.(type) {
	case workflow.Finish:
		r.Witness = helped(r.Witness)
		return r
	case workflow.Clear:
		r.Witness = helped(r.Witness)
		return r
	case workflow.Choose:
		choice := towards.Step.Asked(w.State.Sheet)
		for _, name := range choice.Held(w.Answers) {
			r.No = false
			if r.Answer = name; len(towards.Step.Methods) > 0 {
				r.Answer = towards.Job + "/" + name
			}
		}
		return r
	}
	return r
}

// resolve returns the request that removes what holds a step back; nil: none does.
func resolve(s *workflow.State, step steps.Step, reason workflow.Reason, now time.Time) (workflow.Request, error) {
	switch reason.Because {
	case workflow.ByClimate:
		fair, err := fairBench()
		if last, ok := s.Entries[len(s.Entries)-1].Facts.(journal.BenchRead); ok && reason.Remedy.Kind != workflow.ToReadBench &&
			last.Temperature.Cmp(fair.Temperature) == 0 && !last.Humidity.IsZero() && last.Humidity.Cmp(fair.Humidity) == 0 {
			return nil, err // the best bench does not help
		}
		return fair, err
	case workflow.ByCondition:
		if reason.Remedy.Kind == workflow.ToClear {
			return clearAgain(s, reason.Remedy.Name, now)
		}
		var set []steps.Setting
		for _, need := range step.Needs {
			if s.Holds(need.Condition, now) != need.State && !step.Unasked(need.Condition, s.Sheet) {
				set = append(set, need)
			}
		}
		if need := reason.Remedy.Setting; !lists.Contains(set, need) { // of a gate
			set = append(set, need)
		}
		return workflow.ReadBench{Set: set}, nil
	case workflow.ByHold:
		if reason.Remedy.Kind == workflow.ToClearUse {
			use, err := s.Use(reason.Remedy.Name)
			return workflow.ClearUse{Of: use.Name, Answers: yes(use.Hold), Lines: use.Hold}, err
		}
		if _, hold := s.LooksAgain(reason.Remedy.Name, now); hold != nil {
			return clearAgain(s, reason.Remedy.Name, now)
		}
	case workflow.ByGate:
		if gate := reason.Remedy.Gate; reason.Remedy.Kind == workflow.ToRework {
			return rework(s, gate, now), nil
		}
		if reason.Remedy.Kind == workflow.ToMeasure && !step.Kind.Traits().Releases { // for a tool
			g, err := s.GateReport(reason.Remedy.Gate, now)
			if err != nil {
				return nil, err
			}
			return measure(s, g, now)
		}
		for _, g := range s.Gates(now) {
			if g.Standing == workflow.Failed {
				return rework(s, g.Gate.Name, now), nil
			}
		}
		if step.Kind.Traits().Releases {
			return measureFirst(s, s.Due(now), now)
		}
	}
	return nil, nil
}

// rework does it the first way, with the first adhesive that may be used, mixed
// just now.
func rework(s *workflow.State, gate string, now time.Time) workflow.Request {
	r := workflow.Rework{Gate: gate}
	left := s.ReworkLeft(gate, now)
	if g, err := s.GateReport(gate, now); left == "" && err == nil && len(g.Gate.Reworks) > 1 {
		r.Way = 1
	}
	may := s.AdhesivesOfRework(gate, r.Way, now)
	for _, a := range may {
		if len(a.Unfit) > 0 {
			continue
		}
		if len(may) > 1 {
			r.With = a.Name
		}
		if a.Times.Mixed {
			r.Mixed = now
		}
		break
	}
	if left == workflow.ToRecoat {
		r.Began = now
	}
	return r
}

// fairBench is a bench of 20 °C and 50 % humidity.
func fairBench() (workflow.ReadBench, error) {
	temperature, err1 := quantity.Parse("20 °C", quantity.Temperature)
	humidity, err2 := quantity.Parse("50 %", quantity.Ratio)
	return workflow.ReadBench{Temperature: temperature, Humidity: humidity}, errors.Join(err1, err2)
}

// answers has what the robot does at every kind of step.
func answers() map[steps.Kind]func(s *workflow.State, r workflow.StepReport, now time.Time) (workflow.Request, error) {
	return map[steps.Kind]func(*workflow.State, workflow.StepReport, time.Time) (workflow.Request, error){
		steps.Do: finish, steps.Coat: spread, steps.Join: finish, steps.Glue: spread, steps.Wait: finish,
		steps.Measure: measureStep, steps.Hold: confirm, steps.Choose: choose, steps.Release: release,
	}
}

func do(s *workflow.State, r workflow.StepReport, now time.Time) (workflow.Request, error) {
	return answers()[r.Step.Kind](s, r, now)
}

func finish(s *workflow.State, r workflow.StepReport, _ time.Time) (workflow.Request, error) {
	return workflow.Finish{Step: r.Job + "/" + r.Step.Name, Thing: thing(s, r.Step), Witness: witness(r.Step)}, nil
}

// thing is a name that nothing on the airframe has had.
func thing(s *workflow.State, step steps.Step) string {
	if step.Fits == "" {
		return ""
	}
	fitted := 0
	for _, e := range s.Entries {
		if e.Facts.Kind() == (journal.EquipmentChanged{}).Kind() {
			fitted++
		}
	}
	return fmt.Sprintf("spare %d", fitted+1)
}

// witness is the first way of doing without a second person, or where there is
// none a second person.
func witness(step steps.Step) workflow.Witness {
	switch {
	case !step.WantsSecond():
		return workflow.Witness{}
	case len(step.WaysAlone()) == 0:
		return workflow.Witness{Second: "second"}
	}
	return workflow.Witness{Alone: 1}
}

// spread takes the first adhesive that may be used.
func spread(s *workflow.State, r workflow.StepReport, now time.Time) (workflow.Request, error) {
	f := workflow.Finish{Step: r.Job + "/" + r.Step.Name}
	job, err := s.Job(r.Job)
	if err != nil {
		return nil, err
	}
	may := s.AdhesivesOf(job, r.Step, now)
	with := may[max(0, slices.IndexFunc(may, func(a workflow.AdhesiveReport) bool { return len(a.Unfit) == 0 }))] // a step that spreads has one
	if len(may) > 1 {
		f.With = with.Name
	}
	if r.Completes(with.Adhesive) {
		f.Witness = witness(r.Step)
	}
	if r.Act == workflow.ToRecoat {
		f.Began = now
	}
	return f, nil
}

func confirm(s *workflow.State, r workflow.StepReport, _ time.Time) (workflow.Request, error) {
	return workflow.Clear{Step: r.Job + "/" + r.Step.Name, Answers: yes(r.Step.Confirm), Lines: r.Step.Confirm, Thing: thing(s, r.Step), Witness: witness(r.Step)}, nil
}

// yes is a yes to each of the lines.
func yes(lines []string) []bool {
	answers := make([]bool, len(lines))
	for i := range answers {
		answers[i] = true
	}
	return answers
}

// choose takes the first answer. An option by itself it does without.
func choose(s *workflow.State, r workflow.StepReport, _ time.Time) (workflow.Request, error) {
	choice := r.Step.Asked(s.Sheet)
	answer := choice.Answers[0].Name
	if len(r.Step.Methods) > 0 {
		answer = r.Job + "/" + answer
	}
	return workflow.Choose{Answer: answer, No: choice.Alone}, nil
}

func release(*workflow.State, workflow.StepReport, time.Time) (workflow.Request, error) {
	return workflow.GiveRelease{}, nil
}

// measureStep measures the first gate of the step that is not met.
func measureStep(s *workflow.State, r workflow.StepReport, now time.Time) (workflow.Request, error) {
	job, err := s.Job(r.Job)
	if err != nil {
		return nil, err
	}
	request, err := measureFirst(s, s.GatesOf(job, r.Step, now), now)
	if request == nil && err == nil {
		return finish(s, r, now)
	}
	return request, err
}

// measureFirst measures the first of the gates that is not met; nil: each is.
func measureFirst(s *workflow.State, gates []workflow.GateReport, now time.Time) (workflow.Request, error) {
	for _, g := range gates {
		if g.Met() {
			continue
		}
		var set []steps.Setting
		for _, need := range s.NeedsOf(g.Gate, now) {
			if s.Holds(need.Condition, now) != need.State {
				set = append(set, need)
			}
		}
		if len(set) > 0 {
			return workflow.ReadBench{Set: set}, nil
		}
		return measure(s, g, now)
	}
	return nil, nil
}

// otherWay is the measuring of a gate in its other way, if it has one and was not read so
// last.
func otherWay(s *workflow.State, r workflow.Measure, now time.Time) (workflow.Request, error) {
	g, err := s.GateReport(r.Gate, now)
	if err != nil {
		return nil, err
	}
	if own, _ := s.Sheet.Gate(r.Gate); own.Gauge != g.Gate.Gauge {
		return r, nil
	}
	other, ok := s.OtherWay(g, now)
	if !ok {
		return r, nil
	}
	return measure(s, other, now)
}

// measure takes every reading of a gate, each in the middle of its limits, or
// such that the result is, as near as its gauge shows it.
func measure(s *workflow.State, g workflow.GateReport, now time.Time) (workflow.Request, error) {
	value, err := ideal(g.Gate.Limits)
	if err != nil {
		return nil, fmt.Errorf("gate %s: %w", g.Gate.Name, err)
	}
	gauge, _ := s.Sheet.Gauge(g.Gate.Gauge)
	request := workflow.Measure{Gate: g.Gate.Name, Sure: true}
	for _, point := range g.Gate.Readings() {
		of := value
		if !g.Gate.Result.IsZero() {
			if of, err = readingFor(s, g.Gate, point, value, now); err != nil {
				return nil, err
			}
		}
		if of, err = shown(gauge, of); err != nil {
			return nil, fmt.Errorf("gate %s: %w", g.Gate.Name, err)
		}
		request.Readings = append(request.Readings, workflow.Reading{Point: point, Value: of})
	}
	return request, nil
}

// readingFor is a reading at a point with which the gate's result comes to the
// value. Scales carry the known mass between them.
func readingFor(s *workflow.State, g steps.Gate, point string, value quantity.Quantity, now time.Time) (quantity.Quantity, error) {
	target, err := value.Rat(g.Limits.Unit())
	if err != nil {
		return quantity.Quantity{}, err
	}
	readings := g.Rule().Meet(target)
	of, ok := readings[point]
	if !ok {
		return quantity.Quantity{}, fmt.Errorf("gate %s: no readings were found for %s", g.Name, value)
	}
	if len(g.Result.Stations) > 0 {
		tare, sum := new(big.Rat), new(big.Rat)
		for _, scale := range g.Result.Stations {
			carries := readings[scale.Point]
			if t, err := scale.Tare.Rat(g.Unit()); err == nil {
				carries = new(big.Rat).Sub(carries, t)
				if scale.Point == point {
					tare = t
				}
			}
			sum.Add(sum, carries)
		}
		whole := big.NewRat(1, 1)
		if mass, err := quantity.New(whole, "g"); err == nil {
			whole, _ = mass.Rat(g.Unit()) // of a gram
		}
		whole.Mul(whole, wholeMass(s, now))
		// Where it balances does not change if every scale carries so much more.
		of = new(big.Rat).Sub(of, tare)
		of.Mul(of, whole.Quo(whole, sum)).Add(of, tare)
		of.SetString(of.FloatString(6))
	}
	return quantity.New(of, g.Unit())
}

// wholeMass is the mass of the airframe in g as far as anything says so: the middle of
// what is known, or the sum of its parts.
func wholeMass(s *workflow.State, now time.Time) *big.Rat {
	known, ok := s.KnownMass(now)
	if mass := new(big.Rat).SetFloat64((known.Low + known.High) / 2); ok && mass != nil {
		return mass
	}
	if p, err := s.Poise(now); err == nil && p.Mass > 0 {
		return new(big.Rat).SetFloat64(p.Mass)
	}
	return big.NewRat(200, 1)
}

// shown is what the gauge shows of the value.
func shown(gauge steps.Gauge, value quantity.Quantity) (quantity.Quantity, error) {
	if gauge.Doubt().Shows(value) {
		return value, nil
	}
	unit := gauge.Resolution.Unit()
	is, err1 := value.Rat(unit)
	step, err2 := gauge.Resolution.Rat(unit)
	if err := errors.Join(err1, err2); err != nil {
		return quantity.Quantity{}, err
	}
	whole := is.Quo(is, step).FloatString(0)
	is.SetString(whole)
	return quantity.New(is.Mul(is, step), unit)
}

// ideal is a value well inside the limits: their middle, or where there is
// only one, half as far again on the right side of it.
func ideal(l measuring.Limits) (quantity.Quantity, error) {
	unit := l.Unit()
	rat := func(q quantity.Quantity) *big.Rat {
		r, err := q.Rat(unit)
		if err != nil {
			return new(big.Rat)
		}
		return r
	}
	two := big.NewRat(2, 1)
	value := new(big.Rat)
	switch {
	case !l.Low.IsZero() && !l.High.IsZero():
		value.Add(rat(l.Low), rat(l.High)).Quo(value, two)
	case !l.Low.IsZero():
		low := rat(l.Low)
		value.Add(low, new(big.Rat).Abs(low)).Add(value, big.NewRat(1, 1))
	case !l.High.IsZero():
		value.Quo(rat(l.High), two)
	}
	return quantity.New(value, unit)
}

// clearAgain clears a hold once more.
func clearAgain(s *workflow.State, name string, now time.Time) (workflow.Request, error) {
	hold, _, err := s.FindStep(name, now)
	return workflow.Clear{Step: name, Answers: yes(hold.Step.Confirm), Lines: hold.Step.Confirm, Witness: witness(hold.Step)}, err
}
