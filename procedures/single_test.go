package procedures

import (
	"slices"
	"strings"
	"sync"
	"testing"
)

const checkText = `procedure: finch-look
kind: check
title: Look a Finch over
revision: 1
stages:
  - stage: all
    steps:
      - step: look
        do: Look at the wing.
        needs: {propeller: off}
      - step: depth-again
        measure: [slot]
`

// wholeSet are documents that belong together and are in order, one of each
// form.
var wholeSet = sync.OnceValue(func() map[string]string {
	return map[string]string{
		sheetText: sheetText, buildText: buildText, triageText: triageText, checkText: checkText,
		repairText: strings.Replace(repairText, "on: [wing, tail]", "on: [wing, tail, radio]", 1),
	}
})

// readSet is the whole set as it is read: a check changes nothing of it.
var readSet = sync.OnceValue(func() map[string]*Document {
	docs := map[string]*Document{}
	for of, good := range wholeSet() {
		docs[of], _ = parseOwn("other.yaml", []byte(good), (&shelf{}).find)
	}
	return docs
})

// together are the faults of the text, which stands for one of the set, with the others.
func together(t *testing.T, valid, text string) Faults {
	t.Helper()
	return check(t, valid, text).Faults
}

// check checks the text, which stands for one of the set, with the others.
func check(t *testing.T, valid, text string) Report {
	t.Helper()
	c := checker{ctx: t.Context()}
	for of, good := range readSet() {
		if of != valid {
			c.add(good, "other.yaml", nil)
			continue
		}
		doc, wrong := parseOwn("x.yaml", []byte(text), (&shelf{}).find)
		if doc == nil {
			c.unread = append(c.unread, claimOf("x.yaml", []byte(text), wrong))
			c.faults = append(c.faults, wrong...)
			continue
		}
		c.add(doc, "x.yaml", wrong)
	}
	report, err := c.report()
	if err != nil {
		t.Fatal(err)
	}
	return report
}

// What is wrong with a shared step is said once, whoever uses it.
func TestOnceForAllUsers(t *testing.T) {
	at := func(text string) Fault { return Fault{"s.yaml", 1, 1, text} }
	got := Faults{at("x (used by a:1:1)"), at("x (used by b:1:1)"), at("xy (used by b:1:1)"), at("z"), at("z (used by b:1:1)")}.once()
	if want := (Faults{at("x (used by a:1:1)"), at("xy (used by b:1:1)"), at("z")}); !slices.Equal(got, want) {
		t.Errorf("got %v", got)
	}
}

func TestWholeSetIsInOrder(t *testing.T) {
	for of, good := range wholeSet() {
		if faults := together(t, of, good); len(faults) > 0 {
			t.Errorf("%v", faults)
		}
	}
}

// A check that takes an airframe over asks for every gate.
func TestACheckThatAcceptsMeasures(t *testing.T) {
	accepts := strings.Replace(checkText, "kind: check\n", "kind: check\naccepts: as-built\n", 1)
	for text, want := range map[string]int{accepts: 1, strings.Replace(accepts, "measure: [slot]", "measure: [stale]", 1): 0} {
		faults := together(t, checkText, text)
		if len(faults) != want || want > 0 && !strings.Contains(faults.Error(), "it accepts an airframe that nobody measured; write as its last step") {
			t.Errorf("%d faults, not %d: %v", len(faults), want, faults)
		}
	}
}
