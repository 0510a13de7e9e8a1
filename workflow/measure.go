package workflow

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// Measure records readings at a gate.
type Measure struct {
	Gate     string
	Readings []Reading
	Gauge    string // "": the gate's own
	Sure     bool   // also readings that are probably mistyped or misread
	Anew     bool   // their points are begun anew, since the set-up was steadied
}

// A Reading is a value at one point of a gate.
type Reading struct {
	Point string
	Value quantity.Quantity
}

func (r Measure) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	facts, err := r.taken(s, c)
	if err != nil {
		return nil, err
	}
	return s.completing(facts, c)
}

// Try is how the gate would stand with the readings, by the rule that judges them once
// they are recorded; or why they can't be.
func (s *State) Try(r Measure, c Circumstances) (GateReport, error) {
	c.At = c.Now
	facts, err := r.taken(s, c)
	if err != nil {
		return GateReport{}, err
	}
	after, err := s.then(facts, c)
	if err != nil {
		return GateReport{}, err
	}
	return after.GateReport(r.Gate, c.At)
}

// taken are the readings as they are recorded.
func (r Measure) taken(s *State, c Circumstances) ([]journal.Facts, error) {
	report, err := s.GateReport(r.Gate, c.At)
	if err != nil {
		return nil, err
	}
	whole := report
	if other, ok := s.OtherWay(report, c.At); ok && len(r.Readings) > 0 && lists.Contains(other.Gate.PointNames(), r.Readings[0].Point) {
		report = other
	}
	gate := report.Gate
	gauge := gate.Gauge
	if r.Gauge != "" {
		gauge = r.Gauge
	}
	used, ok := s.Sheet.Gauge(gauge)
	if !ok {
		return nil, unknown("gauge", gauge, gaugeNames(s.Sheet))
	}
	if len(r.Readings) == 0 {
		return nil, bad("give at least one reading for %s", gate.Name)
	}
	if _, throw := s.Sheet.ControlOf(gate.Name); !throw && used.Resolution.Dimension() != gate.Dimension() {
		return nil, bad("%s measures in %s, and %s is in %s", used.Name, used.Resolution.Unit(), gate.Name, gate.Unit())
	}
	var facts []journal.Facts
	at := map[string]int{} // readings, by point
	for _, reading := range r.Readings {
		if !lists.Contains(gate.PointNames(), reading.Point) {
			return nil, pointError(gate, reading.Point)
		}
		if at[reading.Point]++; at[reading.Point] > gate.Repeat && !r.Anew {
			return nil, tooMany(gate, reading.Point)
		}
		if control, throw := s.Sheet.ControlOf(gate.Name); throw {
			if _, err := control.Throw(reading.Value, gate.Unit()); err != nil {
				return nil, bad("%v", err)
			}
			if err := s.readWith(control, used, reading.Value); err != nil {
				return nil, err
			}
		} else if want := gate.Dimension(); reading.Value.Dimension() != want {
			return nil, bad("%s is a %s, not a %s; %s is measured in %s", reading.Value.Typed(), reading.Value.Dimension(), want, gate.Name, gate.Unit())
		}
		if err := shown(used, reading.Value); err != nil {
			return nil, err
		}
		facts = append(facts, journal.ReadingTaken{Gate: gate.Name, Point: reading.Point, Value: reading.Value, Gauge: gauge, Anew: r.Anew})
	}
	reasons := append(s.nothingToMeasure(gate, c.At), s.unmeasurable(whole, c.At)...)
	reasons = append(reasons, s.barred(gauge, c.At)...)
	reasons = append(reasons, s.outAlready(report, r.Readings)...)
	reasons = append(reasons, s.unsafe(gate, c.At)...)
	reasons = append(reasons, s.carelessAt(gate, c.At)...)
	if reason := s.Untrusted(c.Now); reason != nil {
		reasons = append(reasons, *reason)
	}
	if len(reasons) > 0 {
		return nil, &Refusal{What: gate.Name, Reasons: reasons}
	}
	if err := r.begins(report, at); err != nil {
		return nil, err
	}
	if reasons := s.weighed(report, r.Readings, used, true, c.At); len(reasons) > 0 { // whoever is sure
		return nil, &Refusal{What: gate.Name, Reasons: reasons}
	}
	if r.Sure {
		return facts, nil
	}
	if reasons := s.unlikely(report, r.Readings); len(reasons) > 0 {
		return nil, &Refusal{What: gate.Name, Reasons: reasons}
	}
	if reasons := s.weighed(report, r.Readings, used, false, c.At); len(reasons) > 0 {
		return nil, &Refusal{What: gate.Name, Reasons: reasons}
	}
	return facts, nil
}

// begins refuses to begin points anew whose readings agree, or with too few readings.
func (r Measure) begins(report GateReport, at map[string]int) error {
	if !r.Anew {
		return nil
	}
	apart, want := report.Finding.Unsteady, report.Gate.Rule().Anew()
	if report.Standing != Undecided || len(apart) == 0 {
		return bad("no readings of %s lie too far apart; nothing begins anew", r.Gate)
	}
	for point, n := range at {
		if !lists.Contains(apart, point) {
			return bad("only readings%s lie too far apart; nothing else begins anew", where(strings.Join(apart, ", ")))
		}
		if n < want || n > 50 {
			return bad("%s begins anew%s with %d to 50 readings at once, and here are %d", r.Gate, where(point), want, n)
		}
	}
	return nil
}

// unlikely says which of the readings are probably mistyped or misread. What counts at
// the gate should be near them, and so should the last reading at a point where none
// counts any more, unless it was reworked since.
func (s *State) unlikely(r GateReport, readings []Reading) []Reason {
	record := s.gates[r.Gate.Name]
	var points []measuring.Point
	for _, name := range r.Gate.PointNames() {
		p := measuring.Point{Name: name}
		for _, at := range r.Points {
			if at.Name == name {
				p.Readings = slices.Clone(at.Readings)
			}
		}
		if len(p.Readings) == 0 && record != nil {
			for _, earlier := range lastOf(record.readings, name, 1) {
				if earlier.position > record.reworked {
					p.Readings = append(p.Readings, earlier.Value)
				}
			}
		}
		points = append(points, p)
	}
	var reasons []Reason
	sure := Remedy{Kind: ToBeSure, Gate: r.Gate.Name, Unit: r.Gate.Unit()}
	for _, reading := range readings {
		value, _ := thrown(s.Sheet, journal.ReadingTaken{Gate: r.Gate.Name, Value: reading.Value})
		if why := r.Gate.Rule().Unlikely(reading.Point, value, points); why != "" {
			reasons = append(reasons, Reason{Because: ByReading, Text: strings.TrimSuffix(reading.Value.String()+" at "+reading.Point, " at ") + " is unlikely: " + why})
			sure.Points = append(sure.Points, reading.Point)
			continue
		}
		sure.Names = append(sure.Names, strings.TrimPrefix(reading.Point+"="+reading.Value.Typed(), "="))
		for i := range points {
			if points[i].Name == reading.Point {
				points[i].Readings = append(points[i].Readings, value)
			}
		}
	}
	for i := range reasons {
		reasons[i].Remedy = s.remedy(sure)
	}
	if len(reasons) > 0 && len(sure.Names) > 0 {
		reasons[len(reasons)-1].Text += "; none of these readings is recorded yet"
	}
	return reasons
}

// shown refuses a reading finer than its gauge shows: somebody worked it out, or read
// it with another gauge.
func shown(gauge steps.Gauge, value quantity.Quantity) error {
	if gauge.Doubt().Shows(value) {
		return nil
	}
	return bad("%s is finer than %s shows, in steps of %s; give what it shows, at most to half a step, or name the gauge that was used", value.Typed(), gauge.Name, gauge.Resolution)
}

// readWith refuses a throw in a form that the gauge does not show.
func (s *State) readWith(control steps.Control, gauge steps.Gauge, value quantity.Quantity) error {
	of := value.Dimension()
	if gauge.Resolution.Dimension() == of {
		return nil
	}
	var others []string
	for _, g := range s.Sheet.Gauges {
		// Turns are angles too, and no throw is read by them.
		if _, err := control.Throw(g.Resolution, value.Unit()); err == nil && g.Resolution.Dimension() == of {
			others = append(others, g.Name)
		}
	}
	if len(others) == 0 {
		return bad("%s can't be read with %s, nor with another gauge of the sheet", value.Typed(), gauge.Name)
	}
	return bad("%s can't be read with %s; name the gauge that was used: %s", value.Typed(), gauge.Name, strings.Join(others, ", "))
}

// nothingToMeasure says which zones of the gate were thrown away, as long as nothing of
// them is made again, and what of them is in quarantine, as long as nothing else is
// certainly there instead: what is old measures well on the bench.
func (s *State) nothingToMeasure(gate steps.Gate, at time.Time) []Reason {
	var reasons []Reason
	if len(s.lost) > 0 { // how zones stand takes longer to find out than all else of a gate
		for _, zone := range s.Zones(at).Lost() {
			if gate.DependsOn(zone) && !s.begunAnew(zone, at) {
				reasons = append(reasons, Reason{Because: ByState, Text: fmt.Sprintf("the %s was thrown away, and is not made again yet", zone)})
			}
		}
	}
	for _, q := range s.Quarantines {
		listed := slices.ContainsFunc(q.Things, func(t Thing) bool { return s.listed(t.Item) }) // else nothing could be fitted in its place
		if q.Open() && listed && !q.replaced && gate.DependsOn(q.Zone) {
			reason := Reason{Because: ByHold, Text: fmt.Sprintf("%s (damage %s) is in quarantine; what replaces it is measured", q.Says(), q.of())}
			if aboard := s.quarantined(q, at); aboard != nil {
				reason.Remedy = aboard.Remedy
			}
			reasons = append(reasons, reason)
		}
	}
	return reasons
}

// begunAnew reports whether something of a lost zone is made again, or nobody can
// tell: the job does not say which of its steps make it.
func (s *State) begunAnew(zone string, at time.Time) bool {
	job, err := s.Job(s.lost[zone].job)
	if err != nil {
		return false
	}
	makes, _ := s.made(job, zone, at)
	return !makes || s.worked(s.Size())[workedOn{job.ID, zone}]
}

// unsafe says which conditions do not stand that must when the gate is read: a
// propeller that is on. What is plugged in for it is so after the hold that is looked over for that by the step that measures the gate,
// whatever other job plugs in: nothing runs at full throttle that was not tied down for it.
//
//go:noinline
func (s *State) unsafe(gate steps.Gate, at time.Time) []Reason {
	var reasons []Reason
	needs := s.NeedsOf(gate, at)
	s.safely(needs)
	for _, need := range needs {
		if first := s.leftToCheck(need, nil, at); first != nil && s.isGuarded(need) {
			reasons = append(reasons, *first)
			continue
		}
		if wrong := s.guarded(nil, []steps.Setting{need}, at); len(wrong) > 0 { // damage, which its repair sees to first
			reasons = append(reasons, wrong...)
			continue
		}
		stands := s.stands(need, at, needs...)
		if loose := s.untied(&gate, need, at); loose != nil && !helped(stands, loose) {
			reasons = append(reasons, *loose)
		}
		reasons = append(reasons, stands...)
	}
	return append(reasons, s.harms(openCoat{}, "needs", needs, at)...)
}

// carelessAt says what is not confirmed yet of the tools of the step that measures
// the gate, where every step of an open job that does so has some.
func (s *State) carelessAt(gate steps.Gate, at time.Time) []Reason {
	var reasons []Reason
	for _, job := range s.OpenJobs(at) {
		for _, step := range job.Procedure.Steps() {
			if !s.measures(job, *step, gate, at) {
				continue
			}
			left := s.careless(job, *step, at)
			if len(left) == 0 {
				return nil
			}
			reasons = append(reasons, left...)
		}
	}
	return reasons
}

// NeedsOf are the conditions that must stand when the gate is read: its own, and
// those of a step for measuring it. The steps of open jobs count; if none of them
// measures the gate, those of finished jobs do. Of several steps it is the one
// that lacks least.
func (s *State) NeedsOf(gate steps.Gate, at time.Time) []steps.Setting {
	ways := s.waysToMeasure(gate, s.OpenJobs(at), at)
	if len(ways) == 0 {
		ways = s.waysToMeasure(gate, s.Jobs, at)
	}
	var least []steps.Setting
	fewest := -1
	for _, needs := range ways { // one of the steps must have all that it needs
		needs = without(needs, gate.Needs)
		lacking := 0
		for _, need := range needs {
			lacking += len(s.stands(need, at))
		}
		if fewest < 0 || lacking < fewest {
			least, fewest = needs, lacking
		}
	}
	return slices.Concat(gate.Needs, least)
}

// waysToMeasure are the needs of each step of the jobs that measures the gate and
// needs anything.
func (s *State) waysToMeasure(gate steps.Gate, jobs []*Job, at time.Time) [][]steps.Setting {
	var ways [][]steps.Setting
	for _, job := range jobs {
		for _, step := range job.Procedure.Steps() {
			if !step.Kind.Traits().Measures { // which saves asking for the needs of each
				continue
			}
			needs := s.NeedsAt(job, *step, at)
			if len(needs) > 0 && s.measures(job, *step, gate, at) {
				ways = append(ways, needs)
			}
		}
	}
	return ways
}

// measures reports whether a step of the job is there to measure the gate, by its
// name or because it is due, or was till it was measured, and the step can.
func (s *State) measures(job *Job, step steps.Step, gate steps.Gate, at time.Time) bool {
	switch {
	case !step.Kind.Traits().Measures:
		return false
	case lists.Contains(step.Gates, gate.Name):
		return true
	}
	return lists.Contains(step.Gates, steps.Stale) && !gate.Work && s.turn(job, step).takes(gate) &&
		(job.Procedure.Accepts != "" || !s.report(gate, at).Met() || gate.DependsOn(append(s.disturbedBy(job), s.damagedFor(job)...)...))
}

// without are the needs of other conditions than these.
func without(needs, these []steps.Setting) []steps.Setting {
	return sorting.Delete(slices.Clone(needs), func(need steps.Setting) bool {
		return steps.AnySetting(these, func(n steps.Setting) bool { return n.Condition == need.Condition })
	})
}

// lacking gives the needs of several that do not stand, and what keeps them from it: nobody is told to set what nobody may set. Where
// two of them need a condition otherwise, as a battery in and out, either will do.
func (s *State) lacking(j *Job, needs []steps.Setting, at time.Time) (reasons []Reason) {
	var kept []Reason
	for i, need := range needs {
		guards := s.guarded(j, []steps.Setting{need}, at)
		kept = append(kept, guards...)
		same := func(n steps.Setting) bool { return n.Condition == need.Condition }
		stands := func(n steps.Setting) bool { return same(n) && len(s.stands(n, at)) == 0 }
		if len(guards) == 0 && !slices.ContainsFunc(needs[:i], same) && !slices.ContainsFunc(needs, stands) {
			reasons = append(reasons, s.stands(need, at)...)
		}
	}
	return append(reasons, kept...)
}

// outAlready refuses to measure a point again if it is out of tolerance, alone or
// with another, and others have no reading yet: it must be reworked first.
func (s *State) outAlready(r GateReport, readings []Reading) []Reason {
	if r.Finding.Missing == "" {
		return nil
	}
	if !r.Gate.Result.IsZero() { // it needs every reading
		return nil
	}
	rule, pair := r.Gate.Rule(), r.Gate.Rule()
	rule.Limits.Alike, pair.Limits = quantity.Quantity{}, measuring.Limits{Alike: r.Gate.Limits.Alike}
	judge := func(rule measuring.Rule, points ...measuring.Point) measuring.Finding {
		found, err := rule.Judge(points, r.Doubts)
		if err != nil { // it has no such limits
			return measuring.Finding{}
		}
		return found
	}
	var reasons []Reason
	for _, p := range r.Points {
		if !slices.ContainsFunc(readings, func(again Reading) bool { return again.Point == p.Name }) {
			continue
		}
		found := judge(rule, measuring.Point(p))
		for _, other := range r.Points {
			if found.Verdict != measuring.Out {
				found = judge(pair, measuring.Point(p), measuring.Point(other))
			}
		}
		if found.Verdict == measuring.Out {
			reasons = append(reasons, Reason{Because: ByGate, Text: fmt.Sprintf("%s is out of tolerance (%s)", r.Gate.Name, found.Reason),
				Remedy: s.remedy(Remedy{Kind: ToMeasureRest, Gate: r.Gate.Name, Points: r.Missing()})})
		}
	}
	return reasons
}

func pointError(gate steps.Gate, point string) error {
	if other, ok := gate.Other(); ok {
		return bad("%s is measured %s, or %s; write all readings in one way", gate.Name, wayOf(gate), wayOf(other))
	}
	if len(gate.Points) == 0 {
		return bad("%s has only one point; leave out %q", gate.Name, point)
	}
	if point == "" {
		return bad("%s is measured at %s; write POINT=VALUE", gate.Name, strings.Join(gate.Points, ", "))
	}
	return unknownOf(gate.Name, "point", point, gate.Points)
}

// wayOf is how a gate is read.
func wayOf(g steps.Gate) string {
	if len(g.Points) == 0 {
		return "with the " + g.Gauge + " alone"
	}
	return "with the " + g.Gauge + " at " + strings.Join(g.Points, " and ")
}

// tooMany refuses more readings at a point than count: the first of them would
// be passed over, whatever it said.
func tooMany(g steps.Gate, point string) error {
	where := g.Name
	if point != "" {
		where += " at " + point
	}
	if g.Repeat == 1 {
		return bad("%s takes one reading; give it once", where)
	}
	return bad("%s takes %d readings; give no more", where, g.Repeat)
}

func gaugeNames(sheet *steps.Sheet) []string {
	names := make([]string, len(sheet.Gauges))
	for i, g := range sheet.Gauges {
		names[i] = g.Name
	}
	return names
}

// completing adds to facts about gates the completion of each measure step
// whose turn has come and whose gates are now met. Of one that wants a second
// person, somebody has to say who that was.
func (s *State) completing(facts []journal.Facts, c Circumstances) ([]journal.Facts, error) {
	after, err := s.then(facts, c)
	if err != nil {
		return nil, err
	}
	for _, job := range after.OpenJobs(c.At) {
		for _, r := range after.stepsThat(job, c.At, func(_ steps.Stage, step *steps.Step) bool {
			return step.Kind.Traits().Measures && !step.WantsSecond()
		}) {
			if r.Progress == Ready && len(after.unmet(job, r.Step, c.At)) == 0 && !c.At.Before(after.lastBefore(job, r)) {
				facts = append(facts, after.waited(job, r.Stage, r.Step.Name, c.At)...)
				facts = append(facts, journal.StepDone{Work: after.work(job, r.Step)})
			}
		}
	}
	return facts, nil
}

// unmet gives a reason for each gate of a measure step that is not met.
func (s *State) unmet(job *Job, step steps.Step, at time.Time) []Reason {
	var reasons []Reason
	for _, g := range s.GatesOf(job, step, at) {
		if !g.Met() {
			reasons = append(reasons, Reason{Because: ByGate, Text: g.Gate.Name + " is " + g.Says().Text, At: g.Says().At,
				Remedy: s.ToMeet(g, at)})
		}
	}
	return reasons
}

// Words is the standing in the words used for people.
//
//go:noinline
func (r GateReport) Words() string {
	if r.Doubted && r.Standing == NeverTaken {
		return "in doubt"
	}
	return r.Standing.Words()
}

// Says is the standing with its reason, in a few words.
// It is not inlined: its copies in all callers would take 10 KB.
//
//go:noinline
func (r GateReport) Says() Cause {
	words := r.Words()
	if r.Reason.IsZero() || r.Reason.Text == words {
		return Cause{Text: words}
	}
	return r.Reason.after(words + ": ")
}

// Missing are the points that still need readings, once for each reading. If
// the gate has all its readings and is not met, it needs all of them again.
func (r GateReport) Missing() []string {
	have := map[string]int{}
	if r.Finding.Missing != "" {
		for _, p := range r.Points {
			have[p.Name] = len(p.Readings)
		}
	}
	var points []string
	for _, p := range r.Gate.Readings() {
		if have[p]--; have[p] < 0 {
			points = append(points, p)
		}
	}
	return points
}

// Concede accepts for use a gate that is not met, or that nobody can measure. A step
// that names the gate wants it measured all the same.
type Concede struct{ Gate, Reason string }

func (r Concede) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	report, err := s.GateReport(r.Gate, c.At)
	if err != nil {
		return nil, err
	}
	reason := strings.TrimSpace(r.Reason)
	switch {
	case reason == "":
		return nil, bad("a concession needs a reason")
	case report.Standing == Current:
		return nil, refuse("a concession on "+r.Gate, ByGate, "the gate has passed; there is nothing to concede", Remedy{})
	case report.Gate.Critical:
		return nil, refuse("a concession on "+r.Gate, ByGate, "the gate is critical; no concession can waive it", s.remedy(Remedy{Kind: ToRework, Gate: r.Gate}))
	case report.Gate.Work && report.Standing != Failed && report.Standing != Undecided, report.Finding.Missing != "":
		return nil, refuse("a concession on "+r.Gate, ByGate, fmt.Sprintf("the gate is %s; a concession can accept only a complete set of readings that are out of tolerance or undecided", report.Standing.Words()), s.measureIt(report.Gate, c.At))
	}
	if reason := s.Untrusted(c.Now); reason != nil {
		return nil, &Refusal{What: "a concession on " + r.Gate, Reasons: []Reason{*reason}}
	}
	for _, p := range report.Rests {
		if at := s.Entries[p].At; c.At.Before(at) {
			return nil, &Refusal{What: "a concession on " + r.Gate, Reasons: []Reason{{Because: ByOrder, At: at,
				Text: fmt.Sprintf("it cannot be dated before the reading that it is about, entry %d", p)}}}
		}
	}
	return s.completing([]journal.Facts{journal.ConcessionGranted{Gate: r.Gate, Reason: reason, Readings: report.Rests}}, c)
}
