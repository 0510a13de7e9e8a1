package book

import (
	"math"
	"slices"
	"strings"

	"fettle/cmd/internal/page"
	"fettle/steps"
	"fettle/steps/measuring"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// What is said of a sitting that counts no more: for the reason that the gate does not, or by
// a check of its gauge.
const (
	sameReason = "see above"
	inDoubt    = "in doubt: "
)

// A gate is one gate with every sitting in which it was measured.
type gate struct {
	page.Gate
	ID    string
	Words string // how it stands
	By    string // who granted the concession, if it is conceded
	Rows  []sitting
	Old   []sitting // that count no more
	Acts  []entry   // rework and concessions
	Where *planned  // nil: the sheet does not say where its points lie
}

// A sitting is one gate as it was judged in one sitting.
type sitting struct {
	*workflow.Judgement
	Who      string // and with which gauge, if it is not the gate's own
	Entry    int64  // the first of its readings
	Entries  string
	Late     bool
	Values   []value
	Verdict  string
	Margin   string // of the value nearest to its limit
	Limits   string // if they were others then
	Counts   string // "": it does; else why not
	Notes    []string
	Bars     []bar
	Readings []reading // one by one
}

// A value is one value that was judged.
type value struct {
	Name, Is string
	Read     string // what was read, where that is not the value
	Verdict  string // "": in tolerance, or not judged by itself
	Nearest  bool
}

// A reading is one reading as it was typed.
type reading struct {
	*workflow.AuditedReading
	Counts string // "": it does
}

// gates returns every gate of the design in order, and the sittings of gates that are no
// longer in it.
func (m *maker) gates() ([]gate, []gate) {
	var gates, strays []gate
	have := map[string]bool{}
	for _, r := range m.s.Gates(m.now) {
		have[r.Gate.Name] = true
		g := gate{Gate: page.NewGate(m.s, r, m.now), ID: "gate-" + r.Gate.Name, Words: strings.TrimSuffix(m.told(page.Said(r.Says(), m.o.Zone)), "."), By: r.By, Where: m.plan().gate(r.Gate, narrow)}
		if g.Where != nil { // how all are read stands above, and where a point is in the sheet
			g.Where.Key = ""
			for i := range g.Where.Rows {
				g.Where.Rows[i].Says = ""
			}
		}
		g.Title, g.Limits = titled(g.Title, g.Name), m.told(g.Limits)
		for _, j := range m.record.Judgements {
			if j.Gate.Name != r.Gate.Name {
				continue
			}
			row := m.sitting(&j, r.Gate)
			if row.Counts != "" && strings.Contains(g.Words, strings.TrimPrefix(row.Counts, inDoubt)) {
				row.Counts = sameReason
			}
			if j.Counts {
				g.Rows = append(g.Rows, row)
			} else {
				g.Old = append(g.Old, row)
			}
		}
		if n := len(g.Old); len(g.Rows) == 0 && n > 0 { // the last one shows how it was
			g.Rows, g.Old = g.Old[n-1:], g.Old[:n-1]
		}
		for _, e := range m.live() {
			var of string
			switch f := e.Facts.(type) {
			case journal.Reworked:
				of = f.Gate
			case journal.ConcessionGranted:
				of = f.Gate
			}
			if of == r.Gate.Name {
				e.Says = m.told(e.Says)
				g.Acts, m.anchors[e.Position] = append(g.Acts, e), e.Position
			}
		}
		gates = append(gates, g)
	}
	for _, j := range m.record.Judgements {
		if have[j.Gate.Name] {
			continue
		}
		i := slices.IndexFunc(strays, func(g gate) bool { return g.Name == j.Gate.Name })
		if i < 0 {
			i, strays = len(strays), append(strays, gate{Gate: page.Gate{Name: j.Gate.Name, Title: titled(j.Gate.Title, j.Gate.Name)}})
		}
		strays[i].Old = append(strays[i].Old, m.sitting(&j, j.Gate))
	}
	return gates, strays
}

// sitting is a judgement for the page, now the gate as it is now.
func (m *maker) sitting(j *workflow.Judgement, now steps.Gate) sitting {
	row := sitting{Judgement: j, Who: strings.Join(j.By, ", "), Entry: j.Entries[0], Entries: entriesText(j.Entries)}
	for _, position := range j.Entries {
		a := m.audited[position]
		row.Readings = append(row.Readings, reading{a, m.counts(a)})
		row.Late = row.Late || m.entries[position].Late
		m.anchors[position] = row.Entry
	}
	row.Counts = row.Readings[len(row.Readings)-1].Counts
	if j.Counts {
		row.Counts = ""
	}
	if len(j.Gauges) != 1 || j.Gauges[0] != now.Gauge {
		var titles []string
		for _, name := range j.Gauges {
			titles = append(titles, m.gaugeTitle(name))
		}
		row.Who += ", with " + listed(titles)
	}
	if then := page.LimitsText(j.Gate); then != page.LimitsText(now) {
		row.Limits = m.told(then)
	}
	row.Verdict = says(j.Report.Finding.Verdict)
	if missing := j.Report.Finding.Missing; missing != "" {
		row.Verdict = says(measuring.Partial)
	}
	nearest, has := nearestOf(j.Judged)
	for _, v := range j.Judged {
		if v.Known {
			row.Values = grouped(row.Values, valueOf(v, has && v.Named() == nearest.Named()))
		}
	}
	if has {
		row.Margin = marginOf(nearest, len(j.Judged) > 1)
	}
	if found := j.Report.Finding; found.Verdict == measuring.Undecided && found.Judged.Known {
		row.Notes = append(row.Notes, found.Judged.Says())
	}
	if judged := j.Report.Finding.Judged; judged.Plain && j.Report.Finding.Verdict == measuring.In {
		row.Notes = append(row.Notes, "by plain acceptance, "+judged.Says())
	}
	if c := j.Concession; c != nil {
		row.Notes = append(row.Notes, "accepted by a concession of "+c.By)
	}
	if c := j.Doubt; c != nil && row.Counts == "" {
		row.Notes = append(row.Notes, "IN DOUBT: "+m.gaugeTitle(c.Gauge)+" was found "+c.Off.Found())
	}
	row.Bars = barsOf(j)
	return row
}

// counts says why a reading counts no more; "": it does.
func (m *maker) counts(a *workflow.AuditedReading) string {
	switch {
	case a.Superseded > 0 && a.StaleBy.IsZero():
		return "measured again"
	case !a.StaleBy.IsZero():
		return m.told(page.Said(a.StaleBy, m.o.Zone))
	case a.Doubt != nil:
		return inDoubt + m.told(page.Said(a.Doubt.Doubts(), m.o.Zone))
	}
	return ""
}

func valueOf(v workflow.Judged, nearest bool) value {
	out := value{Name: plain(v.Named()), Is: sized(v.Value, v.Unit), Nearest: nearest}
	if len(v.Of) == 2 {
		out.Is = "differ by " + out.Is
	}
	if len(v.Readings) > 1 {
		var read []string
		for _, q := range v.Readings {
			read = append(read, q.String())
		}
		out.Read = strings.Join(read, ", ")
	}
	if verdict := v.Finding.Verdict; verdict == measuring.Out || verdict == measuring.Undecided {
		out.Verdict = says(verdict)
	}
	return out
}

// grouped adds a value; points of which the same is said stand together.
func grouped(all []value, v value) []value {
	if n := len(all); n > 0 {
		last := &all[n-1]
		if last.Is == v.Is && last.Read == v.Read && last.Verdict == v.Verdict {
			last.Name, last.Nearest = last.Name+", "+v.Name, last.Nearest || v.Nearest
			return all
		}
	}
	return append(all, v)
}

// nearestOf is the value with the least room to its limits.
func nearestOf(all []workflow.Judged) (workflow.Judged, bool) {
	var nearest *workflow.Judged
	for i := range all {
		if v := &all[i]; v.Known && !math.IsNaN(v.Room) && (nearest == nil || v.Room < nearest.Room) {
			nearest = v
		}
	}
	if nearest == nil {
		return workflow.Judged{}, false
	}
	return *nearest, true
}

// marginOf says how far a value is from its nearest limit.
func marginOf(v workflow.Judged, named bool) string {
	by, side := v.Finding.Margin.By, "inside"
	if by < 0 {
		by, side = -by, "outside"
	}
	text := sized(by, v.Unit) + " " + side
	if named && v.Named() != "" {
		text += " at " + plain(v.Named())
	}
	return text
}

// judgedText is what a value was; "": it was not measured.
func judgedText(j *workflow.Judgement, like workflow.Judged) string {
	if j == nil {
		return ""
	}
	for _, v := range j.Judged {
		if v.Known && v.Named() == like.Named() {
			return sized(v.Value, v.Unit)
		}
	}
	return ""
}

// A check is one check of a gauge.
type check struct {
	workflow.GaugeCheck
	Title   string
	Doubted string // how many readings it casts doubt on
}

func (m *maker) checks() []check {
	var all []check
	for _, c := range m.s.GaugeChecks() {
		m.anchors[c.Position] = c.Position
		one := check{GaugeCheck: c, Title: m.gaugeTitle(c.Gauge)}
		for _, bad := range m.record.BadGauges {
			if bad.Position == c.Position && len(bad.Readings) > 0 {
				one.Doubted = numbered(len(bad.Readings), "reading") + " in doubt"
			}
		}
		all = append(all, one)
	}
	return all
}
