package workflow

import (
	"fmt"
	"testing"
	"time"

	"fettle/steps"
)

// ledWith is what somebody is led to, or whose the only step is.
func ledWith(s *State, now time.Time, planned []Planned) string {
	g := s.NextBeside(now, nil, nil, planned)
	switch {
	case g.Step == nil:
		return "nothing"
	case g.Theirs:
		return fmt.Sprintf("%s of %d", g.Step.Step.Name, g.Hands[0])
	}
	return g.Step.Step.Name
}

// Where no plan says whose a step is, nobody is led to what another one who is at the bench was led to, or goes on with since they
// recorded something last; they are led to something else, or told whose it is.
func TestNobodyIsLedWhereAnotherOneIs(t *testing.T) {
	b := working(t, one("zero", plain("begin")), one("one", hands("hollow", "40 min")), one("two", hands("cut", "5 min")))
	b.done("begin")
	mark, job, by := b.state.Airframe.Mark, b.state.Jobs[0].ID, b.by
	at := func(who int, step string) string { return fmt.Sprint(who, " ", mark, " ", job, "/", step) }
	bob := Seat{By: "Bob", Who: 2, Known: 2, Here: 2, Names: "1 Ann"}
	seat := func(names, at string) Seat {
		s := bob
		s.Names, s.At = names, ledSo(at, b.now)
		return s
	}
	ann := Seat{By: by, Who: 1, Known: 4, Here: 4, Names: "2 Bob"}
	away := seat("1 "+by, "")
	away.Here = 0
	held := ann
	held.At = ledSo(at(2, "hollow"), b.now)
	for name, test := range map[string]struct {
		seat  Seat
		after int
		want  string
		then  string // once nothing else is left
	}{
		"nobody is at anything":                {bob, 0, "hollow", "hollow"},
		"Ann was led to it":                    {seat("1 Ann", at(1, "hollow")), 0, "cut", "hollow of 1"},
		"Ann recorded something last":          {seat("1 "+by, ""), 0, "cut", "hollow of 1"},
		"Ann did an hour ago":                  {seat("1 "+by, ""), 61, "hollow", "hollow"},
		"Ann did, and is not there":            {away, 0, "hollow", "hollow"},
		"Ann did, and was led elsewhere since": {seat("1 "+by, "1 PL-09 work/saw"), 0, "hollow", "hollow"},
		"Ann was led to it, then elsewhere":    {seat("1 Ann", at(1, "hollow")+"\n1 PL-09 work/saw"), 0, "hollow", "hollow"},
		"Ann was led to the other step":        {seat("1 "+by, at(1, "cut")), 0, "hollow", "hollow of 1"}, // that is done, and she goes on
		"Bob was led to it, and recorded not":  {seat("1 "+by, at(2, "hollow")), 0, "hollow", "hollow"},
		"Ann herself":                          {ann, 0, "hollow", "hollow"},
		"Ann, and Bob was led to it":           {held, 0, "cut", "hollow of 2"},
		"of another airframe":                  {seat("1 Ann", "1 PL-09 "+job+"/hollow"), 0, "hollow", "hollow"},
	} {
		now := b.now.Add(minutesOf(test.after))
		s := b.state.Seated(test.seat)
		if got := ledWith(s, now, nil); got != test.want {
			t.Errorf("%s: %s, want %s", name, got, test.want)
		}
		only := *b
		only.must(Finish{Step: "cut"})
		only.state.Entries[len(only.state.Entries)-1].Recorded = b.now
		s = only.state.Seated(test.seat)
		if got := ledWith(s, now, nil); got != test.then {
			t.Errorf("%s, and nothing else is left: %s, want %s", name, got, test.then)
		}
		if g := s.NextBeside(now, nil, nil, nil); g.Theirs {
			if named := s.GoTo(g, *g.Step, now); named.Theirs || !named.Asked || !named.Unplanned() {
				t.Errorf("%s: gone to by its name: %+v", name, named)
			}
		}
	}
	rows := []Planned{{Job: job, Step: "hollow", Begins: b.now, Minutes: 40, Hands: []int{2}}}
	if got := ledWith(b.state.Seated(seat("1 "+by, at(1, "hollow"))), b.now, rows); got != "hollow" {
		t.Errorf("by a plan that has it for whoever asks: %s", got)
	}
}

// Where a plan for several goes by another choice than was made, whoever was to do a step about now by it does that still, and not who
// recorded the choice.
func TestAnOutdatedPlanStillTellsApart(t *testing.T) {
	c := newChooser(t)
	for _, r := range []Request{Finish{Step: "count"}, Choose{Answer: "hard"}, Choose{Answer: "dry"}, Choose{Answer: "rudder", No: true}} {
		if err := c.try(r); err != nil {
			t.Fatal(err)
		}
	}
	c.now = c.now.Add(20 * time.Minute)
	job := c.state.Jobs[0].ID
	ann, bob := Seat{By: "builder", Who: 1, Known: 4, Here: 4, Names: "2 Bob"}, Seat{By: "Bob", Who: 2, Known: 2, Here: 2, Names: "1 builder"}
	for name, test := range map[string]struct {
		in            int
		answer        string
		forAnn, toBob string
	}{
		"for Bob, now":         {0, "wet", "sand-dry of 2", "sand-dry"},
		"for Bob, soon":        {30, "wet", "sand-dry of 2", "sand-dry"},
		"for Bob, later":       {31, "wet", "sand-dry", "sand-dry of 1"}, // she recorded something last
		"the plan still holds": {31, "dry", "sand-dry of 2", "sand-dry"},
	} {
		planned := []Planned{{Job: job, Step: "how", Answer: test.answer, Begins: c.now, Hands: []int{1}}, {Job: job, Step: "sand-dry", Begins: c.now.Add(minutesOf(test.in)), Hands: []int{2}}}
		for seat, want := range map[*Seat]string{&ann: test.forAnn, &bob: test.toBob} {
			s := c.state.Seated(*seat)
			s.Planned = planned
			if got := ledWith(s, c.now, planned); got != want {
				t.Errorf("%s: %s is led to %s, want %s", name, seat.By, got, want)
			}
		}
	}
}

// Beside what is plugged in nobody else does anything on the airframe: who recorded something of it last goes on there, also before the plan
// does, and is the one who minds the plug.
func TestOneGoesOnWithWhatIsPluggedIn(t *testing.T) {
	b := armed(t)
	mark, job := b.state.Airframe.Mark, b.state.Jobs[0].ID
	ann, bob := Seat{By: b.by, Who: 1, Known: 4, Here: 4, Names: "2 Bob"}, Seat{By: "Bob", Who: 2, Known: 2, Here: 2, Names: "1 " + b.by}
	later := []Planned{{Job: job, Step: "full", Begins: b.now.Add(24 * time.Hour), Minutes: 5, Hands: []int{2}}}
	for name, planned := range map[string][]Planned{"no plan": nil, "a plan for later": later} {
		for _, test := range []struct {
			seat Seat
			want string
		}{{ann, "full"}, {bob, "full of 1"}} {
			s := b.state.Seated(test.seat)
			s.Planned, s.Plans = planned, map[string][]Planned{mark: planned}
			if got := ledWith(s, b.now, planned); got != test.want {
				t.Errorf("%s: %s is led to %s, want %s", name, test.seat.By, got, test.want)
			}
			g := s.NextBeside(b.now, nil, nil, planned)
			minded := s.Minded(&g, b.now)
			if test.seat.Who == 1 && len(minded) != 0 || test.seat.Who == 2 && (len(minded) != 1 || minded[0].By != 1 || minded[0].Ends) {
				t.Errorf("%s: for %s it is minded by %+v", name, test.seat.By, minded)
			}
			if got := s.Minded(&g, b.now.Add(61*time.Minute)); len(got) != 0 {
				t.Errorf("%s: an hour later it is minded by %+v", name, got)
			}
		}
	}
	s := b.state.Seated(ann)
	s.Planned = later
	b.done("full")
	if got := s.PersonOf(b.state.Entries[len(b.state.Entries)-1:]); got != 0 {
		t.Errorf("ahead of the plan she is person %d", got)
	}
	ann.Here = 0
	s = s.Seated(ann)
	if got := s.PersonOf(b.state.Entries[len(b.state.Entries)-1:]); got != 2 {
		t.Errorf("where that one is not there she is person %d", got)
	}
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Serious}}})
	for _, seat := range []Seat{ann, bob} {
		s := b.state.Seated(seat)
		g := s.Next(b.now)
		ends := s.Minded(&g, b.now)
		if seat.By == bob.By && (len(ends) != 1 || ends[0].By != 1 || !ends[0].Ends) || seat.By == ann.By && len(ends) != 0 {
			t.Errorf("crashed: for %s it is ended by %+v", seat.By, ends)
		}
	}
}

// Whoever takes a step over has it from then on, and with it what its person was to do alone in the same sitting, where that is wanted.
func TestWhoTakesAStepOver(t *testing.T) {
	tonight, tomorrow := time.Date(2026, 3, 3, 21, 0, 0, 0, time.UTC), time.Date(2026, 3, 4, 21, 0, 0, 0, time.UTC)
	for all, want := range map[bool]string{false: "[1] [2] [2] [1 2] [1]", true: "[2] [2] [2] [1 2] [1]"} {
		planned := []Planned{{Job: "work", Step: "plug", Leave: tonight, Hands: []int{1}}, {Job: "work", Step: "cut", Leave: tonight, Hands: []int{2}},
			{Job: "work", Step: "try", Leave: tonight, Hands: []int{1}}, {Job: "work", Step: "lift", Leave: tonight, Hands: []int{1, 2}}, {Job: "work", Step: "pull", Leave: tomorrow, Hands: []int{1}}}
		Hand(planned, "work/try", 2, all)
		got := ""
		for _, p := range planned {
			got += fmt.Sprint(p.Hands, " ")
		}
		if got != want+" " {
			t.Errorf("all %t: %s, want %s", all, got, want)
		}
	}
}

// A takesBack takes the last entry back.
type takesBack struct{ Request }

// Whoever did something has their hands at the airframe; who writes a note, reads the bench, or fits equipment has not, nor has who records
// a crash of what another one plugged in: they would be led to that battery. Without that, what was done before a flight says nothing of after.
func TestWhoRecordedWorkIsAtIt(t *testing.T) {
	cracked := ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Serious}}}
	look := &steps.Procedure{Name: "look", Title: "Look", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{one("look", plain("look"))}}
	for name, test := range map[string]struct {
		ann, bob []Request
		after    int // minutes from Ann to Bob
		want     string
	}{
		"Bob did the next step":           {[]Request{Finish{Step: "one"}}, []Request{Finish{Step: "two"}}, 1, "Bob"},
		"Bob took a flight back":          {[]Request{Finish{Step: "one"}}, []Request{LogFlight{Landing: Soft}, takesBack{}}, 1, "Ann"},
		"Bob took his step back":          {[]Request{Finish{Step: "one"}}, []Request{Finish{Step: "two"}, takesBack{}}, 1, "Ann"},
		"Bob pulled the plug":             {[]Request{Finish{Step: "one"}}, []Request{setting("battery", "out")}, 1, "Bob"},
		"Bob opened the window":           {[]Request{Finish{Step: "one"}}, []Request{setting("ventilation", "on")}, 1, "Ann"},
		"Bob switched the charger on":     {[]Request{Finish{Step: "one"}}, []Request{setting("charger", "on")}, 1, "Ann"},
		"Bob said that it is in":          {[]Request{setting("battery", "in"), Finish{Step: "one"}}, []Request{setting("battery", "in")}, 1, "Ann"},
		"Bob put the propeller on":        {[]Request{Finish{Step: "one"}}, []Request{setting("propeller", "on")}, 1, "Ann"},
		"Bob opened it, Ann is gone":      {[]Request{Finish{Step: "one"}}, []Request{setting("ventilation", "on")}, 61, "Bob"},
		"Bob wrote a note":                {[]Request{Finish{Step: "one"}}, []Request{Note{Text: "the lamp is mended"}}, 1, "Ann"},
		"Bob read the bench":              {[]Request{Finish{Step: "one"}}, []Request{ReadBench{Temperature: q("21 °C")}}, 1, "Ann"},
		"Bob logged a flight after it":    {[]Request{Finish{Step: "one"}}, []Request{LogFlight{Landing: Soft}}, 1, "Bob"},
		"Bob found damage":                {[]Request{Finish{Step: "one"}}, []Request{cracked}, 1, "Bob"},
		"Bob found it with Ann's plug in": {[]Request{setting("battery", "in")}, []Request{cracked}, 1, "Ann"},
		"Bob fitted a camera":             {[]Request{Finish{Step: "one"}}, []Request{ChangeEquipment{Item: "camera", Change: Fitted}}, 1, "Ann"},
		"Bob did, and Ann is gone":        {[]Request{Finish{Step: "one"}}, []Request{ChangeEquipment{Item: "camera", Change: Fitted}}, 61, ""},
		"Bob opened a job":                {[]Request{Finish{Step: "one"}}, []Request{Start{Procedure: look, Digest: "sha256:look", Sheet: sheet(), SheetDigest: "sha256:own"}}, 1, "Ann"},
		"Bob logged one, Ann is gone":     {[]Request{Finish{Step: "one"}}, []Request{LogFlight{Landing: Soft}}, 61, "Bob"},
		"Bob wrote a note, Ann is gone":   {[]Request{Finish{Step: "one"}}, []Request{Note{Text: "the lamp is mended"}}, 61, ""},
		"Ann wrote a note after her step": {[]Request{Finish{Step: "one"}, Note{Text: "it took long"}}, nil, 0, "Ann"},
	} {
		kit := sheet()
		kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"},
			steps.Condition{Name: "charger", States: []string{"off", "on"}, Guarded: "on", Bench: true})
		plug, pull := plain("plug"), plain("pull")
		plug.Sets, pull.Sets = setting("battery", "in").Set, setting("battery", "out").Set
		b := workingOn(t, kit, one("stage", plain("one"), plain("two"), plug, pull))
		b.docs.Procedures["sha256:look"] = look
		b.by = "Ann"
		b.must(test.ann...)
		b.after(minutesOf(test.after))
		b.by = "Bob"
		for _, r := range test.bob {
			if _, back := r.(takesBack); back {
				r = Undo{Position: b.state.Size() - 1, Reason: "another airframe"}
			}
			b.must(r)
		}
		if by, _ := b.state.RecordedLast(b.now); by != test.want {
			t.Errorf("%s: %q is at it, want %q", name, by, test.want)
		}
	}
}
