package procedures

import (
	"slices"
	"strings"
	"testing"
)

func TestNotes(t *testing.T) {
	const repair = "x.yaml:1:1: the repair disturbs zones and does not measure again what that makes stale"
	for _, c := range []struct {
		name, of string
		edit     []string
		want     []string
	}{
		{"in order", sheetText, nil, nil},
		{"a repair that leaves it stale", repairText, []string{"[wing, tail]", "[wing, tail, radio]", "[stale]", "[slot]"}, []string{repair}},
		{"a repair that disturbs nothing", repairText, []string{"[wing, tail]", "[wing, tail, radio]", "[stale]", "[slot]", "        disturbs: [here]\n", ""}, nil},
		{"a zone that no design has", repairText, []string{"[wing, tail]", "[wing, tail, radio]", "        disturbs: [here]\n", "        disturbs: [here]\n        there: [radoi, tail]\n"}, []string{"x.yaml:13:16: no design has the zone radoi, so the step is never left out for it; did you mean \"radio\"?"}},
		{"a tool in use", buildText, []string{"tools: [knife]", "tools: [iron]"}, []string{
			"other.yaml:66:3: the tool iron is used once sole has passed, and no step measures that: write measure: sole in a step before it is used",
			"other.yaml:66:3: the tool iron needs fan: on, which no step sets: write sets: {fan: on} in a step before it is used"}},
		{"a tool got ready", buildText, []string{"tools: [knife]", "tools: [iron]", "sets: {propeller: off}", "sets: {propeller: off, fan: on}", "measure: [square]", "measure: [square, sole]"}, nil},
		{"a wait that ends before it is dry in the cold", buildText, []string{"      - step: join\n", "      - step: tack\n        wait: {for: 10 min, by: 15 min, late: coat}\n      - step: join\n"}, []string{
			"x.yaml:21:9: at 10 °C, where contact still works, it is dry 17 min after coat, and the step join must be done within 15 min"}},
		{"a wait that ends after it", buildText, []string{"      - step: join\n", "      - step: tack\n        wait: {for: 10 min, by: 20 min, late: coat}\n      - step: join\n"}, nil},
		{"glue that grips", buildText, []string{"      - step: rest\n", "      - step: spar\n        hands: 21 min\n        glue: {joint: spar, with: epoxy}\n        disturbs: [wing]\n      - step: rest\n"},
			[]string{"x.yaml:25:16: epoxy grips within 20 min of the last bead, and the step takes 21 min"}},
		{"a seat that nothing parts", makesText, []string{"radio: [wing, tail]", "radio: [tail]", "makes: [wing]", "makes: {wing: [tail]}", "      - step: square-up\n", "      - step: dab\n        coat: {joint: seat, with: epoxy}\n      - step: seat\n        join: seat\n        disturbs: [tail, wing]\n      - step: square-up\n"},
			[]string{"x.yaml:36:9: it joins tail and wing, and does not say how they are parted again"}},
	} {
		whole := c.of
		if whole == makesText {
			whole = buildText // it is a build of that design too
		}
		report := check(t, whole, faulty{edit: c.edit}.text(t, c.of))
		var notes []string
		for _, n := range report.Notes {
			if !strings.Contains(n.Text, "after a crash") {
				notes = append(notes, n.Error())
			}
		}
		if len(report.Faults) > 0 || !slices.EqualFunc(notes, c.want, strings.HasPrefix) {
			t.Errorf("%s: %v\n%v", c.name, strings.Join(notes, "\n"), report.Faults)
		}
	}
}

// A design with a build has reworks of what its procedures join alone.
func TestReworkOfWhatNothingJoins(t *testing.T) {
	text, at := marked(faulty{edit: []string{"disturbs: [tail]", "disturbs: [tail], glue: {joint: §rots, with: epoxy}"}}.text(t, gatesText), "")
	expect(t, check(t, sheetText, text).Faults, "x.yaml:"+at, `the rework of fall glues the joint rots, which no procedure of the design joins; did you mean "roots"?`, 1)
}
