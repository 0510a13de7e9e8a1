package book

import (
	"fmt"
	"time"

	"fettle/cmd/internal/page"
	"fettle/steps/lists"
	"fettle/steps/quantity"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// A book is everything that the page shows, in order.
type book struct {
	Airframe    page.Airframe
	Documents   []page.Cited
	About       string
	Options     []string
	Front       front
	Full        bool // with the texts of jobs, and each reading and entry
	Made        time.Time
	Zone        string
	BothUnits   bool
	Drawing     drawing
	Timeline    []event
	Coming      *coming // nil: nothing is planned
	Jobs        []job
	Gates       []gate
	Strays      []gate // that are no longer in the design
	Joints      []jobJoints
	Bench       bench
	Damages     []damage
	Checks      []check
	Cautions    []cautions
	Seconds     []second
	Parts       []origin
	Plan        *plan   // nil: the sheet has no geometry
	Flight      *flight // nil: the sheet says nothing that it could be worked out of
	Equipment   []equipment
	Releases    []release
	Seals       []seal
	Photos      []photo // of anything but damage
	Notes       []entry
	Corrections []correction
	Gaps        []gap
}

// An entry is one entry of the journal with its words.
type entry struct {
	journal.Entry
	Says string
	Late bool // typed in after the fact
}

// A maker turns a state into a book.
type maker struct {
	s        *workflow.State
	o        Options
	now      time.Time
	record   *workflow.Record
	audited  map[int64]*workflow.AuditedReading // by entry
	flights  map[int64]workflow.FlightFacts     // by entry
	entries  []entry
	done     map[string][]entry // live entries that complete a step, by job and step
	kept     []photo
	pictures map[string]picture // by digest
	drawn    map[string]bool    // pictures of steps that are on the page, by digest
	shown    map[string]photo   // photos whose pictures are on the page, by digest
	anchors  map[int64]int64    // of entries that the book shows: at which of them a link leads there
	placed   map[int64]bool     // entries shown so far
	places   map[string]string  // by kind of entry
	called   map[string]string  // titles by name
	above    *plan
}

func newMaker(s *workflow.State, o Options) *maker {
	m := &maker{
		s: s, o: o, now: o.Clock.Now, done: map[string][]entry{}, anchors: map[int64]int64{}, audited: map[int64]*workflow.AuditedReading{}, flights: map[int64]workflow.FlightFacts{}, placed: map[int64]bool{}, places: places(),
		pictures: map[string]picture{}, shown: map[string]photo{}, drawn: map[string]bool{},
	}
	says := page.NewJournal(s).Entries
	for i, e := range s.Entries {
		m.entries = append(m.entries, entry{e, says[i].Says, e.Late()})
	}
	for _, e := range m.live() {
		if work, ok := journal.WorkOf(e.Facts); ok && work.Job != "" {
			key := work.Job + "/" + s.StepOf(work)
			m.done[key] = append(m.done[key], e)
		}
	}
	m.kept = m.photosOf()
	return m
}

// live returns the entries that were not taken back.
func (m *maker) live() []entry {
	var live []entry
	for i := range m.entries {
		if m.s.Live(m.entries[i].Position) {
			live = append(live, m.entries[i])
		}
	}
	return live
}

func (m *maker) book() (*book, error) {
	s := m.s
	b := &book{
		Airframe: page.NewAirframe(s, m.now), Documents: m.o.Documents, About: s.Sheet.About, Made: m.now, Zone: m.now.In(m.o.Zone).Format("MST (-07:00)"),
		Options: m.options(), BothUnits: m.o.Clock.BothUnits, Full: m.o.Full,
	}
	var err error
	if m.record, err = s.Record(m.now); err != nil {
		return nil, err
	}
	for _, f := range m.record.Flights {
		m.flights[f.Position] = f
	}
	audited, err := s.Audit(workflow.AuditFilter{}, m.now)
	if err != nil {
		return nil, err
	}
	for _, a := range audited {
		m.audited[a.Entry.Position] = a
	}
	summary, err := s.AuditSummary(m.now)
	if err != nil {
		return nil, err
	}
	b.Jobs = m.jobs(b.Airframe.Jobs)
	b.Gates, b.Strays = m.gates()
	b.Joints, b.Bench = m.joints(), m.bench()
	b.Damages, b.Photos = m.damages()
	b.Checks, b.Cautions, b.Seconds, b.Parts = m.checks(), m.cautions(), m.seconds(), m.parts()
	b.Equipment, b.Plan = m.equipment(), m.plan()
	if !s.Sheet.Geometry.IsZero() {
		card, err := s.Card(m.now, quantity.Quantity{}, quantity.Quantity{})
		if err != nil {
			return nil, err
		}
		b.Flight = m.flight(page.NewCard(s, card, nil))
	}
	b.Seals = m.seals()
	b.Releases = m.releases(b.Seals)
	for _, e := range m.live() {
		if _, ok := e.Facts.(journal.Noted); ok {
			b.Notes = append(b.Notes, e)
			m.anchors[e.Position] = e.Position
		}
	}
	b.Corrections = m.corrections()
	b.Gaps, b.Front = m.gaps(b, summary), m.front(b)
	b.Timeline, b.Drawing, b.Coming = m.timeline(), m.drawing(), m.coming()
	return b, nil
}

// options are the titles of the options that the airframe has.
func (m *maker) options() []string {
	var titles []string
	for _, name := range m.s.Selection().Has {
		o, ok := m.s.Sheet.Option(name)
		if !ok || o.Title == "" {
			o.Title = name
		}
		titles = append(titles, o.Title)
	}
	return titles
}

// A job is one job with its steps.
type job struct {
	page.Job
	Called   string // in words
	Anchor   string
	Position int64
	About    string
	By       []string // who did it
	Ended    time.Time
	Damages  []string
	Stages   []stage
}

type stage struct {
	Title string
	Steps []step
}

// A step is a step as it was done or as it stands.
type step struct {
	workflow.StepReport
	Entry   *entry // that completed it; nil: none
	Earlier []entry
	Lines   []string // of a hold, as they were confirmed
	Witness *witness // nil: it wants no second person
	Photos  []photo
}

// A witness is who was the second person at a step, or what was done instead.
type witness struct {
	Position int64
	Says     string
}

// Words are a few words to go with the step's title.
func (s step) Words() string { return page.About(s.Step) }

func jobAnchor(i int) string { return fmt.Sprintf("job-%d", i) }

func (m *maker) jobs(shown []page.Job) []job {
	var all []job
	for i, j := range m.s.Jobs {
		out := job{Job: shown[i], Called: m.jobTitle(j.ID), By: m.doneBy(j), Anchor: jobAnchor(i), Position: j.Position, About: j.Procedure.About, Ended: m.ended(j), Damages: j.Damages}
		m.anchors[j.Position] = j.Position
		at := ""
		for _, r := range m.s.Steps(j, m.now) {
			if r.Stage != at {
				at = r.Stage
				title := at
				if st, ok := j.Procedure.Stage(at); ok && st.Title != "" {
					title = st.Title
				}
				out.Stages = append(out.Stages, stage{Title: title})
			}
			st := step{StepReport: r, Earlier: m.done[j.ID+"/"+r.Step.Name]}
			for _, e := range st.Earlier {
				m.anchors[e.Position] = e.Position
				if !lists.Contains(out.By, e.By) {
					out.By = append(out.By, e.By)
				}
			}
			if n := len(st.Earlier); n > 0 && r.Progress == workflow.Done {
				st.Entry, st.Earlier = &st.Earlier[n-1], st.Earlier[:n-1]
				st.Photos = m.of(st.Entry.Position)
				if f, ok := st.Entry.Facts.(journal.HoldCleared); ok {
					st.Lines = f.Lines
				}
				if f, ok := m.s.WitnessOf(st.Entry.Position); ok {
					st.Witness = &witness{st.Entry.Position - 1, f.Says()}
					if m.o.Full {
						m.anchors[st.Witness.Position] = st.Witness.Position
					}
				}
			}
			last := &out.Stages[len(out.Stages)-1]
			last.Steps = append(last.Steps, st)
		}
		all = append(all, out)
	}
	return all
}

// doneBy are the people who did the steps of a job.
func (m *maker) doneBy(j *workflow.Job) []string {
	var who []string
	for _, st := range j.Procedure.Steps() {
		for _, e := range m.done[j.ID+"/"+st.Name] {
			if !lists.Contains(who, e.By) {
				who = append(who, e.By)
			}
		}
	}
	return who
}
