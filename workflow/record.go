package workflow

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// A Record is what a journal tells of an airframe, for whoever reads it as a table or as
// a book. What was taken back is not in it.
type Record struct {
	Judgements  []Judgement // in the order in which they were judged
	Flights     []FlightFacts
	Jobs        []JobFacts
	Damages     []DamageFacts
	Repairs     []RepairFacts
	Joints      []JointFacts // that were joined, ever
	Releases    []ReleaseFacts
	Concessions []Concession
	Holds       []HoldCleared
	Seconds     []Seconded
	Parts       []PartFacts
	BadGauges   []BadGauge
}

// A Judgement is a gate as it was judged in one sitting: by the readings of that sitting
// and those from before it that counted still, with the limits and the gauges of then. A
// sitting ends once the gate has all its readings and a verdict, undecided too: what is
// read there later is judged anew.
type Judgement struct {
	Gate       steps.Gate // with the limits then
	Job, Step  string     // whose measure step it was for; "": none
	From, At   time.Time  // the first and the last reading of the sitting
	By         []string
	Gauges     []string    // by name
	Entries    []int64     // the readings of the sitting
	Report     GateReport  // how the gate stood after the last of them
	Judged     []Judged    // each value by itself, as it was judged then
	Counts     bool        // the gate rests on a reading of it now
	Doubt      *GaugeCheck // that casts doubt on a reading of it since; nil: none
	Concession *Concession // that accepted it; nil: none
}

// Passed reports whether the gate was in tolerance.
func (j *Judgement) Passed() bool { return j.Report.Standing == Current }

// Of is the value that was judged at a point, or of a pair; without a name the result,
// or the only point.
func (j *Judgement) Of(points ...string) (Judged, bool) {
	for _, v := range j.Judged {
		if lists.Equal(v.Of, points) || len(points) == 0 && (len(v.Of) == 0 || lists.Equal(v.Of, []string{""})) {
			return v, true
		}
	}
	return Judged{}, false
}

// A Judged is one value that a gate is judged by: the mean at a point, the difference of
// a pair, or the result.
type Judged struct {
	measuring.Part
	Low, High float64 // the limits, in Unit; NaN: none. Of a pair the upper one is what it may differ
	U         float64 // expanded uncertainty, in Unit; +Inf: nothing can be decided
	// Room is what is left to the nearest limit, as a share of the distance between both
	// limits, or of the limit where there is one; negative is outside, NaN is unknown.
	Room float64
}

// Near is the room below which a value that passed is said to be near its limit.
const Near = 0.1

// Named says in words which value it is; "": the only one.
//
//go:noinline
func (v Judged) Named() string { return strings.Join(v.Of, " / ") }

// Limited reports whether the value has a limit of its own.
func (v Judged) Limited() bool { return !math.IsNaN(v.Low) || !math.IsNaN(v.High) }

// Judged are the values that the gate is judged by, with those that are still to be read.
func (s *State) Judged(r GateReport) []Judged {
	var all []Judged
	for _, part := range s.Parts(r) {
		v := Judged{Part: part, Low: math.NaN(), High: math.NaN(), Room: math.NaN(), U: part.U}
		if len(part.Of) == 2 {
			v.High = float(r.Gate.Limits.Alike.Span(part.Unit))
		}
		if len(part.Of) < 2 && (len(part.Of) == 0 || r.Gate.Result.IsZero()) {
			v.Low, v.High = float(r.Gate.Limits.Low.Rat(part.Unit)), float(r.Gate.Limits.High.Rat(part.Unit))
		}
		if m := part.Finding.Margin; m.Known {
			width := v.High - v.Low
			if math.IsNaN(v.Low) {
				width = math.Abs(v.High)
			} else if math.IsNaN(v.High) {
				width = math.Abs(v.Low)
			}
			if width > 0 {
				v.Room = math.Round(m.By/width*1e9) / 1e9
			}
		}
		all = append(all, v)
	}
	return all
}

// Record is what the journal tells, as it stands at the time.
func (s *State) Record(at time.Time) (*Record, error) {
	w := &recorder{final: s, rows: map[string]int{}, given: map[string]int{}, inPlace: map[int64][]Joint{}, lapsed: map[int64]lapse{}}
	if _, err := fold(s.Entries, s.docs, w.see); err != nil {
		return nil, err
	}
	r := &Record{Judgements: w.judged}
	s.recordConcessions(r, at)
	s.settle(r, at)
	s.recordBench(r)
	s.recordJoints(r, w)
	s.recordReleases(r, w, at)
	s.recordFlights(r)
	s.recordJobs(r, at)
	s.recordRepairs(r, at)
	s.recordParts(r, at)
	return r, nil
}

// A recorder sees the state as it was after each entry.
type recorder struct {
	final   *State
	judged  []Judgement
	rows    map[string]int    // by gate: the sitting that goes on
	given   map[string]int    // at once with the last reading, by point
	joined  []JointFacts      // as they were when they were joined
	inPlace map[int64][]Joint // by release: the joints then
	lapsed  map[int64]lapse   // by release: when it lapsed, unless it was in force again
	ends    time.Time         // when the first gate under the release in force outlives its life; zero: none does
}

func (w *recorder) see(s *State, e journal.Entry) {
	defer w.follow(s, e)
	switch f := e.Facts.(type) {
	case journal.ReadingTaken:
		if !w.goesOn(s, e, f) {
			w.judge(s, e, f)
		} else {
			w.row(e, f)
		}
	case journal.Reworked:
		delete(w.rows, f.Gate)
	case journal.Joined:
		w.join(s, e, f)
	case journal.Released:
		for _, j := range s.everyJoint() {
			if !j.gone && !j.Joined.IsZero() {
				w.inPlace[e.Position] = append(w.inPlace[e.Position], *j)
			}
		}
	}
}

// goesOn reports whether the next entry is a reading of the same gate that was given at
// once with this one: they are judged together.
func (w *recorder) goesOn(s *State, e journal.Entry, f journal.ReadingTaken) bool {
	gate, _ := s.Sheet.Gate(f.Gate)
	w.given[f.Point]++
	for later := e.Position + 1; later < s.Size() && s.atOnce(gate, w.given, e.Position, later); later++ {
		if s.Live(later) {
			return true
		}
	}
	clear(w.given)
	return false
}

// row is the sitting that the reading belongs to.
func (w *recorder) row(e journal.Entry, f journal.ReadingTaken) *Judgement {
	i, open := w.rows[f.Gate]
	if !open || e.At.Sub(w.judged[i].From) > SittingLength || e.At.Before(w.judged[i].From) {
		i = len(w.judged)
		job, step := w.final.measuredFor(e.Position, f.Gate)
		w.judged = append(w.judged, Judgement{From: e.At, Job: job, Step: step})
		w.rows[f.Gate] = i
	}
	j := &w.judged[i]
	j.At, j.Entries = e.At, append(j.Entries, e.Position)
	if !lists.Contains(j.By, e.By) {
		j.By = append(j.By, e.By)
	}
	if !lists.Contains(j.Gauges, f.Gauge) {
		j.Gauges = append(j.Gauges, f.Gauge)
	}
	return j
}

func (w *recorder) judge(s *State, e journal.Entry, f journal.ReadingTaken) {
	s.judgeChecks() // which of the gauge's are good is else only known at the end
	j := w.row(e, f)
	report, err := s.GateReport(f.Gate, e.At)
	if err != nil { // the airframe did not have the gate then
		gate, _ := s.Sheet.Gate(f.Gate)
		report.Gate = gate.For(f.Point)
	}
	j.Gate, j.Report, j.Judged = report.Gate, report, s.Judged(report)
	if report.Finding.Missing == "" {
		delete(w.rows, f.Gate)
	}
}

func (w *recorder) join(s *State, e journal.Entry, f journal.Joined) {
	job, err := s.workOf(f.Job)
	if err != nil {
		return
	}
	for i, j := range job.joints[f.Joint] {
		if j.Joined.Equal(e.At) && !slices.ContainsFunc(w.joined, func(k JointFacts) bool {
			return k.Joint.Job == j.Job && k.Joint.Name == j.Name && k.Joint.part == j.part && k.Joint.Joined.Equal(j.Joined)
		}) {
			w.joined = append(w.joined, JointFacts{Joint: *j, Part: i + 1, Parts: max(1, len(job.Procedure.JointParts(f.Joint))), Position: e.Position, By: e.By})
		}
	}
}

// everyJoint are the parts of all joints that have a coat, whatever became of them.
func (s *State) everyJoint() []*Joint {
	var all []*Joint
	for _, job := range append(s.Jobs[:len(s.Jobs):len(s.Jobs)], s.reworks) {
		for _, name := range slices.Sorted(maps.Keys(job.joints)) {
			all = append(all, job.Parts(name)...)
		}
	}
	return all
}

// settle says of each judgement what became of it.
func (s *State) settle(r *Record, at time.Time) {
	counts := map[int64]bool{}
	for _, g := range s.Gates(at) {
		for _, p := range g.Rests {
			counts[p] = true
		}
	}
	for i := range r.Judgements {
		j := &r.Judgements[i]
		for _, p := range j.Entries {
			f := s.Entries[p].Facts.(journal.ReadingTaken)
			j.Counts = j.Counts || counts[p]
			if c := s.inDoubt(reading{position: p, at: s.Entries[p].At, ReadingTaken: f}); c != nil {
				j.Doubt = c
			}
		}
		for k := range r.Concessions {
			c := &r.Concessions[k]
			if slices.ContainsFunc(j.Entries, func(p int64) bool { return lists.Contains(c.Readings, p) }) {
				j.Concession = c
			}
		}
	}
}

// JudgementOf is the judgement that the reading belongs to; nil: none.
func (r *Record) JudgementOf(entry int64) *Judgement {
	for i := range r.Judgements {
		if lists.Contains(r.Judgements[i].Entries, entry) {
			return &r.Judgements[i]
		}
	}
	return nil
}

// NearLimit are the values of gates that passed and have little room left.
func (s *State) NearLimit(at time.Time) []NearLimit {
	var all []NearLimit
	for _, g := range s.Gates(at) {
		if !g.Met() {
			continue
		}
		for _, v := range s.Judged(g) {
			if v.Room >= 0 && v.Room < Near {
				all = append(all, NearLimit{g, v})
			}
		}
	}
	sorting.Stable(all, func(i, k int) int {
		a, b := &all[i], &all[k]
		return cmp.Compare(a.Value.Room, b.Value.Room)
	})
	return all
}

// A NearLimit is a value of a gate that passed, near its limit.
type NearLimit struct {
	Gate  GateReport
	Value Judged
}

// float is a number as near as a float64 comes; NaN: there is none.
func float(r interface{ Float64() (float64, bool) }, err error) float64 {
	if err != nil {
		return math.NaN()
	}
	f, _ := r.Float64()
	return f
}
