package workflow

import (
	"fmt"
	"maps"
	"slices"
	"sync"
	"time"

	"fettle/steps"
	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// SittingLength is how long one visit to the bench lasts: for so long a bench
// reading counts, and a condition that lasts a sitting.
const SittingLength = 6 * time.Hour

// Documents are the design sheets and procedures that a journal names, by
// digest.
type Documents struct {
	Sheets     map[string]*steps.Sheet
	Procedures map[string]*steps.Procedure
}

// A State is what a journal adds up to. It is read-only: of a longer journal there is
// a new State, see [State.Longer].
type State struct {
	Entries []journal.Entry // all of them, taken back or not

	Airframe    journal.Registered
	Since       time.Time // registered at
	Sheet       *steps.Sheet
	SheetDigest string       // digest of Sheet
	Jobs        []*Job       // in the order opened
	Bench       *Climate     // the last reading of the bench, by time
	Release     *LastRelease // the last release, whether or not it still stands
	Damages     []*Damage
	Quarantines []*Quarantine // also of findings that were taken back
	Flights     []Flight
	Retired     *End // nil: it is in use

	Planned []Planned            // what the last plan has for it, in its order; whoever reads the state sets it
	Plans   map[string][]Planned // what the last plan of each airframe has, by mark
	Sits    func() time.Time     // when the sitting is over that the settings have now, or was; zero, or nil: they have none

	lastSheet   *steps.Sheet      // that the airframe goes by at the end of the journal
	bench       []Climate         // every reading, by time; of two at one time the later entry comes last
	entered     *Climate          // the reading entered last
	said        map[string][]said // of each condition, by time; of two at one time the later entry comes last
	ended       []said            // what ended every condition, in the same order
	voided      map[string][]said // of each condition: what makes unknown what was said before it, by entry or by time
	voidedAll   []said            // the same, of every condition
	gates       map[string]*gateRecord
	gauges      map[string]*gaugeRecord
	studies     []GaugeStudy
	zones       map[string]disturbance // the last of each zone
	shifted     map[string]disturbance // the last that was more than a mark, and may have shifted a zone against others
	changes     []change               // of equipment
	elsewhere   []Held                 // what was fitted here and is in quarantine by the record of another airframe, or was
	others      []*State               // of which it was told what they say of the bench
	handledAt   map[int64][]string     // by entry: the zones of equipment that was taken off or put on
	lost        map[string]retirement  // of each zone that was thrown away, when last
	used        map[string]time.Time   // of each adhesive and tool, the latest time that a step was done with it
	backFlights []Flight               // that ask for a check and were taken back
	undone      map[int64]int64        // position → the Undone entry that took it back
	latest      journal.Entry          // the live entry recorded last
	doubt       ClockDoubt             // that the clocks of other benches leave; none in a fold
	seat        Seat                   // who looks at it; none in a fold
	docs        Documents
	disturbed   *disturbance      // the last disturbance, of any zone
	chosen      map[string]string // of each choice and option, the answer
	chosenAt    map[string]int64  // where
	selected    steps.Selection

	reworks *Job              // what reworks glued, in no job; it stands in no list
	reglued map[string]reglue // by joint: the last rework that glued it

	memo    *memo             // nil: it is being replayed
	folded  *State            // itself as it was replayed, also where it is a copy that was told more
	effects map[string]effect // by kind of entry
	kinds   map[steps.Kind]stepKind
	clocked map[string]bool
}

// said is one statement of how a condition stands.
type said struct {
	position int64
	at       time.Time
	recorded time.Time
	state    string
	by       string // the [Seat] at which alone it counts; "": at all
	mark     string // the airframe in whose journal it stands; "": this one
	against  string // of no state, since it was said in one second with another, which says otherwise: both, in words
}

// enteredAfter reports whether it was entered after the other one.
//
//go:noinline
func (c said) enteredAfter(other said) bool {
	if c.mark != other.mark {
		return c.recorded.After(other.recorded)
	}
	return c.position > other.position
}

// A Climate is one reading of the bench.
type Climate struct {
	journal.BenchRead
	At      time.Time
	celsius float64
}

// LastRelease is a release as it was given.
type LastRelease struct {
	journal.Released
	At       time.Time
	By       string
	Position int64
}

// A Job is a procedure being carried out.
type Job struct {
	ID        string
	Procedure *steps.Procedure // with the steps that apply to this airframe, by what is chosen
	Digest    string
	Zone      string
	Damages   []string // what it repairs
	Opened    time.Time
	Position  int64

	written  *steps.Procedure      // with all its steps
	methods  map[string]string     // that were chosen, by the step that asks
	answered map[string]bool       // choose steps that were done when the job was over
	done     map[string]completion // by step name
	planned  int64                 // where the job was opened, or its plan amended
	brought  map[string]moment     // by step: the last amendment that brought it or opened it again
	called   map[string]string     // what steps are called now, by what they were called before a move
	joints   map[string][]*Joint   // by name: its parts
	begun    map[string]Begun      // by step: the coat that is not on yet
	off      time.Duration         // counted to the safe side, as clocks of benches may differ
	wrong    bool                  // the clock here is known to be
}

// completion is where a step was completed, and of which kind it was then.
type completion struct {
	position int64
	at       time.Time
	kind     steps.Kind
}

// disturbance is the last time that something disturbed a zone.
type disturbance struct {
	position int64
	at       time.Time // the latest time of any, in whatever order they were entered
	by       string    // the step, or other words for what did it
}

// Replay folds a journal into a state. The documents must hold every digest
// that the entries name.
//
//go:noinline
func Replay(entries []journal.Entry, docs Documents) (*State, error) {
	return fold(entries, docs, nil)
}

// fold is Replay; seen, if there is one, looks at the state right after each entry that
// stands. Which entries were taken back is known from the beginning.
func fold(entries []journal.Entry, docs Documents, seen func(*State, journal.Entry)) (*State, error) {
	s := &State{
		Entries: entries,
		said:    map[string][]said{},
		voided:  map[string][]said{},
		gates:   map[string]*gateRecord{},
		gauges:  map[string]*gaugeRecord{},
		zones:   map[string]disturbance{},
		shifted: map[string]disturbance{},
		lost:    map[string]retirement{}, handledAt: map[int64][]string{},
		used:   map[string]time.Time{},
		chosen: map[string]string{}, chosenAt: map[string]int64{},
		docs:    docs,
		effects: effects(),
		kinds:   stepKinds(),
		clocked: journal.Clocked(),
		reglued: map[string]reglue{},
		reworks: &Job{Procedure: &steps.Procedure{}, done: map[string]completion{}, joints: map[string][]*Joint{}},
	}
	s.noteUndone()
	s.lastSheet = s.sheetAtEnd()
	return s.foldFrom(0, seen)
}

// foldFrom folds the entries from that position, which are the first that the state does
// not have, and judges what needs all of them.
func (s *State) foldFrom(first int, seen func(*State, journal.Entry)) (*State, error) {
	for i := first; i < len(s.Entries); i++ {
		e := s.Entries[i]
		if e.Position != int64(i) {
			return nil, fmt.Errorf("%w: position %d where %d is due", journal.ErrBadEntry, e.Position, i)
		}
		for _, p := range journal.Earlier(e.Facts) {
			if p < 0 || p >= e.Position {
				return nil, fmt.Errorf("%w: entry %d (%s) names entry %d, which is not before it", journal.ErrBadEntry, e.Position, e.Facts.Kind(), p)
			}
		}
		if err := s.apply(e); err != nil {
			return nil, fmt.Errorf("replaying entry %d (%s): %w", e.Position, e.Facts.Kind(), err)
		}
		if s.Sheet == nil {
			return nil, fmt.Errorf("%w: it does not begin with the registration of an airframe", journal.ErrBadEntry)
		}
		if seen != nil && s.Live(e.Position) {
			seen(s, e)
		}
	}
	s.judgeChecks()
	s.judgeQuarantines()
	s.memo, s.folded = &memo{}, s
	return s, nil
}

// noteUndone notes which entries are taken back.
func (s *State) noteUndone() {
	s.undone = map[int64]int64{}
	for _, e := range s.Entries {
		if u, ok := e.Facts.(journal.Undone); ok {
			for _, p := range u.TakesBack {
				s.undone[p] = e.Position
			}
		}
	}
}

// sheetAtEnd is the sheet that the last of the entries that stand names; an empty one:
// none is at hand.
func (s *State) sheetAtEnd() *steps.Sheet {
	for _, e := range slices.Backward(s.Entries) {
		if !s.Live(e.Position) {
			continue
		}
		if sheet, ok := s.docs.Sheets[journal.NamesOf(e.Facts).Sheet]; ok {
			return sheet
		}
	}
	return &steps.Sheet{}
}

// A memo has what was worked out last of a state, which no longer changes: how gates
// and zones stand, and which jobs are open, is asked for many times at one moment, and
// what readings say of a gate, and its joints, at many.
type memo struct {
	judged judgements
	known  sync.Once
	joints []*Joint
	gates  remembered[[]GateReport]
	zones  remembered[Zones]
	open   remembered[map[*Job]bool]
	heads  remembered[*heads]
	timed  sync.Once
	pace   OwnPace // of whoever sits there
}

// heads are the first steps of stages that are not met, and the gates of measure steps that opened
// them again, those that were asked for.
type heads struct {
	sync.Mutex
	is      map[jobStep]int // by the first step of the stage
	failing map[jobStep]*GateReport
}

// A jobStep is a step of a job.
type jobStep struct {
	job  *Job
	step *steps.Step
}

func (s *State) headsAt(at time.Time) *heads {
	return s.memo.heads.of(at, func() *heads { return &heads{is: map[jobStep]int{}, failing: map[jobStep]*GateReport{}} })
}

// A remembered is what was worked out for the moment that was asked about last.
type remembered[T any] struct {
	sync.Mutex
	known bool
	at    time.Time
	is    T
}

// of is what holds at the moment, worked out if it is not known.
func (m *remembered[T]) of(at time.Time, work func() T) T {
	m.Lock()
	is, known := m.is, m.known && m.at.Equal(at)
	m.Unlock()
	if !known {
		is = work() // which may ask for what holds at another moment
		m.Lock()
		m.known, m.at, m.is = true, at, is
		m.Unlock()
	}
	return is
}

// Under is the state as it would be under another design sheet, to plan a job that brings it.
func (s *State) Under(sheet *steps.Sheet) *State {
	under := *s
	under.Sheet, under.memo = sheet, &memo{}
	return &under
}

// Live reports whether the entry at the position stands: nobody took it back.
// It is not inlined: its many copies would make the program larger.
//
//go:noinline
func (s *State) Live(position int64) bool {
	_, gone := s.undone[position]
	return !gone
}

// Size is the number of entries.
func (s *State) Size() int64 { return int64(len(s.Entries)) }

func (s *State) apply(e journal.Entry) error {
	effect, ok := s.effects[e.Facts.Kind()]
	if !ok {
		return fmt.Errorf("%w: %q", journal.ErrUnknownEntry, e.Facts.Kind())
	}
	// What was taken back disturbs anyway: hands were on it, or may have been, and
	// measuring again costs only minutes.
	by, zones := s.disturbs(e)
	s.disturb(e, by, zones)
	if marks := effect.marks; marks != nil {
		by, zones = marks(e.Facts)
		s.mark(s.zones, e, by, zones)
	}
	if effect.sets != nil {
		s.handled(e, effect.sets(e.Facts))
	}
	if effect.stays != nil {
		effect.stays(s, e)
	}
	if !s.Live(e.Position) {
		// The conditions that it set are unknown now: what was said before it may
		// no longer be true.
		if effect.sets != nil {
			for _, c := range effect.sets(e.Facts) {
				s.voided[c.Condition] = append(s.voided[c.Condition], said{position: e.Position, at: e.At, recorded: e.Recorded, state: c.State})
			}
		}
		if effect.ends {
			s.voidedAll = append(s.voidedAll, said{position: e.Position, at: e.At, recorded: e.Recorded})
		}
		return nil
	}
	if effect.ends {
		end := said{position: e.Position, at: e.At, recorded: e.Recorded}
		s.ended = sorting.Insert(s.ended, saidBy(s.ended, e.At), end)
		if e.Recorded.Before(s.latest.Recorded) { // by a clock that had gone back, its time says nothing
			s.voidedAll = append(s.voidedAll, end)
		}
	}
	if s.clocked[e.Facts.Kind()] && !e.Recorded.Before(s.latest.Recorded) {
		s.latest = e
	}
	return effect.fold(s, e)
}

func (s *State) register(e journal.Entry) error {
	f := e.Facts.(journal.Registered)
	sheet, ok := s.docs.Sheets[f.Sheet]
	if !ok {
		return fmt.Errorf("the design sheet %s is missing", f.Sheet)
	}
	s.Airframe, s.Since, s.Sheet, s.SheetDigest = f, e.At, sheet, f.Sheet
	s.reselect(e)
	return nil
}

func (s *State) open(e journal.Entry) error {
	f := e.Facts.(journal.JobOpened)
	procedure, ok := s.docs.Procedures[f.Procedure]
	if !ok {
		return fmt.Errorf("the procedure %s is missing", f.Procedure)
	}
	sheet, ok := s.docs.Sheets[f.Sheet]
	if !ok {
		return fmt.Errorf("the design sheet %s is missing", f.Sheet)
	}
	s.Sheet, s.SheetDigest = sheet, f.Sheet
	job := &Job{
		ID: f.Job, Procedure: procedure, written: procedure, Digest: f.Procedure, Zone: f.Zone, Damages: f.Damages,
		Opened: e.At, Position: e.Position, planned: e.Position, done: map[string]completion{}, joints: map[string][]*Joint{}, begun: map[string]Begun{}, methods: map[string]string{},
	}
	s.Jobs = append(s.Jobs, job)
	s.reselect(e, job)
	return nil
}

func (s *State) readBench(e journal.Entry) error {
	f := e.Facts.(journal.BenchRead)
	celsius, err := f.Temperature.Celsius()
	if err != nil {
		return err
	}
	read := Climate{f, e.At, celsius}
	s.bench = sorting.Insert(s.bench, s.benchAfter(e.At), read)
	last := s.bench[len(s.bench)-1]
	s.Bench, s.entered = &last, &read
	for _, job := range append(s.Jobs[:len(s.Jobs):len(s.Jobs)], s.reworks) {
		for _, parts := range job.joints {
			for _, j := range parts {
				s.warm(j, celsius, e.At)
				if !e.At.After(j.Joined) {
					s.judgeJoin(j)
				}
			}
		}
	}
	return nil
}

// benchAfter is the index of the first bench reading after the time.
func (s *State) benchAfter(at time.Time) int {
	i, _ := slices.BinarySearchFunc(s.bench, at, func(c Climate, at time.Time) int {
		if c.At.After(at) {
			return 1
		}
		return -1
	})
	return i
}

// benchAt is the bench reading in force at the time: the last one by time, if
// it is of the same sitting.
func (s *State) benchAt(at time.Time) (Climate, bool) {
	i := s.benchAfter(at)
	if i == 0 || at.Sub(s.bench[i-1].At) > SittingLength {
		return Climate{}, false
	}
	return s.bench[i-1], true
}

func (s *State) set(e journal.Entry, settings ...steps.Setting) {
	for _, c := range settings {
		all := s.said[c.Condition]
		s.said[c.Condition] = sorting.Insert(all, saidBy(all, e.At), said{position: e.Position, at: e.At, recorded: e.Recorded, state: c.State, by: heldOf(e)})
	}
}

// saidBy is the number of statements that were made by the time.
func saidBy(all []said, at time.Time) int {
	i := len(all)
	for i > 0 && all[i-1].at.After(at) {
		i--
	}
	return i
}

func (s *State) disturb(e journal.Entry, by string, zones []string) {
	s.mark(s.zones, e, by, zones)
	if s.mark(s.shifted, e, by, zones); len(zones) > 0 {
		last := s.shifted[zones[len(zones)-1]]
		s.disturbed = &last
	}
}

// mark has the zones disturbed by the entry.
func (s *State) mark(of map[string]disturbance, e journal.Entry, by string, zones []string) {
	for _, z := range zones {
		d := disturbance{e.Position, e.At, by}
		if before := of[z]; before.at.After(d.at) || !s.Live(e.Position) {
			d.at = before.at // the time may have been the mistake that was taken back
		}
		of[z] = d
	}
}

// Job returns the job of that identity.
func (s *State) Job(id string) (*Job, error) {
	for _, j := range s.Jobs {
		if j.ID == id {
			return j, nil
		}
	}
	return nil, unknown("job", id, s.jobIDs())
}

func (s *State) jobIDs() []string {
	ids := make([]string, len(s.Jobs))
	for i, j := range s.Jobs {
		ids[i] = j.ID
	}
	return ids
}

// Temperature returns the bench temperature that counts at the time, in °C, or
// false if none was read in this sitting.
//
//go:noinline
func (s *State) Temperature(at time.Time) (float64, bool) {
	read, known := s.benchAt(at)
	return read.celsius, known
}

// Holds returns the state of a condition at the time: what was said last by
// then. It is "" (unknown) if nobody has said, or if since then the sitting
// ended, the airframe flew, or a later statement was taken back.
func (s *State) Holds(condition string, at time.Time) string {
	def, ok := s.Sheet.Condition(condition)
	if ok && def.Lapses() {
		return s.inSitting(condition, at)
	}
	return s.lastSaid(condition, at).state
}

// inSitting is Holds for what lapses with the sitting.
func (s *State) inSitting(condition string, at time.Time) string {
	c := s.lastSaid(condition, at)
	if at.Sub(c.at) > SittingLength {
		return ""
	}
	return c.state
}

// lastSaid is what was said of the condition last by the time, if it still
// counts.
//
//go:noinline
func (s *State) lastSaid(condition string, at time.Time) said {
	return s.lastOf(s.said[condition], condition, at)
}

// lastOf is lastSaid among these statements on the condition.
func (s *State) lastOf(all []said, condition string, at time.Time) said {
	i := saidBy(all, at)
	if i == 0 {
		return said{}
	}
	if c := all[i-1]; !s.lapsed(c, condition, at) {
		return c
	}
	return said{}
}

// lapsed reports whether what was said of the condition is unknown by the time: something was taken back since, or ended all that
// was said.
//
//go:noinline
func (s *State) lapsed(c said, condition string, at time.Time) bool {
	unsaid := func(v said) bool { return v.enteredAfter(c) || v.at.After(c.at) && !v.at.After(at) }
	if slices.ContainsFunc(s.voided[condition], unsaid) || slices.ContainsFunc(s.voidedAll, unsaid) {
		return true
	}
	return s.overSince(&c, at)
}

// overSince reports whether something ended by the time all that was said before, as a flight does.
//
//go:noinline
func (s *State) overSince(c *said, at time.Time) bool {
	i := saidBy(s.ended, at)
	if i == 0 {
		return false
	}
	end := s.ended[i-1]
	return end.at.After(c.at) || end.at.Equal(c.at) && end.enteredAfter(*c)
}

// joints returns every joint of every job, in a stable order. Of the parts of one
// that are joined, those say nothing that another outlasts.
func (s *State) joints() []*Joint {
	if s.memo == nil {
		return s.allJoints()
	}
	s.memo.known.Do(func() { s.memo.joints = slices.Clip(s.allJoints()) })
	return s.memo.joints
}

func (s *State) allJoints() []*Joint {
	var all []*Joint
	for _, job := range append(s.Jobs[:len(s.Jobs):len(s.Jobs)], s.reworks) {
		for _, name := range slices.Sorted(maps.Keys(job.joints)) {
			parts := job.Parts(name)
			later := append(parts[:len(parts):len(parts)], s.again(job.ID, name)...) // a rework cut what was joined before
			for _, p := range parts {
				if !p.gone && !slices.ContainsFunc(later, func(other *Joint) bool { return other.outlasts(p) }) {
					all = append(all, p)
				}
			}
		}
	}
	return all
}
