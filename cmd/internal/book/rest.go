package book

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"fettle/cmd/internal/page"
	"fettle/steps/sorting"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// A damage is one finding, and whether it is repaired.
type damage struct {
	page.Damage
	Position int64
	Title    string
	State    string // in words
	Aboard   string // what had a name
	Anchor   string // of the job that repairs it
	Lines    []string
	Cleared  *entry // the quarantine
	Photos   []photo
	Where    *planned // nil: the zone has no outline
}

// damages returns the damages with their photos, and all other photos.
func (m *maker) damages() ([]damage, []photo) {
	var all []damage
	shown := map[int64]bool{}
	for i, d := range page.Damages(m.s, m.now) {
		found := m.s.Damages[i]
		out := damage{Damage: d, Position: found.Position, Title: m.findingTitle(found), Aboard: m.things(m.record.Damages[i].Aboard), Lines: found.Quarantine.Lines, Photos: m.of(found.Position), Where: m.plan().zone(found.Zone)}
		m.anchors[found.Position] = found.Position
		switch {
		case d.Repaired:
			out.State = "repaired"
		case d.Job != "":
			out.State = "NOT REPAIRED, under repair"
		default:
			out.State = "NOT REPAIRED"
		}
		if i := slices.IndexFunc(m.s.Jobs, func(j *workflow.Job) bool { return j.ID == d.Job }); i >= 0 {
			out.Anchor = jobAnchor(i)
		}
		for _, e := range m.live() {
			if f, ok := e.Facts.(journal.QuarantineCleared); ok && f.Damage == d.Name {
				out.Cleared = &e
			}
		}
		for i, p := range out.Photos {
			if shown[p.Position] = true; len(p.Shows) == 1 { // it stands there
				out.Photos[i].Shows = nil
			}
		}
		all = append(all, out)
	}
	for _, p := range m.kept {
		m.anchors[p.Position] = p.Position
	}
	rest := m.kept[:0:0]
	for i := range m.kept {
		if !shown[m.kept[i].Position] {
			rest = append(rest, m.kept[i])
		}
	}
	return all, rest
}

// An equipment is one change of equipment.
type equipment struct {
	entry
	journal.EquipmentChanged
	Title string
}

func (m *maker) equipment() []equipment {
	var all []equipment
	for _, e := range m.live() {
		f, ok := e.Facts.(journal.EquipmentChanged)
		if !ok {
			continue
		}
		out := equipment{e, f, m.itemTitle(f.Item)}
		if f.Name != "" {
			out.Title += ", " + f.Name
		}
		m.anchors[e.Position] = e.Position
		all = append(all, out)
	}
	return all
}

// A release is one release with what it rests on.
type release struct {
	workflow.ReleaseFacts
	Standing string
	Rests    string // the readings
	Gates    int
	Work     []string // the jobs since the release before
	Young    []string // joints that were younger than their cure
	Seal     *seal    // the first seal that covers it
}

func (m *maker) releases(seals []seal) []release {
	var all []release
	for _, r := range m.record.Releases {
		m.anchors[r.Position] = r.Position
		out := release{ReleaseFacts: r, Standing: "It is in force."}
		switch {
		case !r.Ended.IsZero():
			out.Standing = "It ended: "
			if !r.EndedAt.IsZero() {
				out.Standing = "It ended on " + m.minute(r.EndedAt) + ": "
			}
			out.Standing += m.told(page.Said(r.Ended, m.o.Zone)) + "."
		}
		gates := map[string]bool{}
		for _, position := range r.RestsOn {
			if position >= 0 && position < int64(len(m.entries)) {
				if f, ok := m.entries[position].Facts.(journal.ReadingTaken); ok {
					gates[f.Gate] = true
				}
			}
		}
		out.Gates = len(gates)
		if len(r.RestsOn) > 0 {
			out.Rests = entriesText(r.RestsOn)
		}
		for _, id := range r.Jobs {
			out.Work = append(out.Work, m.jobTitle(id))
		}
		for _, y := range r.Young {
			out.Young = append(out.Young, m.jointTitle(&y.Joint))
		}
		for i, s := range seals {
			if s.Size > r.Position {
				out.Seal = &seals[i]
				break
			}
		}
		all = append(all, out)
	}
	return all
}

// A seal is one seal of the journal, with its text if that was given.
type seal struct {
	Position, Size int64
	Root, Key      string
	Note           string
	Entry          *entry // nil: it is not in the journal
}

func (m *maker) seals() []seal {
	var all []seal
	named := map[int64]bool{}
	for _, e := range m.live() {
		f, ok := e.Facts.(journal.Sealed)
		if !ok {
			continue
		}
		m.anchors[e.Position], named[e.Position] = e.Position, true
		all = append(all, seal{e.Position, f.Size, f.Root, f.Key, strings.TrimSpace(m.o.Seals[e.Position]), &e})
	}
	for position, note := range m.o.Seals { // those that are not in the journal
		if !named[position] {
			all = append(all, seal{Position: position, Size: position + 1, Note: strings.TrimSpace(note)})
		}
	}
	sorting.Stable(all, func(i, k int) int {
		a, b := &all[i], &all[k]
		return cmp.Compare(a.Size, b.Size)
	})
	return all
}

// Cautions are what one person confirmed in one sitting, line by line.
type cautions struct {
	From, To time.Time
	By       string
	Cleared  []caution
}

// A caution is one hold, one adhesive or tool before its use, or one quarantine.
type caution struct {
	workflow.HoldCleared
	Title string
}

func (m *maker) cautions() []cautions {
	var all []cautions
	for _, h := range m.record.Holds {
		one := caution{h, ""}
		switch {
		case h.Use != "":
			one.Title = m.useTitle(h.Use)
		case h.Damage != "":
			one.Title = "Quarantine of " + h.Damage
		default:
			one.Title = m.stepTitle(h.Job, h.Step)
		}
		m.anchors[h.Position] = h.Position
		n := len(all)
		if n == 0 || all[n-1].By != h.By || h.At.Sub(all[n-1].From) > workflow.SittingLength || h.At.Before(all[n-1].From) {
			all, n = append(all, cautions{From: h.At, By: h.By}), n+1
		}
		last := &all[n-1]
		last.To, last.Cleared = h.At, append(last.Cleared, one)
	}
	return all
}

// An origin is where some of the parts come from.
type origin struct {
	Says  string
	Zones []string
}

// parts are the zones, those of one origin together.
func (m *maker) parts() []origin {
	var all []origin
	for _, p := range m.record.Parts {
		says := string(p.Origin)
		if !p.Since.IsZero() {
			says += ", " + m.day(p.Since)
		}
		if len(p.Cut) > 0 {
			says += "; a part of it was cut out and replaced in " + numbered(len(p.Cut), "repair") + ", " + m.day(p.Recut)
		}
		i := slices.IndexFunc(all, func(o origin) bool { return o.Says == says })
		if i < 0 {
			i, all = len(all), append(all, origin{Says: says})
		}
		zone := plain(p.Zone)
		for _, t := range p.Things {
			zone += " (" + t.Name + ")"
		}
		all[i].Zones = append(all[i].Zones, zone)
	}
	return all
}

// A second is the second person at a step, or what was done instead.
type second struct {
	workflow.Seconded
	Title string
}

func (m *maker) seconds() []second {
	var all []second
	for _, w := range m.record.Seconds {
		all = append(all, second{w, m.stepTitle(w.Job, w.Step)})
	}
	return all
}

// A correction is one entry that took others back, with those.
type correction struct {
	entry
	Reason string
	Back   []entry
}

func (m *maker) corrections() []correction {
	var all []correction
	for _, e := range m.entries {
		f, ok := e.Facts.(journal.Undone)
		if !ok {
			continue
		}
		m.anchors[e.Position] = e.Position
		out := correction{entry: e, Reason: f.Reason}
		for _, p := range f.TakesBack {
			if p >= 0 && p < int64(len(m.entries)) {
				out.Back = append(out.Back, m.entries[p])
				m.anchors[p] = p
			}
		}
		all = append(all, out)
	}
	return all
}

// A gap is a list of things of one kind that the record does not show.
type gap struct {
	Title string
	Items []string
}

// Missing counts what the record does not show.
func (b *book) Missing() int {
	n := 0
	for _, g := range b.Gaps {
		n += len(g.Items)
	}
	return n
}

// said returns each cause in words, with its day in the book's zone.
func (m *maker) said(causes []workflow.Cause) []string {
	var all []string
	for _, c := range causes {
		all = append(all, m.told(page.Said(c, m.o.Zone)))
	}
	return all
}

// gaps gathers what a reader might take for granted and should not.
func (m *maker) gaps(b *book, sum workflow.AuditSummary) []gap {
	var build, grounded, conceded, doubts, open, damages, unsealed, clocks, missing []string
	if !sum.Build.IsZero() {
		build = m.said([]workflow.Cause{sum.Build})
	}
	for _, f := range m.record.Flights {
		if f.Grounded != "" {
			grounded = append(grounded, fmt.Sprintf("%s (%s): %s", m.minute(f.At), entriesText([]int64{f.Position}), m.told(f.Grounded)))
		}
	}
	for _, c := range m.record.Concessions {
		text := m.conceded(c)
		if c.InForce {
			text += " (in force)"
		}
		conceded = append(conceded, text)
	}
	for _, bad := range m.record.BadGauges {
		if len(bad.Readings) > 0 {
			doubts = append(doubts, m.doubted(bad, true))
		}
	}
	for _, j := range b.Jobs {
		if j.Open {
			open = append(open, fmt.Sprintf("%s: %d of %d steps are done", j.Called, j.Done, j.Steps))
		}
	}
	for _, d := range m.record.Damages {
		if !d.Repaired {
			damages = append(damages, m.damageText(d.Damage))
		}
		if d.Quarantine.Open() {
			damages = append(damages, "the quarantine of "+d.Damage.Damage+" was not cleared")
		}
	}
	for _, r := range b.Releases {
		if r.Seal == nil {
			unsealed = append(unsealed, "the release of "+m.minute(r.At))
		}
	}
	if sum.Late > 0 {
		clocks = append(clocks, fmt.Sprintf("%d of %d entries were typed in more than ten minutes late", sum.Late, sum.Entries))
	}
	clocks = append(clocks, sum.Backwards...)
	for _, w := range b.Airframe.Warnings {
		clocks = append(clocks, w.Text)
	}
	for _, p := range m.kept {
		if why := m.picture(p.Photo).Missing; why != "" {
			missing = append(missing, fmt.Sprintf("photo %s (entry %d) is not in this book: %s", p.Name, p.Position, why))
		}
		if len(p.Of) == 0 {
			missing = append(missing, fmt.Sprintf("photo %s (entry %d) is not linked to any entry", p.Name, p.Position))
		}
	}
	var gauges, never []string
	for _, name := range sum.NeverChecked {
		never = append(never, m.gaugeTitle(name))
	}
	if len(never) > 0 {
		gauges = append(gauges, "never checked in this record: "+strings.Join(never, "; "))
	}
	if len(sum.NotGood) > 0 {
		gauges = append(gauges, "failed the last check: "+strings.Join(m.said(sum.NotGood), "; "))
	}
	var gaps []gap
	for _, g := range []gap{
		{"Its build", build}, {"Flights that it was not released for", grounded}, {"Gates not passed", m.notPassed(b.Gates, math.MaxInt)}, {"Readings in doubt", doubts}, {"Gauges", gauges},
		{"Concessions", conceded}, {"Joints that missed their window", m.toldAll(sum.Lapsed)}, {"Steps done too late after a wait, or still to be done", m.toldAll(sum.TooLate)},
		{"Open jobs", open}, {"Damage not repaired", damages}, {"Releases without a seal", unsealed},
		{"Times", clocks}, {"Photos", missing},
	} {
		if len(g.Items) > 0 {
			gaps = append(gaps, g)
		}
	}
	return gaps
}

func (m *maker) toldAll(texts []string) []string {
	all := make([]string, len(texts))
	for i, text := range texts {
		all[i] = m.told(text)
	}
	return all
}
