package repair

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/steps/quantity"
)

func shares(name, do string) steps.Step {
	return steps.Step{Name: name, Kind: steps.Do, Do: do, Shared: true}
}

func works(name string, zones ...string) steps.Step {
	return steps.Step{Name: name, Kind: steps.Do, Do: "work", Disturbs: zones}
}

func rests(name, of string) steps.Step {
	d, err := quantity.Parse(of, quantity.Duration)
	if err != nil {
		panic(err)
	}
	return steps.Step{Name: name, Kind: steps.Wait, For: d}
}

var stale = steps.Step{Name: "again", Kind: steps.Measure, Gates: []string{steps.Stale}}

func stage(name, phase string, of ...steps.Step) steps.Stage {
	return steps.Stage{Name: name, Phase: phase, Steps: of}
}

func mends(name, zone string, stages ...steps.Stage) Answer {
	p := &steps.Procedure{Name: name, Kind: steps.Repair, Stages: stages}
	return Answer{Damage: Damage{Name: "D1", Zone: zone}, Row: steps.Row{Outcome: steps.ToRepair}, Procedure: p, Zone: zone}
}

// compose numbers the damages and composes the plan of an airframe that nothing is
// known of.
func compose(answers []Answer) *steps.Procedure { return composeOn(Airframe{}, answers...) }

func composeOn(on Airframe, answers ...Answer) *steps.Procedure {
	for i := range answers {
		answers[i].Damage.Name = fmt.Sprintf("D%d", i+1)
	}
	return Compose(answers, on).Procedure
}

// order is every step of the plan as stage/step, in the order written.
func order(p *steps.Procedure) []string {
	var all []string
	for _, st := range p.Stages {
		for _, s := range st.Steps {
			all = append(all, st.Name+"/"+s.Name)
		}
	}
	return all
}

func wantOrder(t *testing.T, p *steps.Procedure, want ...string) {
	t.Helper()
	if got := order(p); !slices.Equal(got, want) {
		t.Errorf("the plan is\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func step(t *testing.T, p *steps.Procedure, name string) steps.Step {
	t.Helper()
	s, _, ok := p.Step(name)
	if !ok {
		t.Fatalf("the plan has no step %s, but %v", name, order(p))
	}
	return s
}

// A step of one's own does not take the place of another for having its name.
func TestSharedStepsAreOneWordForWord(t *testing.T) {
	full, own := shares("make-safe", "Battery out. One that smokes is left alone."), shares("make-safe", "Battery out.")
	full.Origin = steps.Origin{Document: "sha256:safe", Step: "make-safe"}
	elsewhere := full
	elsewhere.Origin.Document = "sha256:copy"
	p := compose([]Answer{
		mends("mine", "", stage("safe", steps.Safe, own), stage("do", "", works("mend", "nose"), stale)),
		mends("theirs", "", stage("safe", steps.Safe, full), stage("do", "", works("glue", "wing"))),
		mends("third", "", stage("safe", steps.Safe, elsewhere), stage("do", "", works("film", "tail"))),
	})
	wantOrder(t, p, "safe/make-safe", "safe/make-safe-d2", "do-d1/mend-d1", "do-d2/glue-d2", "do-d3/film-d3", "measure-again/again-d1")
	if s := step(t, p, "make-safe-d2"); s.Do != full.Do || s.Origin.Document != "sha256:safe" || s.Shared {
		t.Errorf("it says %+v", s)
	}
}

// A shared step that works on here disturbs the zone of every repair.
func TestASharedStepDisturbsWhatEachOfThemDisturbs(t *testing.T) {
	clean := shares("clean", "Clean it.")
	clean.Disturbs = []string{steps.Here}
	p := compose([]Answer{
		mends("film", "wing", stage("a", "", clean, works("lay", steps.Here))),
		mends("film", "tail", stage("a", "", clean, works("lay", steps.Here))),
	})
	if got := step(t, p, "clean").Disturbs; !slices.Equal(got, []string{"tail", "wing"}) {
		t.Errorf("it disturbs %v", got)
	}
}

func TestAWaitGoesWithTheSharedStepItCountsFrom(t *testing.T) {
	dry := shares("dry", "Let it drip.")
	a := mends("one", "", stage("a", "", dry, rests("rest", "2 h"), works("glue", "wing")))
	for _, c := range []struct {
		name  string
		other steps.Step
		want  []string
	}{
		{"the same", rests("rest", "2 h"), []string{"safe/dry", "safe/rest-d1", "a-d1/glue-d1", "a-d2/film-d2"}},
		{"another", rests("rest", "3 h"), []string{"safe/dry", "safe/rest-d1", "safe/rest-d2", "a-d1/glue-d1", "a-d2/film-d2"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := compose([]Answer{a, mends("two", "", stage("a", "", dry, c.other, works("film", "tail")))})
			wantOrder(t, p, append(c.want, "measure-again/measure-what-is-stale")...)
		})
	}
}

// Shared steps at the end of a stage come after all work of the phase, those at
// its beginning before, wherever another repair has nothing else in its stage.
func TestSharedStepsStandAtTheEnds(t *testing.T) {
	in, look, out := shares("plug-in", "In."), shares("look", "Look."), shares("plug-out", "Out.")
	all := mends("all", "", stage("mend", "", works("mend", "nose")), stage("last", steps.Recheck, in, look, out))
	between := mends("between", "", stage("last", steps.Recheck, in, works("trim", "tail"), out))
	for i, answers := range [][]Answer{{all, between}, {between, all}} {
		p := compose(answers)
		one, two := []string{"d1", "d2"}[i], []string{"d2", "d1"}[i]
		wantOrder(t, p, "mend-"+one+"/mend-"+one, "recheck/plug-in", "last-"+two+"/trim-"+two, "recheck-2/look", "recheck-2/plug-out", "measure-again/measure-what-is-stale")
		if before := p.Before("recheck-2"); !slices.Contains(before, "last-"+two) || !slices.Contains(before, "recheck") {
			t.Errorf("the last steps come after %v", before)
		}
	}
}

// Gates are measured again after all work, whichever repair asks for it.
func TestStaleIsMeasuredLast(t *testing.T) {
	early := mends("early", "", stage("do", "", works("mend", "nose"), stale))
	late := mends("late", "", stage("do", steps.Balance, works("shift", "battery")))
	p := compose([]Answer{early, late})
	wantOrder(t, p, "do-d1/mend-d1", "do-d2/shift-d2", "measure-again/again-d1")
	if before := p.Before("measure-again"); len(before) != 2 {
		t.Errorf("it comes after %v", before)
	}
	alone := compose([]Answer{early})
	wantOrder(t, alone, "do-d1/mend-d1", "do-d1/again-d1")
	after := mends("after", "", stage("do", "", works("mend", "nose"), stale, works("close", "nose")))
	wantOrder(t, compose([]Answer{after}), "do-d1/mend-d1", "do-d1/again-d1", "do-d1/close-d1", "measure-again/measure-what-is-stale")
	only := mends("only", "", stage("look", "", stale), stage("do", "", works("mend", "nose")))
	wantOrder(t, compose([]Answer{only}), "look-d1/again-d1", "do-d1/mend-d1", "measure-again/measure-what-is-stale")
}

// What a wait counts from and opens again is called as it is in the plan.
func TestWaitsNameTheirStepsInAPlan(t *testing.T) {
	var answers []Answer
	for _, zone := range []string{"wing", "tail"} {
		lay := steps.Step{Name: "lay", Kind: steps.Do, Do: "lay it", Disturbs: []string{zone}}
		end := steps.Step{Name: "end", Kind: steps.Wait, From: "lay", Late: "lay"}
		say := steps.Step{Name: "say", Kind: steps.Wait, From: "wipe", Late: steps.LateSay}
		wipe := steps.Step{Name: "wipe", Kind: steps.Do, Do: "wipe it", Shared: true}
		answers = append(answers, mends("stick", zone, stage("do", "", wipe, lay, end, works("press", zone), say, works("lift", zone))))
	}
	p := compose(answers)
	for name, want := range map[string][2]string{
		"end-d1": {"lay-d1", "lay-d1"}, "end-d2": {"lay-d2", "lay-d2"},
		"say-d1": {"wipe", "say"}, "say-d2": {"wipe", "say"},
	} {
		if s, _, ok := p.Step(name); !ok || s.From != want[0] || s.Late != want[1] {
			t.Errorf("%s counts from %q and opens %q again, there: %v", name, s.From, s.Late, ok)
		}
	}
}

// No name is longer than a document may have, and none is given twice.
func TestNamesStayNames(t *testing.T) {
	long := strings.Repeat("long-", 11) + "name"
	var answers []Answer
	for _, zone := range []string{"left-wing", "right-wing", "tail"} {
		glue := steps.Step{Name: long, Kind: steps.Coat, Joint: long, Adhesives: []string{"contact"}}
		join := steps.Step{Name: long[:49] + "-join", Kind: steps.Join, Joint: long, Disturbs: []string{zone}}
		answers = append(answers, mends(long, zone, stage(long, "", glue, join)))
	}
	p := compose(answers)
	seen := map[string]bool{}
	joints := map[string]int{}
	for _, st := range p.Stages {
		names := []string{"stage " + st.Name}
		for _, s := range st.Steps {
			names = append(names, "step "+s.Name)
			if s.Joint != "" {
				joints[s.Joint]++
			}
		}
		for _, name := range names {
			_, bare, _ := strings.Cut(name, " ")
			if seen[name] || len(bare) > longest || strings.HasSuffix(bare, "-") || strings.Contains(bare, "--") {
				t.Errorf("the name %q", name)
			}
			seen[name] = true
		}
	}
	if len(joints) != 3 {
		t.Errorf("the joints are %v", joints)
	}
	for joint, n := range joints {
		if n != 2 || len(joint) > longest {
			t.Errorf("%d steps at the joint %s", n, joint)
		}
	}
}

// Methods of two repairs are told apart, with what they govern.
func TestMethodsAreToldApart(t *testing.T) {
	asks := func(names ...string) steps.Step {
		s := steps.Step{Name: "how", Kind: steps.Choose}
		for _, name := range names {
			s.Methods = append(s.Methods, steps.Option{Name: name})
		}
		return s
	}
	governed := func(name string, w steps.Where) steps.Step {
		return steps.Step{Name: name, Kind: steps.Do, Do: "work", Where: w}
	}
	p := compose([]Answer{
		mends("a", "wing", stage("s", steps.Structure, asks("wet", "dry"), governed("one", steps.Where{With: [][]string{{"wet", "rudder"}}}))),
		mends("b", "tail", stage("s", steps.Structure, asks("wet", "hot"), governed("two", steps.Where{Without: []string{"wet"}}))),
	})
	var got []string
	for _, s := range p.Steps() {
		for _, m := range s.Methods {
			got = append(got, m.Name)
		}
		got = append(got, slices.Concat(s.With...)...)
		got = append(got, s.Without...)
	}
	if want := "wet-d1 dry-d1 wet-d1 rudder wet-d2 hot-d2 wet-d2"; strings.Join(got, " ") != want {
		t.Errorf("%v, want %s", got, want)
	}
}

// glues is a repair by a joint, that is tested once it is cured.
func glues(name, zone string, needs ...steps.Setting) Answer {
	return mends(name, zone, stage("look", steps.Look, steps.Step{Name: "look", Kind: steps.Hold}), stage("mend", "",
		steps.Step{Name: "coat", Kind: steps.Coat, Joint: "seam", Needs: needs}, steps.Step{Name: "join", Kind: steps.Join, Joint: "seam", Disturbs: []string{steps.Here}},
		steps.Step{Name: "rest", Kind: steps.Wait, Joint: "seam", Until: steps.UntilHandling}, steps.Step{Name: "cured", Kind: steps.Wait, Joint: "seam", Until: steps.UntilCure},
		steps.Step{Name: "pull", Kind: steps.Hold, Disturbs: []string{steps.Here}}))
}

// What a zone rests on is repaired first, to handling strength; where no gate sees the
// two together, they go side by side. Nothing is repaired before all is looked at, or
// loaded before all is cured.
func TestBaseFirstAndSideBySide(t *testing.T) {
	on := Airframe{
		Sheet: &steps.Sheet{Zones: []string{"tail", "boom", "wing", "nose"}},
		Made:  []steps.Made{{Zone: "wing"}, {Zone: "pod", On: []string{"wing"}}, {Zone: "nose", On: []string{"pod"}}, {Zone: "tail", On: []string{"boom"}}, {Zone: "boom", On: []string{"wing"}}},
		Gates: []steps.Gate{{Name: "gap", Of: []string{"wing", "boom"}}, {Name: "height", Of: []string{"wing", "tail"}}, {Name: "mass", Of: []string{"wing", "pod", "nose"}, Mass: true}, {Name: "balance", Of: []string{"wing", "pod", "nose", "boom"}}},
	}
	answers := []Answer{glues("set", "tail"), glues("bend", "nose"), glues("join", "wing"), glues("splice", "boom"), glues("join", "wing")}
	for i := range answers {
		answers[i].Damage.Name = fmt.Sprintf("D%d", i+1)
	}
	answers[3].Row.Outcome = steps.ToReplace
	plan := Compose(answers, on)
	p := plan.Procedure
	wantOrder(t, p, "look-d3/look-d3", "look-d5/look-d5", "look-d2/look-d2", "look-boom/look-boom", "look-d1/look-d1",
		"mend-d3/coat-d3", "mend-d3/join-d3", "mend-d3/rest-d3", "cure-d3/cured-d3", "mend-d5/coat-d5", "mend-d5/join-d5", "mend-d5/rest-d5", "cure-d5/cured-d5",
		"mend-d2/coat-d2", "mend-d2/join-d2", "mend-d2/rest-d2", "cure-d2/cured-d2",
		"mend-boom/coat-boom", "mend-boom/join-boom", "mend-boom/rest-boom", "cure-boom/cured-boom", "mend-d1/coat-d1", "mend-d1/join-d1", "mend-d1/rest-d1", "cure-d1/cured-d1",
		"test-d3/pull-d3", "test-d5/pull-d5", "test-d2/pull-d2", "test-boom/pull-boom", "test-d1/pull-d1", "measure-again/measure-what-is-stale")
	looks := "look-boom look-d1 look-d2 look-d3 look-d5"
	for stage, want := range map[string]string{
		"mend-d3": looks, "mend-d5": looks, "mend-d2": looks, // two joints of one zone, and what only weighs together, go side by side
		"mend-boom": "mend-d3 mend-d5", "mend-d1": "mend-boom", // with nothing that sees it: it rests on it
		"cure-d3": "mend-d3", "test-d3": "cure-boom cure-d1 cure-d2 cure-d3 cure-d5", "test-d5": "test-d3",
	} {
		if s, _ := p.Stage(stage); strings.Join(s.After, " ") != want {
			t.Errorf("%s comes after %v, want %s", stage, s.After, want)
		}
	}
	if got := plan.For["coat-boom"]; !slices.Equal(got, []string{"D4"}) {
		t.Errorf("coat-boom is for %v", got)
	}
	// The names stay when less is damaged.
	for _, s := range Compose(answers[:3], on).Procedure.Steps() {
		step(t, p, s.Name)
	}
}

// What lies in a part is repaired before the foam that closes over it.
func TestASparBeforeTheFoamOverIt(t *testing.T) {
	wing, spars := glues("patch", "wing"), glues("splice", "spars")
	wing.Damage.Name, spars.Damage.Name = "D1", "D2"
	for _, s := range spars.Procedure.Steps() {
		if len(s.Disturbs) > 0 {
			s.Disturbs = []string{"wing"}
		}
	}
	p := Compose([]Answer{wing, spars}, Airframe{Sheet: &steps.Sheet{Zones: []string{"wing", "spars"}}, Made: []steps.Made{{Zone: "wing"}, {Zone: "spars", On: []string{"wing"}}}}).Procedure
	if s, _ := p.Stage("mend-d1"); !slices.Equal(s.After, []string{"mend-d2"}) {
		t.Errorf("the foam comes after %v", s.After)
	}
}

// What a repair measures of a part that is made anew after it, since it rests on it, is left to
// the last checks: else each would wait for the other. What is made beside it is measured.
func TestWhatIsMadeLaterIsMeasuredLater(t *testing.T) {
	on := Airframe{Made: []steps.Made{{Zone: "wing"}, {Zone: "boom", On: []string{"wing"}}, {Zone: "tail", On: []string{"boom"}}, {Zone: "pod"}},
		Gates: []steps.Gate{{Name: "gap", Of: []string{"boom", "tail"}}, {Name: "set", Of: []string{"boom", "pod"}}}}
	measures := stage("mend", steps.Structure, steps.Step{Name: "both", Kind: steps.Measure, Gates: []string{"gap", "set"}}, steps.Step{Name: "one", Kind: steps.Measure, Gates: []string{"gap"}})
	anew := func(zone string) Answer {
		a := mends(zone+"-anew", zone, stage("make", steps.Structure, works("make", steps.Here)))
		a.Retires = []string{zone}
		return a
	}
	p := composeOn(on, mends("join", "boom", measures, stage("last", steps.Recheck, steps.Step{Name: "end", Kind: steps.Measure, Gates: []string{"gap"}})), anew("tail"), anew("pod"))
	wantOrder(t, p, "mend-d1/both-d1", "make-new-tail/make-new-tail", "make-new-pod/make-new-pod", "last-d1/end-d1", "measure-again/measure-what-is-stale")
	if got := step(t, p, "both-d1").Gates; !slices.Equal(got, []string{"set"}) {
		t.Errorf("it measures %v", got)
	}
	if _, _, ok := p.Step("one-d1"); ok {
		t.Error("a step is left with nothing to measure")
	}
}

// What needs a state that the glue of what it works on must not see waits for its cure,
// whether the procedure waits for that or not.
func TestHeatWaitsForTheCure(t *testing.T) {
	cold, hot := steps.Setting{Condition: "iron", State: "cold"}, steps.Setting{Condition: "iron", State: "hot"}
	on := Airframe{Made: []steps.Made{{Zone: "wing"}, {Zone: "film", On: []string{"wing"}}}}
	lay := works("lay", "film")
	lay.Needs = []steps.Setting{hot}
	film := mends("film", "film", stage("lay", "", lay))
	film.Damage.Name = "D2"
	waits := glues("join", "wing", cold)
	silent := mends("join", "wing", stage("mend", "", steps.Step{Name: "glue", Kind: steps.Glue, Joint: "seam", Needs: []steps.Setting{cold}}))
	for want, a := range map[string]Answer{"cure-d1": waits, "cure-d1-": silent} {
		p := Compose([]Answer{a, film}, on).Procedure
		s, _ := p.Stage("lay-d2")
		if want = strings.TrimSuffix(want, "-"); !slices.Equal(s.After, []string{want}) {
			t.Errorf("the film comes after %v, want %s", s.After, want)
		}
		if cured, _ := p.Stage(want); len(cured.Steps) != 1 || cured.Steps[0].Until != steps.UntilCure || cured.Steps[0].Joint != "seam-d1" {
			t.Errorf("it is %+v", cured)
		}
	}
}

// A replacement is one a zone, and a rebuild mends all damage of what it retires.
func TestPartsOfAPlan(t *testing.T) {
	one, other := mends("swap", "boom", stage("do", "", works("fit", steps.Here))), mends("swap", "boom", stage("do", "", works("fit", steps.Here)))
	one.Row.Outcome, other.Row.Outcome = steps.ToReplace, steps.ToReplace
	crack := mends("glue", "spars", stage("do", "", works("mend", steps.Here)))
	anew := mends("wing-anew", "wing", stage("do", "", works("make", "wing", "spars"), steps.Step{Name: "wires", Kind: steps.Do, There: []string{"radio"}}, steps.Step{Name: "roots", Kind: steps.Do, There: []string{"wing"}}))
	anew.Retires = []string{"wing", "spars"}
	answers := []Answer{one, crack, other, anew}
	for i := range answers {
		answers[i].Damage.Name = fmt.Sprintf("D%d", i+1)
	}
	plan := Compose(answers, Airframe{There: func(z string) bool { return z == "boom" }})
	wantOrder(t, plan.Procedure, "do-boom/fit-boom", "do-new-wing/make-new-wing", "do-new-wing/roots-new-wing", "measure-again/measure-what-is-stale")
	if got := fmt.Sprint(plan.For["fit-boom"], plan.For["make-new-wing"]); got != "[D1 D3] [D2 D4]" {
		t.Errorf("they are for %s", got)
	}
	// What is lost comes off before what it sits on is repaired, and is made after that.
	scrap := works("scrap", "tail")
	scrap.Retires = []string{"tail"}
	lost := mends("tail-anew", "tail", stage("off", "", scrap), stage("anew", "", works("make", "tail")))
	lost.Procedure.Stages[1].After, lost.Retires = []string{"off"}, []string{"tail"}
	wantOrder(t, Compose([]Answer{one, lost}, Airframe{Made: steps.Making{{Zone: "boom"}, {Zone: "tail", On: []string{"boom"}}}}).Procedure,
		"off-new-tail/scrap-new-tail", "do-boom/fit-boom", "anew-new-tail/make-new-tail", "measure-again/measure-what-is-stale")
	// What is the same work for either of its zones is one part, whichever came first.
	shaft, blade := mends("renew", "motor", stage("do", "", works("bin", "propeller"))), mends("renew", "propeller", stage("do", "", works("bin", "propeller")))
	for _, a := range []*Answer{&shaft, &blade} {
		a.Row.Outcome, a.Procedure.On = steps.ToReplace, []string{"propeller", "motor"}
	}
	wantOrder(t, compose([]Answer{shaft, blade}), "do-propeller/bin-propeller", "measure-again/measure-what-is-stale")
	wantOrder(t, compose([]Answer{shaft}), "do-propeller/bin-propeller", "measure-again/measure-what-is-stale")
}

func TestStem(t *testing.T) {
	for _, c := range [][3]string{{"join-crack-d2", "mend-d2", "join-crack"}, {"join-boom-left-boom", "fit-left-boom", "join-boom"}, {"make-safe", "safe", "make-safe"}} {
		if got := Stem(c[0], c[1]); got != c[2] {
			t.Errorf("the stem of %s in %s is %s", c[0], c[1], got)
		}
	}
}

// Waits side by side count once; a chain runs through coats, joins and cures.
func TestTheLongestChain(t *testing.T) {
	hours := func(step steps.Step, hands string) steps.Step {
		step.Hands = rests("", hands).For
		return step
	}
	coat := steps.Step{Name: "coat", Kind: steps.Coat, Joint: "seam", Adhesives: []string{"slow", "quick"}}
	join := steps.Step{Name: "join", Kind: steps.Join, Joint: "seam"}
	cured := steps.Step{Name: "cured", Kind: steps.Wait, Joint: "seam", Until: steps.UntilCure}
	p := &steps.Procedure{Stages: []steps.Stage{
		{Name: "last", After: []string{"glue", "dry"}, Steps: []steps.Step{hours(works("fit"), "1 h")}},
		{Name: "glue", Steps: []steps.Step{hours(coat, "1 h"), hours(join, "1 h"), rests("rest", "2 h"), cured}},
		{Name: "dry", Steps: []steps.Step{hours(works("wash"), "1 h"), rests("drip", "20 h")}},
	}}
	clocks := func(name string) Clocks {
		if name == "slow" {
			return Clocks{Open: time.Hour, Handling: 2 * time.Hour, Cure: 24 * time.Hour}
		}
		return Clocks{Cure: time.Hour}
	}
	got := TimeOf(p, clocks)
	// coat 1 h, dry 1 h, join 1 h, cure 24 h from the join, whatever rested meanwhile
	want := []Wait{{"join", time.Hour}, {"cured", 24 * time.Hour}}
	if got.Attended != 4*time.Hour || got.Waiting != 25*time.Hour || !slices.Equal(got.Chain, want) {
		t.Errorf("it is %+v", got)
	}
	got = TimeOf(p, func(string) Clocks { return Clocks{} })
	if got.Waiting != 20*time.Hour || !slices.Equal(got.Chain, []Wait{{"drip", 20 * time.Hour}}) {
		t.Errorf("without clocks it is %+v", got)
	}
}
