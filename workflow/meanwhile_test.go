package workflow

import (
	"fmt"
	"testing"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
)

// meanwhile is what is next by a plan, and what the others have meanwhile.
func (b *bench) meanwhile(planned []Planned) string {
	g := b.state.NextBut(b.now, nil, planned)
	if g.Step == nil {
		return ""
	}
	text := g.Step.Step.Name
	for _, o := range g.Others {
		if text += fmt.Sprint(" ", o.Who, " "); o.Mark != "" {
			text += o.Mark + " "
		}
		text += o.Step.Step.Name
	}
	return text
}

// What the plan has after a step is not done meanwhile, however late the step is; nor what can't be done beside it: what heats where
// its adhesive needs it cold, or wants the one tool that there is.
func TestNextKeepsTheOthersFromWhatDisturbs(t *testing.T) {
	hot, cold := steps.Setting{Condition: "iron", State: "hot"}, steps.Setting{Condition: "iron", State: "cold"}
	in := sheet()
	in.Conditions = append(in.Conditions, steps.Condition{Name: "iron", States: []string{"hot", "cold"}, Bench: true})
	in.Adhesives[0].Care = steps.Care{Needs: []steps.Setting{cold}}
	in.Tools = append(in.Tools, steps.Tool{Name: "saw", Title: "A saw"}, steps.Tool{Name: "knife", Title: "A knife", Count: 2})
	tool := func(name, with string) steps.Step {
		s := hands(name, "5 min")
		s.Tools = []string{with}
		return s
	}
	warm := plain("warm")
	warm.Sets = []steps.Setting{hot}
	b := workingOn(t, in, one("glue", coating("coat", "tab"), joining("join", "tab")), one("heat", warm),
		one("saw", tool("saw-one", "saw")), one("saw-more", tool("saw-two", "saw")), one("cut", tool("cut-one", "knife")), one("cut-more", tool("cut-two", "knife")))
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{cold}})
	job := b.state.Jobs[0].ID
	is := func(first string, takes int, then string, at int, want string) {
		t.Helper()
		planned := []Planned{{Job: job, Step: first, Begins: b.now, Minutes: takes, Hands: []int{1}},
			{Job: job, Step: then, Begins: b.now.Add(minutesOf(at)), Minutes: 5, Hands: []int{2}}}
		for _, late := range []int{0, 9} {
			for i := range planned {
				planned[i].Begins = planned[i].Begins.Add(minutesOf(-late))
			}
			if got := b.meanwhile(planned); got != want {
				t.Errorf("%s, %d min late: %s, want %s", first, late, got, want)
			}
		}
	}
	is("coat", 9, "saw-one", 5, "coat 2 saw-one")
	is("coat", 9, "saw-one", 9, "coat")
	is("coat", 9, "warm", 12, "coat")
	is("coat", 9, "warm", 5, "coat")
	is("saw-one", 9, "saw-two", 5, "saw-one")
	is("cut-one", 9, "cut-two", 5, "cut-one 2 cut-two")
}

// What one puts off is still what another one has to do meanwhile. A step of a plan for several is late once whoever it is for was to be
// done with it, in a plan for one once it was to be begun.
func TestNextKeepsWhatIsPutOffForTheOthers(t *testing.T) {
	b := working(t, one("draw", hands("draw", "20 min")), one("block", hands("block", "20 min")))
	job := b.state.Jobs[0].ID
	planned := []Planned{{Job: job, Step: "draw", Begins: b.now, Minutes: 20, Hands: []int{1}}, {Job: job, Step: "block", Begins: b.now, Minutes: 20, Hands: []int{2}}}
	g := b.state.NextBut(b.now, func(r StepReport) bool { return r.Step.Name == "draw" }, planned)
	if g.Step.Step.Name != "block" || len(g.Others) != 1 || g.Others[0].Who != 1 || g.Others[0].Step.Step.Name != "draw" {
		t.Errorf("next is %s, meanwhile %+v", g.Step.Step.Name, g.Others)
	}
	for _, test := range []struct {
		after int
		who   []int
		late  int
	}{{10, nil, 0}, {11, nil, 11}, {11, []int{1}, 0}, {30, []int{1}, 0}, {31, []int{1}, 31}} {
		planned[0].Hands, planned[1].Hands = test.who, test.who
		now := b.now.Add(minutesOf(test.after))
		if g := b.state.NextBut(now, nil, planned); g.Late(now) != minutesOf(test.late) {
			t.Errorf("%v after %d min: late by %v", test.who, test.after, g.Late(now))
		}
	}
	if g := b.state.NextBut(b.now.Add(time.Hour), nil, nil); g.Late(b.now.Add(time.Hour)) != 0 {
		t.Error("late without a plan")
	}
}

// Who is to do something before it on another airframe, as the last plan of that has it, is not named here, nor for what comes later:
// until it is done, or so late that nobody is at it.
func TestNextKnowsWhoIsAwaitedElsewhere(t *testing.T) {
	b := working(t, one("glue", hands("hollow", "40 min")), one("cut", plain("cut")), one("tidy", plain("tidy")))
	job := b.state.Jobs[0].ID
	planned := []Planned{{Job: job, Step: "hollow", Begins: b.now, Minutes: 40, Hands: []int{1}},
		{Job: job, Step: "cut", Begins: b.now.Add(5 * time.Minute), Minutes: 5, Hands: []int{2}},
		{Job: job, Step: "tidy", Begins: b.now.Add(15 * time.Minute), Minutes: 5, Hands: []int{2}}}
	for name, test := range map[string]struct {
		step string
		at   int
		who  []int
		done string
		want string
	}{
		"at the same time":       {"cut", 5, []int{2}, "", "hollow 2 PL-02 cut"},
		"before it":              {"cut", 0, []int{2}, "", "hollow 2 PL-02 cut"},
		"the other one":          {"cut", 0, []int{1}, "", "hollow 2 cut"},
		"both":                   {"cut", 0, []int{1, 2}, "", "hollow"},
		"after it":               {"cut", 6, []int{2}, "", "hollow 2 cut"},
		"in a plan for one":      {"cut", 0, nil, "", "hollow 2 cut"},
		"begun":                  {"cut", -4, []int{2}, "", "hollow 2 PL-02 cut"},
		"over by then":           {"cut", -5, []int{2}, "", "hollow 2 cut"},
		"a little late":          {"cut", -19, []int{2}, "", "hollow 2 PL-02 cut"},
		"much too late":          {"cut", -20, []int{2}, "", "hollow 2 cut"},
		"it is done":             {"cut", 0, []int{2}, "cut", "hollow 2 cut"},
		"nothing is known of it": {"cut", 0, []int{2}, "?", "hollow"},
		"nothing is known later": {"cut", -10, []int{2}, "?", "hollow 2 cut"},
		"something else is done": {"cut", 0, []int{2}, "sand", "hollow 2 PL-02 cut"},
	} {
		is := working(t, one("cut", plain("cut")), one("sand", plain("sand")))
		if test.done != "" && test.done != "?" {
			is.done(test.done)
		}
		is.state.Airframe.Mark = "PL-02"
		beside := b.state.Beside([]*State{is.state})
		if test.done == "?" {
			beside = b.state.Beside(nil)
		}
		beside.Plans = map[string][]Planned{"PL-02": {{Job: is.state.Jobs[0].ID, Step: test.step, Begins: b.now.Add(minutesOf(test.at)), Minutes: 10, Hands: test.who}}, beside.Airframe.Mark: planned}
		one := *b
		one.state = beside
		if got := one.meanwhile(planned); got != test.want {
			t.Errorf("%s: %s, want %s", name, got, test.want)
		}
	}
}

// What somebody else is at on another airframe is to be heeded here too where something is plugged in for it, or by it.
func TestWhatIsPluggedInBesideIsHeeded(t *testing.T) {
	kit := sheet()
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
	plug, trim, sand := plain("plug"), plain("trim"), plain("sand")
	plug.Sets = setting("battery", "in").Set
	trim.Needs = plug.Sets
	b, on := working(t, one("glue", hands("hollow", "40 min"))), workingOn(t, kit, one("trim", plug, trim), one("sand", sand))
	on.state.Airframe.Mark = "PL-02"
	for step, want := range map[string]bool{"plug": true, "trim": true, "sand": false} {
		planned := []Planned{{Job: b.state.Jobs[0].ID, Step: "hollow", Begins: b.now, Minutes: 40, Hands: []int{1}}}
		s := b.state.Beside([]*State{on.state})
		s.Plans = map[string][]Planned{"PL-02": {{Job: on.state.Jobs[0].ID, Step: step, Begins: b.now, Minutes: 10, Hands: []int{2}}}, s.Airframe.Mark: planned}
		g := s.NextBut(b.now, nil, planned)
		if len(g.Others) != 1 || g.Others[0].Mark != "PL-02" || (g.Others[0].Beside != nil) != want {
			t.Errorf("%s: %+v", step, g.Others)
		}
	}
}

// Whoever is one of several is led to their own step about now: not to one for both, nor past what is late or can't be done beside it,
// nor to what was put off.
func TestNextHasATurnForEachOfSeveral(t *testing.T) {
	saw := hands("saw", "5 min")
	saw.Tools = []string{"saw"}
	other := saw
	other.Name = "saw-more"
	in := sheet()
	in.Tools = append(in.Tools, steps.Tool{Name: "saw", Title: "A saw"})
	b := workingOn(t, in, one("one", hands("hollow", "40 min")), one("two", plain("cut")), one("three", saw), one("four", other))
	job := b.state.Jobs[0].ID
	row := func(step string, at, takes int, who ...int) Planned {
		return Planned{Job: job, Step: step, Begins: b.now.Add(minutesOf(at)), Minutes: takes, Hands: who}
	}
	for name, test := range map[string]struct {
		planned []Planned
		who     int
		off     string
		want    string
	}{
		"their own":           {[]Planned{row("hollow", 0, 40, 1), row("cut", 5, 5, 2)}, 2, "", "cut"},
		"it is theirs":        {[]Planned{row("hollow", 0, 40, 1), row("cut", 5, 5, 2)}, 1, "", ""},
		"nobody knows who":    {[]Planned{row("hollow", 0, 40, 1), row("cut", 5, 5, 2)}, 0, "", ""},
		"for one":             {[]Planned{row("hollow", 0, 40), row("cut", 5, 5)}, 2, "", ""},
		"for both":            {[]Planned{row("hollow", 0, 40, 1, 2), row("cut", 5, 5, 2)}, 2, "", ""},
		"the next is":         {[]Planned{row("hollow", 0, 40, 1), row("cut", 5, 5, 1, 2)}, 2, "", ""},
		"later":               {[]Planned{row("hollow", 0, 40, 1), row("cut", 11, 5, 2)}, 2, "", ""},
		"the other one is at": {[]Planned{row("hollow", -49, 40, 1), row("cut", 5, 5, 2)}, 2, "", "cut"},
		"and that is late":    {[]Planned{row("hollow", -51, 40, 1), row("cut", 5, 5, 2)}, 2, "", ""},
		"with one saw":        {[]Planned{row("saw", 0, 5, 1), row("saw-more", 0, 5, 2), row("cut", 5, 5, 2)}, 2, "", "cut"},
		"it was put off":      {[]Planned{row("hollow", 0, 40, 1), row("cut", 5, 5, 2)}, 2, "cut", ""},
	} {
		g := b.state.NextBut(b.now, func(r StepReport) bool { return r.Step.Name == test.off }, test.planned)
		got := ""
		if r := b.state.TurnOf(test.who, &g, b.now); r != nil {
			got = r.Step.Name
		}
		if g.Step.Step.Name != test.planned[0].Step || got != test.want {
			t.Errorf("%s: beside %s it is %q, want %q", name, g.Step.Step.Name, got, test.want)
		}
	}
}

// What can't be done beside what somebody else is at on the airframe is not offered, and says what it waits for: beside a step that is
// claimed, or that the plan has now for another one of several, but not beside one that was put off by whoever is alone.
func TestNextKeepsApartWhatClashes(t *testing.T) {
	set := func(name, to string) steps.Setting { return steps.Setting{Condition: name, State: to} }
	step := func(name string, needs, sets steps.Setting) steps.Step {
		s := hands(name, "5 min")
		s.Needs = []steps.Setting{needs}
		if sets.Condition != "" {
			s.Sets = []steps.Setting{sets}
		}
		return s
	}
	kit := sheet()
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
	kit.Conditions[0].Guarded = "on"
	out, in, off, on := set("battery", "out"), set("battery", "in"), set("propeller", "off"), set("propeller", "on")
	b := workingOn(t, kit, one("a", step("fit", out, on)), one("b", step("plug", off, in), hands("try", "5 min")), one("c", hands("sand", "5 min")),
		one("d", step("trim", out, steps.Setting{})))
	b.must(setting("battery", "out"), setting("propeller", "off"))
	job := b.state.Jobs[0].ID
	row := func(step string, at int, who ...int) Planned {
		return Planned{Job: job, Step: step, Begins: b.now.Add(minutesOf(at)), Minutes: 5, Hands: who}
	}
	claimed := "it can't be done beside \"fit\", which somebody else is at"
	planned := "it can't be done beside \"fit\", which the plan has for somebody else now"
	for name, test := range map[string]struct {
		off, at []string
		planned []Planned
		want    string
		waits   string // plug
	}{
		"nobody":                     {nil, nil, nil, "fit", ""},
		"claimed":                    {nil, []string{"fit"}, nil, "sand", claimed},
		"claimed, nothing else left": {[]string{"sand", "trim"}, []string{"fit"}, nil, "", claimed},
		"another one is claimed":     {nil, []string{"sand"}, nil, "fit", ""},
		"both are":                   {nil, []string{"fit", "sand"}, nil, "trim", claimed},
		"put off, alone":             {[]string{"fit"}, nil, nil, "plug", ""},
		"in a plan for one":          {[]string{"fit"}, nil, []Planned{row("fit", 0), row("plug", 5)}, "plug", ""},
		"put off, and another's":     {[]string{"fit"}, nil, []Planned{row("fit", 0, 1), row("plug", 0, 2)}, "sand", planned},
		"one does both":              {[]string{"fit"}, nil, []Planned{row("fit", 0, 1), row("plug", 5, 1)}, "plug", ""},
		"one of two does both":       {[]string{"fit"}, nil, []Planned{row("fit", 0, 1, 2), row("plug", 5, 1)}, "plug", ""},
		"it is in no plan":           {[]string{"fit"}, nil, []Planned{row("fit", 0, 1)}, "sand", planned},
		"another's later":            {[]string{"fit"}, nil, []Planned{row("fit", 1, 1), row("plug", 1, 2)}, "plug", ""},
		"another's, a little late":   {[]string{"fit"}, nil, []Planned{row("fit", -9, 1), row("plug", 0, 2)}, "sand", planned},
		"another's, much too late":   {[]string{"fit"}, nil, []Planned{row("fit", -10, 1), row("plug", 0, 2)}, "plug", ""},
		"claimed, though one's own":  {nil, []string{"fit"}, []Planned{row("fit", 0, 1), row("plug", 5, 1)}, "sand", claimed},
	} {
		among := func(names []string) func(StepReport) bool {
			return func(r StepReport) bool { return lists.Contains(names, r.Step.Name) }
		}
		at := among(test.at)
		g := b.state.NextBeside(b.now, among(test.off), func(_ *State, r *StepReport) bool { return at(*r) }, test.planned)
		got := ""
		if g.Step != nil {
			got = g.Step.Step.Name
		}
		waits := ""
		for _, w := range g.Waiting {
			for _, r := range w.Reasons {
				waits += r.Text
			}
		}
		plug := b.step("plug")
		named := plug
		if b.state.Apart(&g, &named, b.now); len(named.Reasons) != min(1, len(test.waits)) || plug.Progress != Ready {
			t.Errorf("%s: plug, asked by its name, waits for %v", name, named.Reasons)
		}
		if got != test.want || waits != test.waits || g.KeptApart != (test.waits != "") {
			t.Errorf("%s: next is %q, want %q; waits %q, want %q; kept apart %t", name, got, test.want, waits, test.waits, g.KeptApart)
		}
	}
}

// What belongs to the bench is kept for what somebody else is at on another airframe too: the iron stays hot while they film, and what
// needs it hot goes on beside that. What belongs to each airframe is not.
func TestNextKeepsTheBenchForOthers(t *testing.T) {
	set := func(name, to string) []steps.Setting { return []steps.Setting{{Condition: name, State: to}} }
	step := func(name string, needs, sets []steps.Setting) steps.Step {
		s := hands(name, "5 min")
		s.Needs, s.Sets = needs, sets
		return s
	}
	kit := sheet()
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "iron", States: []string{"hot", "cold"}, Bench: true})
	a := workingOn(t, kit, one("a", step("cool", nil, set("iron", "cold"))), one("b", step("turn", nil, set("propeller", "off"))), one("c", hands("sand", "5 min")))
	b := workingOn(t, kit, one("a", step("film", set("iron", "hot"), nil)), one("b", step("fan", set("propeller", "on"), nil)))
	for _, is := range []*bench{a, b} {
		is.must(ReadBench{Temperature: q("20 °C"), Set: append(set("iron", "hot"), set("propeller", "on")...)})
	}
	a.state.Airframe.Mark, b.state.Airframe.Mark = "PL-00", "PL-01"
	for at, want := range map[string]string{"": "cool", "film": "turn", "fan": "cool"} {
		g := a.state.Beside([]*State{b.state}).NextBeside(a.now, nil, func(of *State, r *StepReport) bool { return of == b.state && r.Step.Name == at }, nil)
		waits := ""
		for _, w := range g.Waiting {
			waits += w.Step.Name + ": " + w.Reasons[0].Text
		}
		if says := "cool: it can't be done beside \"film\" of PL-01, which somebody else is at"; g.Step.Step.Name != want || (waits == says) != (at == "film") {
			t.Errorf("beside %q next is %s; waits %q", at, g.Step.Step.Name, waits)
		}
	}
}

// Nobody is named a step meanwhile that leaves their own join too little time.
func TestNextNamesNothingThatCostsTheOthersTheirJoin(t *testing.T) {
	for takes, want := range map[int]string{30: "hollow 2 long", 38: "hollow"} {
		b := working(t, one("hollow", hands("hollow", "20 min")), one("long", hands("long", "30 min")), one("glue", coating("coat", "tab"), joining("join", "tab")))
		b.done("coat")
		row := func(step string, at, takes, who int) Planned {
			return Planned{Job: b.state.Jobs[0].ID, Step: step, Begins: b.now.Add(minutesOf(at)), Minutes: takes, Hands: []int{who}}
		}
		if got := b.meanwhile([]Planned{row("hollow", 0, 20, 1), row("long", 1, takes, 2), row("join", 39, 1, 2)}); got != want {
			t.Errorf("%d min: %s, want %s", takes, got, want)
		}
	}
}

// A step of others who are at the bench is not led to, however late it is: nothing is left but what one has oneself by the plan, and when.
// It is led to where they are not there, and whoever does it is that person from then on. An open joint is everybody's once it is late for
// its window; what makes safe what crashed is done by one, as the plan has it.
func TestNextLeavesToOthersWhatIsTheirs(t *testing.T) {
	b := working(t, one("one", hands("hollow", "40 min")), one("two", plain("cut")), one("three", plain("tidy")))
	job := b.state.Jobs[0].ID
	row := func(step string, at, takes int, who ...int) Planned {
		return Planned{Job: job, Step: step, Begins: b.now.Add(minutesOf(at)), Minutes: takes, Hands: who}
	}
	for name, test := range map[string]struct {
		planned []Planned
		seat    Seat
		want    string
		mine    string
		becomes int
	}{
		"they are there":                {[]Planned{row("hollow", 0, 40, 1), row("cut", 40, 5, 2)}, Seat{Who: 2, Known: 2, Here: 2}, "theirs", "cut", 0},
		"it is theirs alone":            {[]Planned{row("hollow", 0, 40, 1), row("cut", 40, 5, 2)}, Seat{Who: 1, Known: 4, Here: 4}, "hollow", "", 0},
		"what is next is for both":      {[]Planned{row("hollow", 0, 40, 1), row("cut", 40, 5, 1, 2)}, Seat{Who: 2, Known: 2, Here: 2}, "theirs", "cut", 0},
		"nothing is":                    {[]Planned{row("hollow", 0, 40, 1)}, Seat{Who: 2, Known: 2, Here: 2}, "theirs", "", 0},
		"for both":                      {[]Planned{row("hollow", 0, 40, 1, 2)}, Seat{Who: 2, Known: 2, Here: 2}, "hollow", "", 0},
		"for both of three":             {[]Planned{row("hollow", 0, 40, 1, 2)}, Seat{Who: 3, Known: 6, Here: 6}, "theirs", "", 0},
		"one of both is not there":      {[]Planned{row("hollow", 0, 40, 1, 2)}, Seat{Who: 3, Known: 2, Here: 2}, "hollow", "", 0},
		"a third one":                   {[]Planned{row("hollow", 0, 40, 1), row("cut", 40, 5, 2)}, Seat{Known: 6, Here: 6}, "theirs", "", 0},
		"for one":                       {[]Planned{row("hollow", 0, 40)}, Seat{Who: 2, Known: 2, Here: 2}, "hollow", "", 0},
		"nobody came":                   {[]Planned{row("hollow", 0, 40, 1), row("cut", 40, 5, 2)}, Seat{Who: 2}, "hollow", "", 1},
		"they are late":                 {[]Planned{row("hollow", -91, 40, 1), row("cut", -40, 5, 2)}, Seat{Who: 2, Known: 2, Here: 2}, "cut", "", 0},
		"they are late, and not there":  {[]Planned{row("hollow", -91, 40, 1), row("cut", -40, 5, 2)}, Seat{Who: 2, Known: 2}, "hollow", "", 1},
		"silent, at it by the plan":     {[]Planned{row("hollow", -39, 40, 1), row("cut", 40, 5, 2)}, Seat{Who: 2, Known: 2}, "theirs", "cut", 0},
		"silent, and it is to be over":  {[]Planned{row("hollow", -40, 40, 1), row("cut", 40, 5, 2)}, Seat{Who: 2, Known: 2}, "hollow", "", 1},
		"silent, and it is for later":   {[]Planned{row("hollow", 15, 40, 1), row("cut", 40, 5, 2)}, Seat{Who: 2, Known: 2}, "hollow", "", 1},
		"one's own is the second of it": {[]Planned{row("hollow", 0, 40, 1), row("cut", 20, 5, 1), row("tidy", 40, 5, 2)}, Seat{Who: 2, Known: 2, Here: 2}, "theirs", "tidy", 0},
	} {
		s := b.state.Seated(test.seat)
		s.Plans = map[string][]Planned{s.Airframe.Mark: test.planned}
		g := s.NextBut(b.now, nil, test.planned)
		got, mine := g.Step.Step.Name, ""
		if g.Theirs {
			got = "theirs"
		}
		if g.Mine != nil {
			mine = g.Mine.Step.Step.Name
		}
		if got != test.want || mine != test.mine || g.Becomes != test.becomes || g.Theirs && !g.ForOthers {
			t.Errorf("%s: %s, then %q, as person %d; want %s, then %q, as %d", name, got, mine, g.Becomes, test.want, test.mine, test.becomes)
		}
		if !g.Theirs {
			continue
		}
		if named := s.GoTo(g, *g.Step, b.now); named.Theirs || !named.Asked || named.Mine != nil {
			t.Errorf("%s: gone to by its name: %+v", name, named)
		}
		if alone := s.Unshared().NextBut(b.now, nil, test.planned); alone.Theirs || alone.Asked || alone.Step.Step.Name != "hollow" {
			t.Errorf("%s: taken over: %+v", name, alone)
		}
	}
	at := &Suggestion{Step: &StepReport{}, Hands: []int{1}, Planned: b.now}
	for name, test := range map[string]struct {
		g    Suggestion
		late int
		want bool
	}{
		"an open joint":                         {Suggestion{Presses: true}, 10, true},
		"late, and in time for its window":      {Suggestion{Presses: true, By: b.now.Add(30 * time.Minute)}, 29, true},
		"late for its window":                   {Suggestion{Presses: true, By: b.now.Add(30 * time.Minute)}, 30, false},
		"late, and nobody knows for the window": {Suggestion{Presses: true}, 11, false},
		"it makes safe":                         {Suggestion{AtOnce: true}, 30, true},
	} {
		for here, want := range map[int]bool{2: test.want, 0: false} {
			test.g.Step, test.g.Hands, test.g.Planned = at.Step, at.Hands, at.Planned
			if _, theirs := b.state.Seated(Seat{Who: 2, Known: 2, Here: here}).forOthers(2, &test.g, b.now.Add(minutesOf(test.late))); theirs != want {
				t.Errorf("%s, who is there %b: theirs %t", name, here, theirs)
			}
		}
	}
}

// Whoever is at an airframe by the plan stays by it, else who recorded something on it last; not whoever asks, or who is not there.
func TestWhoStaysByAnAirframe(t *testing.T) {
	b := working(t, one("one", hands("try", "10 min"), hands("trim", "10 min")))
	b.done("try")
	job, by := b.state.Jobs[0].ID, b.state.Entries[len(b.state.Entries)-1].By
	row := func(step string, at int, who ...int) Planned {
		return Planned{Job: job, Step: step, Begins: b.now.Add(minutesOf(at)), Minutes: 10, Hands: who}
	}
	there := Seat{By: "Bob", Who: 2, Known: 2, Here: 2}
	for name, test := range map[string]struct {
		planned []Planned
		seat    Seat
		after   int
		want    int
	}{
		"at it by the plan":          {[]Planned{row("trim", 0, 1)}, there, 0, 1},
		"soon":                       {[]Planned{row("trim", 30, 1)}, there, 0, 1},
		"not soon":                   {[]Planned{row("trim", 31, 1)}, there, 0, 0},
		"it is done":                 {[]Planned{row("try", 0, 1)}, there, 0, 0},
		"whoever asks":               {[]Planned{row("trim", 0, 2)}, there, 0, 0},
		"with whoever asks":          {[]Planned{row("trim", 0, 1, 2)}, there, 0, 1},
		"whoever asks, and then one": {[]Planned{row("trim", 0, 2), row("trim", 10, 1)}, there, 0, 0},
		"not there":                  {[]Planned{row("trim", 0, 1)}, Seat{By: "Bob", Who: 2}, 0, 0},
		"much too late":              {[]Planned{row("trim", -20, 1)}, there, 0, 0},
		"who recorded something":     {nil, Seat{By: "Bob", Who: 2, Known: 2, Here: 2, Names: "1 " + by}, 60, 1},
		"long ago":                   {nil, Seat{By: "Bob", Who: 2, Known: 2, Here: 2, Names: "1 " + by}, 61, 0},
		"somebody else did":          {nil, Seat{By: "Bob", Who: 2, Known: 2, Here: 2, Names: "1 Ann"}, 0, 0},
	} {
		s := b.state.Seated(test.seat)
		s.Planned = test.planned
		if got := s.StaysBy(s, b.now.Add(minutesOf(test.after))); got != test.want {
			t.Errorf("%s: %d, want %d", name, got, test.want)
		}
	}
}
