package procedures

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"fettle/steps"
	"fettle/steps/quantity"
	"fettle/workflow"
)

// asks is how often a step asks its reader at the least.
func asks(s *steps.Step) int {
	n := max(1, len(s.Confirm))
	if s.WantsSecond() {
		n++
	}
	return n
}

// A list that is too long is ticked without being read.
func TestFewAnswersAFlight(t *testing.T) {
	l := Open("")
	for name, most := range map[string]int{"pre-flight": 12, "after-flight": 6} {
		d, err := l.Procedure(name)
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for s := range orderOf(d.Procedure).all() {
			n += asks(s)
		}
		if n > most || n < most/2 {
			t.Errorf("%s asks for %d answers, want %d at most", d.File, n, most)
		}
	}
	var before []string
	for _, d := range l.BeforeFlight() {
		before = append(before, d.Procedure.Flight+": "+d.Name())
	}
	slices.Sort(before)
	if want := []string{"day: day-check", "first-flight: first-flight", "flight: pre-flight"}; !slices.Equal(before, want) {
		t.Errorf("before a flight come %v, want %v", before, want)
	}
}

// byTwo are words by which two people are at a step.
var byTwo = regexp.MustCompile(`(?i)\b(second (person|pair)|two people|one person|one holds|the other opens|helper|have it held|` +
	`(someone|somebody) (holds|calls|looks|lifts|else)|calls what moves)\b`)

// notByTwo are the steps that name a second person and want none, and why.
var notByTwo = map[string]string{
	"first-flight/directions": "the helper who throws is there: its step roles wants one, and says why",
}

// One alone can finish every procedure, or is told why not.
func TestOneAloneCanFinish(t *testing.T) {
	wanted, excused := 0, map[string]bool{}
	eachStep(t, func(d *Document, s *steps.Step) {
		at := d.Name() + "/" + s.Name
		found := byTwo.FindString(s.Title + "\n" + s.Do + "\n" + strings.Join(s.Confirm, "\n"))
		switch {
		case s.WantsSecond():
			wanted++
			if len(s.WaysAlone()) == 0 && !strings.Contains(s.Why, "Alone") {
				t.Errorf("%s: %s can't be done by one alone, and does not say why", d.File, s.Name)
			}
		case found != "" && notByTwo[at] != "":
			excused[at] = true
		case found != "":
			t.Errorf("%s: %s wants two by its words, and says nothing of one alone: %q", d.File, s.Name, found)
		}
	})
	for at := range notByTwo {
		if !excused[at] {
			t.Errorf("%s names no second person, and is excused for it", at)
		}
	}
	if wanted < 15 {
		t.Errorf("%d steps want a second person: they are no longer found", wanted)
	}
}

// A document says at its top, and nowhere else, that others come first, and what its figures rest on.
func TestDocumentsDeferOnce(t *testing.T) {
	defers := regexp.MustCompile(`(?i)\blocal\s+rules?\b`)
	labels := regexp.MustCompile(`(?i)\b(labels?|makers?'?s?|fire\s+service)\b`)
	again := regexp.MustCompile(`(?i)\b(rules|sheet|label|practice|maker|makers'?|record) (say otherwise, that )?comes? first\b|\bcomes? before this record\b`)
	figure := regexp.MustCompile(`\d (mm|m|min|h|s|°C|°|V|g|%|degrees|hours)\b|\d%`)
	source := regexp.MustCompile(`(?i)common\s+practice,\s+no\s+source|\bFAA\b`)
	n := 0
	for _, e := range shipped() {
		d := e.Document
		about, text := "", strings.Builder{}
		switch {
		case d.Sheet != nil:
			about = d.Sheet.About
			for _, a := range d.Sheet.Adhesives {
				text.WriteString(a.Caution + "\n" + strings.Join(a.Hold, "\n") + "\n")
			}
			for _, t := range d.Sheet.Tools {
				text.WriteString(t.Caution + "\n" + strings.Join(t.Hold, "\n") + "\n")
			}
			for _, g := range d.Sheet.Gates {
				text.WriteString(g.How + "\n")
				for _, r := range g.Reworks {
					text.WriteString(r.Do + "\n")
				}
			}
		case d.Triage != nil:
			about = d.Triage.About
		default:
			about = d.Procedure.About
			for s := range orderOf(d.Procedure).all() {
				text.WriteString(words(s) + "\n")
			}
		}
		n++
		if !defers.MatchString(about) || !labels.MatchString(about) {
			t.Errorf("%s does not say at its top that labels and local rules come first", d.File)
		}
		if figure.MatchString(text.String()) && !source.MatchString(about) {
			t.Errorf("%s does not say at its top what its figures rest on: %q", d.File, figure.FindString(text.String()))
		}
		if found := again.FindString(text.String()); found != "" {
			t.Errorf("%s says again, below its top, who comes first: %q", d.File, found)
		}
		asks := d.Kind() == steps.Build || d.Name() == "day-check" || d.Name() == "kit-check" // once, whether the rules for place and kit were read
		if defers.MatchString(text.String()) && !asks {
			t.Errorf("%s defers to local rules in a step again", d.File)
		}
	}
	if n < 40 {
		t.Errorf("%d documents: the library is not all there", n)
	}
}

// What steps of repairs and checks must not say: a wing lies in what holds its dihedral and
// washout; what about says is on no page of the bench; an elevator that hangs on its servo
// is not moved by hand.
func TestWhatPagesDoNotSay(t *testing.T) {
	for what, unsaid := range map[string]*regexp.Regexp{
		"a wing lies flat":                      regexp.MustCompile(`(?i)\b(lay|leave|wait|rest)\b[^.\n]*\b(it|part|wing|halves)\b[^.\n]*\bflat\b[^.\n]*`),
		"it refers to a table of no page":       regexp.MustCompile(`(?i)\btable (above|below|at the top)\b`),
		"a surface is moved against its servo":  regexp.MustCompile(`(?i)\bopen and close\b`),
		"a clock is kept that the record keeps": regexp.MustCompile(`(?i)\bwrite down when the last\b|\bthe clock runs from mixing\b`),
	} {
		excused := regexp.MustCompile(`(?i)\b(cradles|blocks|flat plate|hang it by its body)\b|\brods? (off|comes? off)|\btake (the|every) rods? off\b`)
		for _, d := range embeddedProcedures(t) {
			if d.Procedure.Kind == steps.Build {
				continue
			}
			for _, s := range d.Procedure.Steps() {
				for line := range strings.Lines(s.Do) {
					if unsaid.MatchString(line) && !excused.MatchString(line) && !strings.Contains(line, "level with its other side") {
						t.Errorf("%s, %s: %s: %q", d.File, s.Name, what, line)
					}
				}
			}
		}
	}
}

// A pack that has flown is not the one that was measured.
func TestFlownPackIsMeasuredAgain(t *testing.T) {
	n := 0
	for _, sheet := range embeddedSheets() {
		for _, g := range sheet.Gates {
			if slices.Equal(g.Of, []string{"battery"}) {
				if n++; g.Validity.Flights != 1 {
					t.Errorf("%s: what %s was read as counts for %d flights", sheet.Name, g.Name, g.Validity.Flights)
				}
			}
		}
	}
	if n != 3 {
		t.Errorf("%d gates are of the battery alone", n)
	}
}

// The title of a step of a build says what its reader does, so that it can be read aloud as an order.
func TestTitlesOfBuildsAreOrders(t *testing.T) {
	verbs := strings.Fields("Bed Bend Bevel Bolt Centre Charge Check Choose Coat Count Cover Cut Decide Draw Drill Epoxy Film Find Fit Glue Have Heat Hinge Hollow " +
		"Join Lay Leave Let Lift Look Make Mark Measure Melt Pad Plug Press Prove Pull Read Release Sand Saw See Set Shape Slit Smooth Solder Sort Spread Switch Tie Try Turn " +
		"Warm Weigh Work")
	eachStep(t, func(d *Document, s *steps.Step) {
		if first, _, _ := strings.Cut(s.Title, " "); d.Procedure.Kind == steps.Build && s.Title != "" && !slices.Contains(verbs, strings.Trim(first, ",")) {
			t.Errorf("%s: %s has the title %q, which is not an order", d.File, s.Name, s.Title)
		}
	})
}

// millimetres are those of a length; none where nothing is said.
func millimetres(t *testing.T, q quantity.Quantity) float64 {
	t.Helper()
	if q.IsZero() {
		return 0
	}
	mm, err := q.Float("mm")
	if err != nil {
		t.Fatal(err)
	}
	return mm
}

// atTips is a wing that is lifted by its tips.
var atTips = regexp.MustCompile(`(?i)\b(lift|fingers under|block)[^.]*\btips?\b`)

// The tips of a swept wing may lie behind its balance point: lifted there it pitches down.
func TestWingIsLiftedAtItsBalance(t *testing.T) {
	var swept []*steps.Sheet
	for _, sheet := range embeddedSheets() {
		gate, ok := sheet.Gate("balance")
		for _, s := range sheet.Geometry.Surfaces {
			if !ok || s.Is != steps.Wing || len(s.Panels) == 0 {
				continue
			}
			tip := 0.0 // behind the root, where the balance is measured from
			for _, p := range s.Panels {
				tip += millimetres(t, p.Sweep)
			}
			if millimetres(t, gate.Limits.High) < tip {
				swept = append(swept, sheet)
			}
		}
	}
	if len(swept) != 1 {
		t.Fatalf("%d designs have tips behind their balance, want Skerry", len(swept))
	}
	found := 0
	eachStep(t, func(d *Document, s *steps.Step) {
		says := task(s) + strings.Join(s.WaysAlone(), "\n")
		if !atTips.MatchString(says) || !strings.Contains(says, "balance") && !strings.Contains(says, "five seconds") {
			return
		}
		if found++; d.Serves(swept[0]) && !strings.Contains(says, "a swept one") {
			t.Errorf("%s, %s: on %s it is lifted behind its balance point", d.Name(), s.Name, swept[0].Name)
		}
	})
	if found < 3 {
		t.Errorf("a wing is lifted at %d steps", found)
	}
}

// What is wrong with a pack shows before current flows: it can be retired without being charged.
func TestPackIsRetiredUncharged(t *testing.T) {
	found := 0
	for _, d := range embeddedProcedures(t) {
		ways := [][]string{nil}
		for _, s := range d.Procedure.Steps() {
			for _, m := range s.Methods {
				ways = append(ways, []string{m.Name})
			}
		}
		charges := func(s *steps.Step) bool { return strings.HasPrefix(s.Title, "Charge") }
		scraps := func(s *steps.Step) bool { return strings.Contains(s.Do, "SCRAP") }
		has := func(p *steps.Procedure, such func(*steps.Step) bool) bool {
			return slices.ContainsFunc(p.Steps(), such)
		}
		if !has(d.Procedure, charges) || !has(d.Procedure, scraps) {
			continue
		}
		found++
		if !slices.ContainsFunc(ways, func(way []string) bool {
			p := d.Procedure.For(steps.Selection{Has: way}, steps.Here)
			at := slices.IndexFunc(p.Steps(), scraps)
			return at >= 0 && !slices.ContainsFunc(p.Steps()[:at], charges)
		}) {
			t.Errorf("%s: a pack is charged before it is retired", d.Name())
		}
	}
	if found == 0 {
		t.Error("no procedure charges a pack or retires it")
	}
}

// Who changes a sound aircraft is told nothing of a crash before it is begun.
func TestSoundAircraftHadNoCrash(t *testing.T) {
	after, found := map[string]bool{}, 0
	for _, e := range shipped() {
		if table := e.Document.Triage; table != nil {
			for _, row := range table.Rows {
				after[row.Procedure] = true
			}
		}
	}
	for _, d := range embeddedProcedures(t) {
		if d.Procedure.Kind != steps.Repair || d.Procedure.Design == "" || after[d.Name()] {
			continue
		}
		found++
		for i := range d.Procedure.Stages[0].Steps {
			s := &d.Procedure.Stages[0].Steps[i]
			if crash.MatchString(words(s)) {
				t.Errorf("%s, %s speaks of a crash, and nothing is broken", d.Name(), s.Name)
			}
		}
	}
	if found < 2 {
		t.Errorf("%d procedures change a sound aircraft", found)
	}
}

var crash = regexp.MustCompile(`(?i)\b(crash|wreck|knock|mud|splinters?)\b`)

// Before a launch by hand, what the wind leaves of its speed is held against what a throw
// gives, by the figure that the flight card has.
func TestTheThrowIsHeldAgainstTheLaunchSpeed(t *testing.T) {
	for name, said := range map[string]string{
		"first-flight": `launch speed less the wind is (\d+) m/s or less`,
		"pre-flight":   `launch speed of the card\. More than (\d+) m/s left`,
	} {
		d, err := Open("").Procedure(name)
		if err != nil {
			t.Fatal(err)
		}
		text := ""
		for _, s := range d.Procedure.Steps() {
			text += s.Do + "\n" + strings.Join(s.Confirm, "\n") + "\n"
		}
		found := regexp.MustCompile(said).FindStringSubmatch(text)
		if found == nil || found[1] != strconv.Itoa(workflow.ThrowSpeed) {
			t.Errorf("%s says %q, and a throw gives %d m/s", name, found, workflow.ThrowSpeed)
		}
	}
}

// Whether a fin is glued or stands on pegs is known of an airframe: it is not asked, and no
// glue gets at pegs.
func TestAFinGoesBackAsItWasBuilt(t *testing.T) {
	d, err := Open("").Procedure("fin-off")
	if err != nil {
		t.Fatal(err)
	}
	for _, test := range []struct {
		fins  string
		coats int
		want  string
	}{{"fixed-fins", 1, "free-fin"}, {"break-away-fins", 0, "renew-pegs"}} {
		p := d.Procedure.For(steps.Selection{Has: []string{test.fins}}, "fins")
		coats := 0
		for _, s := range p.Steps() {
			if len(s.Methods) > 0 {
				t.Errorf("%s: %s asks what the record knows", test.fins, s.Name)
			}
			if s.Kind == steps.Coat {
				coats++
			}
		}
		if _, _, ok := p.Step(test.want); !ok || coats != test.coats {
			t.Errorf("%s: %d coats, want %d; step %s is there: %t", test.fins, coats, test.coats, test.want, ok)
		}
	}
}

// What a job fits or moves is in the record before it is weighed: recorded after the release it
// ends it.
func TestWhatIsFittedIsRecordedBeforeItIsWeighed(t *testing.T) {
	d, err := Open("").Procedure("fit-camera")
	if err != nil {
		t.Fatal(err)
	}
	asked := false
	for s := range orderOf(d.Procedure).all() {
		confirmed := strings.Join(s.Confirm, " ")
		asked = asked || strings.Contains(confirmed, "camera as fitted") && strings.Contains(confirmed, "battery as moved")
		if s.Kind == steps.Measure && !asked {
			t.Errorf("%s measures before camera and battery are asked to be in the record", s.Name)
		}
	}
}

// A degree of thrust line cannot be seen: it is read before the mount is glued.
func TestTheThrustLineIsReadBeforeTheMountIsGlued(t *testing.T) {
	for name, step := range map[string]string{"mount-torn": "dry-fit", "nose-lost": "dry-fit"} {
		d, err := Open("").Procedure(name)
		if err != nil {
			t.Fatal(err)
		}
		s, _, ok := d.Procedure.Step(step)
		if !ok || !strings.Contains(s.Do, "read the thrust line now, dry") || strings.Contains(strings.Join(s.Confirm, " "), "to the eye") {
			t.Errorf("%s: %s sets the mount by eye", name, step)
		}
	}
}
