package cli_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/page"
	"fettle/store/memory"
	"fettle/store/photos"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// The folder testdata/kept holds journals as programs of their day wrote them:
// NAME.zip is what export made of an airframe, with the documents that its
// journal names, and NAME.json is how the airframe stood then. Every later
// program replays them. It may ask for more than the program that wrote them
// did, and says why; it never asks for less. What is kept is never written
// anew; how journals are added stands in keep_test.go.
const kept = "testdata/kept"

// A row says how one thing stands at each of the moments; one word alone stands
// for all of them.
type row []string

const between = " | "

func (r row) at(i int) string {
	if len(r) == 1 {
		return r[0]
	}
	if i >= len(r) {
		return ""
	}
	return r[i]
}

func (r row) MarshalText() ([]byte, error) {
	if len(r) > 0 && !slices.ContainsFunc(r, func(word string) bool { return word != r[0] }) {
		r = r[:1]
	}
	return []byte(strings.Join(r, between)), nil
}

func (r *row) UnmarshalText(text []byte) error {
	*r = strings.Split(string(text), between)
	return nil
}

// The parts of a standing, each with its own rows.
const (
	flightPart      = "flight"      // may it fly
	gatesPart       = "gates"       // by name
	readingsPart    = "readings"    // which of them count, by position
	gaugesPart      = "gauges"      // which may be measured with, by name
	jobsPart        = "jobs"        // by identity
	stepsPart       = "steps"       // of jobs that are open at a moment, by job/step
	jointsPart      = "joints"      // their phase, by job/joint
	clocksPart      = "clocks"      // when a joint opens and closes, handles and cures
	damagesPart     = "damages"     // by name
	quarantinesPart = "quarantines" // by the name of their damage
	proofPart       = "proof"       // whether a release could be given
	forbidsPart     = "forbids"     // how many reasons forbid it, by class
)

// A standing is how an airframe stands at some moments.
type standing struct {
	Mark    string                    `json:"mark"`
	Entries int64                     `json:"entries"`
	Moments []time.Time               `json:"moments"`
	Parts   map[string]map[string]row `json:"stands"`
	// Says has the reasons against flight and release, for whoever reads it. They
	// may be worded otherwise later, so that nothing is decided by them.
	Says map[string]row `json:"says"`

	why map[string]string // by part, name and moment
}

// momentsOf are when a journal is looked at: when it ends, and some time later.
func momentsOf(s *workflow.State) []time.Time {
	var end time.Time
	for _, e := range s.Entries {
		if e.Recorded.After(end) {
			end = e.Recorded
		}
	}
	return []time.Time{end, end.Add(10 * time.Minute), end.Add(time.Hour), end.AddDate(0, 0, 1), end.AddDate(0, 0, 40), end.AddDate(0, 0, 100)}
}

// stand computes how an airframe stands at the moments.
func stand(s *workflow.State, moments []time.Time) (*standing, error) {
	out := &standing{Mark: s.Airframe.Mark, Entries: s.Size(), Moments: moments,
		Parts: map[string]map[string]row{}, Says: map[string]row{}, why: map[string]string{}}
	for i, at := range moments {
		look := &look{standing: out, state: s, i: i, at: at}
		look.flight()
		look.damages()
		for _, job := range s.Jobs {
			if err := look.job(job); err != nil {
				return nil, err
			}
		}
		if err := errors.Join(look.gates(), look.gauges()); err != nil {
			return nil, err
		}
	}
	out.leaveOutComplete()
	fill(out.Parts[forbidsPart], "0")
	fill(out.Says, "-")
	return out, nil
}

// A look is one moment of a standing.
type look struct {
	*standing
	state *workflow.State
	i     int
	at    time.Time
}

func (l *look) put(part, name, word, why string) {
	if l.Parts[part] == nil {
		l.Parts[part] = map[string]row{}
	}
	l.set(l.Parts[part], name, word)
	l.why[reasonKey(part, name, l.i)] = why
}

func (l *look) set(rows map[string]row, name, word string) {
	if rows[name] == nil {
		rows[name] = make(row, len(l.Moments))
	}
	rows[name][l.i] = word
}

func reasonKey(part, name string, moment int) string {
	return fmt.Sprintf("%s %s %d", part, name, moment)
}

func word(yes bool, is, isNot string) string {
	if yes {
		return is
	}
	return isNot
}

func (l *look) flight() {
	flight := l.state.Airworthiness(l.at)
	l.put(flightPart, "airframe", word(flight.Released, "released", "not released"), flight.Why.Text)
	if !flight.Released {
		l.set(l.Says, "flight: "+flight.Why.Text, "said")
	}
	proof := l.state.ReleaseProof(l.at)
	var why []string
	forbids := map[string]int{}
	for _, reason := range proof.Reasons() {
		why = append(why, reason.Text)
		forbids[string(reason.Because)]++
		l.set(l.Says, "proof: "+reason.Text, "said")
	}
	l.put(proofPart, "release", word(len(why) == 0, "holds", "fails"), strings.Join(why, "; "))
	for class, n := range forbids {
		l.put(forbidsPart, class, strconv.Itoa(n), strings.Join(why, "; "))
	}
}

// gates has each gate, and of every reading whether a gate rests on it.
func (l *look) gates() error {
	counts := map[int64]bool{}
	for _, g := range l.state.Gates(l.at) {
		standing, err := gateWord(g.Standing)
		if err != nil {
			return err
		}
		l.put(gatesPart, g.Gate.Name, standing, g.Reason.Text)
		for _, position := range g.Rests {
			counts[position] = true
		}
	}
	for _, e := range l.state.Entries {
		if f, ok := e.Facts.(journal.ReadingTaken); ok {
			name := strings.TrimSpace(fmt.Sprintf("%04d %s %s", e.Position, f.Gate, f.Point))
			l.put(readingsPart, name, word(counts[e.Position], "counts", "does not count"), "")
		}
	}
	return nil
}

func (l *look) gauges() error {
	for _, gauge := range l.state.Sheet.Gauges {
		r, err := l.state.GaugeReport(gauge.Name, l.at)
		if err != nil {
			return err
		}
		why := ""
		if len(r.Barred) > 0 {
			why = r.Barred[0].Text
		}
		l.put(gaugesPart, gauge.Name, word(len(r.Barred) == 0, "usable", "barred"), why)
	}
	return nil
}

func (l *look) damages() {
	for _, d := range l.state.Damages {
		repaired, _ := l.state.Repaired(d, l.at)
		l.put(damagesPart, d.Damage, word(repaired, "repaired", "open"), "")
		q := d.Quarantine
		if len(q.Lines) > 0 {
			l.put(quarantinesPart, d.Damage, word(!q.Open(), "cleared", word(q.Off(), "open, off the airframe", "open")), "")
		}
	}
}

func (l *look) job(job *workflow.Job) error {
	l.put(jobsPart, job.ID, word(l.state.Open(job, l.at), "open", "complete"), "")
	joints := map[string]bool{}
	for _, r := range l.state.Steps(job, l.at) {
		if r.Step.Joint != "" {
			joints[r.Step.Joint] = true
		}
		why := r.Reopened
		for _, reason := range r.Reasons {
			why += reason.Text
		}
		progress, err := stepWord(r.Progress)
		if err != nil {
			return err
		}
		l.put(stepsPart, job.ID+"/"+r.Step.Name, progress, why)
	}
	for name := range joints {
		joint, begun := job.Joint(name)
		if !begun {
			continue
		}
		phase, err := phaseWord(l.state.Phase(joint, l.at))
		if err != nil {
			return err
		}
		name = job.ID + "/" + name
		l.put(jointsPart, name, phase, "")
		if joint.Joined.IsZero() {
			w := joint.Window()
			l.put(clocksPart, name+" opens", w.Opens.UTC().Format(time.RFC3339), "")
			l.put(clocksPart, name+" closes", w.Closes.UTC().Format(time.RFC3339), "")
			continue
		}
		l.put(clocksPart, name+" handles", joint.Handles().UTC().Format(time.RFC3339), "")
		l.put(clocksPart, name+" cures", joint.Cures().UTC().Format(time.RFC3339), "")
	}
	return nil
}

// leaveOutComplete leaves out the steps of jobs that are complete at every
// moment. That such a job is complete says it of each of them.
func (s *standing) leaveOutComplete() {
	maps.DeleteFunc(s.Parts[stepsPart], func(name string, _ row) bool {
		job, _, _ := strings.Cut(name, "/")
		return !slices.Contains(s.Parts[jobsPart][job], "open")
	})
}

// fill puts a word where nothing was put.
func fill(rows map[string]row, word string) {
	for _, r := range rows {
		for i := range r {
			if r[i] == "" {
				r[i] = word
			}
		}
	}
}

// gateWord, stepWord and phaseWord are the words of what is kept. They are for
// ever, whatever the program says later.
func gateWord(g workflow.GateStanding) (string, error) {
	words := map[workflow.GateStanding]string{
		workflow.Current: "met", workflow.Conceded: "conceded", workflow.Measuring: "being measured", workflow.StaleGate: "stale",
		workflow.NeverTaken: "never taken", workflow.Undecided: "undecided", workflow.Failed: "out of tolerance",
	}
	if words[g] == "" {
		return "", fmt.Errorf("no word for a gate that is %q", g)
	}
	return words[g], nil
}

func stepWord(p workflow.Progress) (string, error) {
	words := map[workflow.Progress]string{workflow.Done: "done", workflow.Ready: "open", workflow.Waiting: "waiting", workflow.Later: "later"}
	if words[p] == "" {
		return "", fmt.Errorf("no word for the progress %q", p)
	}
	return words[p], nil
}

func phaseWord(p workflow.Phase) (string, error) {
	words := map[workflow.Phase]string{
		workflow.HalfCoated: "half coated", workflow.Tacking: "drying", workflow.Open: "open", workflow.Late: "lapsed",
		workflow.Setting: "setting", workflow.Curing: "curing", workflow.Cured: "cured",
	}
	if words[p] == "" {
		return "", fmt.Errorf("no word for the phase %q", p)
	}
	return words[p], nil
}

// scales are the words of each part, from what asks for the least. Words that ask
// for the same stand together.
//
//   - A gate that is not met asks for more than one that is; one that needs rework
//     or a concession for more than one that need only be measured.
//   - A reading that does not count asks for more than one that does, whatever it says.
//   - A joint asks for more the earlier its phase is, and most when its coat lapsed.
//   - A step that waits and one whose turn has not come can neither of them be done.
func scales() map[string][][]string {
	return map[string][][]string{
		flightPart:      {{"released"}, {"not released"}},
		gatesPart:       {{"met"}, {"conceded"}, {"being measured", "stale", "never taken"}, {"undecided"}, {"out of tolerance"}},
		readingsPart:    {{"counts"}, {"does not count"}},
		gaugesPart:      {{"usable"}, {"barred"}},
		jobsPart:        {{"complete"}, {"open"}},
		stepsPart:       {{"done"}, {"open"}, {"waiting", "later"}},
		jointsPart:      {{"cured"}, {"curing"}, {"setting"}, {"open"}, {"drying"}, {"half coated"}, {"lapsed"}},
		damagesPart:     {{"repaired"}, {"open"}},
		quarantinesPart: {{"cleared"}, {"open, off the airframe"}, {"open"}},
		proofPart:       {{"holds"}, {"fails"}},
	}
}

// asked is how much a word asks for: the more, the higher. More reasons ask for
// more, and so does a joint that opens later, closes earlier, or handles or cures
// later.
func asked(part, name, word string) (int64, error) {
	switch part {
	case forbidsPart:
		return strconv.ParseInt(word, 10, 64)
	case clocksPart:
		at, err := time.Parse(time.RFC3339, word)
		if strings.HasSuffix(name, " closes") {
			return -at.Unix(), err
		}
		return at.Unix(), err
	}
	i := slices.IndexFunc(scales()[part], func(words []string) bool { return slices.Contains(words, word) })
	if i < 0 {
		return 0, fmt.Errorf("%s has no word %q", part, word)
	}
	return int64(i), nil
}

// explained reports whether what asks for more must say why: where a person is
// told that something no longer counts.
func explained(part string) bool {
	return slices.Contains([]string{flightPart, gatesPart, stepsPart, gaugesPart, proofPart, forbidsPart}, part)
}

// judge compares how one thing stood with how it stands now. It gives a fault
// where that asks for less, or for more without a reason, and a remark where
// it asks for more, or for as much in another way.
func judge(part, name, was, is, why string) (remark string, fault error) {
	if was == is {
		return "", nil
	}
	before, err := asked(part, name, was)
	now, errNow := asked(part, name, is)
	change := fmt.Sprintf("%s: %s was %q and is %q", part, name, was, is)
	switch {
	case err != nil || errNow != nil:
		return "", errors.Join(err, errNow)
	case now < before:
		return "", fmt.Errorf("%s, which asks for less", change)
	case now > before && explained(part) && why == "":
		return "", fmt.Errorf("%s, which asks for more, and no reason is given", change)
	case now > before:
		return strings.TrimSuffix(change+", which asks for more: "+why, ": "), nil
	}
	return change, nil
}

// compare compares all that was kept with how the airframe stands now.
func compare(was, is *standing) (remarks []string, faults []error) {
	for part, rows := range was.Parts {
		for name, r := range rows {
			now, there := is.Parts[part][name]
			if !there && part == forbidsPart {
				now, there = row{"0"}, true
			}
			if !there {
				faults = append(faults, fmt.Errorf("%s: %s was there and is gone", part, name))
				continue
			}
			for i, at := range was.Moments {
				remark, fault := judge(part, name, r.at(i), now.at(i), is.why[reasonKey(part, name, i)])
				if fault != nil {
					faults = append(faults, fmt.Errorf("on %s: %w", at.Format(time.RFC3339), fault))
				} else if remark != "" {
					remarks = append(remarks, fmt.Sprintf("on %s: %s", at.Format(time.RFC3339), remark))
				}
			}
		}
	}
	for part, rows := range is.Parts {
		for name := range rows {
			if _, there := was.Parts[part][name]; !there {
				remarks = append(remarks, fmt.Sprintf("%s: %s is new", part, name))
			}
		}
	}
	for text := range was.Says {
		if _, there := is.Says[text]; !there {
			remarks = append(remarks, fmt.Sprintf("it said, and says no more: %s", text))
		}
	}
	if was.Mark != is.Mark || was.Entries != is.Entries {
		faults = append(faults, fmt.Errorf("it was %s with %d entries, and is %s with %d", was.Mark, was.Entries, is.Mark, is.Entries))
	}
	slices.Sort(remarks)
	slices.SortFunc(faults, func(a, b error) int { return strings.Compare(a.Error(), b.Error()) })
	return remarks, faults
}

// takeIn imports a kept journal as the program does, into a store of its own. The
// desk has no library: the file has every document that its journal names.
func takeIn(t *testing.T, file string) *workflow.State {
	t.Helper()
	d := &desk.Desk{
		Store: memory.New(), Photos: photos.Beside(filepath.Join(t.TempDir(), "fettle.db")),
		Now: func() time.Time { return time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC) },
	}
	in, err := (&keep.Keeper{Desk: d}).Import(t.Context(), file, nil)
	if err != nil || len(in.Missing) > 0 {
		t.Fatalf("%s: %v, missing %v", file, err, in.Missing)
	}
	return in.State
}

// names are the kept journals, or what is kept of how they stood.
func names(t *testing.T, ext string) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(kept, "*"+ext))
	if err != nil {
		t.Fatal(err)
	}
	for i, f := range files {
		files[i] = strings.TrimSuffix(filepath.Base(f), ext)
	}
	return files
}

func readStanding(t *testing.T, name string) *standing {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(kept, name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	was := &standing{}
	if err := json.Unmarshal(data, was); err != nil {
		t.Fatalf("%s.json: %v", name, err)
	}
	return was
}

// TestKeptJournals replays every kept journal and wants it to stand as it did,
// or to ask for more. Together they have every kind of entry, and every way to
// stand.
func TestKeptJournals(t *testing.T) {
	t.Parallel()
	journals := names(t, ".zip")
	if standings := names(t, ".json"); !slices.Equal(journals, standings) || len(journals) == 0 {
		t.Fatalf("kept are the journals %v and the standings %v", journals, standings)
	}
	happened, stood := map[string]bool{}, map[string]bool{}
	for _, name := range journals {
		t.Run(name, func(t *testing.T) {
			was := readStanding(t, name)
			state := takeIn(t, filepath.Join(kept, name+".zip"))
			for _, e := range state.Entries {
				happened[e.Facts.Kind()] = true
			}
			for part, rows := range was.Parts {
				for _, r := range rows {
					for _, word := range r {
						stood[part+": "+word] = true
					}
				}
			}
			is, err := stand(state, was.Moments)
			if err != nil {
				t.Fatal(err)
			}
			remarks, faults := compare(was, is)
			for _, remark := range remarks {
				t.Log(remark)
			}
			for _, fault := range faults {
				t.Error(fault)
			}
			recorded(t, state, was.Moments[len(was.Moments)-1])
		})
	}
	for _, kind := range kinds(t) {
		if !happened[kind] {
			t.Errorf("no kept journal has an entry of the kind %s", kind)
		}
	}
	for part, words := range scales() {
		for _, word := range slices.Concat(words...) {
			if !stood[part+": "+word] {
				t.Errorf("nothing in the kept journals stands as %q among the %s", word, part)
			}
		}
	}
}

// recorded holds the record against the journal and the engine: each reading that stands was
// judged in exactly one sitting, and a gate that has passed by what was read last was judged
// so then too, with the same values.
func recorded(t *testing.T, s *workflow.State, at time.Time) {
	t.Helper()
	record, err := s.Record(at)
	if err != nil {
		t.Fatal(err)
	}
	in, last := map[int64]int{}, map[string]workflow.Judgement{}
	for _, j := range record.Judgements {
		for _, p := range j.Entries {
			in[p]++
		}
		last[j.Gate.Name] = j
	}
	for _, e := range s.Entries {
		if _, is := e.Facts.(journal.ReadingTaken); is && s.Live(e.Position) && in[e.Position] != 1 {
			t.Errorf("the reading of entry %d was judged in %d sittings", e.Position, in[e.Position])
		}
	}
	for _, g := range s.Gates(at) {
		then := last[g.Gate.Name]
		if g.Standing != workflow.Current || slices.Compare(g.Rests, then.Report.Rests) != 0 {
			continue
		}
		now := s.Judged(g)
		for i, v := range then.Judged {
			if !then.Passed() || len(now) != len(then.Judged) || v.Known != now[i].Known || v.Value != now[i].Value {
				t.Errorf("%s has passed with %+v, and was judged %s with %+v", g.Gate.Name, now, then.Report.Standing, then.Judged)
				break
			}
		}
	}
	for _, name := range page.TableNames() {
		table := page.NewTable(name)
		if err := table.Add(s, record, workflow.AuditFilter{}, at); err != nil {
			t.Fatal(err)
		}
		for _, row := range table.Rows {
			if len(row.Cells) != len(table.Columns) {
				t.Fatalf("%s has %d columns, and a row of %d cells", name, len(table.Columns), len(row.Cells))
			}
		}
	}
}

// kinds are all kinds of entry that there are, from the source of the engine:
// whatever says in one word of what kind it is.
func kinds(t *testing.T) []string {
	t.Helper()
	var all []string
	err := filepath.WalkDir(filepath.Join("..", "..", "..", "workflow"), func(path string, _ fs.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			return err
		}
		for _, d := range file.Decls {
			f, ok := d.(*ast.FuncDecl)
			if !ok || f.Name.Name != "Kind" || f.Recv == nil || f.Body == nil || len(f.Body.List) != 1 {
				continue
			}
			if result, ok := f.Body.List[0].(*ast.ReturnStmt); ok {
				if lit, ok := result.Results[0].(*ast.BasicLit); ok {
					kind, _ := strconv.Unquote(lit.Value)
					all = append(all, kind)
				}
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	const oldest = 23 // there were so many when the first journals were kept
	if len(all) < oldest {
		t.Fatalf("of %d kinds of entry or more only %v are found", oldest, all)
	}
	return all
}

// TestAsksForMore holds to the rule that the kept journals are compared by.
func TestAsksForMore(t *testing.T) {
	const same, more, less = "same", "more", "less"
	for _, test := range []struct{ part, was, is, want string }{
		{flightPart, "released", "not released", more},
		{flightPart, "not released", "released", less},
		{flightPart, "released", "released", same},
		{gatesPart, "met", "stale", more},
		{gatesPart, "met", "never taken", more},
		{gatesPart, "stale", "met", less},
		{gatesPart, "out of tolerance", "met", less},
		{gatesPart, "met", "conceded", more},
		{gatesPart, "conceded", "met", less},
		{gatesPart, "conceded", "out of tolerance", more},
		{gatesPart, "out of tolerance", "conceded", less},
		{gatesPart, "out of tolerance", "stale", less},
		{gatesPart, "undecided", "out of tolerance", more},
		{gatesPart, "undecided", "being measured", less},
		{gatesPart, "stale", "never taken", same},
		{readingsPart, "counts", "does not count", more},
		{readingsPart, "does not count", "counts", less},
		{gaugesPart, "usable", "barred", more},
		{gaugesPart, "barred", "usable", less},
		{jobsPart, "complete", "open", more},
		{jobsPart, "open", "complete", less},
		{stepsPart, "done", "open", more},
		{stepsPart, "done", "waiting", more},
		{stepsPart, "open", "done", less},
		{stepsPart, "waiting", "done", less},
		{stepsPart, "waiting", "open", less},
		{stepsPart, "open", "later", more},
		{stepsPart, "later", "waiting", same},
		{jointsPart, "open", "lapsed", more},
		{jointsPart, "drying", "lapsed", more},
		{jointsPart, "lapsed", "open", less},
		{jointsPart, "lapsed", "half coated", less},
		{jointsPart, "open", "drying", more},
		{jointsPart, "drying", "open", less},
		{jointsPart, "half coated", "drying", less},
		{jointsPart, "cured", "curing", more},
		{jointsPart, "curing", "setting", more},
		{jointsPart, "setting", "curing", less},
		{jointsPart, "curing", "cured", less},
		{damagesPart, "repaired", "open", more},
		{damagesPart, "open", "repaired", less},
		{quarantinesPart, "open", "cleared", less},
		{quarantinesPart, "open", "open, off the airframe", less},
		{quarantinesPart, "cleared", "open", more},
		{proofPart, "holds", "fails", more},
		{proofPart, "fails", "holds", less},
		{forbidsPart, "2", "3", more},
		{forbidsPart, "10", "9", less},
	} {
		remark, fault := judge(test.part, "it", test.was, test.is, "for a reason")
		got := same
		switch {
		case fault != nil:
			got = less
		case strings.Contains(remark, "asks for more"):
			got = more
		}
		if got != test.want {
			t.Errorf("%s, %q and now %q: %s, want %s (%s, %v)", test.part, test.was, test.is, got, test.want, remark, fault)
		}
		_, unsaid := judge(test.part, "it", test.was, test.is, "")
		if wants := test.want == less || test.want == more && explained(test.part); (unsaid != nil) != wants {
			t.Errorf("%s, %q and now %q without a reason: %v", test.part, test.was, test.is, unsaid)
		}
	}
	const early, late = "2026-03-03T19:00:00Z", "2026-03-03T19:00:01Z"
	for name, asksLater := range map[string]bool{"a opens": true, "a closes": false, "a handles": true, "a cures": true} {
		_, later := judge(clocksPart, name, early, late, "")
		_, earlier := judge(clocksPart, name, late, early, "")
		if (later == nil) != asksLater || (earlier == nil) == asksLater {
			t.Errorf("%s: later %v, earlier %v", name, later, earlier)
		}
	}
	for _, part := range []string{flightPart, clocksPart, forbidsPart, "nothing"} {
		if _, fault := judge(part, "it", "released", "so so", "for a reason"); fault == nil {
			t.Errorf("%s takes a word that it has not", part)
		}
	}
}

// What is gone is a fault, and so is a class of reasons that no longer forbids;
// what is new is said.
func TestCompareWhatIsGone(t *testing.T) {
	with := func(part, name string, words ...string) *standing {
		return &standing{Moments: make([]time.Time, 2), Parts: map[string]map[string]row{part: {name: words}}}
	}
	none := &standing{Moments: make([]time.Time, 2)}
	for part, words := range map[string]row{gatesPart: {"met"}, stepsPart: {"done", "open"}, forbidsPart: {"0", "1"}} {
		if _, faults := compare(with(part, "it", words...), none); len(faults) != 1 {
			t.Errorf("%s is gone: %v", part, faults)
		}
		remarks, faults := compare(none, with(part, "it", words...))
		if len(faults) > 0 || len(remarks) != 1 {
			t.Errorf("%s is new: %v, %v", part, remarks, faults)
		}
	}
	if _, faults := compare(with(gatesPart, "it", "stale", "met"), with(gatesPart, "it", "stale", "met")); len(faults) > 0 {
		t.Error(faults)
	}
	if _, faults := compare(with(gatesPart, "it", "met", "stale"), with(gatesPart, "it", "met")); len(faults) != 1 {
		t.Error(faults)
	}
}

// A repair brings the newer sheet like any job where none is open, and is planned by it: a lost tail
// is made again by a build that names tools which the old sheet hasn't.
func TestKeptSheetIsNewerForARepair(t *testing.T) {
	b := newBench(t)
	b.mark, b.now = "JT-01", time.Date(2026, 3, 9, 19, 0, 0, 0, time.UTC)
	in, err := b.keeper.Import(t.Context(), filepath.Join(kept, "crashed.zip"), nil)
	if err != nil || len(in.Missing) > 0 {
		t.Fatalf("%v, missing %v", err, in.Missing)
	}
	b.crash([3]string{"tail", "crushed", "total"})
	before := b.state().Sheet.Revision
	b.repair()
	state := b.state()
	if open := state.OpenRepair(b.now); open == nil || !slices.Contains(open.Damages, "D4") || state.Sheet.Revision <= before {
		t.Errorf("open is %v, under revision %d, after %d", open, state.Sheet.Revision, before)
	}
}
