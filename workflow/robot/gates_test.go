package robot_test

import (
	"testing"

	"fettle/procedures"
	"fettle/steps"
	"fettle/store"
	"fettle/workflow"
)

// A design whose gates judge every function of points, need conditions that
// contradict each other, and are of the work.
const wren = `design: wren
title: Wren
revision: 1
zones: [wing, tail]
conditions:
  propeller: {title: The propeller, states: [off, on]}
gauges:
  rule: {title: Steel rule, resolution: 0.5 mm, uncertainty: 0.5 mm, repeatability: 0.3 mm}
  probe: {title: Probe, resolution: 1 °C, uncertainty: 3 °C}
gates:
  heat:
    title: Heat of the iron
    points: [tip, heel]
    between: 107 °C +8 -7 °C
    gauge: probe
    of: work
    critical: yes
  step:
    title: Step
    points: [upper, lower]
    result: {difference: [upper, lower]}
    between: 5 mm ± 2 mm
    gauge: rule
    of: [wing]
    needs: {propeller: off}
    critical: yes
  middle:
    title: Middle
    points: [left, middle, right]
    readings: 2
    result: {mean: [left, middle, right]}
    between: 1/2 in ± 1/16 in
    gauge: rule
    of: [wing]
  taper:
    title: Taper
    points: [root, tip]
    result: {ratio: [tip, root]}
    between: 60 % ± 5 %
    gauge: rule
    of: [wing]
  fall:
    title: Fall
    points: [front, rear]
    result: {angle: {rise: [front, rear], run: 500 mm}}
    between: -1.5° ± 0.4°
    gauge: rule
    of: [tail]
  tilt:
    title: Tilt
    points: [edge]
    result: {angle: {rise: edge, run: 4 in}}
    at_most: 1/8 turn
    gauge: rule
    of: [tail]
    needs: {propeller: on}
`

const wrenBuild = `procedure: wren-build
kind: build
design: wren
title: Build a Wren
revision: 1
stages:
  - stage: all
    steps:
      - {step: cut, do: Cut it., disturbs: [wing, tail]}
      - {step: measure-heat, measure: [heat]}
      - {step: film, do: Iron it on., disturbs: [wing, tail]}
      - {step: measure-all, measure: [step, middle, taper, fall, tilt]}
      - {step: bend, do: Bend it., disturbs: [wing]}
      - {step: measure-heat-again, measure: [heat]}
      - {step: measure-wing, measure: [step, middle, taper]}
      - {step: release, release: yes}
`

func TestEveryFunctionCanBeMet(t *testing.T) {
	t.Parallel()
	sheet, err := procedures.Parse("wren.yaml", []byte(wren))
	if err != nil {
		t.Fatal(err)
	}
	build, err := procedures.Parse("wren-build.yaml", []byte(wrenBuild))
	if err != nil {
		t.Fatal(err)
	}
	if faults := build.Against(sheet.Sheet); len(faults) > 0 {
		t.Fatal(faults)
	}
	w := worker(t)
	w.Documents.Sheets[store.Digest(sheet.Bytes)], w.Documents.Procedures[store.Digest(build.Bytes)] = sheet.Sheet, build.Procedure
	act(t, w, workflow.Register{Mark: "WR-01", Sheet: sheet.Sheet, Digest: store.Digest(sheet.Bytes)})
	start(t, w, build, "")
	if err := w.Carry(100); err != nil {
		t.Fatal(err)
	}
	if !w.State.Airworthiness(w.Now).Released {
		t.Errorf("%+v", w.State.Airworthiness(w.Now).Why)
	}
	for _, g := range w.State.Gates(w.Now) {
		if g.Standing != workflow.Current || g.Finding.Result.Known != !g.Gate.Result.IsZero() {
			t.Errorf("%s is %s: %+v", g.Gate.Name, g.Says().Text, g.Finding)
		}
	}
	heats := 0
	for _, r := range w.State.Jobs[0].Procedure.Steps() {
		if r.Kind == steps.Measure && r.Gates[0] == "heat" {
			heats++
		}
	}
	readings, err := w.State.Audit(workflow.AuditFilter{Gate: "heat"}, w.Now)
	if err != nil || len(readings) != 2*heats {
		t.Errorf("%d readings of the work, %v; want them at each of %d steps", len(readings), err, heats)
	}
}
