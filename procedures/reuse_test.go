package procedures

import (
	"errors"
	"fmt"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fettle/steps"
)

// sharedText holds steps for others to use, with a word to be filled in.
const sharedText = `procedure: bench
kind: steps
title: What we do often
revision: 3
stages:
  - stage: both
    steps:
      - step: wipe
        do: Wipe the faces.
        disturbs: [here]
      - step: sand-<side>
        do: Sand the <side> root. <Side> first.
  - stage: ready
    with: rudder
    steps:
      - step: look
        do: Look at the hinge.
  - stage: tips
    each: {end: [fore, aft]}
    steps:
      - step: tip-<side>-<end>
        do: Round the <end> corner of the <side> tip.
`

const userText = `procedure: user
kind: repair
on: [wing, tail]
title: Uses others
revision: 1
stages:
  - stage: first
    use: bench/ready
  - stage: <side>-half
    each: {side: [left, right]}
    steps:
      - use: bench/tips
      - use: bench/sand-<side>
      - step: glue-<side>
        do: Glue the <side> half.
  - stage: last
    after: [left-half, right-half]
    steps:
      - with: [rudder, flap]
        without: camera
        steps:
          - step: a
            do: a
          - with: rudder
            steps:
              - {step: b, with: flap, do: b}
      - each: {part: [fin, tail fin], n: [one, two]}
        steps:
          - step: part-<n>
            do: <Part> it is
`

// user is the procedure with the shared steps in a library of their own.
func user(t *testing.T, text string, more map[string]string) (*Document, error) {
	t.Helper()
	all := map[string]string{"bench.yaml": sharedText, "user.yaml": text}
	for name, text := range more {
		all[name] = text
	}
	return Open(files(t, all)).Find("user")
}

func TestRunsAreWrittenOut(t *testing.T) {
	doc, err := user(t, userText, nil)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, stage := range doc.Procedure.Stages {
		for _, s := range stage.Steps {
			got = append(got, fmt.Sprintf("%s/%s %v %v: %s", stage.Name, s.Name, s.With, s.Without, s.Do))
		}
	}
	want := []string{
		"first/look [[rudder]] []: Look at the hinge.",
		"left-half/tip-left-fore [] []: Round the fore corner of the left tip.",
		"left-half/tip-left-aft [] []: Round the aft corner of the left tip.",
		"left-half/sand-left [] []: Sand the left root. Left first.",
		"left-half/glue-left [] []: Glue the left half.",
		"right-half/tip-right-fore [] []: Round the fore corner of the right tip.",
		"right-half/tip-right-aft [] []: Round the aft corner of the right tip.",
		"right-half/sand-right [] []: Sand the right root. Right first.",
		"right-half/glue-right [] []: Glue the right half.",
		"last/a [[rudder flap]] [camera]: a",
		"last/b [[rudder flap] [rudder] [flap]] [camera]: b",
		"last/part-one [] []: Fin it is",
		"last/part-two [] []: Tail fin it is",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	tip, _, _ := doc.Procedure.Step("tip-right-aft")
	if want := (steps.Origin{Document: digest([]byte(sharedText)), Step: "tip-<side>-<end>", Words: []steps.Word{{Name: "side", Is: "right"}, {Name: "end", Is: "aft"}}}); !reflect.DeepEqual(tip.Origin, want) {
		t.Errorf("its origin is %+v", tip.Origin)
	}
	glue, _, _ := doc.Procedure.Step("glue-left")
	if glue.Origin.Document != digest(doc.Source) || glue.Origin.Step != "glue-<side>" {
		t.Errorf("the origin of its own is %+v", glue.Origin)
	}
	alone(t, doc)
}

// alone holds that the bytes of a document need no other one.
func alone(t interface {
	Helper()
	Fatalf(string, ...any)
}, doc *Document) {
	t.Helper()
	again, err := Read(doc.File, doc.Bytes)
	if err != nil {
		t.Fatalf("what is kept can't be read: %v\n%s", err, doc.Bytes)
	}
	if !reflect.DeepEqual(again.Procedure, doc.Procedure) {
		for i, s := range again.Procedure.Steps() {
			if was := doc.Procedure.Steps()[i]; !reflect.DeepEqual(s, was) {
				t.Fatalf("what is kept says otherwise:\n%+v\n%+v\n%s", was, s, doc.Bytes)
			}
		}
		t.Fatalf("what is kept says otherwise:\n%s", doc.Bytes)
	}
}

// A with that is a list asks for any, a run inside a run for both.
func TestWhere(t *testing.T) {
	doc, err := user(t, `procedure: user
kind: check
title: T
revision: 1
stages:
  - stage: a
    with: [o, p]
    steps:
      - {step: a, do: a}
      - {step: b, do: b, without: [q, r]}
      - with: q
        steps: [{step: c, do: c, with: [r, s]}]
`, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		options string
		want    string
	}{{"", ""}, {"o", "a b"}, {"p", "a b"}, {"o q", "a"}, {"p r", "a"}, {"q r", ""}, {"o q r", "a c"}, {"o q s", "a c"}, {"o s", "a b"}} {
		var got []string
		for _, s := range doc.Procedure.For(steps.Selection{Has: strings.Fields(c.options)}, "").Steps() {
			got = append(got, s.Name)
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("with %q there are %v, want %s", c.options, got, c.want)
		}
	}
}

func TestReuseFaults(t *testing.T) {
	t.Parallel()
	const (
		fit  = "      - step: fit\n        do: Lay it in.\n        disturbs: [radio]\n"
		mark = "      - step: care\n"
	)
	entry := func(lines ...string) []string {
		return []string{fit, fit + "      " + strings.Join(lines, "\n      ") + "\n"}
	}
	many := strings.TrimSuffix(strings.Repeat("a, ", 13), ", ")
	run(t, buildText, []faulty{
		{name: "unknown document", edit: entry("- use: §saef/first"), want: `unknown procedure "saef"; did you mean "safe"?`},
		{name: "unknown stage", edit: entry("- use: §safe/frist"), want: `safe has no stage and no step "frist"; did you mean "first"?`},
		{name: "use without a stage", edit: entry("- use: §safe"), want: "use names a procedure and a stage or a step of it, like safe/make-safe, not \"safe\""},
		{name: "use in a list", more: true, edit: entry("- use: [causeway-build/kit, §Safe/x]"), want: "an entry of use names a procedure"},
		{name: "use keys", edit: entry("- use: §{a: b}"), want: "use must be a list, not a mapping"},
		{name: "use a design", edit: entry("- use: §causeway/first"), want: "causeway has a fault: causeway.yaml:"},
		{name: "a release is used", edit: entry("- use: §causeway-build/release"), want: "causeway-build has a stage and a step called release: rename one of them"},
		{name: "steps and use", edit: entry("- steps: [{step: x, do: x}]", "  use: §safe/first"), want: "a run has steps and use: keep one of them"},
		{name: "a stage of both", edit: []string{"    after: [kit]\n    steps:\n      - step: fit", "    after: [kit]\n    use: §safe/first\n    steps:\n      - step: fit"}, want: "a stage has steps and use: keep one of them", of: 1},
		{name: "each alone", edit: entry("- §each: {side: [left, right]}"), want: "a run needs one of steps or use", of: 2},
		{name: "unknown key of a run", edit: entry("- steps: [{step: x, do: x}]", "  §do: y"), want: `unknown key "do" in a run`},
		{name: "unequal", edit: entry("- each: {side: [left, right], end: §[fore]}", "  steps: [{step: <side>-<end>, do: x}]"), want: "end has 1 words and side has 2"},
		{name: "never filled in", edit: entry("- each: §{side: [left, right], end: [fore, aft]}", "  steps: [{step: at-<side>, do: x}]"), want: "end is never filled in: write <end> in a name or a text below, or delete it"},
		{name: "a word twice", edit: entry("- each: {side: [left, §left]}", "  steps: [{step: at-<side>, glue: {joint: <side>, with: contact}, disturbs: [wing]}]"), want: "left stands twice in side: each comes once for each"},
		{name: "two words twice", edit: entry("- each: {side: [left, right, §left], end: [fore, fore, fore]}", "  steps: [{step: at-<side>-<end>, do: x}]"), want: "left and fore stands twice in side and end"},
		{name: "a joint with nothing to fill in", edit: entry("- each: {side: [left, right]}", "  steps:", "    - {step: coat-<side>, coat: {joint: §<sdie>-root, with: contact}}", "    - {step: join-<side>, join: <side>-root, disturbs: [wing]}"), want: `nothing is filled in for <sdie>; did you mean "side"? (with side: left)`},
		{name: "a zone with nothing to fill in", edit: entry("- each: {side: [wing, tail]}", "  steps: [{step: at-<side>, do: x, disturbs: [§<sdie>]}]"), want: `nothing is filled in for <sdie>; did you mean "side"?`},
		{name: "nothing to fill in", edit: entry("- each: {side: [left, right]}", "  steps: [{step: at-<side>, do: §Look at the <sied> root.}]"), want: `nothing is filled in for <sied>; did you mean "side"? (with side: left)`},
		{name: "too many words", edit: entry("- each: {side: §["+many+"]}", "  steps: [{step: at-<side>, do: x}]"), want: "side has 13 words; at most 12"},
		{name: "no words", edit: entry("- each: {side: §[]}", "  steps: [{step: at-<side>, do: x}]"), want: "side is an empty list"},
		{name: "a word for a list", edit: entry("- each: {side: §left}", "  steps: [{step: at-<side>, do: x}]"), want: "side must be a list, not text"},
		{name: "a list for each", edit: entry("- each: §[left, right]", "  steps: [{step: x, do: x}]"), want: "each must be a mapping (keys with values), not a list"},
		{name: "each of nothing", edit: entry("- each: §{}", "  steps: [{step: x, do: x}]"), want: "each names what is filled in"},
		{name: "a word that is a name", edit: entry("- each: {side: [left, §<side>]}", "  steps: [{step: at-<side>, do: x}]"), want: "a word that is filled in has no < and no >"},
		{name: "filled in outside", edit: entry("- each: {side: [left, right]}", "  steps:", "    - each: {§side: [fore, aft]}", "      steps: [{step: at-<side>, do: x}]"), want: "side is filled in outside of this: give it another name"},
		{name: "four deep", edit: entry("- each: {a: [x]}", "  steps:", "    - each: {b: [x]}", "      steps:", "        - each: {c: [x]}", "          steps:", "            - each: §{d: [x]}", "              steps: [{step: at-<a>-<b>-<c>-<d>, do: x}]"), want: "more than 3 each inside each other"},
		{name: "a name too long", edit: entry("- each: {side: [left, "+strings.Repeat("r", 60)+"]}", "  steps: [{step: §at-<side>, do: x}]"), want: "step is longer than 60 characters (with side: rrr"},
		{name: "no name once filled in", edit: entry("- each: {side: [tail fin]}", "  steps: [{step: §at-<side>, do: x}]"), want: `"at-tail fin" is not a name for step`},
		{name: "twice the same", edit: entry("- each: {side: [left, right]}", "  steps: [{step: §x, do: the <side> one}]"), want: "the step x is duplicated (with side: right)"},
		{name: "unknown option of a run", edit: entry("- with: [rudder, §flap]", "  steps: [{step: x, do: x}]"), want: `unknown option "flap"`},
		{name: "reached by nobody", edit: entry("- with: rudder", "  steps: [{step: x, do: x, without: §rudder}]"), want: "this can never apply: it needs the option rudder and its absence"},
		{name: "a list reached by nobody", more: true, edit: []string{"with: rudder\n        measure: [throw]", "with: [rudder]\n        without: §[rudder, flap]\n        measure: [throw]"}, want: "this can never apply: it needs the option rudder and its absence"},
		{name: "too many steps", edit: entry("- each: {a: ["+letters(12)+"]}", "  steps:", "    - each: {b: ["+letters(12)+"]}", "      steps:", "        - §each: {c: ["+letters(12)+"]}", "          steps: [{step: at-<a>-<b>-<c>, do: x}]"), want: "written out, it has more than 1000 steps"},
		{name: "a stage with nothing to fill in", edit: []string{"  - stage: finish\n    after: [wing, radio]", "  - stage: §s-<a>-<b>\n    each: {a: [x]}\n    steps: [{step: t, do: x}]\n  - stage: finish\n    after: [wing, radio, s-x-b]"}, want: `nothing is filled in for <b>; did you mean "a"? (with a: x)`},

		{name: "a step of its own origin", edit: entry("- step: x", "  do: x", "  origin: §{document: a, step: make-safe}"), want: "origin is written by the program alone: delete it"},
		{name: "changes to come", edit: []string{"revision: 1\n", "revision: 1\nchanges: {1: a, §2: b}\n"}, want: "revision 2 is above that of the document, 1"},
		{name: "changes of no revision", edit: []string{"revision: 1\n", "revision: 1\nchanges: {§first: a}\n"}, want: "a revision must be a whole number"},
		{name: "changes without a text", edit: []string{"revision: 1\n", "revision: 1\nchanges: {1: §[a]}\n"}, want: "what revision 1 changed must be text"},
		{name: "was is here", edit: []string{fit, fit + "        was: §count\n"}, want: "was count: a step of that name is here"},
		{name: "was twice", edit: []string{fit, fit + "        was: lay\n      - step: x\n        do: x\n        was: §lay\n"}, want: "was lay, and so was the step fit"},
	})
	run(t, repairText, []faulty{
		{name: "shared in the middle", edit: []string{"      - step: again\n", "      - step: own\n        do: x\n      - step: both\n        do: x\n        shared: §yes\n      - step: again\n"}, want: "the shared step both stands between others of its stage"},
		{name: "shared at a joint", edit: []string{"      - step: again\n", "      - step: coat\n        coat: {joint: j, with: contact}\n        shared: §yes\n      - step: join\n        join: j\n        disturbs: [wing]\n      - step: again\n"}, want: "the shared step coat works on a joint, which each repair has for itself"},
	})
	for _, c := range []struct{ name, text, at, want string }{
		{"sheet", strings.Replace(sheetText, "revision: 1\n", "revision: 1\nchanges: {§2: b}\n", 1), "", "revision 2 is above that of the document, 1"},
		{"triage", strings.Replace(triageText, "revision: 1\n", "revision: 1\nchanges: {§2: b}\n", 1), "", "revision 2 is above that of the document, 1"},
		{"release in shared steps", strings.Replace(sharedText, "- step: look\n        do: Look at the hinge.", "- §step: look\n        release: yes", 1), "", "a document of shared steps cannot release"},
		{"shared steps on a zone", strings.Replace(sharedText, "kind: steps\n", "kind: steps\non: §[wing]\n", 1), "", "shared steps are never started"},
	} {
		t.Run(c.name, func(t *testing.T) {
			text, at := marked(c.text, c.at)
			expect(t, faultsOf(t, text), "x.yaml:"+at, c.want, 1)
		})
	}
}

func letters(n int) string {
	var all []string
	for i := range n {
		all = append(all, string(rune('a'+i)))
	}
	return strings.Join(all, ", ")
}

// A fault in what is used is said where it is written, with who uses it.
func TestFaultsOfWhatIsUsed(t *testing.T) {
	const head = "procedure: user\nkind: build\ndesign: finch\ntitle: T\nrevision: 1\nstages:\n  - stage: a\n    steps:\n"
	chain := func(n int) map[string]string {
		all := map[string]string{}
		for i := range n {
			all[fmt.Sprintf("d%d.yaml", i)] = fmt.Sprintf("procedure: d%d\nkind: steps\ntitle: T\nrevision: 1\nstages:\n  - stage: s\n    use: d%d/s\n", i, i+1)
		}
		all[fmt.Sprintf("d%d.yaml", n)] = fmt.Sprintf("procedure: d%d\nkind: steps\ntitle: T\nrevision: 1\nstages:\n  - {stage: s, steps: [{step: x, do: x}]}\n", n)
		return all
	}
	for _, c := range []struct {
		name, text string
		more       map[string]string
		want       []string
	}{
		{"a word left open", head + "      - use: bench/both\n", nil, []string{
			"bench.yaml:11:15: nothing is filled in for <side>; write each: {side: […]} with the use (used by user.yaml:9:14)",
			"bench.yaml:12:13: nothing is filled in for <side>; write each: {side: […]} with the use (used by user.yaml:9:14)",
			"bench.yaml:12:13: nothing is filled in for <Side>; write each: {side: […]} with the use (used by user.yaml:9:14)",
			"bench.yaml:10:20: here means the zone that a repair was started on, but this procedure has no line on: (used by user.yaml:9:14)"}},
		{"words that make no name", head + "      - each: {side: [Left]}\n        use: bench/sand-<side>\n", nil, []string{`bench.yaml:11:15: "sand-Left" is not a name for step`}},
		{"a step in a stage that is governed", head + "      - use: bench/look\n", nil, []string{"user.yaml:9:14: bench has the step look in a run, which is repeated or governed: use its stage"}},
		{"used twice", head + "      - use: d/s\n      - use: d/x\n", map[string]string{"d.yaml": "procedure: d\nkind: steps\ntitle: T\nrevision: 1\nstages:\n  - {stage: s, steps: [{step: x, do: x}]}\n"},
			[]string{"d.yaml:6:31: the step x is duplicated (used by user.yaml:10:14)"}},
		{"a release", head + "      - use: other/end\n", map[string]string{"other.yaml": "procedure: other\nkind: build\ndesign: finch\ntitle: T\nrevision: 1\nstages:\n  - {stage: end, steps: [{step: over, release: yes}]}\n"},
			[]string{"user.yaml:9:14: other/end holds a release, which only the build itself can give"}},
		{"in a circle", head + "      - use: d0/s\n", map[string]string{
			"d0.yaml": "procedure: d0\nkind: steps\ntitle: T\nrevision: 1\nstages:\n  - stage: s\n    use: d1/s\n",
			"d1.yaml": "procedure: d1\nkind: steps\ntitle: T\nrevision: 1\nstages:\n  - stage: s\n    use: d0/s\n"},
			[]string{"d1.yaml:7:10: a cycle: d0/s uses d1/s uses d0/s (used by d0.yaml:7:10, used by user.yaml:9:14)"}},
		{"too deep", head + "      - use: d0/s\n", chain(4), []string{"d3.yaml:7:10: more than 4 uses inside each other"}},
		{"broken", head + "      - use: safe/first\n", map[string]string{"safe.yaml": "procedure: [\n"}, []string{"user.yaml:9:14: safe has a fault: "}},
		{"an unknown gate", head + "      - use: d/s\n      - step: end\n        release: yes\n", map[string]string{"d.yaml": "procedure: d\nkind: steps\ntitle: T\nrevision: 1\nstages:\n  - {stage: s, steps: [{step: x, measure: [slit]}]}\n"},
			[]string{`d.yaml:6:44: unknown gate "slit"; did you mean "slot"? (in the design finch) (used by user.yaml:9:14)`}},
	} {
		t.Run(c.name, func(t *testing.T) {
			doc, err := user(t, c.text, c.more)
			if err == nil {
				sheet, _ := Parse("sheet.yaml", []byte(sheetText))
				if faults := doc.Against(sheet.Sheet); len(faults) > 0 {
					err = faults
				}
			}
			var faults Faults
			if !errors.As(err, &faults) {
				t.Fatalf("the error is %v", err)
			}
			for _, want := range c.want {
				if !slices.ContainsFunc(faults, func(f Fault) bool {
					f.File = filepath.Base(f.File)
					text := f.Error()
					for _, dir := range strings.Fields(text) { // paths within the text
						if strings.Contains(dir, "/") && strings.Contains(dir, ".yaml") {
							text = strings.Replace(text, dir, filepath.Base(dir), 1)
						}
					}
					return strings.Contains(text, want)
				}) {
					t.Errorf("nothing says\n%s\nbut\n%v", want, faults)
				}
			}
		})
	}
	if _, err := user(t, head+"      - use: d0/s\n      - step: end\n        release: yes\n", chain(3)); err != nil {
		t.Errorf("four deep: %v", err)
	}
}

// One's own document is used in place of an embedded one, and by one's own
// documents alone.
func TestOwnBeforeEmbedded(t *testing.T) {
	const own = "procedure: safe\nkind: steps\ntitle: T\nrevision: 1\nstages:\n  - {stage: first, steps: [{step: make-safe, do: Mine., shared: yes}]}\n"
	text := "procedure: user\nkind: repair\ntitle: T\nrevision: 1\nstages:\n  - {stage: a, use: safe/first}\n"
	l := Open(files(t, map[string]string{"safe.yaml": own, "user.yaml": text}))
	doc, err := l.Procedure("user")
	if err != nil {
		t.Fatal(err)
	}
	if s := doc.Procedure.Steps(); len(s) != 1 || s[0].Do != "Mine." {
		t.Errorf("it has %v", s)
	}
	embedded, err := l.Procedure("foam-cracked")
	if err != nil {
		t.Fatal(err)
	}
	if s, _, _ := embedded.Procedure.Step("make-safe"); s.Do == "Mine." || len(s.Cautions) == 0 {
		t.Errorf("the embedded repair is made safe by %q", s.Do)
	}
	if _, err := l.Procedure("safe"); err == nil || !strings.HasPrefix(err.Error(), "safe holds steps for other procedures to use, and is never started itself") {
		t.Errorf("the shared steps are started: %v", err)
	}
	report, err := l.Check(t.Context(), filepath.Join(l.folder, "safe.yaml"), filepath.Join(l.folder, "user.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	checked, faults := report.Documents, report.Faults
	if len(faults) > 0 || len(checked[0].Serves) > 0 || len(checked[1].Serves) == 0 {
		t.Errorf("%v, %v", checked, faults)
	}
}

// What is wrong with shared steps is said once where they are checked with who
// uses them, and with the user where they are not.
func TestSharedFaultsAreSaidOnce(t *testing.T) {
	t.Chdir(files(t, map[string]string{
		"bench.yaml": strings.Replace(sharedText, "do: Wipe the faces.", "doo: Wipe the faces.", 1),
		"user.yaml":  "procedure: user\nkind: check\ntitle: T\nrevision: 1\nstages:\n  - {stage: a, use: bench/wipe}\n",
		"other.yaml": "procedure: other\nkind: check\ntitle: T\nrevision: 1\nstages:\n  - {stage: a, use: bench/wipe}\n",
	}))
	const unknown = "bench.yaml:9:9: unknown key \"doo\" in a step"
	faultsIn := func(l *Library, files ...string) Faults {
		report, err := l.Check(t.Context(), files...)
		if err != nil {
			t.Fatal(err)
		}
		return report.Faults
	}
	faults := faultsIn(Open(""), "other.yaml", "bench.yaml", "user.yaml")
	if n := strings.Count(faults.Error(), unknown); n != 1 || strings.Contains(faults.Error(), unknown+" (used") {
		t.Errorf("it is said %d times:\n%v", n, faults)
	}
	faults = faultsIn(Open("."), "user.yaml")
	if n := strings.Count(faults.Error(), unknown); n != 1 || !strings.Contains(faults.Error(), "(used by user.yaml:6:21)") {
		t.Errorf("it is said %d times:\n%v", n, faults)
	}
}

// Small documents that would write out to something huge are refused, and soon.
func TestWrittenOutTooLarge(t *testing.T) {
	t.Parallel()
	const head = "procedure: big\nkind: check\ntitle: Big\nrevision: 1\nstages:\n"
	words := letters(12)
	nest := "- each: {a: [" + words + "]}\n    steps:\n    - each: {b: [" + words + "]}\n      steps:\n      - each: {c: [" + words + "]}\n        steps:\n"
	for name, text := range map[string]string{
		"texts":    head + "- stage: s\n  steps:\n  " + nest + "        - step: x-<a>-<b>-<c>\n          do: " + strings.Repeat("long ", 1900) + "\n",
		"not read": head + "- stage: s\n  steps:\n  " + nest + "        - {step: x-<a>-<b>-<c>, do: x, junk: [" + strings.Repeat("y, ", 10_000) + "z]}\n",
		"nameless": head + "- stage: s\n  steps:\n  " + nest + strings.Repeat("        - do: x\n", 6_000),
		"empty":    head + "- stage: s\n  steps:\n  " + nest + strings.Repeat("        - steps: []\n", 6_000),
		"stages":   head + "- stage: s-<a>\n  each: {a: [" + words + "]}\n  steps:\n" + strings.Repeat("  - steps: []\n", 6_000),
	} {
		t.Run(name, func(t *testing.T) {
			start := time.Now()
			_, faults := parse("x.yaml", []byte(text), nil)
			if !slices.ContainsFunc(faults, func(f Fault) bool { return strings.Contains(f.Text, "written out, it has more than") }) {
				t.Errorf("%d faults: %v", len(faults), faults[:min(3, len(faults))])
			}
			if took := time.Since(start); took > 10*time.Second {
				t.Errorf("it took %v", took)
			}
		})
	}
	stages := head + "- stage: s-<a>-<b>\n  each: {a: [" + words + "], b: [" + words + "]}\n  steps: [{step: x-<a>, do: x}]\n"
	for i := range 9 {
		stages += fmt.Sprintf("- stage: s%d-<a>\n  each: {a: [%s]}\n  steps: [{step: x%d-<a>, do: x}]\n", i, words, i)
	}
	expect(t, faultsOf(t, stages), "x.yaml:30:3", "written out, it has more than 100 stages (with a: e)", 1)
}

// What a generated run writes out is what a plain account of it says: the words
// put in by hand, one step after the other.
func TestRunsAreWhatTheySay(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var text strings.Builder
		var want []string
		n := 0
		type frame struct {
			names []string
			rows  [][]string
		}
		var build func(depth int, indent string, frames []frame) []func(put map[string]string)
		build = func(depth int, indent string, frames []frame) []func(map[string]string) {
			var do []func(map[string]string)
			for range rapid.IntRange(1, 3).Draw(t, "entries") {
				if depth < 3 && rapid.Bool().Draw(t, "a run") {
					k := rapid.IntRange(1, 3).Draw(t, "rows")
					names := []string{fmt.Sprintf("w%d", depth)}
					if rapid.Bool().Draw(t, "two names") {
						names = append(names, fmt.Sprintf("v%d", depth))
					}
					var lists []string
					f := frame{names: names}
					for range k {
						f.rows = append(f.rows, make([]string, len(names)))
					}
					for i, name := range names {
						var list []string
						for r := range k {
							f.rows[r][i] = fmt.Sprintf("%s%d", rapid.SampledFrom([]string{"left", "fore", "x"}).Draw(t, "word"), r)
							list = append(list, f.rows[r][i])
						}
						lists = append(lists, name+": ["+strings.Join(list, ", ")+"]")
					}
					fmt.Fprintf(&text, "%s- each: {%s}\n%s  steps:\n", indent, strings.Join(lists, ", "), indent)
					below := build(depth+1, indent+"    ", append(frames, f))
					do = append(do, func(put map[string]string) {
						for _, row := range f.rows {
							for i, name := range f.names {
								put[name] = row[i]
							}
							for _, one := range below {
								one(put)
							}
						}
					})
					continue
				}
				n++
				name, says := fmt.Sprintf("s%d", n), "Do"
				for _, f := range frames {
					for _, w := range f.names {
						name += "-<" + w + ">"
						says += " <" + strings.ToUpper(w[:1]) + w[1:] + ">"
					}
				}
				fmt.Fprintf(&text, "%s- step: %s\n%s  do: %s\n", indent, name, indent, says)
				do = append(do, func(put map[string]string) {
					one := name + ": " + says
					for w, is := range put {
						one = strings.ReplaceAll(one, "<"+w+">", is)
						one = strings.ReplaceAll(one, "<"+strings.ToUpper(w[:1])+w[1:]+">", strings.ToUpper(is[:1])+is[1:])
					}
					want = append(want, one)
				})
			}
			return do
		}
		text.WriteString("procedure: p\nkind: check\ntitle: T\nrevision: 1\nstages:\n- stage: s\n  steps:\n")
		for _, one := range build(0, "  ", nil) {
			one(map[string]string{})
		}
		doc, err := Parse("x.yaml", []byte(text.String()))
		if err != nil {
			t.Fatalf("%v in\n%s", err, text.String())
		}
		var got []string
		for _, s := range doc.Procedure.Steps() {
			got = append(got, s.Name+": "+s.Do)
		}
		if !slices.Equal(got, want) {
			t.Fatalf("got\n%s\nwant\n%s\nof\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"), text.String())
		}
		data, err := Write(doc.Procedure)
		if err != nil {
			t.Fatal(err)
		}
		again, err := Read("x.yaml", data)
		if err != nil || !reflect.DeepEqual(again.Procedure, doc.Procedure) {
			t.Fatalf("written, it is read otherwise: %v\n%s", err, data)
		}
	})
}
