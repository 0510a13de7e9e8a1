package page

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// judgedCells are the cells of a value that was judged.
type judgedCells struct{ value, low, high, margin, u measure }

func cellsOf(v workflow.Judged) judgedCells {
	pair := len(v.Of) == 2
	value, margin := math.NaN(), math.NaN()
	if v.Known {
		value = v.Value
	}
	if v.Finding.Margin.Known {
		margin = v.Finding.Margin.By
	}
	return judgedCells{measured(value, v.Unit, pair), measured(v.Low, v.Unit, pair), measured(v.High, v.Unit, pair), measured(margin, v.Unit, true), measured(v.U, v.Unit, true)}
}

// probabilityOf is how sure it is that the value lies within its limits.
func probabilityOf(v workflow.Judged) any {
	if !v.Finding.Judged.Known {
		return nil
	}
	return v.Finding.Judged.Probability
}

func entriesIn(entries []int64) any {
	var all []string
	for _, e := range entries {
		all = append(all, strconv.FormatInt(e, 10))
	}
	return known(strings.Join(all, " "))
}

func named(things []workflow.Thing) any {
	var all []string
	for _, t := range things {
		all = append(all, t.String())
	}
	return known(strings.Join(all, ", "))
}

// worstAt is the value that a reading at the point was judged in: that of its point, else
// the pair of it that is worst, else the result.
func worstAt(j *workflow.Judgement, point string) (worst workflow.Judged, ok bool) {
	for _, v := range j.Judged {
		if !v.Limited() || len(v.Of) > 0 && !lists.Contains(v.Of, point) {
			continue
		}
		if margin := v.Finding.Margin; !ok || margin.Known && (!worst.Finding.Margin.Known || margin.By < worst.Finding.Margin.By) {
			worst, ok = v, true
		}
	}
	return worst, ok
}

func readingRows(record workflow.Record, s *workflow.State, at time.Time, t *Table) error {
	readings, err := s.Audit(workflow.AuditFilter{}, at)
	if err != nil {
		return err
	}
	for _, r := range readings {
		one := newReading(r, &record)
		value := math.NaN()
		unit := cmp.Or(r.Gate.Unit(), r.Value.Unit())
		if v, err := r.Value.Float(unit); err == nil {
			value = v
		}
		row := Row{Gate: one.Gate, Job: one.Job, Zones: r.Gate.Of, At: one.At, Severe: one.Critical}
		read := measured(value, unit, false)
		judged, low, high, alike, gateVerdict, verdict, of := judgedCells{}, measure{}, measure{}, measure{}, any(nil), any(nil), any(nil)
		var probability any
		var sitting any
		if j := record.JudgementOf(one.Entry); j != nil {
			sitting, gateVerdict = j.Entries[len(j.Entries)-1], j.Report.Standing.Words()
			row.Failed = j.Report.Standing == workflow.Failed || j.Report.Standing == workflow.Undecided
			if v, ok := worstAt(j, one.Point); ok {
				judged, of, verdict = cellsOf(v), v.Named(), known(string(v.Finding.Verdict))
				probability = probabilityOf(v)
			}
			for _, v := range j.Judged {
				c := cellsOf(v)
				if len(v.Of) == 1 && v.Of[0] == one.Point {
					low, high = c.low, c.high
				} else if len(v.Of) == 2 {
					alike = c.high
				}
			}
		}
		cells := []any{one.Entry, sitting, one.Gate, one.Critical, known(one.Point), known(one.Job), moment(one.At), moment(one.Recorded), one.By, one.Program, one.Gauge, one.Typed,
			read.is, unit, low.is, high.is, alike.is, of, judged.value.is, judged.margin.is, judged.u.is, probability,
			read.si, low.si, high.si, alike.si, judged.value.si, judged.margin.si, judged.u.si, known(read.siUnit), verdict, gateVerdict,
			one.Stands == counting, one.Stands, known(one.Concession), entriesIn(one.Releases)}
		t.add(s, row, append(append(cells, one.checkCells()...), known(one.Doubt))...)
	}
	return nil
}

// checkCells are the columns of the gauge's last check; empty if there is none.
func (r AuditedReading) checkCells() []any {
	c := r.Check
	if c == nil {
		return make([]any, 6)
	}
	return []any{c.Entry, moment(c.At), int64(r.At.Sub(c.At) / time.Second), c.Off, c.Unit, c.Good}
}

func gateRows(record workflow.Record, s *workflow.State, at time.Time, t *Table) error {
	for _, g := range s.Gates(at) {
		row := Row{Gate: g.Gate.Name, Zones: g.Gate.Of, At: g.Last, Severe: g.Gate.Critical, Failed: g.Finding.Verdict == measuring.Out || g.Finding.Verdict == measuring.Undecided}
		var values []workflow.Judged
		for _, v := range s.Judged(g) {
			if v.Limited() {
				values = append(values, v)
			}
		}
		if len(values) == 0 { // a pair or a result of which not all is read
			values = []workflow.Judged{{}}
			values[0].Unit, values[0].Low, values[0].High, values[0].U, values[0].Room = g.Gate.Unit(), math.NaN(), math.NaN(), math.NaN(), math.NaN()
		}
		flights, until := s.LifeLeft(g)
		if g.Standing == workflow.Conceded {
			for _, c := range record.Concessions {
				if c.InForce && c.Gate == g.Gate.Name {
					flights, until = c.Flights, c.Until
				}
			}
		} else if !g.Met() {
			flights, until = 0, time.Time{}
		}
		var left, room any
		if flights > 0 {
			left = flights
		}
		for _, v := range values {
			c := cellsOf(v)
			if room = nil; !math.IsNaN(v.Room) {
				room = v.Room
			}
			t.add(s, row, g.Gate.Name, g.Gate.Title, g.Gate.Critical, g.Standing.Words(), known(said(g.Reason)), known(v.Named()), c.value.is, c.value.unit, c.low.is, c.high.is, c.margin.is, room, c.u.is, probabilityOf(v),
				c.value.si, c.low.si, c.high.si, c.margin.si, c.u.si, known(cmp.Or(c.value.siUnit, c.high.siUnit, c.low.siUnit)), known(string(v.Finding.Verdict)),
				moment(g.Last), entriesIn(g.Rests), g.Gate.Gauge, known(g.By), left, moment(until), known(strings.Join(g.Gate.Of, " ")))
		}
	}
	return nil
}

func damageRows(record workflow.Record, s *workflow.State, _ time.Time, t *Table) error {
	for _, d := range record.Damages {
		quarantine, after := "", any(nil)
		if d.Flight > 0 {
			after = d.Flight
		}
		switch q := d.Quarantine; {
		case len(q.Lines) == 0:
		case q.Cleared:
			quarantine = "cleared"
		default:
			quarantine = "open"
		}
		t.add(s, Row{Zones: []string{d.Zone}, Job: d.Job, At: d.At}, d.Event, d.Damage.Damage, d.Position, moment(d.At), moment(s.Entries[d.Position].Recorded), d.By, after, d.Zone, d.Finding, d.Severity,
			known(d.Place), known(d.Cause), known(d.Note), named(d.Aboard), d.Repaired, known(d.Job), known(quarantine))
	}
	return nil
}

func repairRows(record workflow.Record, s *workflow.State, _ time.Time, t *Table) error {
	for _, r := range record.Repairs {
		var names, found, joints []string
		for _, d := range r.Damages {
			names = append(names, d.Damage)
			found = append(found, d.Finding+" at "+d.Zone+inBrackets(d.Place)+optionally(", caused by ", d.Cause))
		}
		for _, j := range r.Joined {
			joints = append(joints, j.Name)
		}
		before, after, gained := measure{}, measure{}, measure{}
		var doubt, between any
		for _, m := range r.Mass {
			value := func(j *workflow.Judgement) measure {
				if j != nil {
					if v, ok := j.Of(); ok && v.Known {
						return measured(v.Value, v.Unit, false)
					}
				}
				return measure{}
			}
			before, after = value(m.Before), value(m.After)
			if by, unit, ok := m.Gained(); ok {
				gained = measured(by, unit, true)
			}
			if c := m.Doubt(); c != nil {
				doubt = said(c.Doubts())
			}
			between = changesIn(m.Changes)
		}
		t.add(s, Row{Job: r.Job.ID, At: r.Opened}, r.Job.ID, r.Job.Procedure.Title, moment(r.Opened), moment(r.Closed), known(strings.Join(r.By, ", ")), known(strings.Join(names, " ")), known(strings.Join(found, "; ")),
			known(strings.Join(r.ThrownAway, " ")), known(strings.Join(r.CutOut, " ")), known(strings.Join(joints, " ")), changesIn(r.Changes), len(r.Steps),
			before.is, after.is, gained.is, known(cmp.Or(after.unit, before.unit)), before.si, after.si, gained.si, known(cmp.Or(after.siUnit, before.siUnit)), doubt, between)
	}
	return nil
}

func changesIn(changes []journal.EquipmentChanged) any {
	var all []string
	for _, c := range changes {
		all = append(all, c.Change+" "+strings.TrimSpace(c.Item+" "+c.Name))
	}
	return known(strings.Join(all, ", "))
}

func repairGateRows(record workflow.Record, s *workflow.State, _ time.Time, t *Table) error {
	for _, r := range record.Repairs {
		for _, c := range r.Critical { // each was measured after it
			for _, v := range c.After.Judged {
				if !v.Limited() {
					continue
				}
				after, before := cellsOf(v), judgedCells{}
				var was workflow.Judged
				cells := []any{nil, nil, nil}
				if c.Before != nil {
					was, _ = c.Before.Of(v.Of...)
					before = cellsOf(was)
					cells = []any{known(string(was.Finding.Verdict)), moment(c.Before.At), c.Before.Doubt != nil}
				}
				if was.Unit != v.Unit {
					before = judgedCells{}
				}
				t.add(s, Row{Gate: c.Gate, Job: r.Job.ID, Zones: c.After.Gate.Of, At: r.Opened}, r.Job.ID, c.Gate, c.After.Gate.Title, known(v.Named()), v.Unit, after.low.is, after.high.is,
					before.value.is, cells[0], cells[1], cells[2], after.value.is, known(string(v.Finding.Verdict)), moment(c.After.At), c.After.Doubt != nil,
					known(cmp.Or(after.value.siUnit, after.high.siUnit, after.low.siUnit)), after.low.si, after.high.si, before.value.si, after.value.si)
			}
		}
	}
	return nil
}

func jobRows(record workflow.Record, s *workflow.State, _ time.Time, t *Table) error {
	for _, j := range record.Jobs {
		p := j.Procedure
		t.add(s, Row{Job: j.ID, Zones: []string{j.Zone}, At: j.Opened}, j.ID, string(p.Kind), p.Name, p.Revision, p.Title, known(j.Zone), known(p.Flight), known(strings.Join(j.Damages, " ")),
			moment(j.Opened), j.OpenedBy, moment(j.Closed), known(strings.Join(j.By, ", ")), j.Done, j.Steps)
	}
	return nil
}

func flightRows(record workflow.Record, s *workflow.State, _ time.Time, t *Table) error {
	for i, f := range record.Flights {
		var lasted any
		if d, err := f.Lasted.Duration(); err == nil && d > 0 {
			lasted = d.Seconds()
		}
		t.add(s, Row{At: f.At}, i+1, f.Position, moment(f.At), moment(s.Entries[f.Position].Recorded), f.By, f.Landing, lasted, f.Grounded == "", known(f.Grounded), named(f.Aboard), known(f.Check), known(f.Note), known(trimsOf(f.FlightLogged)))
	}
	return nil
}

func jointRows(record workflow.Record, s *workflow.State, _ time.Time, t *Table) error {
	for _, j := range record.Joints {
		var young []int64
		for _, r := range record.Releases {
			if slices.ContainsFunc(r.Young, func(y workflow.Young) bool { return y.Position == j.Position && y.Part == j.Part }) {
				young = append(young, r.Position)
			}
		}
		damages, again := s.Hurt(&j.Joint)
		var hurt, repaired []string
		for _, d := range damages {
			hurt = append(hurt, d.Damage)
		}
		for _, other := range again {
			repaired = append(repaired, other.Name)
		}
		t.add(s, Row{Job: j.Job, Zones: j.Zones, At: j.Joined}, j.Name, j.Part, j.Parts, known(j.Job), j.Adhesive.Name, j.Load, j.Position, moment(j.Joined), j.By, moment(j.Handles()), moment(j.Cures()),
			j.Doubted(), j.Gone, j.Again, entriesIn(young), known(strings.Join(j.Zones, " ")), known(strings.Join(hurt, " ")), known(strings.Join(repaired, " ")))
	}
	return nil
}

func releaseRows(record workflow.Record, s *workflow.State, _ time.Time, t *Table) error {
	for _, r := range record.Releases {
		var young []string
		for _, y := range r.Young {
			young = append(young, y.Name)
		}
		ended, sealed := said(r.Ended), any(nil)
		if r.Sealed > 0 {
			sealed = r.Sealed
		}
		t.add(s, Row{At: r.At}, r.Position, moment(r.At), r.By, known(r.Certificate), known(strings.Join(r.Jobs, " ")), known(strings.Join(r.Performed, ", ")), entriesIn(r.RestsOn), known(strings.Join(young, " ")),
			ended == "", moment(r.EndedAt), known(ended), sealed)
	}
	return nil
}

func concessionRows(record workflow.Record, s *workflow.State, _ time.Time, t *Table) error {
	for _, c := range record.Concessions {
		var left any
		if c.Flights > 0 {
			left = c.Flights
		}
		t.add(s, Row{Gate: c.Gate, At: c.At}, c.Position, c.Gate, moment(c.At), c.By, c.Reason, entriesIn(c.Readings), c.InForce, left, moment(c.Until))
	}
	return nil
}

func witnessRows(record workflow.Record, s *workflow.State, _ time.Time, t *Table) error {
	for _, w := range record.Seconds {
		t.add(s, Row{Job: w.Job, At: w.At}, w.Position, moment(w.At), w.By, w.Job, w.Step, known(w.Who), known(w.Instead))
	}
	return nil
}

func holdRows(record workflow.Record, s *workflow.State, _ time.Time, t *Table) error {
	for _, h := range record.Holds {
		of := cmp.Or(h.Use, optionally("quarantine of ", h.Damage))
		t.add(s, Row{Job: h.Job, At: h.At}, h.Position, moment(h.At), h.By, known(h.Job), known(h.Step), known(of), strings.Join(h.Lines, "; "))
	}
	return nil
}

func partRows(record workflow.Record, s *workflow.State, _ time.Time, t *Table) error {
	for _, p := range record.Parts {
		origin := string(p.Origin)
		if len(p.Cut) > 0 {
			origin += ", a part of it new"
		}
		t.add(s, Row{Job: p.Job, Zones: []string{p.Zone}, At: p.Since}, p.Zone, origin, p.Origin == workflow.Original && len(p.Cut) == 0, known(p.Job), moment(p.Since), known(strings.Join(p.Cut, " ")), moment(p.Recut), named(p.Things))
	}
	return nil
}
