package procedures

import (
	"strings"
	"testing"
)

// gatesText is sheetText with gates that say more: a result, one of the work,
// what one needs and what its rework disturbs.
var gatesText = strings.NewReplacer(
	"  rule: {", "  scale: {title: Scale, resolution: 1 g, uncertainty: 3 g}\n  probe: {title: Probe, resolution: 1 °C, uncertainty: 3 °C, repeatability: 2 °C}\n  rule: {",
	"equipment:\n", `  poise:
    title: Balance point on two scales
    points: [front, rear]
    result: {balance: {front: -20 mm, rear: {at: 250 mm, tare: 12 g, within: 0.5 mm}}}
    between: [54 mm, 60 mm]
    gauge: scale
    of: [wing, tail]
    mass: yes
  fall:
    title: Fall of the tail
    points: [front, rear]
    result: {difference: [front, rear]}
    between: 5 mm ± 2 mm
    gauge: rule
    of: [tail]
    needs: {propeller: off}
    rework: {do: Pack the low side., disturbs: [tail]}
  twist:
    title: Twist of the wing
    points: [nose, edge]
    result: {angle: {rise: [nose, edge], run: 200 mm}}
    between: 1.5° +1 -0.5°
    gauge: rule
    of: [wing]
  heat:
    title: Heat of the iron
    points: [tip, heel]
    between: 107 °C +8 -7 °C
    gauge: probe
    of: work
    critical: yes
equipment:
`).Replace(sheetText)

func TestGateFaults(t *testing.T) {
	t.Parallel()
	run(t, gatesText, []faulty{
		{name: "tolerance without a unit", edit: []string{"5 mm ± 2 mm", "§5 ± 2"}, want: `between: "5 ± 2" has no unit; write 5 ± 2 mm`},
		{name: "tolerance with commas", edit: []string{"5 mm ± 2 mm", "§5 mm ± 2,5 mm"}, want: `between: a decimal number has a point, not a comma; write: 5 mm ± 2.5 mm`},
		{name: "tolerance of another dimension", edit: []string{"5 mm ± 2 mm", "§5 mm ± 2 g"}, want: `between: "5 mm ± 2 g" is a mass, not a length`},
		{name: "tolerance nought", edit: []string{"5 mm ± 2 mm", "§5 mm ± 0 mm"}, want: `between: "5 mm ± 0 mm" leaves no room`},
		{name: "tolerance the wrong way round", edit: []string{"1.5° +1 -0.5°", "§1.5° -0.5 +1°"}, want: `is not a size with its tolerance; write it like 56 mm ± 4 mm, or 56 mm +4 -2 mm`},
		{name: "tolerance for one limit", edit: []string{"at_least: 10 mm", "at_least: §10 mm ± 1 mm"}, want: `at_least: "10 mm ± 1 mm" is a size with a tolerance; one value is wanted`},
		{name: "range of no width", edit: []string{"[3.5 mm, 4.5 mm]", "§4-4 mm"}, want: "between: the limits leave no room, 4 mm is not less than 4 mm", of: 1},
		{name: "works of no width", edit: []string{"[15 °C, 30 °C]", "§20-20 °C"}, want: "between: the limits leave no room, 20 °C is not less than 20 °C"},
		{name: "one limit", edit: []string{"[3.5 mm, 4.5 mm]", "§[3.5 mm]"}, want: "between must be two limits, the lower and the upper: [3.5 mm, 4.5 mm], or a size with its tolerance: 4 mm ± 0.5 mm"},

		{name: "repeatability more than the uncertainty", edit: []string{"repeatability: 2 °C", "repeatability: §4 °C"}, want: "repeatability is a part of the uncertainty, and 4 °C is more than 3 °C"},
		{name: "repeatability in another scale", edit: []string{"repeatability: 2 °C", "repeatability: §6 °F"}, want: "6 °F is more than 3 °C"},
		{name: "repeatability less than half a step", edit: []string{"repeatability: 2 °C", "repeatability: §0.4 °C"}, want: "the gauge probe shows steps of 1 °C, and repeats no better than half a step: 0.4 °C is less"},
		{name: "repeatability without uncertainty", edit: []string{"uncertainty: 3 °C, repeatability: 2 °C", "repeatability: §2 °C"}, want: "repeatability is a part of the uncertainty, which the gauge probe does not say"},
		{name: "repeatability of another dimension", edit: []string{"repeatability: 2 °C", "repeatability: §2 mm"}, want: `repeatability: "2 mm" is a length, not a temperature`},
		{name: "repeatability nought", edit: []string{"repeatability: 2 °C", "repeatability: §0 °C"}, want: "repeatability must be more than 0"},

		{name: "result of an unknown point", edit: []string{"{difference: [front, rear]}", "{difference: [front, §raer]}"}, want: `unknown point "raer"; did you mean "rear"?`},
		{name: "result of an unknown point of a rise", edit: []string{"rise: [nose, edge]", "rise: [nose, §egde]"}, want: `unknown point "egde"; did you mean "edge"?`},
		{name: "point that takes no part", edit: []string{"points: [front, rear]\n    result: {d", "points: [front, rear, §side]\n    result: {d"}, want: "the point side is read and takes no part in the result"},
		{name: "result without points", edit: []string{"    points: [front, rear]\n    result: {d", "    result: {d", "{difference: [front, rear]}", "§{difference: [front, rear]}"}, want: "a result is worked out of points, and the gate fall has none"},
		{name: "one point too few", edit: []string{"points: [front, rear]\n    result: {d", "points: [front]\n    result: {d", "[front, rear]}", "§[front]}"}, want: "difference is of 2 points, and 1 are given"},
		{name: "one point too many", edit: []string{"points: [nose, edge]", "points: [nose, edge, side]", "[nose, edge], run", "§[nose, edge, side], run"}, want: "angle is of 1 or 2 points, and 3 are given"},
		{name: "a point with itself", edit: []string{"{difference: [front, rear]}", "{difference: [front, §front]}"}, want: `"front" is duplicated in difference`},
		{name: "unknown function", edit: []string{"{difference: [front, rear]}", "{§differance: [front, rear]}"}, want: `unknown key "differance" in result; did you mean "difference"?`},
		{name: "no function", edit: []string{"{difference: [front, rear]}", "§{}"}, want: "result needs one of difference, mean, sum, ratio, angle, balance or lateral"},
		{name: "two functions", edit: []string{"{difference: [front, rear]}", "{difference: [front, rear], mean: §[front, rear]}"}, want: "result has difference and mean: keep one of them"},
		{name: "a formula", edit: []string{"{difference: [front, rear]}", "§front - rear"}, want: "result must be a mapping (keys with values), not text"},
		{name: "no run", edit: []string{"{rise: [nose, edge], run: 200 mm}", "§{rise: [nose, edge]}"}, want: "angle has no run"},
		{name: "run nought", edit: []string{"run: 200 mm", "run: §0 mm"}, want: "run must be more than 0"},
		{name: "run of another dimension", edit: []string{"run: 200 mm", "run: §200 g"}, want: `run: "200 g" is a mass, not a length`},
		{name: "limits of another dimension than the result", edit: []string{"1.5° +1 -0.5°", "§1.5 mm ± 1 mm"}, want: "the angle of a length is an angle, and the gate twist limits a length"},
		{name: "limits of another dimension than a difference", edit: []string{"5 mm ± 2 mm", "§5° ± 2°"}, want: "the difference of a length is a length, and the gate fall limits an angle"},
		{name: "one limit of another dimension", edit: []string{"{difference: [front, rear]}", "{ratio: [front, rear]}", "between: 5 mm ± 2 mm", "at_most: §5 mm"}, want: "the ratio of a length is a ratio, and the gate fall limits a length"},
		{name: "ratio of temperatures", edit: []string{"{difference: [front, rear]}", "§{ratio: [front, rear]}", "5 mm ± 2 mm", "100 % ± 5 %", "gauge: rule\n    of: [tail]\n    needs", "gauge: probe\n    of: [tail]\n    needs"}, want: "the ratio of a temperature means nothing"},
		{name: "alike beside a result", edit: []string{"between: 5 mm ± 2 mm", "between: 5 mm ± 2 mm\n    alike: §1 mm"}, want: "alike compares points, and the gate fall judges their result"},
		{name: "gauge too coarse for a difference", edit: []string{"5 mm ± 2 mm", "5 mm ± 0.4 mm", "gauge: rule\n    of: [tail]\n    needs", "gauge: §rule\n    of: [tail]\n    needs"}, want: "the gauge rule is too coarse for the gate fall: no reading could be in tolerance beyond doubt"},
		{name: "gauge too coarse for an angle", edit: []string{"run: 200 mm", "run: 20 mm", "gauge: rule\n    of: [wing]\n  heat", "gauge: §rule\n    of: [wing]\n  heat"}, want: "the gauge rule is too coarse for the gate twist"},

		{name: "scales in the wrong order", edit: []string{"{front: -20 mm, rear: {at: 250 mm", "{rear: {at: 250 mm", "within: 0.5 mm}}}", "within: 0.5 mm}, §front: -20 mm}}"}, want: "the scales are in the wrong order: front stands at -20 mm, and rear before it at 250 mm"},
		{name: "limits ahead of the scales", edit: []string{"result: {balance: {front: -20 mm", "result: §{balance: {front: 58 mm"}, want: "the limit 54 mm of the gate poise lies outside the scales, which stand from 58 mm to 250 mm: there it would tip over; stand them on both sides of the limits"},
		{name: "limits behind them", edit: []string{"result: {balance: {front: -20 mm, rear: {at: 250 mm", "result: §{balance: {front: -20 mm, rear: {at: 25 mm"}, want: "the limit 54 mm of the gate poise lies outside the scales, which stand from -20 mm to 25 mm"},
		{name: "scales at one place", edit: []string{"{front: -20 mm, rear: {at: 250 mm", "§{front: -20 mm, rear: {at: -2 cm"}, want: "the scales all stand at -20 mm"},
		{name: "a scale without a place", edit: []string{"{at: 250 mm, tare", "§{tare"}, want: "the scale rear has no at"},
		{name: "a scale of no point", edit: []string{"{front: -20 mm", "{§frnt: -20 mm"}, want: `unknown point "frnt"; did you mean "front"?`},
		{name: "one scale", edit: []string{"points: [front, rear]\n    result: {balance", "points: [front]\n    result: {balance", "{front: -20 mm, rear: {at: 250 mm, tare: 12 g, within: 0.5 mm}}", "§{front: -20 mm}"}, want: "balance is of 2 or 3 points, and 1 are given"},
		{name: "a station that is a mass", edit: []string{"front: -20 mm", "front: §-20 g"}, want: `is a mass, not a length`},
		{name: "a tare below nought", edit: []string{"tare: 12 g", "tare: §-12 g"}, want: "must not be less than 0"},
		{name: "a balance in grams", edit: []string{"[54 mm, 60 mm]", "§[54 g, 60 g]"}, want: "the balance of a mass is a length, and the gate poise limits a mass"},
		{name: "a balance of lengths", edit: []string{"[54 mm, 60 mm]\n    gauge: scale", "[54 mm, 60 mm]\n    gauge: rule", "result: {balance", "result: §{balance"}, want: "the balance of a length means nothing"},

		{name: "another way without a gauge", edit: []string{"    mass: yes\n  fall", "    mass: yes\n    or: §{points: [under]}\n  fall"}, want: "or has no gauge"},
		{name: "another way at the same points", edit: []string{"    mass: yes\n  fall", "    mass: yes\n    or: §{points: [rear], gauge: rule}\n  fall"}, want: "a reading must tell in which way the gate poise was measured: give this way points of its own"},
		{name: "another way of another kind", edit: []string{"    mass: yes\n  fall", "    mass: yes\n    or: {gauge: §scale}\n  fall"}, want: "the gauge scale reads a mass, and the gate poise limits a length"},
		{name: "another way that is too coarse", edit: []string{"    mass: yes\n  fall", "    mass: yes\n    or: {gauge: §rule}\n  fall", "[54 mm, 60 mm]", "56 mm ± 0.2 mm"}, want: "the gauge rule is too coarse for the gate poise"},
		{name: "another way of several values", edit: []string{"    mass: yes\n  fall", "    mass: yes\n    or: §{points: [left, right], gauge: rule}\n  fall"}, want: "the gate poise may be measured in two ways, and each must come to one value: say what its points come to with result"},
		{name: "another way with a point unknown", edit: []string{"    mass: yes\n  fall", "    mass: yes\n    or: {points: [nose, tail], result: {mean: [nose, §tial]}, gauge: rule}\n  fall"}, want: `unknown point "tial"; did you mean "tail"?`},
		{name: "work in two ways", edit: []string{"of: work\n", "of: work\n    or: §{points: [side], gauge: rule}\n"}, want: "the gate sole is of the work, which is measured in one way: delete or"},

		{name: "work with mass", edit: []string{"of: work\n", "of: work\n    mass: §yes\n"}, want: "the gate sole is of the work, which is over once it is done: delete mass"},
		{name: "work with life", edit: []string{"of: work\n", "of: work\n    life: §{days: 9}\n"}, want: "the gate sole is of the work, which is over once it is done: delete life"},
		{name: "of nearly the word", edit: []string{"of: work\n", "of: §wrok\n"}, want: `unknown zone "wrok"; did you mean "work"?`},
		{name: "needs of an unknown condition", edit: []string{"needs: {propeller: off}", "needs: {§propellor: off}"}, want: `unknown condition "propellor"; did you mean "propeller"?`},
		{name: "needs of an unknown state", edit: []string{"needs: {propeller: off}", "needs: {propeller: §of}"}, want: `unknown state of propeller "of"; did you mean "off"?`},
		{name: "needs of a text", edit: []string{"needs: {propeller: off}", "needs: §propeller"}, want: "needs must be a mapping (keys with values), not text"},
		{name: "rework without do", edit: []string{"{do: Pack the low side., disturbs: [tail]}", "§{disturbs: [tail]}"}, want: "rework has no do"},
		{name: "rework of an unknown zone", edit: []string{"disturbs: [tail]}", "disturbs: [§tial]}"}, want: `unknown zone "tial"; did you mean "tail"?`},
		{name: "rework of nothing", edit: []string{"disturbs: [tail]}", "disturbs: §[]}"}, want: "disturbs is an empty list"},
		{name: "rework with a clue", edit: []string{"disturbs: [tail]}", "disturbs: [tail], §clamp: epoxy}"}, want: `unknown key "clamp" in rework`},
		{name: "rework with a glue alone", edit: []string{"disturbs: [tail]}", "disturbs: [tail], glue: §epoxy}"}, want: "glue must be a mapping (keys with values), not text"},
		{name: "rework that glues nothing", edit: []string{"disturbs: [tail]}", "disturbs: [tail], glue: §{with: epoxy}}"}, want: "glue has no joint"},
		{name: "rework that glues with nothing", edit: []string{"disturbs: [tail]}", "disturbs: [tail], glue: §{joint: roots}}"}, want: "glue has no with"},
		{name: "rework that glues with what is unknown", edit: []string{"disturbs: [tail]}", "disturbs: [tail], glue: {joint: roots, with: [contact, §epoxi]}}"}, want: `unknown adhesive "epoxi"; did you mean "epoxy"?`},
		{name: "no ways of rework", edit: []string{"{do: Pack the low side., disturbs: [tail]}", "§[]"}, want: "rework is an empty list"},
		{name: "a way without do", edit: []string{"{do: Pack the low side., disturbs: [tail]}", "[Pack it., §{disturbs: [tail]}]"}, want: "rework has no do"},
	})
}

// What a gate says of a result, the work, needs and rework is read, and written
// as it was.
func TestGatesAreRead(t *testing.T) {
	doc, err := Parse("x.yaml", []byte(gatesText))
	if err != nil {
		t.Fatal(err)
	}
	for range 2 { // as it is, and as it is written
		fall, _ := doc.Sheet.Gate("fall")
		twist, _ := doc.Sheet.Gate("twist")
		heat, _ := doc.Sheet.Gate("heat")
		probe, _ := doc.Sheet.Gauge("probe")
		for _, c := range []struct{ what, got, want string }{
			{"fall", fall.Limits.Low.String() + " " + fall.Limits.High.String() + " " + fall.Result.String(), "3 mm 7 mm front − rear"},
			{"needs", fall.Needs[0].String() + ", " + fall.Reworks[0].Do + ", " + strings.Join(fall.Reworking(fall.Reworks[0]), " "), "propeller: off, Pack the low side., tail"},
			{"twist", twist.Limits.Low.String() + " " + twist.Limits.High.String() + " " + twist.Result.String() + " in " + twist.Unit(), "1° 2.5° the angle of nose − edge over 200 mm in mm"},
			{"heat", heat.Limits.Low.String() + " " + heat.Limits.High.String() + " " + heat.Unit(), "100 °C 115 °C °C"},
			{"probe", probe.Repeatability.String(), "2 °C"},
		} {
			if c.got != c.want {
				t.Errorf("%s: %q, want %q", c.what, c.got, c.want)
			}
		}
		if !heat.Work || len(heat.Of) > 0 || heat.DependsOn("wing") || fall.Work {
			t.Errorf("heat is of the work: %+v", heat)
		}
		data, err := written(sheetKeys(), doc.Sheet)
		if err != nil {
			t.Fatal(err)
		}
		if doc, err = Parse("again.yaml", data); err != nil {
			t.Fatalf("%v\n%s", err, data)
		}
	}
}

// A document that is kept with a job was accepted before more was asked of it,
// and is still read.
func TestKeptDocumentsAreReadAsTheyWere(t *testing.T) {
	biased := strings.Replace(sheetText, "rule: {title: Steel rule, resolution: 0.5 mm}", "rule: {title: Steel rule, resolution: 0.5 mm, uncertainty: 0.6 mm}", 1)
	for name, text := range map[string]string{
		"a range of no width":         strings.Replace(biased, "[15 °C, 30 °C]", "20-20 °C", 1),
		"likeness to less than known": strings.Replace(biased, "alike: 4 mm", "alike: 0.8 mm", 1),
	} {
		if _, err := Read("x.yaml", []byte(text)); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if _, err := Parse("x.yaml", []byte(text)); err == nil {
			t.Errorf("%s is accepted as a new document", name)
		}
	}
}

// A critical gate of the work is measured where a step needs it, and no build
// has to.
func TestABuildNeedNotMeasureAGateOfTheWork(t *testing.T) {
	sheet, err := Parse("x.yaml", []byte(gatesText))
	if err != nil {
		t.Fatal(err)
	}
	build, err := Parse("y.yaml", []byte(buildText))
	if err != nil {
		t.Fatal(err)
	}
	if faults := build.Against(sheet.Sheet); len(faults) > 0 {
		t.Error(faults)
	}
}
