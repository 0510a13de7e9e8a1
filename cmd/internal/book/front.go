package book

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/cmd/internal/page"
	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// A front is the first page: what whoever takes the airframe over asks first.
type front struct {
	Standing    string // in capitals
	Because     string
	Quarantines []string
	Open        []string // matters that are open
	Sheet       page.Cited
	Built       built
	Flown       string // how long in all
	Hard        int
	Grounded    []groundedFlight
	Repairs     []repair
	Columns     []string // of the critical gates: the last repairs, by their names
	Critical    []criticalGate
	Near        []string // values that passed, near their limits
}

// A built says what the airframe rests on as a whole.
type built struct {
	Says string
	At   time.Time // zero: nobody knows
	By   string
}

// A groundedFlight is a flight that the airframe was not released for.
type groundedFlight struct {
	workflow.FlightFacts
	Why string
}

// A repair is one repair in a row.
type repair struct {
	workflow.RepairFacts
	Name    string // Repair 1
	Who     string
	Found   []string
	Causes  []string
	Done    []string
	Renewed []string
	Mass    string
}

// A criticalGate is a critical gate with what was read before and after the last repairs.
type criticalGate struct {
	Title, Limits string
	Values        []beforeAfter
	Now           string
	Met           bool
}

type beforeAfter struct {
	Column, Before, After, At string
}

// mostColumns is how many repairs fit beside each other.
const mostColumns = 3

func (m *maker) front(b *book) front {
	f := front{Standing: "NOT RELEASED", Because: strings.TrimPrefix(m.told(b.Airframe.Because), "retired: "), Built: m.built(), Flown: m.flown()}
	f.Sheet = page.Cited{Name: m.s.Sheet.Name, Revision: m.s.Sheet.Revision, Digest: m.s.SheetDigest}
	switch b.Airframe.Flight {
	case page.Released:
		f.Standing = "RELEASED"
	case page.Retired:
		f.Standing = "RETIRED"
	case page.Grounded:
		f.Standing = "GROUNDED"
	}
	if f.Standing == "NOT RELEASED" {
		f.Because = "it was never released"
		if reasons := m.s.Proof(m.now, nil).Reasons(); len(reasons) > 0 {
			f.Because += "; " + m.told(page.Said(workflow.Cause{Text: reasons[0].Text, At: reasons[0].At}, m.o.Zone))
		}
	}
	for _, q := range b.Airframe.Quarantine {
		f.Quarantines = append(f.Quarantines, m.quarantined(q))
	}
	for _, c := range m.o.Documents {
		if c.Digest == m.s.SheetDigest {
			f.Sheet = c
		}
	}
	for _, flight := range m.record.Flights {
		if flight.Landing == workflow.Hard {
			f.Hard++
		}
		if flight.Grounded != "" {
			f.Grounded = append(f.Grounded, groundedFlight{flight, m.told(flight.Grounded)})
		}
	}
	f.Repairs = m.repairs()
	f.Columns, f.Critical = m.critical(f.Repairs)
	for _, n := range m.s.NearLimit(m.now) {
		f.Near = append(f.Near, fmt.Sprintf("%s: %s, %s", titled(n.Gate.Gate.Title, n.Gate.Gate.Name), sized(n.Value.Value, n.Value.Unit), marginOf(n.Value, true)))
	}
	f.Open = m.matters(b)
	return f
}

// flown is how long it was in the air.
func (m *maker) flown() string {
	total, unsaid := m.record.Flown()
	total = total.Round(time.Minute)
	text := fmt.Sprintf("%d h %d min in the air", int(total.Hours()), int(total.Minutes())%60)
	switch {
	case len(m.record.Flights) == 0:
		return ""
	case total == 0:
		return "nobody said how long"
	case unsaid > 0:
		text += fmt.Sprintf(" and %s of which nobody said how long", numbered(unsaid, "flight"))
	}
	return text
}

func (m *maker) quarantined(q page.Quarantine) string {
	text := "counts as aboard"
	if q.Off {
		text = "is off the airframe"
	}
	if d, err := m.s.Damage(q.Damage); err == nil {
		text += ": " + m.findingTitle(d)
	}
	if q.TakenBack {
		text += "; the finding was taken back, and the quarantine stays"
	}
	text = m.told(q.What) + " (" + q.Damage + ") " + text + "; since " + m.day(q.Since)
	if q.Until.After(m.now) {
		text += ", at least until " + m.minute(q.Until)
	}
	return text
}

func (m *maker) built() built {
	is, ok := m.s.Built(m.now)
	if !ok {
		says := "not complete"
		if missing := m.s.BuildMissing(m.now); !missing.IsZero() {
			says = page.Said(missing, m.o.Zone)
		}
		return built{Says: says}
	}
	says := titled(is.Job.Procedure.Title, is.Job.ID) + fmt.Sprintf(", revision %d", is.Job.Procedure.Revision)
	if is.TakenOver {
		says = "taken over as built; its build is not on record"
	}
	return built{says, is.At, listed(m.doneBy(is.Job))}
}

// matters are what is still to be done, or in force though it is not as it should be.
func (m *maker) matters(b *book) []string {
	var open []string
	add := func(text string) { open = append(open, page.Capital(text)) }
	for _, d := range m.record.Damages {
		if d.Repaired {
			continue
		}
		text := "damage " + m.damageText(d.Damage) + " is not repaired"
		if d.Job != "" {
			text = "damage " + m.damageText(d.Damage) + " is under repair"
		}
		add(text)
	}
	if r := m.s.Unchecked(m.now); r != nil && m.s.Retired == nil {
		add(m.told(page.Said(workflow.Cause{Text: r.Text, At: r.At}, m.o.Zone)))
	}
	for _, j := range b.Jobs {
		if j.Open {
			add(fmt.Sprintf("%s is open: %d of %d steps are done", j.Called, j.Done, j.Steps))
		}
	}
	for _, g := range m.notPassed(b.Gates, fewGates) {
		add(g)
	}
	for _, c := range m.record.Concessions {
		if c.InForce {
			add("concession in force: " + m.conceded(c))
		}
	}
	for _, bad := range m.record.BadGauges {
		if len(bad.Readings) > 0 {
			add(m.doubted(bad, false))
		}
	}
	for _, c := range b.Airframe.TooLate {
		add(m.told(c))
	}
	return open
}

// conceded says a concession, and how long it lasts.
func (m *maker) conceded(c workflow.Concession) string {
	text := m.gateTitle(c.Gate) + ", granted by " + c.By + " on " + m.day(c.At) + ": " + c.Reason
	if c.Flights > 0 {
		text += "; for " + numbered(c.Flights, "more flight", "more flights")
	}
	if !c.Until.IsZero() {
		text += "; until " + m.day(c.Until)
	}
	return text
}

// doubted says how many readings a gauge that was not good casts doubt on, and of which
// gates.
func (m *maker) doubted(bad workflow.BadGauge, named bool) string {
	var titles []string
	for _, position := range bad.Readings {
		if f, ok := m.s.Entries[position].Facts.(journal.ReadingTaken); ok {
			if title := m.gateTitle(f.Gate); !lists.Contains(titles, title) {
				titles = append(titles, title)
			}
		}
	}
	text := fmt.Sprintf("%s of %s in doubt: %s was found %s on %s", numbered(len(bad.Readings), "reading"), numbered(len(titles), "gate"), m.gaugeTitle(bad.Gauge), bad.Off.Found(), m.day(bad.At))
	if named {
		text += " (" + strings.Join(titles, "; ") + ")"
	}
	return text
}

// fewGates are so many that their names are read at a glance.
const fewGates = 6

// notPassed are the gates that have not passed, those of one reason together, and of these
// the critical ones first. Of more than so many it says how many they are.
func (m *maker) notPassed(gates []gate, named int) []string {
	type group struct {
		why             string
		critical, other []string
	}
	var groups []group
	for _, g := range gates {
		if g.Standing == workflow.Current || g.Standing == workflow.Conceded || g.Work && g.Standing == workflow.NeverTaken {
			continue
		}
		i := slices.IndexFunc(groups, func(is group) bool { return is.why == g.Words })
		if i < 0 {
			i, groups = len(groups), append(groups, group{why: g.Words})
		}
		if at := &groups[i]; g.Critical {
			at.critical = append(at.critical, g.Title)
		} else {
			at.other = append(at.other, g.Title)
		}
	}
	var all []string
	for _, g := range groups {
		text := numbered(len(g.critical)+len(g.other), "gate") + " " + g.why
		if len(g.critical)+len(g.other) > named {
			all = append(all, fmt.Sprintf("%s, %d of them critical", text, len(g.critical)))
			continue
		}
		text += ". "
		if len(g.critical) > 0 {
			text += "Critical: " + strings.Join(g.critical, "; ")
			if len(g.other) > 0 {
				text += ". Others: "
			}
		}
		all = append(all, text+strings.Join(g.other, "; "))
	}
	return all
}

// repairs are the repairs, each in one row.
func (m *maker) repairs() []repair {
	var all []repair
	for i, r := range m.record.Repairs {
		out := repair{RepairFacts: r, Name: fmt.Sprintf("Repair %d", i+1), Who: listed(r.By)}
		for _, d := range r.Damages {
			out.Found = append(out.Found, m.damageText(d))
			if d.Cause != "" && !lists.Contains(out.Causes, d.Cause) {
				out.Causes = append(out.Causes, d.Cause)
			}
		}
		if len(r.Damages) == 0 {
			out.Found = append(out.Found, m.jobTitle(r.Job.ID))
		}
		out.Done = m.workOf(r)
		for _, zone := range r.ThrownAway {
			out.Renewed = append(out.Renewed, "the whole "+plain(zone))
		}
		for _, zone := range r.CutOut {
			out.Renewed = append(out.Renewed, "a part of the "+plain(zone))
		}
		for _, c := range r.Changes {
			out.Renewed = append(out.Renewed, m.changed(c))
		}
		for _, both := range r.Mass {
			if by, unit, ok := both.Gained(); ok {
				out.Mass = sized(by, unit)
				if by > 0 {
					out.Mass = "+" + out.Mass
				}
				if c := both.Doubt(); c != nil {
					out.Mass += ", in doubt: the " + small(m.gaugeTitle(c.Gauge)) + " was found " + c.Off.Found()
				}
				for i, c := range both.Changes {
					if i == 0 {
						out.Mass += "; between the weighings "
					} else {
						out.Mass += ", "
					}
					out.Mass += m.changed(c)
				}
			}
		}
		all = append(all, out)
	}
	return all
}

// workOf are the stages of a repair in which something was made or fitted.
func (m *maker) workOf(r workflow.RepairFacts) []string {
	var titles []string
	for _, st := range r.Job.Procedure.Stages {
		if slices.ContainsFunc(r.Steps, func(f workflow.StepFacts) bool {
			return (f.Step.Kind.Traits().Glues() || f.Step.Fits != "" || len(f.Step.Retires) > 0) && slices.ContainsFunc(st.Steps, func(is steps.Step) bool { return is.Name == f.Step.Name })
		}) {
			if title := m.told(titled(st.Title, st.Name)); !lists.Contains(titles, title) {
				titles = append(titles, title)
			}
		}
	}
	return titles
}

// damageText is one finding in words.
func (m *maker) damageText(d *workflow.Damage) string {
	out := d.Damage + ", " + plain(d.Zone)
	if d.Place != "" {
		out += " (" + d.Place + ")"
	}
	if d.Place == "" && d.Note != "" { // as a rule it says where
		out += " (“" + d.Note + "”)"
	}
	return out + ": " + m.findingTitle(d) + ", " + d.Severity
}

// critical are the critical gates, with what the last repairs made of them.
func (m *maker) critical(repairs []repair) (columns []string, gates []criticalGate) {
	shown := repairs[max(0, len(repairs)-mostColumns):]
	for _, r := range shown {
		columns = append(columns, r.Name)
	}
	for _, g := range m.s.Gates(m.now) {
		if !g.Gate.Critical {
			continue
		}
		out := criticalGate{Title: titled(g.Gate.Title, g.Gate.Name), Limits: limitsText(g.Gate), Met: g.Met()}
		for _, r := range shown {
			both := beforeAfter{Column: r.Name}
			for _, c := range r.Critical {
				if c.Gate == g.Gate.Name {
					both = m.beforeAfter(r.Name, c)
				}
			}
			out.Values = append(out.Values, both)
		}
		out.Now = page.Said(g.Says(), m.o.Zone)
		if v, ok := nearestOf(m.s.Judged(g)); ok && g.Met() {
			out.Now = sized(v.Value, v.Unit) + ", " + sized(v.Finding.Margin.By, "") + " inside"
		} else if g.Standing == workflow.StaleGate {
			out.Now = "MEASURE AGAIN"
		}
		gates = append(gates, out)
	}
	return columns, gates
}

func (m *maker) beforeAfter(column string, c workflow.BeforeAfter) beforeAfter {
	out := beforeAfter{Column: column}
	v, ok := workflow.Judged{}, false
	if c.After != nil {
		v, ok = nearestOf(c.After.Judged)
	}
	if !ok && c.Before != nil {
		v, _ = nearestOf(c.Before.Judged)
	}
	if out.Before = judgedText(c.Before, v); ok {
		out.Before = strings.TrimSuffix(out.Before, strings.TrimLeft(sized(0, v.Unit), "0"))
		out.After = sized(v.Value, v.Unit)
		if len(v.Of) == 1 {
			out.At = plain(v.Of[0])
		}
		if !c.After.Passed() {
			out.After += " " + says(c.After.Report.Finding.Verdict)
		}
	}
	return out
}

// day and minute are moments in the book's zone, where they stand within words.
func (m *maker) day(t time.Time) string    { return t.In(m.o.Zone).Format("2 Jan 2006") }
func (m *maker) minute(t time.Time) string { return t.In(m.o.Zone).Format("2 Jan 2006, 15:04") }
