package workflow

import (
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow/journal"
)

// FlightFacts are one flight, with what was aboard.
type FlightFacts struct {
	Flight
	By     string
	Aboard []Thing // with a name, as far as anybody said
}

// Flown is how long it was in the air, as far as anybody said, and of how many flights
// nobody did.
func (r *Record) Flown() (total time.Duration, unsaid int) {
	for _, f := range r.Flights {
		if lasted, err := f.Lasted.Duration(); err == nil && lasted > 0 {
			total += lasted
		} else {
			unsaid++
		}
	}
	return total, unsaid
}

func (s *State) recordFlights(r *Record) {
	for _, f := range s.Flights {
		r.Flights = append(r.Flights, FlightFacts{f, s.Entries[f.Position].By, s.fittedBefore(instant{f.Position, f.At})})
	}
}

// A JointFacts is a joint that was joined, with what became of it. Its clocks count the
// bench as it is known now.
type JointFacts struct {
	Joint
	Part, Parts int   // of a joint of several parts
	Position    int64 // where it was joined
	By          string
	Gone        bool // with a part that was thrown away or cut out
	Again       bool // the same joint was coated and joined again since
}

// Young is a joint that was not cured when the airframe was released.
type Young struct {
	JointFacts
	CuredAt time.Time
}

// ReleaseFacts are one release.
type ReleaseFacts struct {
	journal.Released
	Position int64
	At       time.Time
	By       string
	Young    []Young // joints that were younger than their cure, by the bench as it was known then and as it is now
	// Ended is why it is no longer in force, and EndedAt since when, as it was known then;
	// zero: it is. Replaced: there is a later one.
	Ended    Cause
	EndedAt  time.Time
	Replaced bool
	Sealed   int64 // the first entry of a seal that covers it; 0: none
}

func (s *State) recordJoints(r *Record, w *recorder) {
	for _, j := range w.joined {
		j.Again = true
		for _, now := range s.everyJoint() {
			if now.Job == j.Joint.Job && now.Name == j.Name && now.Joined.Equal(j.Joined) {
				j.Joint, j.Again = *now, false
				break
			}
		}
		j.Gone = j.Joint.gone
		r.Joints = append(r.Joints, j)
	}
}

func (s *State) recordReleases(r *Record, w *recorder, at time.Time) {
	for _, e := range s.Entries {
		switch f := e.Facts.(type) {
		case journal.Released:
			if !s.Live(e.Position) {
				continue
			}
			if n := len(r.Releases); n > 0 {
				r.Releases[n-1].Replaced = true
			}
			one := ReleaseFacts{Released: f, Position: e.Position, At: e.At, By: e.By}
			for _, then := range w.inPlace[e.Position] {
				for _, j := range r.Joints {
					if j.Joint.Job != then.Job || j.Name != then.Name || j.part != then.part || !j.Joined.Equal(then.Joined) {
						continue
					}
					if cures := latest(then.Cures(), j.Cures()); e.At.Before(cures) {
						one.Young = append(one.Young, Young{j, cures})
					}
				}
			}
			r.Releases = append(r.Releases, one)
		case journal.Sealed:
			for i := range r.Releases {
				if s.Live(e.Position) && r.Releases[i].Sealed == 0 && f.Size > r.Releases[i].Position {
					r.Releases[i].Sealed = e.Position
				}
			}
		}
	}
	now := s.Airworthiness(at)
	for i := range r.Releases {
		one := &r.Releases[i]
		lapsed, ended := w.lapsed[one.Position]
		switch {
		case !one.Replaced && now.Released:
			continue
		case !ended && one.Replaced:
			lapsed = lapse{r.Releases[i+1].At, Cause{Text: "a later release replaced it"}}
		case !ended: // by time alone, since the last entry
			lapsed = lapse{w.ends, now.Why}
			if w.ends.After(at) {
				lapsed.at = time.Time{}
			}
		}
		one.Ended, one.EndedAt = lapsed.why, lapsed.at
	}
}

// A lapse is when a release lapsed, and why.
type lapse struct {
	at  time.Time
	why Cause
}

// follow notes when the release in force lapses. One that is in force again after that,
// such as once a check that an open job held back is complete, has not ended.
func (w *recorder) follow(s *State, e journal.Entry) {
	if s.Release == nil || s.effects[e.Facts.Kind()].aside {
		return
	}
	if _, is := e.Facts.(journal.GaugeChecked); is {
		s.judgeChecks()
	}
	at, then := latest(e.At, s.Release.At), *s
	then.memo = &memo{} // of this moment, whose gates are asked for more than once
	s = &then
	now := s.Airworthiness(at)
	_, lapsed := w.lapsed[s.Release.Position]
	switch {
	case now.Released:
		delete(w.lapsed, s.Release.Position)
		w.ends = s.lifeEnds(at)
	case !lapsed:
		if !w.ends.IsZero() && w.ends.Before(at) {
			at = w.ends
		}
		w.lapsed[s.Release.Position] = lapse{at, now.Why}
	}
}

// lifeEnds is when the first gate that was measured outlives its life; zero: none does.
func (s *State) lifeEnds(at time.Time) (first time.Time) {
	if !slices.ContainsFunc(s.Sheet.Gates, func(g steps.Gate) bool { return g.Validity.Days > 0 && !g.Work }) {
		return first
	}
	for _, g := range s.Gates(at) {
		if _, until := s.LifeLeft(g); !g.Gate.Work && !until.IsZero() && (first.IsZero() || until.Before(first)) {
			first = until
		}
	}
	return first
}

// A Concession accepted a gate that was not met.
type Concession struct {
	journal.ConcessionGranted
	Position int64
	At       time.Time
	By       string
	InForce  bool
	// Flights and Until say how much longer it is in force, by the gate's life: for so
	// many flights, and till then; 0 and zero where it has no such life.
	Flights int
	Until   time.Time
}

func (s *State) recordConcessions(r *Record, at time.Time) {
	for _, e := range s.Entries {
		f, is := e.Facts.(journal.ConcessionGranted)
		if !is || !s.Live(e.Position) {
			continue
		}
		c := Concession{ConcessionGranted: f, Position: e.Position, At: e.At, By: e.By}
		report, err := s.GateReport(f.Gate, at)
		if held := s.gates[f.Gate]; err == nil && held != nil && held.concession != nil && held.concession.position == e.Position && report.Standing == Conceded {
			c.InForce = true
			if c.Flights, c.Until = s.LifeLeft(report); len(report.Rests) == 0 { // of what nobody measured
				life, granted := report.Gate.Validity, reading{position: e.Position, at: e.At}
				if life.Flights > 0 {
					c.Flights = life.Flights - s.flightsSince(granted)
				}
				if life.Days > 0 {
					c.Until = e.At.AddDate(0, 0, life.Days)
				}
			}
		}
		r.Concessions = append(r.Concessions, c)
	}
}

// A JobFacts is a job, with who opened it, who worked on it and how far it is.
type JobFacts struct {
	*Job
	OpenedBy    string
	Closed      time.Time // when its last step was done; zero: it is open
	By          []string
	Done, Steps int
}

func (s *State) recordJobs(r *Record, at time.Time) {
	by := map[string][]string{}
	for _, e := range s.Entries {
		if work, ok := journal.WorkOf(e.Facts); ok && s.Live(e.Position) && !lists.Contains(by[work.Job], e.By) {
			by[work.Job] = append(by[work.Job], e.By)
		}
	}
	for _, j := range s.Jobs {
		one := JobFacts{Job: j, OpenedBy: s.Entries[j.Position].By, By: by[j.ID]}
		for _, step := range s.Steps(j, at) {
			one.Steps++
			if step.Progress == Done {
				one.Done++
			}
		}
		if !s.Open(j, at) {
			one.Closed = j.last()
		}
		r.Jobs = append(r.Jobs, one)
	}
}

// A HoldCleared is a caution that somebody confirmed line by line: a hold, that of an
// adhesive or a tool, or a quarantine.
type HoldCleared struct {
	Position  int64
	At        time.Time
	By        string
	Job, Step string // of a hold of a job
	Use       string // the adhesive or the tool
	Damage    string // whose quarantine it was
	Lines     []string
}

// A Seconded is the second person at a step that wants one, or what was done instead.
type Seconded struct {
	journal.Witnessed
	Position int64
	At       time.Time
	By       string // who did the step
}

// A BadGauge is a check that a gauge failed, with the readings that it casts doubt on.
type BadGauge struct {
	GaugeCheck
	Readings []int64
}

// recordBench adds what was confirmed, who was second, and gauges found bad.
func (s *State) recordBench(r *Record) {
	for _, c := range s.GaugeChecks() {
		if c.bad() {
			r.BadGauges = append(r.BadGauges, BadGauge{GaugeCheck: c})
		}
	}
	for _, e := range s.Entries {
		if !s.Live(e.Position) {
			continue
		}
		held := HoldCleared{Position: e.Position, At: e.At, By: e.By}
		switch f := e.Facts.(type) {
		case journal.HoldCleared:
			held.Job, held.Step, held.Lines = f.Job, s.StepOf(f.Work), f.Lines
		case journal.UseCleared:
			held.Use, held.Lines = f.Of, f.Lines
		case journal.QuarantineCleared:
			held.Damage, held.Lines = f.Damage, f.Lines
		case journal.Witnessed:
			r.Seconds = append(r.Seconds, Seconded{f, e.Position, e.At, e.By})
			continue
		case journal.ReadingTaken:
			if c := s.inDoubt(reading{position: e.Position, at: e.At, ReadingTaken: f}); c != nil {
				i := slices.IndexFunc(r.BadGauges, func(b BadGauge) bool { return b.Position == c.Position })
				r.BadGauges[i].Readings = append(r.BadGauges[i].Readings, e.Position)
			}
			continue
		default:
			continue
		}
		r.Holds = append(r.Holds, held)
	}
}

// PartFacts say where the part that is a zone of the airframe comes from.
type PartFacts struct {
	Zone   string
	Origin Origin
	Job    string    // that made it, or the part in its place
	Since  time.Time // when that was; zero: nobody knows
	Cut    []string  // repairs that cut a part of it out and set another
	Recut  time.Time // when the last of them did
	Things []Thing   // of equipment: what is aboard, by its name
}

// An Origin is where a part comes from.
type Origin string

// The origins of a part.
const (
	Original   Origin = "original"   // made by the build, and never thrown away
	New        Origin = "new"        // made in the place of one that was thrown away
	Replaced   Origin = "replaced"   // equipment, and another one was fitted since the build
	TakenOver  Origin = "taken over" // it was there when the airframe was taken over as built
	Missing    Origin = "missing"    // thrown away, and not made again
	NotMade    Origin = "not made"   // the build has not come to it yet
	Unrecorded Origin = "unknown"    // nothing on record says
)

func (s *State) recordParts(r *Record, at time.Time) {
	built, has := s.Built(at)
	for _, z := range s.Zones(at).Reports {
		p := PartFacts{Zone: z.Zone, Origin: Unrecorded}
		lost, thrown := s.lost[z.Zone]
		switch {
		case z.Standing == ZoneAbsent:
			p.Origin = NotMade
		case z.Standing == ZoneLost:
			p.Origin = Missing
		case thrown:
			p.Origin, p.Job, p.Since = New, lost.job, s.Entries[lost.position].At
		case s.isThing(z.Zone):
			p.Origin, p.Job, p.Since = s.thingOrigin(z.Zone, built, has)
		case has && built.TakenOver:
			p.Origin, p.Job, p.Since = TakenOver, built.Job.ID, built.At
		default:
			for _, j := range s.Builds() {
				if j.madeBySteps(z.Zone) {
					p.Origin, p.Job, p.Since = Original, j.ID, j.Opened
				}
			}
			if p.Origin == Unrecorded && has { // a build that is complete, and does not say what it makes
				p.Origin, p.Job, p.Since = Original, built.Job.ID, built.At
			}
		}
		for _, repaired := range r.Repairs {
			if lists.Contains(repaired.CutOut, z.Zone) {
				p.Cut = append(p.Cut, repaired.Job.ID)
				for _, done := range repaired.Steps {
					if lists.Contains(done.Step.Renews, z.Zone) {
						p.Recut = latest(p.Recut, done.At)
					}
				}
			}
		}
		for _, item := range s.Sheet.Equipment {
			for _, t := range s.Fitted(at) {
				if item.Zone == z.Zone && t.Item == item.Name {
					p.Things = append(p.Things, t)
				}
			}
		}
		r.Parts = append(r.Parts, p)
	}
}

// madeBySteps reports whether steps of the job that are done make the zone.
func (j *Job) madeBySteps(zone string) bool {
	for _, step := range j.Procedure.Steps() {
		if _, done := j.done[step.Name]; done && step.MakesZone(zone) {
			return true
		}
	}
	return false
}

// thingOrigin is where the equipment comes from that is the zone: what was fitted first,
// or by the build, is original.
func (s *State) thingOrigin(zone string, built Built, has bool) (origin Origin, job string, since time.Time) {
	origin = Unrecorded
	if has {
		origin, job, since = Original, built.Job.ID, built.At
		if built.TakenOver {
			origin = TakenOver
		}
	}
	var first *change
	for i, c := range s.changes {
		item, _ := s.item(c.Item)
		if item.Zone != zone || c.Change != Fitted {
			continue
		}
		switch {
		case first == nil && (!has || c.at.Before(built.At) || c.at.Equal(built.At) || c.Job == built.Job.ID):
			first = &s.changes[i]
			if c.Job != "" {
				job = c.Job
			}
			origin, since = Original, c.at
		case first != nil && c.Name != "" && sameName(c.Item, c.Name, first.Name):
			origin, job, since = Original, first.Job, first.at
		default:
			origin, job, since = Replaced, c.Job, c.at
		}
	}
	return origin, job, since
}

// item is the equipment of the sheet of that name.
//
//go:noinline
func (s *State) item(name string) (steps.Equipment, bool) {
	i := slices.IndexFunc(s.Sheet.Equipment, func(e steps.Equipment) bool { return e.Name == name })
	if i < 0 {
		return steps.Equipment{}, false
	}
	return s.Sheet.Equipment[i], true
}
