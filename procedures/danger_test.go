package procedures

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"fettle/steps"
	"fettle/steps/quantity"
)

// words are all that a step says, but its name.
func words(s *steps.Step) string {
	all := []string{s.Title, s.Do, s.Why}
	all = append(all, s.Cautions...)
	return strings.Join(append(all, s.Confirm...), "\n")
}

// task is what a step has its reader do.
func task(s *steps.Step) string { return s.Title + "\n" + s.Do }

// eachStep runs over the steps of the embedded procedures.
func eachStep(t *testing.T, do func(d *Document, s *steps.Step)) {
	t.Helper()
	n := 0
	for _, d := range embeddedProcedures(t) {
		for s := range orderOf(d.Procedure).all() {
			do(d, s)
			n++
		}
	}
	if n < 500 {
		t.Fatalf("%d steps: the library is not all there", n)
	}
}

func embeddedSheets() []*steps.Sheet {
	var sheets []*steps.Sheet
	for _, e := range shipped() {
		if e.Document.Sheet != nil {
			sheets = append(sheets, e.Document.Sheet)
		}
	}
	return sheets
}

// sanding is the verb: sand is also what a doubtful battery is laid on.
var sanding = regexp.MustCompile(`(?m)(?:^\s*- |\. |: |, |\band |\bthen )(?:[Ss]and|[Ff]ile|[Gg]rind) (?:it|its|the|root|each|both|high|until|along|flush|from)\b|sanding stick|\bsanded in one go`)

// sandsNoGlue are the steps that sand something else than the joints of their zones.
var sandsNoGlue = map[string]string{
	"causeway-build/hinge-ailerons": "the front edge of the aileron, of foam",
	"causeway-build/cut-third-spar": "a rod, before it is laid in",
	"jetty-build/cut-extra-strips":  "strips, before they are laid in",
	"causeway-build/mark-centre":    "the seat of the wing, of foam; the horns lie in ailerons and elevator",
	"causeway-build/dry-fit-tail":   "the bed of the tailplane; the horns lie in ailerons, elevator and rudders",
	"jetty-build/dry-fit-tail":      "the seat of the tailplane, of foam; the horns lie in elevator and rudder",
}

// The dust of an adhesive that has not cured makes skin and lungs allergic.
func TestGlueIsSandedOnlyOnceCured(t *testing.T) {
	sands, glued := 0, 0
	sheets := embeddedSheets()
	excused := map[string]bool{}
	for _, d := range embeddedProcedures(t) {
		o := orderOf(d.Procedure)
		for s := range o.all() {
			if !sanding.MatchString(task(s)) {
				continue
			}
			if at := d.Name() + "/" + s.Name; sandsNoGlue[at] != "" {
				excused[at] = true
				continue
			}
			sands++
			for join := range o.all() {
				if join.Kind != steps.Join || !o.before(join.Name, s.Name) || !meet(join.Disturbs, s.Disturbs) {
					continue
				}
				if !harmsUncured(sheets, adhesiveOf(o, join.Joint)) {
					continue
				}
				glued++
				if !cured(o, join.Joint, s.Name) {
					t.Errorf("%s: %s sands while the joint %s may not have cured", d.File, s.Name, join.Joint)
				}
			}
		}
	}
	for at := range sandsNoGlue {
		if !excused[at] {
			t.Errorf("%s sands nothing, and is excused for it", at)
		}
	}
	if sands < 12 || glued < 8 {
		t.Errorf("%d steps sand, over %d joints: the words are no longer found", sands, glued)
	}
}

// meet reports whether two lists of zones have one in common. A step that says
// of no zone that it disturbs it may be at work on any.
func meet(a, b []string) bool {
	return len(b) == 0 || slices.ContainsFunc(a, func(z string) bool { return slices.Contains(b, z) })
}

func adhesiveOf(o *order, joint string) string {
	for s := range o.all() {
		if s.Kind.Traits().Coats && s.Joint == joint {
			return s.Adhesives[0]
		}
	}
	return ""
}

// harmsUncured reports whether dust of the adhesive harms until it has cured:
// two parts, or one that its sheet says not to sand before.
func harmsUncured(sheets []*steps.Sheet, name string) bool {
	for _, sheet := range sheets {
		for _, a := range sheet.Adhesives {
			if a.Name == name && (a.Times.Mixed || strings.Contains(a.Caution, "before it has cured")) {
				return true
			}
		}
	}
	return false
}

// cured reports whether the joint is waited for until it has cured, before the step.
func cured(o *order, joint, before string) bool {
	for s := range o.all() {
		if s.Kind == steps.Wait && s.Joint == joint && s.Until == steps.UntilCure && o.before(s.Name, before) {
			return true
		}
	}
	return false
}

// Glue that hardens has a clock: it is a coat of a joint and never a word by the way.
func TestNoGlueWithoutItsClock(t *testing.T) {
	aside := regexp.MustCompile(`(?i)\b(harden|fill|dab|seal)\b[^.\n]*\b(epoxy|glue|adhesive)\b`)
	eachStep(t, func(d *Document, s *steps.Step) {
		if !s.Kind.Traits().Glues() && aside.MatchString(s.Do) {
			t.Errorf("%s: %s uses glue and coats no joint: %q", d.File, s.Name, aside.FindString(s.Do))
		}
	})
}

// Lead-free solder is matt. What tells is whether it has wetted the wire.
func TestSolderIsJudgedByWetting(t *testing.T) {
	shine := regexp.MustCompile(`(?i)\b(bright|shin(y|es|ing)|dull joint|gr[ae]y joint|gloss\w*)\b`)
	joints := 0
	eachStep(t, func(d *Document, s *steps.Step) {
		if !regexp.MustCompile(`(?i)\btin (both|each)`).MatchString(s.Do) {
			return
		}
		joints++
		if found := shine.FindString(words(s)); found != "" {
			t.Errorf("%s: %s judges solder by its shine: %q", d.File, s.Name, found)
		}
		if !regexp.MustCompile(`\bwet(s|ted)\b`).MatchString(s.Do) {
			t.Errorf("%s: %s does not say how a joint is judged", d.File, s.Name)
		}
	})
	if joints < 4 {
		t.Errorf("%d steps solder, want 4 at least", joints)
	}
}

// A gear that is pushed from its arm loses a tooth.
func TestNobodyPushesAServo(t *testing.T) {
	t.Parallel()
	push := regexp.MustCompile(`(?i)\b(push|move|turn|swing|work)\b[^.\n]*\b(arm|servo|servos)\b[^.\n]*\bby hand|` +
		`\b(move|swing)\b (the|each) (arm|surface)s?\b[^.\n]*\b(as far as the servo|by hand and watch)`)
	rule := regexp.MustCompile(`(?i)\bnever push[^.\n]*`)
	rules := 0
	eachStep(t, func(d *Document, s *steps.Step) {
		if rule.MatchString(words(s)) {
			rules++
		}
		for _, line := range strings.Split(rule.ReplaceAllString(words(s), ""), "\n") {
			if push.MatchString(line) {
				t.Errorf("%s: %s: %q", d.File, s.Name, line)
			}
		}
		// By hand a surface is moved before its rod is hooked on.
		move, hook := strings.Index(s.Do, "urface by hand"), strings.Index(strings.ToLower(s.Do), "hook the rod on")
		if move >= 0 && hook >= 0 && hook < move {
			t.Errorf("%s: %s moves the surface by hand when it hangs on its servo", d.File, s.Name)
		}
	})
	if rules < 6 {
		t.Errorf("%d steps say not to push a servo arm, want 6 at least", rules)
	}
}

// With a propeller on it an aircraft is tied down while its motor runs.
func TestNobodyHoldsARunningPropeller(t *testing.T) {
	held := regexp.MustCompile(`(?i)\b(hold it firmly|(person|helper|one|pilot) holds (it|the (aircraft|wing)))\b|hand is where|\bmotor runs up\b`)
	runs := regexp.MustCompile(`(?i)\b(throttle cut off|open the throttle|plug (it )?in)\b`)
	seen := 0
	eachStep(t, func(d *Document, s *steps.Step) {
		if !slices.Contains(s.Needs, steps.Setting{Condition: "propeller", State: "on"}) || !runs.MatchString(s.Do) {
			return
		}
		seen++
		text := words(s)
		thrown := strings.Contains(text, "The motor stands until the aircraft has left the")
		if found := held.FindString(text); found != "" && !thrown {
			t.Errorf("%s: %s: %q, and the propeller is on", d.File, s.Name, found)
		}
		if tied := regexp.MustCompile(`(?i)\b(tie|tied)\b`).MatchString(text); !tied && !thrown {
			t.Errorf("%s: %s has the propeller on and ties nothing down", d.File, s.Name)
		}
	})
	if seen < 5 {
		t.Errorf("%d steps have the propeller on and power, want 5 at least", seen)
	}
}

// A propeller that is fitted back to front still blows, and passes for a weak one. The figures
// moulded on it face the flight direction (common practice, no source), which is toward the
// nose of a pusher and away from that of a tractor.
func TestPropellersFaceTheFlightDirection(t *testing.T) {
	figures := regexp.MustCompile(`[Mm]oulded figures[^-]*`)
	seen, inFront := 0, 0
	onItsSheets(t, func(d *Document, _ *order, sheet *steps.Sheet, s *steps.Step) {
		said := figures.FindString(s.Do)
		if fits := regexp.MustCompile(`(?i)^propeller on$|^(fit|try) the propeller$`).MatchString(s.Title); !fits && said == "" {
			return
		}
		g := sheet.Geometry
		if g.Propeller.Diameter.IsZero() {
			return // it has none
		}
		front := !slices.ContainsFunc(g.Bodies, func(b steps.Body) bool {
			return b.Zone != "propeller" && slices.ContainsFunc(b.Corners(), func(p steps.Place) bool { return in(p.X, "mm") < in(g.Propeller.X, "mm") })
		})
		seen++
		if front {
			inFront++
		}
		toNose := strings.Contains(said, "toward the nose")
		switch {
		case !strings.Contains(said, "flight direction") && !toNose && !strings.Contains(said, "forward"):
			t.Errorf("%s on %s: %s does not say which way round: %q", d.File, sheet.Name, s.Name, said)
		case front && toNose && !strings.Contains(said, "in front, away from the aircraft"):
			t.Errorf("%s on %s: %s fits a propeller in front of the nose back to front: %q", d.File, sheet.Name, s.Name, said)
		}
	})
	if seen < 9 || inFront < 3 {
		t.Errorf("%d steps fit a propeller, %d of them in front: the words are no longer found", seen, inFront)
	}
}

// The sole of the iron is measured bare, and the sock goes on afterwards.
func TestIronIsMeasuredBare(t *testing.T) {
	sock := regexp.MustCompile(`(?i)\b(pull|draw|put)\b[^.\n]*\bsock\b`)
	builds := 0
	for _, d := range embeddedProcedures(t) {
		o := orderOf(d.Procedure)
		for m := range o.all() {
			if m.Kind != steps.Measure || !slices.Contains(m.Gates, "iron-temperature") {
				continue
			}
			if d.Procedure.Kind == steps.Build {
				builds++
			}
			if !strings.Contains(m.Do, "bare sole") {
				t.Errorf("%s: %s does not say that the sole is bare", d.File, m.Name)
			}
			socks := 0
			for s := range o.all() {
				if !sock.MatchString(s.Do) {
					continue
				}
				socks++
				if !o.before(m.Name, s.Name) {
					t.Errorf("%s: %s pulls the sock on before %s has measured the sole", d.File, s.Name, m.Name)
				}
			}
			if socks != 1 {
				t.Errorf("%s: the sock goes on %d times", d.File, socks)
			}
		}
	}
	if builds != 3 {
		t.Errorf("%d builds measure an iron, want 3", builds)
	}
}

// Once the tail is bonded across both booms, neither can be moved.
func TestBoomsAreMeasuredDryAndBeforeTheTail(t *testing.T) {
	d, err := Open("").Procedure("causeway-build")
	if err != nil {
		t.Fatal(err)
	}
	o := orderOf(d.Procedure)
	measured := func(after, before string) bool {
		for s := range o.all() {
			if s.Kind == steps.Measure && slices.Contains(s.Gates, "tail-height") && o.before(after, s.Name) && o.before(s.Name, before) {
				return true
			}
		}
		return false
	}
	for _, between := range [][2]string{
		{"dry-fit-booms", "coat-boom-sockets"},
		{"join-booms", "coat-tailplane"},
		{"join-tailplane", "coat-fins"},
	} {
		if !measured(between[0], between[1]) {
			t.Errorf("the heights of the booms are not measured between %s and %s", between[0], between[1])
		}
	}
}

// Full is 4.20 V a cell (common practice, no source). The limits of a cell are drawn in by
// the uncertainty of the checker before a reading is judged.
func TestNoOverchargedPackPasses(t *testing.T) {
	const full = 4.20
	gates := 0
	for _, sheet := range embeddedSheets() {
		g, ok := sheet.Gate("battery-voltage")
		if !ok {
			continue
		}
		gauge, ok := sheet.Gauge(g.Gauge)
		if !ok {
			t.Fatalf("%s: no gauge %s", sheet.Name, g.Gauge)
		}
		gates++
		most := volts(t, g.Limits.High) - volts(t, gauge.Uncertainty)
		if most > full+1e-9 {
			t.Errorf("%s: a cell passes at %.3f V", sheet.Name, most)
		}
		if least := volts(t, g.Limits.Low) + volts(t, gauge.Uncertainty); least > most {
			t.Errorf("%s: no reading passes: %g V to %g V", sheet.Name, least, most)
		}
	}
	if gates != 3 {
		t.Errorf("%d sheets have the gate, want 3", gates)
	}
}

func volts(t *testing.T, q quantity.Quantity) float64 {
	t.Helper()
	v, err := q.Float("V")
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// A danger is what can hurt, by the words of the steps that do it: what their caution
// says, and what has been confirmed before.
type danger struct {
	what            string
	task, cautioned *regexp.Regexp // cautioned: nil: by what was asked before alone
	asked           *regexp.Regexp // nil: nothing
	least           int            // steps in the library
}

var dangers = []danger{
	{"charging", charging, regexp.MustCompile(`(?i)charge|watch`), nil, 12},
	{"soldering", regexp.MustCompile(`\b[Ss]older( until| motor| and fit)|\b[Tt]in (both|each)\b`), regexp.MustCompile(`(?i)hot tip`),
		regexp.MustCompile(`(?i)draws the (smoke|fumes)`), 4},
	{"sawing", regexp.MustCompile(`(?m)(^\s*- |, |, then )[Ss]aw\b`), regexp.MustCompile(`(?i)mask|blade|saw`), nil, 7},
	{"sanding", sanding, regexp.MustCompile(`(?i)dust|mask`), nil, 12},
	{"cutting glass or carbon", regexp.MustCompile(`[Cc]ut the (spare boom|rod to length)|\b[Ss]aw (it )?(wet|with a fine)`), regexp.MustCompile(`(?i)mask`),
		regexp.MustCompile(`(?i)\bmask\b`), 6},
	{"cutting with a blade", regexp.MustCompile(`(?m)(?:^\s*- |\. |: )(?:Cut|Slit|Strip)\b|(?:, |\band |\bthen )(?:cut|slit|strip) (?:the|it|its|both|each|along|anew)\b`),
		regexp.MustCompile(`(?i)blade|knife`), regexp.MustCompile(`(?i)blade`), 40},
	{"a hot iron", regexp.MustCompile(`\bPlug the iron in\b|\bits light has gone out\b|\bPress the probe on the sole\b|\bIron (a hand's width|a strip|from|left)|` +
		`\bmoving all the time\b|\bas many passes\b|\bTack it\b`), regexp.MustCompile(`(?i)\b(iron|sole|hot)\b`),
		regexp.MustCompile(`(?i)firm stand`), 25},
	{"drilling", regexp.MustCompile(`(?m)(?:^\s*- |: |\. |, )(?:[Dd]rill|[Bb]ore)\b`), regexp.MustCompile(`(?i)drill`), nil, 4},
	{"a motor that runs", regexp.MustCompile(`\b[Rr]un the motor\b|\bmotor slow\b|\bmotor runs faster\b|[Oo]pen the throttle slowly|[Bb]are shaft turning`),
		regexp.MustCompile(`(?i)shaft|blades|motor`), nil, 10},
	{"a solvent", regexp.MustCompile(`(?i)\b(wipe|brush|clean)\b[^.\n]*\b(isopropyl|alcohol|acetone)\b`), regexp.MustCompile(`(?i)burns`), nil, 2},
	{"hot water or steam", regexp.MustCompile(`(?i)\b(hot water|water of \d+ °C|steam)\b`), regexp.MustCompile(`(?i)scald|burn`), nil, 3},
	{"a pack that may be harmed", regexp.MustCompile(`(?i)\bflat plate\b`), regexp.MustCompile(`(?i)lithium|smokes|burn`), nil, 7},
	{"hands at the propeller", regexp.MustCompile(`(?i)\btake the propeller off\b|\b(fit|hang|balance) (it on the balancer|a sound propeller|the propeller)\b|` +
		`\bturn (the blades|the propeller) by hand\b|\b(nail|cloth) along (both|the) (edges|blades)\b`), regexp.MustCompile(`(?i)propeller|blade|disc|battery out`), nil, 10},
	{"plugging the battery in", regexp.MustCompile(`(?m)\b[Pp]lug the battery in\b|\b[Pp]lug in\.|\b[Pp]lug in again\b`), regexp.MustCompile(`(?i)can start|off the shaft`), nil, 8},
	{"glass or carbon that may be broken", regexp.MustCompile(`(?i)\bcotton wool along\b|\b(pick|trim) (every )?(loose )?splinters?\b|\bgather all pieces\b`), nil, regexp.MustCompile(`(?i)splinter|goggles`), 8},
	{"loading what may let go", regexp.MustCompile(`(?i)\bflex (each wing|it a little)\b|\blift (it|both tips)\b[^.\n]*\b(tips|fingers|halves)\b|\blift it by (the|both|its)\b|\bpull and twist\b|\bas far as flight would\b`),
		nil, regexp.MustCompile(`(?i)\b(face|goggles)\b`), 8},
	{"a vice", regexp.MustCompile(`(?i)\bvice\b`), regexp.MustCompile(`(?i)\bvice\b|goggles`), nil, 1},
	// A hand between two magnets, or between a bell and its magnets, is pinched; loose ones are in no document.
	{"magnets", regexp.MustCompile(`(?i)\b(glue|set|press|fit|insert)\b[^.\n]*\bmagnets?\b`), regexp.MustCompile(`(?i)\bmagnet`), nil, 0},
	{"the flight line", regexp.MustCompile(`(?i)\bthrow at the horizon\b`), regexp.MustCompile(`(?i)\b(hand|catch|nobody)\b`), nil, 3},
}

// charging is what is done to a battery, and no word that forbids it.
var charging = regexp.MustCompile(`\b[Cc]harge (it|them|the pack|the other|what)\b|storage programme|\binto the charger\b`)

// noBlade are the steps that cut with something else.
var noBlade = map[string]string{
	"jetty-build/drill-wing-bolts":   "a thread, with a tap",
	"propeller-change/bin-propeller": "a propeller, with pliers",
	"servo-stripped/centre-servo":    "an arm of plastic, with pliers",
	"spar-broken/try-rod":            "a rod, like glass and carbon",
}

// usesOf are the tools of a step, and the glue that it spreads or presses together.
func usesOf(o *order, sheet *steps.Sheet, s *steps.Step) []steps.Use {
	if s.Kind.Traits().Glues() {
		return sheet.UsesOf(*s, adhesiveOf(o, s.Joint))
	}
	return sheet.UsesOf(*s)
}

// warnings are what a step and all that it is done with warn of.
func warnings(s *steps.Step, uses []steps.Use) string {
	all := slices.Clone(s.Cautions)
	for _, u := range uses {
		all = append(all, u.Caution)
	}
	return strings.Join(all, "\n")
}

// confirmed is what has been answered before a step: in holds before it, and in those of
// all that it is done with.
func confirmed(o *order, s *steps.Step, uses []steps.Use) string {
	var all []string
	for h := range o.all() {
		if h.Kind.Traits().Confirms && o.before(h.Name, s.Name) {
			all = append(all, h.Confirm...)
		}
	}
	for _, u := range uses {
		all = append(all, u.Hold...)
	}
	return strings.Join(all, "\n")
}

// served are the designs on which an embedded procedure can be carried out.
var served = sync.OnceValue(func() map[*Document][]*steps.Sheet {
	on := map[*Document][]*steps.Sheet{}
	for _, e := range shipped() {
		for _, sheet := range embeddedSheets() {
			if d := e.Document; d.Procedure != nil && len(d.Against(sheet)) == 0 && (d.Procedure.Design == "" || d.Procedure.Design == sheet.Name) {
				on[d] = append(on[d], sheet)
			}
		}
	}
	return on
})

// onItsSheets runs over the steps of the embedded procedures on each design that they
// can be carried out on.
func onItsSheets(t *testing.T, do func(d *Document, o *order, sheet *steps.Sheet, s *steps.Step)) {
	t.Helper()
	n := 0
	for _, d := range embeddedProcedures(t) {
		o := orderOf(d.Procedure)
		for _, sheet := range served()[d] {
			for s := range o.all() {
				do(d, o, sheet, s)
				n++
			}
		}
	}
	if n < 1000 {
		t.Fatalf("%d steps: the library is not all there", n)
	}
}

func TestDangersHaveTheirCaution(t *testing.T) {
	t.Parallel()
	found := make([]map[string]bool, len(dangers))
	excused := map[string]bool{}
	met := map[*steps.Step][]string{} // a step is carried out on several designs
	onItsSheets(t, func(d *Document, o *order, sheet *steps.Sheet, s *steps.Step) {
		if met[s] == nil {
			text := strings.ReplaceAll(task(s)+"\n"+strings.Join(s.Confirm, "\n"), "Neither charge", "")
			for _, danger := range dangers {
				met[s] = append(met[s], danger.task.FindString(text))
			}
		}
		uses := usesOf(o, sheet, s)
		for i, danger := range dangers {
			words := met[s][i]
			if words == "" {
				continue
			}
			at := d.Name() + "/" + s.Name
			if danger.what == "cutting with a blade" && noBlade[at] != "" {
				excused[at] = true
				continue
			}
			if found[i] == nil {
				found[i] = map[string]bool{}
			}
			found[i][at] = true
			warned, before := warnings(s, uses), confirmed(o, s, uses)
			if danger.cautioned == nil {
				before += "\n" + warned + "\n" + strings.Join(s.Confirm, "\n")
			} else if !danger.cautioned.MatchString(warned) {
				t.Errorf("%s on %s: %s is %s without its caution: %q", d.File, sheet.Name, s.Name, danger.what, words)
			}
			if danger.asked != nil && !danger.asked.MatchString(before) {
				t.Errorf("%s on %s: %s is %s, and nothing was asked before it: %q", d.File, sheet.Name, s.Name, danger.what, words)
			}
		}
	})
	for at := range noBlade {
		if !excused[at] {
			t.Errorf("%s cuts nothing, and is excused for it", at)
		}
	}
	for i, danger := range dangers {
		if len(found[i]) < danger.least {
			t.Errorf("%d steps of %s, want %d at least: the words are no longer found", len(found[i]), danger.what, danger.least)
		}
	}
}

// Nothing is glued before what the glue does to people was shown and asked, in
// whatever procedure.
func TestGlueIsAskedForBeforeItIsSpread(t *testing.T) {
	air, cold := steps.Setting{Condition: "ventilation", State: "on"}, steps.Setting{Condition: "iron", State: "cold"}
	gun := steps.Setting{Condition: "gun", State: "cold"}
	solvent := []steps.Setting{air, cold, gun}
	harms := map[string]struct {
		cautioned, asked *regexp.Regexp
		needs            []steps.Setting
	}{
		"contact":         {regexp.MustCompile(`(?i)flam|burns`), regexp.MustCompile(`No flame, hot iron`), solvent},
		"contact-pressed": {regexp.MustCompile(`(?i)flam|burns`), regexp.MustCompile(`No flame, hot iron`), solvent},
		"epoxy":           {regexp.MustCompile(`(?i)allergic`), regexp.MustCompile(`Gloves are on(.*\n)*.*cup can be put outside`), []steps.Setting{air}},
		"pu":              {regexp.MustCompile(`(?i)allergic`), regexp.MustCompile(`asthma(.*\n)*Gloves are on`), []steps.Setting{air}},
		"hot-melt":        {regexp.MustCompile(`sticks to skin`), regexp.MustCompile(`It stands on its stand`), []steps.Setting{{Condition: "gun", State: "hot"}}},
	}
	glued := map[string]int{}
	onItsSheets(t, func(d *Document, o *order, sheet *steps.Sheet, s *steps.Step) {
		if !s.Kind.Traits().Glues() {
			return
		}
		glue := adhesiveOf(o, s.Joint)
		harm, ok := harms[glue]
		if !ok {
			t.Fatalf("%s: %s spreads %q, of which the test knows nothing", d.File, s.Name, glue)
		}
		glued[glue]++
		uses := usesOf(o, sheet, s)
		needs := slices.Clone(s.Needs)
		var holds []string
		for _, u := range uses {
			needs = append(needs, u.NeedsAt(*s)...)
			holds = append(holds, u.Hold...)
		}
		if !harm.cautioned.MatchString(warnings(s, uses)) || !harm.asked.MatchString(strings.Join(holds, "\n")) {
			t.Errorf("%s on %s: %s glues with %s without its caution or its hold", d.File, sheet.Name, s.Name, glue)
		}
		for _, n := range harm.needs {
			if !slices.Contains(needs, n) {
				t.Errorf("%s on %s: %s glues with %s and does not need %s", d.File, sheet.Name, s.Name, glue, n)
			}
		}
		for h := range o.all() {
			if h.Kind.Traits().Confirms && harm.asked.MatchString(strings.Join(h.Confirm, "\n")) {
				t.Errorf("%s on %s: the step %s asks what the hold of %s asks", d.File, sheet.Name, h.Name, glue)
			}
		}
	})
	for glue := range harms {
		if glued[glue] < 3 {
			t.Errorf("%s is used %d times: it is no longer found", glue, glued[glue])
		}
	}
}

// What is hot on a bench, or airs it, is no matter of one airframe: each of a bench knows of it.
func TestWhatIsOfTheBench(t *testing.T) {
	found := 0
	for _, sheet := range embeddedSheets() {
		for _, c := range sheet.Conditions {
			want := c.Name == "ventilation" || c.Name == "charger" || slices.Contains(c.States, "hot")
			if found++; c.Bench != want {
				t.Errorf("%s: %s is of the bench: %t, want %t", sheet.Name, c.Name, c.Bench, want)
			}
		}
	}
	if found < 16 {
		t.Errorf("%d conditions: the sheets are not all there", found)
	}
}

// A wait is entered by the program. Work that is hidden in one is done unseen, with no caution before it.
func TestWaitsHideNoWork(t *testing.T) {
	work := regexp.MustCompile(`(?i)\b(saw|sand|cut|drill|solder|charge|file)\b`)
	eachStep(t, func(d *Document, s *steps.Step) {
		if s.Kind == steps.Wait && work.MatchString(s.Do) {
			t.Errorf("%s: %s waits, and has work in it: %q", d.File, s.Name, work.FindString(s.Do))
		}
	})
}

// The pack is charged while no propeller is fitted.
func TestBuildsChargeBeforeThePropellerIsOn(t *testing.T) {
	for _, name := range []string{"causeway-build", "skerry-build", "jetty-build"} {
		d, err := Open("").Procedure(name)
		if err != nil {
			t.Fatal(err)
		}
		o := orderOf(d.Procedure)
		if _, ok := o.rank["charge-pack"]; !ok {
			t.Errorf("%s: the pack is never charged", d.File)
		}
		for _, later := range []string{"plug-in", "fit-propeller"} {
			if !o.before("charge-pack", later) {
				t.Errorf("%s: the pack is charged after %s", d.File, later)
			}
		}
	}
}

// What a check asks is judged with a thing that the builder has.
func TestFiguresSayHowTheyAreRead(t *testing.T) {
	eachStep(t, func(d *Document, s *steps.Step) {
		for _, line := range s.Confirm {
			for _, figure := range []struct{ unit, with *regexp.Regexp }{
				{regexp.MustCompile(`\d °C\b`), regexp.MustCompile(`(?i)probe|thermometer`)},
				{regexp.MustCompile(`\d m/s\b`), regexp.MustCompile(`(?i)wind meter`)},
			} {
				if figure.unit.MatchString(line) && !figure.with.MatchString(s.Do) {
					t.Errorf("%s: %s asks for %q and does not say what it is read with", d.File, s.Name, line)
				}
			}
		}
	})
}

// A charger lights vapour, and a pack that vents on it lights more: it is on from a step that says so to
// one that ends it in the same stage, and no glue with a vapour is used meanwhile.
func TestChargingIsKeptFromVapour(t *testing.T) {
	on, off := steps.Setting{Condition: "charger", State: "on"}, steps.Setting{Condition: "charger", State: "off"}
	steady := 0
	eachStep(t, func(d *Document, s *steps.Step) {
		if !charging.MatchString(strings.ReplaceAll(task(s)+"\n"+strings.Join(s.Confirm, "\n"), "Neither charge", "")) {
			return
		}
		steady++
		_, stage, _ := d.Procedure.Step(s.Name)
		at := slices.IndexFunc(stage.Steps, func(of steps.Step) bool { return of.Name == s.Name })
		turns := func(to steps.Setting) func(steps.Step) bool {
			return func(of steps.Step) bool { return slices.Contains(of.Sets, to) }
		}
		if !slices.Contains(s.Sets, on) && !(slices.Contains(s.Needs, on) && slices.ContainsFunc(stage.Steps[:at], turns(on))) {
			t.Errorf("%s: %s charges, and the charger is not on by what it sets or needs", d.File, s.Name)
		}
		if !slices.ContainsFunc(stage.Steps[at:], turns(off)) {
			t.Errorf("%s: after %s nothing says that the charger is off again", d.File, s.Name)
		}
		if d.Procedure.Design == "" && !slices.Contains(s.MayLack, on.Condition) {
			t.Errorf("%s: %s does not serve a design without a condition for the charger", d.File, s.Name)
		}
	})
	reworks, glues := 0, 0
	for _, sheet := range embeddedSheets() {
		for _, g := range sheet.Gates {
			for _, w := range g.Reworks {
				if charging.MatchString(w.Do) {
					reworks++
					if first, last := strings.Index(w.Do, "--set charger=on"), strings.Index(w.Do, "--set charger=off"); first < 0 || last < first {
						t.Errorf("%s: the rework of %s charges, and the bench is not told: %q", sheet.Name, g.Name, w.Do)
					}
				}
			}
		}
		for _, a := range sheet.Adhesives {
			if a.Times.Vapour > 0 {
				glues++
				if !slices.Contains(a.Needs, off) {
					t.Errorf("%s: %s has a vapour, and a charger may run beside it", sheet.Name, a.Name)
				}
			}
		}
	}
	if steady < 12 || reworks < 6 || glues < 6 {
		t.Errorf("%d steps and %d reworks charge, %d glues have a vapour: they are not all found", steady, reworks, glues)
	}
}

// Glue that is pressed over from one face has one window on every bench. A thin coat opens 5 to
// 8 min after parting and ends after 15, a full one opens after 10 to 15 and ends after 20
// (common practice, no source).
func TestGlueOnOneFaceHasOneWindow(t *testing.T) {
	found := 0
	for _, sheet := range embeddedSheets() {
		for _, a := range sheet.Adhesives {
			if a.Name != "contact-pressed" && a.Name != "elastic" {
				continue
			}
			found++
			coat, least, most := "thin coat", 8.0, 15.0
			if a.Name == "contact-pressed" { // its joints are long: closing them takes 6 min of the window
				coat, least, most = "full coat", 10, 20
			}
			if from, to := in(a.From, "min"), in(a.To, "min"); from != least || to != most {
				t.Errorf("%s: %s may be joined from %g to %g min, want %g to %g", sheet.Name, a.Name, from, to, least, most)
			}
			if !strings.Contains(a.Source, coat) {
				t.Errorf("%s: %s does not say for which coat: %s", sheet.Name, a.Name, a.Source)
			}
		}
	}
	if found != 3 {
		t.Errorf("%d sheets have such a glue, want 3", found)
	}
}

// A pack that passes at the release passes at the field: full is 4.15 V to 4.20 V a cell. And
// under full throttle a sound one holds more than the 3.5 V a cell at which a flight ends
// (both common practice, no source).
func TestOneFigureForAFullPack(t *testing.T) {
	day, err := Open("").Procedure("day-check")
	if err != nil {
		t.Fatal(err)
	}
	const full, ends = 4.15, 3.5
	asked := false
	for _, s := range day.Procedure.Steps() {
		asked = asked || strings.Contains(strings.Join(s.Confirm, " "), fmt.Sprintf("%.2f V or more", full))
	}
	if !asked {
		t.Errorf("day-check does not ask for %.2f V or more", full)
	}
	gates := 0
	for _, sheet := range embeddedSheets() {
		g, ok := sheet.Gate("battery-voltage")
		if !ok {
			continue
		}
		gates++
		gauge, _ := sheet.Gauge(g.Gauge)
		if least := in(g.Limits.Low, "V") + in(gauge.Uncertainty, "V"); math.Abs(least-full) > 0.001 {
			t.Errorf("%s: a cell passes from %.2f V, want %.2f V", sheet.Name, least, full)
		}
		loaded, _ := sheet.Gate(sheet.Power.Loaded)
		if least := in(loaded.Limits.Low, "V") / float64(sheet.Power.Cells); least < ends {
			t.Errorf("%s: at full throttle %.2f V a cell pass, and a flight ends at %.2f V", sheet.Name, least, ends)
		}
	}
	if gates != 3 {
		t.Errorf("%d sheets have a battery, want 3", gates)
	}
}
