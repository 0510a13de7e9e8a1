package repair

import (
	"fmt"
	"slices"
	"strings"
	"testing"

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
	p := Compose([]Answer{
		mends("mine", "", stage("safe", steps.Safe, own), stage("do", "", works("mend", "nose"), stale)),
		mends("theirs", "", stage("safe", steps.Safe, full), stage("do", "", works("glue", "wing"))),
		mends("third", "", stage("safe", steps.Safe, elsewhere), stage("do", "", works("film", "tail"))),
	})
	wantOrder(t, p, "safe/mine-make-safe", "safe/theirs-make-safe", "mine-do/mend", "theirs-do/glue", "third-do/film", "measure-again/again")
	if s := step(t, p, "theirs-make-safe"); s.Do != full.Do || s.Origin.Document != "sha256:safe" || s.Shared {
		t.Errorf("it says %+v", s)
	}
}

// A shared step that works on here disturbs the zone of every repair.
func TestASharedStepDisturbsWhatEachOfThemDisturbs(t *testing.T) {
	clean := shares("clean", "Clean it.")
	clean.Disturbs = []string{steps.Here}
	p := Compose([]Answer{
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
		{"the same", rests("rest", "2 h"), []string{"structure/dry", "structure/rest", "one-a/glue", "two-a/film"}},
		{"another", rests("rest", "3 h"), []string{"structure/dry", "structure/one-rest", "structure/two-rest", "one-a/glue", "two-a/film"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := Compose([]Answer{a, mends("two", "", stage("a", "", dry, c.other, works("film", "tail")))})
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
	for _, answers := range [][]Answer{{all, between}, {between, all}} {
		p := Compose(answers)
		wantOrder(t, p, "all-mend/mend", "recheck/plug-in", "between-last/trim", "recheck-2/look", "recheck-2/plug-out", "measure-again/measure-what-is-stale")
		if before := p.Before("recheck-2"); !slices.Contains(before, "between-last") || !slices.Contains(before, "recheck") {
			t.Errorf("the last steps come after %v", before)
		}
	}
}

// Gates are measured again after all work, whichever repair asks for it.
func TestStaleIsMeasuredLast(t *testing.T) {
	early := mends("early", "", stage("do", "", works("mend", "nose"), stale))
	late := mends("late", "", stage("do", steps.Balance, works("shift", "battery")))
	p := Compose([]Answer{early, late})
	wantOrder(t, p, "early-do/mend", "late-do/shift", "measure-again/again")
	if before := p.Before("measure-again"); len(before) != 2 {
		t.Errorf("it comes after %v", before)
	}
	alone := Compose([]Answer{early})
	wantOrder(t, alone, "early-do/mend", "early-do/again")
	after := mends("after", "", stage("do", "", works("mend", "nose"), stale, works("close", "nose")))
	wantOrder(t, Compose([]Answer{after}), "after-do/mend", "after-do/again", "after-do/close", "measure-again/measure-what-is-stale")
	only := mends("only", "", stage("look", "", stale), stage("do", "", works("mend", "nose")))
	wantOrder(t, Compose([]Answer{only}), "only-look/again", "only-do/mend", "measure-again/measure-what-is-stale")
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
	p := Compose(answers)
	for name, want := range map[string][2]string{
		"stick-wing-end": {"stick-wing-lay", "stick-wing-lay"}, "stick-tail-end": {"stick-tail-lay", "stick-tail-lay"},
		"stick-wing-say": {"wipe", "say"}, "stick-tail-say": {"wipe", "say"},
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
		join := steps.Step{Name: long[:50] + "-join", Kind: steps.Join, Joint: long, Disturbs: []string{zone}}
		answers = append(answers, mends(long, zone, stage(long, "", glue, join)))
	}
	p := Compose(answers)
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

// Two repairs whose names and zones run together alike are two.
func TestRepairsThatReadAlike(t *testing.T) {
	p := Compose([]Answer{
		mends("skin", "lifted-boom", stage("a", "", works("lay", "nose"))),
		mends("skin-lifted", "boom", stage("a", "", works("lay", "tail"))),
	})
	if got := fmt.Sprint(order(p)); !strings.Contains(got, "skin-lifted-boom-lay ") || !strings.Contains(got, "skin-lifted-boom-lay-2") {
		t.Errorf("the plan is %v", got)
	}
}

// Methods that two repairs call alike are told apart, with what they govern; one
// that only one has keeps its name.
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
	p := Compose([]Answer{
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
	if want := "a-wing-wet dry a-wing-wet rudder b-tail-wet hot b-tail-wet"; strings.Join(got, " ") != want {
		t.Errorf("%v, want %s", got, want)
	}
}

// A lost part is cut free as its procedure says, and then scrapped, before what
// comes after all work on the structure.
func TestALostPartIsCutFree(t *testing.T) {
	a := mends("cut-wing-free", "wing", stage("safe", steps.Safe, steps.Step{Name: "off", Kind: steps.Do}), stage("cut", steps.Structure, steps.Step{Name: "cut", Kind: steps.Do}), stage("again", steps.Recheck, stale))
	a.Row.Outcome = steps.ToScrap
	p := Compose([]Answer{a})
	const k = "scrap-cut-wing-free-wing"
	wantOrder(t, p, k+"-safe/off", k+"-cut/cut", k+"-scrap/scrap-wing", k+"-again/again")
	scrap, ok := p.Stage(k + "-scrap")
	if !ok || !slices.Contains(scrap.After, k+"-cut") {
		t.Errorf("the wing is scrapped after %v", scrap.After)
	}
	if again, _ := p.Stage(k + "-again"); !slices.Contains(again.After, k+"-scrap") {
		t.Errorf("it is measured after %v", again.After)
	}
	// Beside a repair by the same procedure, both are there.
	b := mends("cut-wing-free", "wing", a.Procedure.Stages...)
	if got := order(Compose([]Answer{b, a})); len(got) != 7 || !slices.Contains(got, k+"-scrap/scrap-wing") {
		t.Errorf("the plan of both is %v", got)
	}
}
