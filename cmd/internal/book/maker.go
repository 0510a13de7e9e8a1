package book

import (
	"slices"
	"time"

	"fettle/cmd/internal/page"
	"fettle/steps"
	"fettle/workflow"
)

// A book is everything that the page shows, in its order.
type book struct {
	Airframe    page.Airframe
	About       string
	Options     []string
	Condition   string // how it stands as to flight, in capitals
	Made        time.Time
	Zone        string
	Strip       strip
	Life        []event
	Jobs        []job
	Gates       []gate
	Strays      []reading // of gates that the design has no more
	Joints      []jobJoints
	Bench       bench
	Damages     []damage
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
	workflow.Entry
	Says string
	Late bool // typed in after the fact
}

// late is how long after the fact an entry counts as typed in later.
const late = 10 * time.Minute

// A maker turns a state into a book.
type maker struct {
	s       *workflow.State
	o       Options
	entries []entry
	done    map[string][]entry // live entries that complete a step, by job and step
	kept    []photo
	anchors map[int64]bool // entries that the book shows in a place of their own
}

func newMaker(s *workflow.State, o Options) *maker {
	m := &maker{s: s, o: o, done: map[string][]entry{}, anchors: map[int64]bool{}}
	says := page.NewJournal(s).Entries
	for i, e := range s.Entries {
		m.entries = append(m.entries, entry{e, says[i].Says, e.Recorded.Sub(e.At) > late})
	}
	for _, e := range m.live() {
		if work, ok := workOf(e.Facts); ok {
			key := work.Job + "/" + work.Step
			m.done[key] = append(m.done[key], e)
		}
	}
	m.kept = m.photosOf()
	return m
}

// live gives the entries that were never taken back.
func (m *maker) live() []entry {
	return slices.DeleteFunc(slices.Clone(m.entries), func(e entry) bool { return !m.s.Live(e.Position) })
}

// workOf returns what an entry that completes a step says of it.
func workOf(f workflow.Facts) (workflow.Work, bool) {
	switch f := f.(type) {
	case workflow.StepDone:
		return f.Work, true
	case workflow.Coated:
		return f.Work, true
	case workflow.Joined:
		return f.Work, true
	case workflow.HoldCleared:
		return f.Work, true
	case workflow.Released:
		return f.Work, f.Job != ""
	}
	return workflow.Work{}, false
}

func (m *maker) book() (*book, error) {
	s, now := m.s, m.o.Now
	b := &book{
		Airframe: page.NewAirframe(s, now), About: s.Sheet.About, Made: now, Zone: now.In(m.o.Zone).Format("MST (-07:00)"),
		Options: m.options(),
	}
	b.Condition = map[string]string{page.Released: "RELEASED", page.Grounded: "GROUNDED"}[b.Airframe.Flight]
	if b.Condition == "" {
		b.Condition = "NOT RELEASED"
	}
	readings, err := s.Audit(workflow.AuditFilter{}, now)
	if err != nil {
		return nil, err
	}
	summary, err := s.AuditSummary(now)
	if err != nil {
		return nil, err
	}
	b.Jobs = m.jobs()
	b.Gates, b.Strays = m.gates(readings)
	b.Joints, b.Bench = m.joints(), m.bench()
	b.Damages, b.Photos = m.damages()
	b.Equipment = m.equipment()
	b.Seals = m.seals()
	b.Releases = m.releases(b.Seals)
	for _, e := range m.live() {
		if _, ok := e.Facts.(workflow.Noted); ok {
			b.Notes = append(b.Notes, e)
			m.anchors[e.Position] = true
		}
	}
	b.Corrections = m.corrections()
	b.Gaps = m.gaps(b, summary)
	b.Life, b.Strip = m.life(), m.strip()
	return b, nil
}

// options are the titles of the options that the airframe has.
func (m *maker) options() []string {
	var titles []string
	for _, name := range m.s.Airframe.Options {
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
	About   string
	By      []string // who did it
	Ended   time.Time
	Damages []string
	Stages  []stage
}

type stage struct {
	Title string
	Steps []step
}

// A step is a step as it was done, or as it stands.
type step struct {
	workflow.StepReport
	Entry   *entry // that completed it; nil: none did
	Earlier []entry
	Lines   []string // of a hold, as they were confirmed
}

// Words says what the step was about, beside its title.
func (s step) Words() string {
	switch s.Step.Kind {
	case steps.Coat:
		return "coats joint " + s.Step.Joint + " with " + s.Step.Adhesive
	case steps.Join:
		return "closes joint " + s.Step.Joint
	case steps.Hold:
		return "a hold"
	case steps.Wait:
		return "a wait"
	case steps.Release:
		return "the release"
	}
	return ""
}

func (m *maker) jobs() []job {
	var all []job
	for i, j := range m.s.Jobs {
		out := job{Job: page.NewAirframe(m.s, m.o.Now).Jobs[i], About: j.Procedure.About, Damages: j.Damages}
		m.anchors[j.Position] = true
		at := ""
		for _, r := range m.s.Steps(j, m.o.Now) {
			if r.Stage != at {
				at = r.Stage
				title := at
				if st, ok := j.Procedure.Stage(at); ok && st.Title != "" {
					title = st.Title
				}
				out.Stages = append(out.Stages, stage{Title: title})
			}
			st := step{StepReport: r}
			st.Earlier = m.done[j.ID+"/"+r.Step.Name]
			if n := len(st.Earlier); n > 0 && r.Progress == workflow.Done {
				st.Entry, st.Earlier = &st.Earlier[n-1], st.Earlier[:n-1]
				if f, ok := st.Entry.Facts.(workflow.HoldCleared); ok {
					st.Lines = f.Lines
				}
			}
			for _, e := range m.done[j.ID+"/"+r.Step.Name] {
				m.anchors[e.Position] = true
				if !slices.Contains(out.By, e.By) {
					out.By = append(out.By, e.By)
				}
				if e.At.After(out.Ended) {
					out.Ended = e.At
				}
			}
			last := &out.Stages[len(out.Stages)-1]
			last.Steps = append(last.Steps, st)
		}
		all = append(all, out)
	}
	return all
}
