package procedures

import (
	"reflect"
	"strings"
	"testing"

	"fettle/steps"
)

const makesText = `procedure: finch-build
kind: build
design: finch
title: Build a Finch
revision: 1
stages:
  - stage: wing
    makes: [wing]
    steps:
      - step: saw
        do: Saw.
        disturbs: [wing]
      - makes: {radio: [wing, tail]}
        steps:
          - step: lay-in
            do: Lay it in.
            disturbs: [radio, wing]
          - with: rudder
            steps:
              - step: hinge
                do: Hinge it.
                makes: [radio]
      - step: sand
        do: Sand.
  - stage: tail
    makes: {tail: []}
    after: [wing]
    steps:
      - step: cut
        do: Cut.
        disturbs: [tail, radio]
      - step: wing-slot
        measure: [slot]
      - step: square-up
        measure: [square]
      - step: release
        release: yes
`

// Of a step, its run and its stage, what stands nearest says what it makes.
func TestMakesOfTheInnermostCounts(t *testing.T) {
	doc, err := Parse("x.yaml", []byte(makesText))
	if err != nil {
		t.Fatal(err)
	}
	want := map[string][]steps.Made{
		"saw":    {{Zone: "wing"}},
		"lay-in": {{Zone: "radio", On: []string{"wing", "tail"}}},
		"hinge":  {{Zone: "radio"}},
		"sand":   {{Zone: "wing"}},
		"cut":    {{Zone: "tail"}},
	}
	for name, makes := range want {
		if s, _, _ := doc.Procedure.Step(name); !reflect.DeepEqual(s.Makes, makes) {
			t.Errorf("%s makes %v, want %v", name, s.Makes, makes)
		}
	}
	made := steps.Making{{Zone: "wing"}, {Zone: "radio", On: []string{"wing", "tail"}}, {Zone: "tail"}}
	if got := doc.Procedure.Made(); !reflect.DeepEqual(got, made) {
		t.Errorf("it makes %v, want %v", got, made)
	}
	data, err := Write(doc.Procedure)
	if err != nil {
		t.Fatal(err)
	}
	again, err := Read("x.yaml", data)
	if err != nil || !reflect.DeepEqual(again.Procedure.Made(), made) {
		t.Errorf("written, it is read otherwise (%v):\n%s", err, data)
	}
}

func TestMakesFaults(t *testing.T) {
	sheet, err := Parse("finch.yaml", []byte(sheetText))
	if err != nil {
		t.Fatal(err)
	}
	tests := []struct {
		name      string
		old, new  string
		want      string
		elsewhere bool // other faults follow from the edit
	}{
		{name: "in order"},
		{name: "a zone left out", old: "    makes: {tail: []}\n", want: "1:1: no step makes tail: say of each zone of the design what makes it, or of none", elsewhere: true},
		{name: "no zone made", old: "makes", new: "was"},
		{name: "a ring", old: "makes: {tail: []}", new: "makes: {tail: [wing], wing: [radio]}",
			want: "a ring of zones that rest on each other: radio on wing on radio", elsewhere: true},
		{name: "on itself", old: "makes: [wing]", new: "makes: {wing: [wing]}", want: "10:9: a ring of zones that rest on each other: wing on wing"},
		{name: "worked on before it is made", old: "disturbs: [radio, wing]", new: "disturbs: [radio, tail]",
			want: "17:23: it works on tail, which only later steps make, cut the first: move it behind that, or write makes: [tail] at what makes the zone before it"},
		{name: "no seat", old: "disturbs: [tail, radio]", new: "disturbs: [tail]",
			want: "16:17: radio rests on tail and is made beside it, and no step puts them together: write disturbs: [tail, radio] at what does, a join, bolts or bands"},
		{name: "unknown zone", old: "makes: [wing]", new: "makes: [wign]", want: `8:13: unknown zone "wign"; did you mean "wing"? (in the design finch)`},
		{name: "on an unknown zone", old: "radio: [wing, tail]", new: "radio: [wing, tial]", want: `13:31: unknown zone "tial"; did you mean "tail"? (in the design finch)`},
		{name: "an unknown text", old: "makes: [wing]", new: "makes: wign", want: `8:12: unknown zone "wign"; did you mean "wing"? (in the design finch)`},
		{name: "resting on an unknown text", old: "{tail: []}", new: "{tail: wign}", want: `26:19: unknown zone "wign"; did you mean "wing"? (in the design finch)`},
		{name: "misspelled", old: "    makes: [wing]", new: "    make: [wing]", want: `8:5: unknown key "make" in a stage; did you mean "makes"?`},
		{name: "not of a repair", old: "kind: build\ndesign: finch", new: "kind: repair", want: "7:12: a repair cannot make a zone: makes belongs in a build", elsewhere: true},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			text := makesText
			if test.name == "no zone made" {
				text = noMakes()
			} else {
				text = strings.Replace(text, test.old, test.new, 1)
			}
			doc, faults := parse("x.yaml", []byte(text), (&shelf{}).find)
			if len(faults) == 0 || doc.hasUnknown(zone, sheet.Sheet.Zones) {
				faults = append(faults, doc.Against(sheet.Sheet)...)
			}
			var says []string
			found := test.want == ""
			for _, f := range faults {
				says = append(says, f.Error())
				found = found || strings.HasSuffix(f.Error(), test.want)
			}
			if !found || !test.elsewhere && len(faults) > 1 || test.want == "" && len(faults) > 0 {
				t.Errorf("got %s\nwant %s", strings.Join(says, "\n    "), test.want)
			}
		})
	}
}

// noMakes is the text without the lines that name zones made.
func noMakes() string {
	text := strings.Replace(makesText, "      - makes: {radio: [wing, tail]}\n        steps:", "      - with: rudder\n        steps:", 1)
	var lines []string
	for line := range strings.Lines(text) {
		if !strings.Contains(line, "makes:") {
			lines = append(lines, line)
		}
	}
	return strings.Join(lines, "")
}

// What a used stage makes comes with it into a build, and stays behind in a repair.
func TestMakesComesWithAUse(t *testing.T) {
	const shared = `procedure: parts
kind: steps
title: Parts
revision: 1
stages:
  - stage: wing
    makes: {wing: [tail]}
    steps:
      - step: saw
        do: Saw.
`
	from := func(name string) (*source, []string) {
		return sourceOf("parts.yaml", []byte(shared)), []string{"parts"}
	}
	for kind, want := range map[string]steps.Making{"build\ndesign: finch": {{Zone: "wing", On: []string{"tail"}}}, "repair": nil} {
		text := "procedure: p\nkind: " + kind + "\ntitle: T\nrevision: 1\nstages:\n  - {stage: a, use: parts/wing}\n"
		doc, faults := read("x.yaml", []byte(text), from, false)
		if len(faults) > 0 {
			t.Fatal(faults)
		}
		if got := doc.Procedure.Made(); !reflect.DeepEqual(got, want) {
			t.Errorf("a %s makes %v, want %v", kind, got, want)
		}
	}
}
