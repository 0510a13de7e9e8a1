package procedures

import (
	"fmt"
	"strings"
	"testing"

	"fettle/steps"
)

func TestShapes(t *testing.T) {
	t.Parallel()
	long := strings.Repeat("x", longestText+1)
	run(t, sheetText, []faulty{
		{name: "unknown key", edit: []string{"zones: [wing", "§zone: [wing"}, want: `unknown key "zone" in a design sheet; did you mean "zones"?`},
		{name: "unknown key, none near", edit: []string{"handling: 30", "§grip: 1 min\n    handling: 30"}, want: `unknown key "grip" in the adhesive contact; known: title, window`},
		{name: "merge key", edit: []string{"zones:", "§<<: {about: b}\nzones:"}, want: `unknown key "<<" in a design sheet`},
		{name: "key is a list", edit: []string{"zones:", "? §[a]\n: b\nzones:"}, want: "a key must be a word, not a list"},
		{name: "key twice", edit: []string{"zones:", "§title: b\nzones:"}, want: `"title" is duplicated in a design sheet`},
		{name: "name twice", edit: []string{"  epoxy:", "  §contact:"}, want: `"contact" is duplicated in adhesives`},
		{name: "nothing there", edit: []string{"title: Finch", "title:"}, at: "2:7", want: "title is empty: fill it in or delete the line"},
		{name: "null", edit: []string{"title: Steel rule", "title: §~"}, want: "title is empty"},
		{name: "blank", edit: []string{"title: Finch", `title: §" "`}, want: "title is empty"},
		{name: "missing", edit: []string{"title: Finch\n", ""}, want: "a design sheet has no title"},
		{name: "missing below", edit: []string{"title: Steel rule, ", "", "rule: {", "rule: §{"}, want: "the gauge rule has no title"},
		{name: "list for a text", edit: []string{"title: Finch", "title: §[Finch]"}, want: "title must be text, not a list"},
		{name: "keys for a text", edit: []string{"A moving rudder", "{title: R, §a: b}"}, want: "unknown key \"a\" in the option rudder"},
		{name: "keys for a list", edit: []string{"[wing, tail, radio]", "§{wing: yes}"}, want: "zones must be a list, not a mapping"},
		{name: "list for keys", edit: []string{"{rudder: A moving rudder}", "§[rudder]"}, want: "options must be a mapping (keys with values), not a list"},
		{name: "nothing for keys", edit: []string{"{title: A camera, disturbs: [wing]}", ""}, at: "63:10", want: "the equipment camera is empty: fill it in or delete the line"},
		{name: "empty list", edit: []string{"of: [radio]", "of: §[]"}, want: "of is an empty list"},
		{name: "long text", edit: []string{"title: Finch", "title: §" + long}, want: "title is longer than 10000 bytes"},
		{name: "escaped escape", edit: []string{"title: Finch", `title: §"red \e[31m"`}, want: "title contains a control character"},
		{name: "escaped return", edit: []string{"title: Finch", `title: §"over\rwritten"`}, want: "title contains a control character"},
		{name: "escaped bidi", edit: []string{"title: Finch", `title: §"a\u202Eb"`}, want: "title contains a control character"},
		{name: "escaped in a key", edit: []string{"title: Finch", "title: Finch\n§\"a\\e\": b"}, want: `unknown key "a\x1b"`},
		{name: "no name", edit: []string{"design: finch", "design: §Finch One"}, want: `"Finch One" is not a name for design: a name is lower-case letters, digits and single hyphens`},
		{name: "no name below", edit: []string{"camera:", "§Camera:"}, want: `"Camera" is not a name for equipment`},
		{name: "long name", edit: []string{"design: finch", "design: §" + long[:longestName+1]}, want: "design is longer than 60 characters"},
		{name: "in a list twice", edit: []string{"[wing, tail, radio]", "[wing, tail, radio, §tail]"}, want: `"tail" is duplicated in zones`},
		{name: "no name in a list", edit: []string{"[wing, tail, radio]", "[wing, tail, radio, §-a]"}, want: `"-a" is not a name for an entry of zones`},
		{name: "empty name in a list", edit: []string{"[wing, tail, radio]", "[wing, tail, radio, §'']"}, want: "an entry of zones is empty"},
		{name: "revision zero", edit: []string{"revision: 1", "revision: §0"}, want: "revision must be a whole number from 1 to 1000000"},
		{name: "revision a list", edit: []string{"revision: 1", "revision: §[1]"}, want: "revision must be a whole number"},
		{name: "readings too many", edit: []string{"readings: 3", "readings: §21"}, want: "readings must be a whole number from 1 to 20"},
		{name: "no switch", edit: []string{"critical: yes", "critical: §maybe"}, want: "critical must be yes or no"},
		{name: "list for a switch", edit: []string{"mixed: no", "mixed: §[]"}, want: "mixed must be yes or no"},
		{name: "list for a quantity", edit: []string{"cure: 24 h", "cure: §[24 h]"}, want: "cure must be a number with its unit, not a list"},
		{name: "bare number", edit: []string{"cure: 24 h", "cure: §24"}, want: `cure: "24" has no unit`},
		{name: "wrong dimension", edit: []string{"cure: 24 h", "cure: §24 mm"}, want: `cure: "24 mm" is a length, not a duration`},
		{name: "unknown unit", edit: []string{"cure: 24 h", "cure: §24 hx"}, want: `cure: `},
		{name: "a gate with a name that is none", edit: []string{"  square:\n", "  §Square:\n"}, want: `"Square" is not a name for gates`},
		{name: "below zero", edit: []string{"handling: 30 min", "handling: §-30 min"}, want: "handling must not be less than 0"},
	})
}

func TestSheetFaults(t *testing.T) {
	t.Parallel()
	var options []string
	for i := range mostOptions + 1 {
		options = append(options, fmt.Sprintf("o%d: An option", i))
	}
	run(t, sheetText, []faulty{
		{name: "zone called here", edit: []string{"radio]", "radio, §here]"}, want: `a zone cannot be called "here"`},
		{name: "zone called as mass is", edit: []string{"radio]", "radio, §" + steps.MassZone + "]"}, want: "gates with mass: yes already depend on a zone of that name"},
		{name: "too many options", edit: []string{"{rudder: A moving rudder}", "§{rudder: R, " + strings.Join(options, ", ") + "}"}, want: "8 options; the limit is 6"},
		{name: "one state", edit: []string{"states: [off, on]", "states: §[off]"}, want: "the condition propeller has one state; it needs at least two"},
		{name: "no states", edit: []string{"{title: The propeller, states: [off, on]}", "§{title: The propeller}"}, want: "the condition propeller has no states"},
		{name: "tool without title", edit: []string{"{title: A knife, ", "§{"}, want: "the tool knife has no title"},
		{name: "tool with an unknown key", edit: []string{"hold: The mat", "§holds: The mat"}, want: `unknown key "holds" in the tool knife; did you mean "hold"?`},
		{name: "tool called as an adhesive", edit: []string{"  knife: {", "  epoxy: §{"}, want: "the tool epoxy and an adhesive have one name", more: true},
		{name: "hold of keys", edit: []string{"hold: The mat is clear", "hold: §{confirm: [The mat is clear]}"}, want: "hold must be a list, not a mapping"},
		{name: "hold of an adhesive blank", edit: []string{"    mixed: no\n", "    mixed: no\n    hold: §[]\n"}, want: "hold is an empty list"},
		{name: "tool needs an unknown condition", edit: []string{"needs: {fan: on}", "needs: {§van: on}"}, want: `unknown condition "van"; did you mean "fan"?`},
		{name: "adhesive needs an unknown state", edit: []string{"    mixed: no\n", "    mixed: no\n    needs: {fan: §of}\n"}, want: `unknown state of fan "of"; did you mean "on"?`},
		{name: "tool measures no gate", edit: []string{"measure: [sole]", "measure: [§slole]"}, want: `unknown gate "slole"; did you mean "sole"?`},
		{name: "aboard with two states", edit: []string{"disturbs: [wing]}\n", "disturbs: [wing], aboard: {fan: on, propeller: on}}\n  §blade: {title: A blade, disturbs: [wing], aboard: {fan: on, propeller: off}}\n"},
			want: "no release can ever be given: the blade is aboard with propeller: off, and the camera with another state"},
		{name: "tool measures a gate of zones", edit: []string{"measure: [sole]", "measure: [slot]", "  iron:", "  §iron:"}, want: "the tool iron measures slot, which is not a gate of the work"},
		{name: "count nought", edit: []string{"count: 2", "count: §0"}, want: "count must be a whole number from 1 to 20"},
		{name: "lasts", edit: []string{"lasts: sitting", "lasts: §ever"}, want: `lasts must be "sitting"; otherwise delete the line`},

		{name: "window wrong way round", edit: []string{"{from: 10 min, to: 40 min", "§{from: 50 min, to: 40 min"}, want: "the window is the wrong way round: it opens after 50 min and closes after 40 min"},
		{name: "window without to", edit: []string{"{from: 10 min, to: 40 min", "§{from: 10 min"}, want: "window has no to"},
		{name: "window without at", edit: []string{"{from: 10 min, to: 40 min, at: 20 °C}", "§{from: 10 min, to: 40 min}"}, want: "window has no at"},
		{name: "window of a text", edit: []string{"{from: 10 min, to: 40 min, at: 20 °C}", "§10-40 min"}, want: "window must be a mapping (keys with values), not text"},
		{name: "no window", edit: []string{"    window: {from: 10 min, to: 40 min, at: 20 °C}\n", "", "title: Contact", "§title: Contact"}, want: "the adhesive contact has no window"},
		{name: "cure before handling", edit: []string{"cure: 24 h", "cure: §20 min"}, want: "the adhesive contact is cured (20 min) before it can be handled (30 min)"},
		{name: "no cure", edit: []string{"    cure: 24 h\n", "", "title: Contact", "§title: Contact"}, want: "the adhesive contact has no cure"},
		{name: "no works", edit: []string{"    works: {between: [15 °C, 30 °C]}\n", "", "title: Epoxy", "§title: Epoxy"}, want: "the adhesive epoxy has no works"},
		{name: "works wrong way round", edit: []string{"[15 °C, 30 °C]", "§[30 °C, 15 °C]"}, want: "between: the limits are the wrong way round, 30 °C is not less than 15 °C"},
		{name: "works of one", edit: []string{"[15 °C, 30 °C]", "§[15 °C]"}, want: "between must be two limits, the lower and the upper"},
		{name: "works between nothing", edit: []string{"{between: [15 °C, 30 °C]}", "§{}"}, want: "works has no between"},
		{name: "works of another dimension", edit: []string{"[15 °C, 30 °C]", "[15 °C, §30 %]"}, want: `between: "30 %" is a`},
		{name: "humidity over 100", edit: []string{"[0 %, 80 %]", "§[0 %, 101 %]"}, want: "relative humidity must be from 0 to 100 %"},
		{name: "humidity below zero", edit: []string{"[0 %, 80 %]", "§[-1 %, 80 %]"}, want: "relative humidity must be from 0 to 100 %"},
		{name: "window at a temperature outside", edit: []string{"at: 20 °C}", "at: 40 °C}", "works: {", "works: §{"}, want: "the window's times are given at 40 °C, where the adhesive contact does not work"},
		{name: "factor below one", edit: []string{"factor: 1.7", "factor: §0.5"}, want: "factor must be a number from 1 to 10"},
		{name: "factor over ten", edit: []string{"factor: 1.7", "factor: §11"}, want: "factor must be a number from 1 to 10"},
		{name: "factor with a unit", edit: []string{"factor: 1.7", "factor: §1.7 K"}, want: "factor must be a number from 1 to 10"},
		{name: "factor a list", edit: []string{"factor: 1.7", "factor: §[1.7]"}, want: "factor must be a number from 1 to 10"},

		{name: "resolution zero", edit: []string{"resolution: 0.5 mm", "resolution: §0 mm"}, want: "resolution must be more than 0"},
		{name: "no resolution", edit: []string{"{title: Steel rule, resolution: 0.5 mm}", "§{title: Steel rule}"}, want: "the gauge rule has no resolution"},
		{name: "uncertainty of another dimension", edit: []string{"uncertainty: 0.3 mm", "uncertainty: §0.3 g"}, want: `uncertainty: "0.3 g" is a mass, not a length`},

		{name: "gate called stale", more: true, edit: []string{"  throw:\n    title", "  stale:\n    §title"}, want: `a gate cannot be called "stale"`},
		{name: "gate without gauge", edit: []string{"    gauge: caliper\n", "", "title: Depth", "§title: Depth"}, want: "the gate slot has no gauge"},
		{name: "gate of nothing", edit: []string{"    of: [radio]\n", "", "title: Throw", "§title: Throw"}, want: "the gate throw has no of"},
		{name: "no limit", edit: []string{"    at_least: 10 mm\n", "", "title: Throw", "§title: Throw"}, want: "the gate throw has no limit: write between, at_least, at_most or alike"},
		{name: "between and at least", edit: []string{"between: [3.5", "at_least: 3 mm\n    between: §[3.5"}, want: "the gate slot has both between and at_least or at_most"},
		{name: "limits wrong way round", edit: []string{"[3.5 mm, 4.5 mm]", "§[4.5 mm, 3.5 mm]"}, want: "between: the limits are the wrong way round, 4.5 mm is not less than 3.5 mm"},
		{name: "limits alike", edit: []string{"[3.5 mm, 4.5 mm]", "§[3.5 mm, 0.35 cm]"}, want: "the limits are the wrong way round"},
		{name: "range wrong way round", edit: []string{"[3.5 mm, 4.5 mm]", "§4.5-3.5 mm"}, want: "between: "},
		{name: "limits of two dimensions", edit: []string{"[3.5 mm, 4.5 mm]", "[3.5 mm, §4.5 g]"}, want: `"4.5 g" is a mass, not a length`},
		{name: "bare limits", edit: []string{"[3.5 mm, 4.5 mm]", "[§3.5, 4.5 mm]"}, want: `"3.5" has no unit`},
		{name: "at least more than at most", edit: []string{"at_most: 50 mm", "at_most: §4 cm"}, want: "the limits are the wrong way round: at least 40 mm and at most 4 cm"},
		{name: "at most of another dimension", edit: []string{"at_most: 50 mm", "at_most: §50 g"}, want: `at_most: "50 g" is a mass, not a length`},
		{name: "alike of another dimension", edit: []string{"at_least: 10 mm", "points: [a, b]\n    alike: §1 g\n    at_least: 10 mm"}, want: `alike: "1 g" is a mass, not a length`},
		{name: "alike below zero", edit: []string{"alike: 4 mm", "alike: §-4 mm"}, want: "alike must not be less than 0"},
		{name: "alike with one point", edit: []string{"[left, right]\n", "[left]\n", "alike: 4", "alike: §4", "    pairs: [[left, right]]\n", ""}, want: "alike compares points, but the gate square has fewer than two"},
		{name: "pairs without alike", edit: []string{"at_least: 10 mm", "points: [a, b]\n    pairs: §[[a, b]]\n    at_least: 10 mm"}, want: "pairs need alike, which is missing"},
		{name: "pair of one", edit: []string{"[[left, right]]", "[§[left]]"}, want: "a pair must be two points: [left, right]"},
		{name: "pair of a text", edit: []string{"[[left, right]]", "[§left]"}, want: "a pair must be two points"},
		{name: "unknown point", edit: []string{"[[left, right]]", "[[left, §rihgt]]"}, want: `unknown point "rihgt"; did you mean "right"?`},
		{name: "point with itself", edit: []string{"[[left, right]]", "[§[left, left]]"}, want: "a point is compared with itself"},
		{name: "pairs empty", edit: []string{"[[left, right]]", "§[]"}, want: "pairs is an empty list"},
		{name: "gauge of another dimension", edit: []string{"rule: {title: Steel rule, resolution: 0.5 mm}", "rule: {title: Steel rule, resolution: 0.5 mm}\n  scale: {title: Scale, resolution: 1 g}", "gauge: caliper", "gauge: §scale"}, want: "the gauge scale reads a mass, and the gate slot limits a length"},
		{name: "gauge too coarse", edit: []string{"uncertainty: 0.3 mm", "uncertainty: 0.5 mm", "gauge: caliper", "gauge: §caliper"}, want: "the gauge caliper is too coarse for the gate slot: no reading could be in tolerance beyond doubt"},
		{name: "resolution too coarse", edit: []string{"resolution: 0.5 mm", "resolution: 10 mm", "at_most: 50 mm\n    gauge: rule", "at_most: 50 mm\n    gauge: §rule"}, want: "too coarse for the gate balance", of: 2},
		{name: "gauge too coarse for alike", edit: []string{"alike: 4 mm", "alike: 0.4 mm", "gauge: rule", "gauge: §rule"}, want: "the gauge rule is too coarse for the gate square: no two readings could be alike beyond doubt"},
		{name: "unknown gauge", edit: []string{"gauge: caliper", "gauge: §calliper"}, want: `unknown gauge "calliper"; did you mean "caliper"?`},
		{name: "unknown zone of a gate", edit: []string{"of: [radio]", "of: [§rado]"}, want: `unknown zone "rado"; did you mean "radio"?`},
		{name: "unknown zone, none near", edit: []string{"of: [radio]", "of: [§propeller]"}, want: `unknown zone "propeller"; known: wing, tail, radio`},
		{name: "unknown zone of equipment", edit: []string{"disturbs: [wing]", "disturbs: [§wign]"}, want: `unknown zone "wign"; did you mean "wing"?`},
		{name: "unknown option", edit: []string{"with: rudder", "with: §ruder"}, want: `unknown option "ruder"; did you mean "rudder"?`},
		{name: "with and without", edit: []string{"with: rudder", "with: rudder\n    without: §rudder"}, want: "this can never apply: it needs the option rudder and its absence"},
		{name: "life of nothing", edit: []string{"{flights: 20, days: 90}", "§{}"}, want: "life must be a number of flights, or of days, or both"},
		{name: "life in years", edit: []string{"{flights: 20, days: 90}", "{flights: 20, §years: 1}"}, want: `unknown key "years" in life; known: flights, days`},
		{name: "life zero", edit: []string{"{flights: 20, days: 90}", "{flights: §0, days: 90}"}, want: "flights must be a whole number from 1 to 10000"},
		{name: "equipment without mass", edit: []string{"    mass: yes\n", "", "  camera:", "  §camera:"}, want: "equipment changes the balance, but no gate has mass: yes"},
	})
}
