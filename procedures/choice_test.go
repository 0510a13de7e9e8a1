package procedures

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"fettle/steps"
)

// choiceSheet has a choice of three and an option by itself.
var choiceSheet = strings.Replace(sheetText, "options: {rudder: A moving rudder}\n", `options:
  rudder: {title: A moving rudder, why: For wind across the strip.}
  fins:
    hard-fins: Fins glued hard
    soft-fins: {title: Fins that come off, why: For stones.}
    no-fins: None
`, 1)

// choiceBuild answers it, and has methods of its own.
var choiceBuild = strings.NewReplacer("      - step: count\n", `      - step: which-fins
        choose: fins
      - step: how
        choose: {both: {title: A coat on both faces, why: Stronger.}, one: A coat on one face}
      - step: count
`, "      - step: depth\n", `      - step: glue-fins
        with: [hard-fins, soft-fins]
        do: Glue them.
      - step: press
        with: both
        do: Press.
      - step: depth
`).Replace(buildText)

// choiceFaults are the faults of a sheet and its build, checked together.
func choiceFaults(t *testing.T, sheet, build string) Faults {
	t.Helper()
	c := checker{ctx: t.Context()}
	for file, text := range map[string]string{"sheet.yaml": sheet, "build.yaml": build} {
		doc, wrong := parseOwn(file, []byte(text), (&shelf{}).find)
		if doc == nil {
			t.Fatal(wrong)
		}
		c.add(doc, file, wrong)
	}
	report, err := c.report()
	if err != nil {
		t.Fatal(err)
	}
	return report.Faults
}

func TestChoiceFaults(t *testing.T) {
	if faults := choiceFaults(t, choiceSheet, choiceBuild); len(faults) > 0 {
		t.Fatalf("the valid texts have faults:\n%v", faults)
	}
	const hard = "    hard-fins: Fins glued hard\n"
	const asks = "      - step: which-fins\n        choose: fins\n"
	const glue = "      - step: glue-fins\n        with: [hard-fins, soft-fins]\n"
	for _, c := range []struct {
		name        string
		sheet, edit []string // of the sheet, or of the build
		want        string
	}{
		{"one answer", []string{"    soft-fins: {title: Fins that come off, why: For stones.}\n    no-fins: None\n", "", "  fins:", "  §fins:"}, []string{"        with: [hard-fins, soft-fins]\n", ""}, "the choice fins has one answer; it needs at least two"},
		{"an answer as an option", []string{hard, "    §rudder: Another\n"}, []string{"with: [hard-fins, soft-fins]", "with: soft-fins"}, "the name rudder is given twice"},
		{"an answer as its choice", []string{"    hard-fins:", "    fins:", "  fins:", "  §fins:"}, []string{"with: [hard-fins, soft-fins]", "with: soft-fins"}, "the name fins is given twice"},
		{"an answer called no", []string{"    no-fins:", "    no:", "  fins:", "  §fins:"}, nil, `an answer cannot be called "no"`},
		{"a title among answers", []string{hard, "    title: Fins\n    §hard-fins: H\n", "    soft-fins: {title: Fins that come off, why: For stones.}\n    no-fins: None\n", ""}, []string{"        with: [hard-fins, soft-fins]\n", ""}, `unknown key "hard-fins" in the option fins`},
		{"every answer on a gate", []string{"  throw:", "  §throw:", "    with: rudder", "    with: [hard-fins, no-fins, soft-fins]"}, nil, "with lists every answer of fins: delete the line"},
		{"too many together", []string{"options:\n", "options:\n  §" + many(9, "a") + "  " + many(9, "b") + "  " + many(9, "c")}, nil, "more than 512 combinations: a has 9 answers, b has 9 answers"},

		{"no step asks", nil, []string{asks, ""}, "no step chooses hard-fins, soft-fins or no-fins, of which every airframe has one: add a step with choose: fins"},
		{"one answer alone", nil, []string{asks, "      - step: which-fins\n        choose: §hard-fins\n"}, "a build asks for the whole choice: write choose: fins"},
		{"unknown choice", nil, []string{"choose: fins", "choose: §finns"}, `unknown choice "finns"; did you mean "fins"?`},
		{"asked of some", nil, []string{asks, "      - §step: which-fins\n        choose: fins\n        with: rudder\n"}, "it depends on an option; every airframe needs an answer to fins"},
		{"chosen twice", nil, []string{glue, "      - step: again\n        choose: §fins\n" + glue}, "the step which-fins chooses fins too: a job chooses once"},
		{"governed before", nil, []string{asks, "      - §step: early\n        without: no-fins\n        do: x\n" + asks}, "it depends on no-fins, but may come before the step which-fins, which chooses it"},
		{"governed beside", nil, []string{"stage: wing\n    after: [kit]", "stage: wing", "step: glue-fins", "§step: glue-fins", "        with: both\n", ""}, "it depends on hard-fins, but may come before the step which-fins"},
		{"every answer", nil, []string{"step: glue-fins\n        with: [hard-fins, soft-fins]", "§step: glue-fins\n        with: [hard-fins, no-fins, soft-fins]"}, "with lists every answer of fins: delete the line"},
		{"without every answer", nil, []string{"step: glue-fins\n        with: [hard-fins, soft-fins]", "§step: glue-fins\n        without: [hard-fins, no-fins, soft-fins]"}, "without lists every answer of fins"},

		{"one method", nil, []string{", one: A coat on one face}", "}", "choose: {both", "choose: §{both"}, "the choice how has one answer; it needs at least two"},
		{"a method twice", nil, []string{glue, "      - step: again\n        choose: §{both: B, two: T}\n" + glue}, "the method both is one of the step how too"},
		{"a method as an option", nil, []string{"choose: {both", "choose: §{both", "one: A coat on one face", "rudder: R"}, "the method rudder has the name of an option or a choice of the design (rudder)"},
		{"a method before", nil, []string{"      - step: which-fins", "      - §step: first\n        with: one\n        do: x\n      - step: which-fins"}, "it depends on one, but may come before the step how, which chooses it"},
		{"every method", nil, []string{"step: press\n        with: both", "§step: press\n        with: [both, one]"}, "with lists every answer of how: delete the line"},
		{"an unknown method", nil, []string{"with: both", "with: §booth"}, `unknown option "booth"; did you mean "both"?`},
		{"a fault with one method", nil, []string{"        with: both\n        do: Press.", "        with: both\n        coat: {joint: §fins, with: contact}"}, "the joint fins is coated but never joined (with both)"},
		{"a fault with one answer", nil, []string{"with: [hard-fins, soft-fins]\n        do: Glue them.", "with: [hard-fins, soft-fins]\n        coat: {joint: §fins, with: contact}", "        with: both\n        do: Press.", "        with: soft-fins\n        join: fins\n        disturbs: [wing]"}, "the joint fins is coated but never joined (with hard-fins)"},
	} {
		t.Run(c.name, func(t *testing.T) {
			sheet, build := faulty{edit: c.sheet}.text(t, choiceSheet), faulty{edit: c.edit}.text(t, choiceBuild)
			file, at := "sheet.yaml", ""
			if strings.Contains(sheet, "§") {
				sheet, at = marked(sheet, "")
			} else {
				file = "build.yaml"
				build, at = marked(build, "")
			}
			expect(t, choiceFaults(t, sheet, build), file+":"+at, c.want, 1)
		})
	}
}

// many is a choice of so many answers.
func many(n int, name string) string {
	var b strings.Builder
	b.WriteString(name + ": {")
	for i := range n {
		fmt.Fprintf(&b, "%s%d: A, ", name, i)
	}
	return strings.TrimSuffix(b.String(), ", ") + "}\n"
}

// Answers that exclude each other are never checked together: each coats and joins
// the joint in its own way.
func TestAnswersExcludeEachOther(t *testing.T) {
	build := strings.Replace(choiceBuild, "        do: Glue them.\n", `        do: Glue them.
      - step: join-hard
        with: hard-fins
        glues
      - step: join-soft
        with: soft-fins
        glues
`, 1)
	build = strings.Replace(build, "        glues\n", "        join: fins\n        disturbs: [wing]\n", 2)
	build = strings.Replace(build, "        do: Glue them.\n", "        coat: {joint: fins, with: contact}\n", 1)
	if faults := choiceFaults(t, choiceSheet, build); len(faults) > 0 {
		t.Errorf("%v", faults)
	}
}

// What is written of choices is read back as it was.
func TestChoicesWritten(t *testing.T) {
	sheet, err := Parse("s.yaml", []byte(choiceSheet))
	if err != nil {
		t.Fatal(err)
	}
	want := []steps.Option{
		{Name: "rudder", Title: "A moving rudder", Why: "For wind across the strip."},
		{Name: "hard-fins", Title: "Fins glued hard", Choice: "fins"},
		{Name: "soft-fins", Title: "Fins that come off", Why: "For stones.", Choice: "fins"},
		{Name: "no-fins", Title: "None", Choice: "fins"},
	}
	if !slices.Equal(sheet.Sheet.Options, want) {
		t.Errorf("read %+v", sheet.Sheet.Options)
	}
	data, err := written(sheetKeys(), sheet.Sheet)
	if err != nil {
		t.Fatal(err)
	}
	again, err := Parse("s.yaml", data)
	if err != nil || !slices.Equal(again.Sheet.Options, want) {
		t.Errorf("%v, written\n%s", err, data)
	}
}

// In a plan of two repairs that set the same answer, one answer meets both; an
// author's procedure chooses once.
func TestAPlanMayChooseTwice(t *testing.T) {
	sheet, err := Parse("s.yaml", []byte(choiceSheet))
	if err != nil {
		t.Fatal(err)
	}
	set := func(name string) steps.Stage {
		return steps.Stage{Name: name, Steps: []steps.Step{
			{Name: name + "-set", Kind: steps.Choose, Choose: "soft-fins"},
			{Name: name + "-fit", Kind: steps.Do, Do: "Fit them.", Where: steps.Where{With: [][]string{{"soft-fins"}}}, Disturbs: []string{"tail"}},
		}}
	}
	doc, err := Kept(&steps.Procedure{Name: "plan", Title: "Plan", Kind: steps.Repair, Revision: 1, Stages: []steps.Stage{set("one"), set("two")}})
	if err != nil {
		t.Fatal(err)
	}
	if faults := doc.Against(sheet.Sheet); len(faults) > 0 {
		t.Errorf("%v", faults)
	}
	written, err := Parse("plan.yaml", doc.Bytes)
	if err != nil {
		t.Fatal(err)
	}
	if faults := written.Against(sheet.Sheet); len(faults) != 1 || !strings.Contains(faults[0].Text, "the step one-set chooses fins too") {
		t.Errorf("%v", faults)
	}
}
