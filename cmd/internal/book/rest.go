package book

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"fettle/cmd/internal/page"
	"fettle/steps/sorting"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// A damage is one finding, and whether it is repaired.
type damage struct {
	page.Damage
	Position int64
	State    string // in words
	Anchor   string // of the job that repairs it
	Lines    []string
	Cleared  *entry // the quarantine
	Photos   []photo
}

// damages returns the damages with their photos, and all other photos.
func (m *maker) damages() ([]damage, []photo) {
	var all []damage
	for i, d := range page.Damages(m.s, m.now) {
		found := m.s.Damages[i]
		out := damage{Damage: d, Position: found.Position, Lines: found.Quarantine.Lines, Photos: m.of(found.Position)}
		m.anchors[found.Position] = true
		switch {
		case d.Repaired:
			out.State = "repaired by"
		case d.Job != "":
			out.State = "NOT REPAIRED; under repair in"
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
		all = append(all, out)
	}
	shown := map[int64]bool{}
	for _, d := range all {
		for _, p := range d.Photos {
			shown[p.Position] = true
		}
	}
	other := slices.DeleteFunc(slices.Clone(m.kept), func(p photo) bool { return shown[p.Position] })
	for _, p := range m.kept {
		m.anchors[p.Position] = true
	}
	return all, other
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
		out := equipment{e, f, f.Item}
		for _, known := range m.s.Sheet.Equipment {
			if known.Name == f.Item && known.Title != "" {
				out.Title = known.Title
			}
		}
		if f.Name != "" {
			out.Title += ", " + f.Name
		}
		m.anchors[e.Position] = true
		all = append(all, out)
	}
	return all
}

// A release is one release with what it rests on.
type release struct {
	entry
	journal.Released
	Standing string
	Rests    []rest
	Seal     *seal // the first seal that covers it
}

// A rest is the readings of one gate that were taken together and that a release
// rests on.
type rest struct {
	reading  // the first of them
	Readings []reading
}

func (m *maker) releases(seals []seal) []release {
	var all []release
	for _, e := range m.live() {
		f, ok := e.Facts.(journal.Released)
		if !ok {
			continue
		}
		m.anchors[e.Position] = true
		out := release{entry: e, Released: f, Standing: "A later release replaced it."}
		if last := m.s.Release; last != nil && last.Position == e.Position {
			out.Standing = "It is in force."
			if flight := m.s.Airworthiness(m.now); !flight.Released {
				out.Standing = "It is no longer in force: " + page.Said(flight.Why, m.o.Zone) + "."
			}
		}
		for _, a := range m.readings {
			if slices.Contains(f.RestsOn, a.Entry.Position) {
				out.Rests = together(out.Rests, m.reading(a, true))
			}
		}
		for i, s := range seals {
			if s.Size > e.Position {
				out.Seal = &seals[i]
				break
			}
		}
		all = append(all, out)
	}
	return all
}

func together(rests []rest, r reading) []rest {
	if n := len(rests); n > 0 {
		last := &rests[n-1]
		if last.Reading.Gate == r.Reading.Gate && last.Gauge == r.Gauge && last.Entry.At.Equal(r.Entry.At) && last.Entry.By == r.Entry.By {
			last.Readings = append(last.Readings, r)
			return rests
		}
	}
	return append(rests, rest{r, []reading{r}})
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
		m.anchors[e.Position], named[e.Position] = true, true
		all = append(all, seal{e.Position, f.Size, f.Root, f.Key, strings.TrimSpace(m.o.Seals[e.Position]), &e})
	}
	for position, note := range m.o.Seals { // those that are not in the journal
		if !named[position] {
			all = append(all, seal{Position: position, Size: position + 1, Note: strings.TrimSpace(note)})
		}
	}
	sorting.Stable(all, func(a, b seal) int { return cmp.Compare(a.Size, b.Size) })
	return all
}

// checks returns every check of a gauge; the book has a section for them.
func (m *maker) checks() []workflow.GaugeCheck {
	all := m.s.GaugeChecks()
	for _, c := range all {
		m.anchors[c.Position] = true
	}
	return all
}

// A use is what was confirmed before an adhesive or a tool was used, and when.
type use struct {
	Title   string
	Lines   []string
	Cleared []entry
}

// uses returns what was confirmed of each adhesive and tool, apart where its
// lines changed.
func (m *maker) uses() []use {
	var all []use
	for _, e := range m.live() {
		f, ok := e.Facts.(journal.UseCleared)
		if !ok {
			continue
		}
		title := f.Of
		if u, known := m.s.Sheet.Use(f.Of); known {
			title = u.Title
		}
		i := slices.IndexFunc(all, func(u use) bool { return u.Title == title && slices.Equal(u.Lines, f.Lines) })
		if i < 0 {
			i, all = len(all), append(all, use{Title: title, Lines: f.Lines})
		}
		all[i].Cleared = append(all[i].Cleared, e)
		m.anchors[e.Position] = true
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
		m.anchors[e.Position] = true
		out := correction{entry: e, Reason: f.Reason}
		for _, p := range f.TakesBack {
			if p >= 0 && p < int64(len(m.entries)) {
				out.Back = append(out.Back, m.entries[p])
				m.anchors[p] = true
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
		all = append(all, page.Said(c, m.o.Zone))
	}
	return all
}

// gaps gathers what a reader might take for granted and should not.
func (m *maker) gaps(b *book, sum workflow.AuditSummary) []gap {
	var build, gates, conceded, open, damages, unsealed, clocks, missing []string
	if !sum.Build.IsZero() {
		build = m.said([]workflow.Cause{sum.Build})
	}
	for _, g := range b.Gates {
		critical := ""
		if g.Critical {
			critical = ", which is critical,"
		}
		switch g.Standing {
		case workflow.Current:
		case workflow.Conceded:
			conceded = append(conceded, fmt.Sprintf("gate %s is used as it is, by a concession that %s granted: %s", g.Name, g.By, g.Reason))
		default:
			gates = append(gates, fmt.Sprintf("gate %s%s is %s", g.Name, critical, g.Words))
		}
	}
	for _, c := range sum.Concessions {
		conceded = append(conceded, "concession on "+c)
	}
	for _, j := range b.Jobs {
		if j.Open {
			open = append(open, fmt.Sprintf("job %s is open: %d of %d steps are done", j.ID, j.Done, j.Steps))
		}
	}
	for _, d := range b.Damages {
		if !d.Repaired {
			damages = append(damages, fmt.Sprintf("damage %s (%s at %s) is not repaired", d.Name, d.Finding, d.Zone))
		}
		if d.Quarantine {
			damages = append(damages, fmt.Sprintf("the quarantine of damage %s was not cleared", d.Name))
		}
	}
	for _, r := range b.Releases {
		if r.Seal == nil {
			unsealed = append(unsealed, fmt.Sprintf("the release (entry %d) is not sealed", r.Position))
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
	var gauges []string
	for what, names := range map[string][]string{"never checked in this record": sum.NeverChecked, "failed the last check": m.said(sum.NotGood)} {
		if len(names) > 0 {
			gauges = append(gauges, what+": "+strings.Join(names, ", "))
		}
	}
	slices.Sort(gauges)
	var gaps []gap
	for _, g := range []gap{
		{"Its build", build}, {"Flights that it was not released for", m.said(sum.Grounded)}, {"Gates not passed", gates}, {"Readings in doubt", m.said(sum.InDoubt)}, {"Gauges", gauges},
		{"Concessions", conceded}, {"Joints that missed their window", sum.Lapsed}, {"Steps done too late after a wait, or still to be done", sum.TooLate},
		{"Open jobs", open}, {"Damage not repaired", damages}, {"Releases without a seal", unsealed},
		{"Times", clocks}, {"Photos", missing},
	} {
		if len(g.Items) > 0 {
			gaps = append(gaps, g)
		}
	}
	return gaps
}
