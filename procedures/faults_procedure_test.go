package procedures

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

func TestProcedureFaults(t *testing.T) {
	t.Parallel()
	const coat = "coat: {joint: roots, with: contact}"
	run(t, buildText, []faulty{
		{name: "unknown key", edit: []string{"design: finch\n", "design: finch\n§zones: [a]\n"}, want: `unknown key "zones" in a procedure; known: procedure, kind`},
		{name: "no name", edit: []string{"finch-build", "§Finch"}, want: `"Finch" is not a name for procedure`},
		{name: "no kind", edit: []string{"kind: build\n", ""}, want: "a procedure has no kind; write kind: and one of build, repair, check or steps"},
		{name: "unknown kind", edit: []string{"kind: build", "kind: §built"}, want: `unknown kind "built"; did you mean "build"?`},
		{name: "kind over two lines", edit: []string{"kind: build", `kind: §"a\nb"`}, want: `unknown kind "a\nb"`},
		{name: "build without design", edit: []string{"design: finch\n", ""}, want: "a build must name its design"},
		{name: "no revision", edit: []string{"revision: 1\n", ""}, want: "a procedure has no revision"},
		{name: "unknown key of a stage", edit: []string{"    after: [kit]", "    §befor: [kit]"}, want: `unknown key "befor" in a stage; known: stage`},
		{name: "stage without name", edit: []string{"- stage: radio\n    after: [kit]", "- §after: [kit]", "after: [wing, radio]", "after: [wing]"}, want: "a stage has no stage"},
		{name: "stage without steps", edit: []string{"  - stage: radio", "  - §stage: empty\n  - stage: radio", "after: [wing, radio]", "after: [wing, radio, empty]"}, want: "a stage needs one of steps or use"},
		{name: "stage with empty steps", edit: []string{"  - stage: radio", "  - stage: empty\n    steps: §[]\n  - stage: radio"}, want: "steps is an empty list"},
		{name: "stage twice", edit: []string{"stage: radio", "stage: §wing", "after: [wing, radio]", "after: [wing]"}, want: `the stage wing is duplicated`},
		{name: "unknown phase", edit: []string{"    after: [kit]", "    phase: §structur\n    after: [kit]"}, want: `unknown phase "structur"; did you mean "structure"?`},
		{name: "unknown after", edit: []string{"stage: radio\n    after: [kit]", "§stage: radio\n    after: [kitt]"}, want: `the stage radio comes after an unknown stage "kitt"; did you mean "kit"?`},
		{name: "after itself", edit: []string{"stage: radio\n    after: [kit]", "§stage: radio\n    after: [kit, radio]"}, want: "a cycle: stages come after each other: radio after radio"},
		{name: "cycle", edit: []string{"stage: kit", "stage: kit\n    after: [finish]", "- stage: finish", "- §stage: finish"}, want: "a cycle: stages come after each other: finish after wing after kit after finish"},

		{name: "accepting build", edit: []string{"kind: build\n", "kind: build\naccepts: §as-built\n"}, want: "only a check can accept an airframe"},
		{name: "a build before a flight", edit: []string{"kind: build\n", "kind: build\nbefore: §flight\n"}, want: "only a check can come before a flight"},
		{name: "before something", edit: []string{"kind: build", "kind: build\nbefore: §breakfast"}, want: `unknown before "breakfast"; known: day, flight, first-flight`},
		{name: "accepting something", edit: []string{"kind: build", "kind: build\naccepts: §as-is"}, want: `unknown accepts "as-is"; known: as-built`},
		{name: "unknown key of a step", edit: []string{"hands:", "§hand:"}, want: `unknown key "hand" in a step; did you mean "hands"?`},
		{name: "step without name", edit: []string{"- step: count\n        do", "- §do"}, want: "a step has no step"},
		{name: "step a text", edit: []string{"      - step: count\n", "      - §count\n      - step: count\n"}, want: "a step must be a mapping (keys with values), not text"},
		{name: "step twice", edit: []string{"step: fit", "step: §count"}, want: `the step count is duplicated; the first is in line 9`},
		{name: "nothing to do", edit: []string{"      - step: count\n        do: Count the parts.", "      - §step: count"}, want: "the step count has nothing to do: write do, or one of coat, join, glue, wait, measure, hold, choose or release"},
		{name: "two kinds", edit: []string{"wait: 2 h", "wait: 2 h\n        measure: §[slot]"}, want: "the step rest has wait and measure: keep one of them"},
		{name: "bare hands", edit: []string{"hands: 5 min", "hands: §5"}, want: `hands: "5" has no unit`},
		{name: "hands of minutes or metres", edit: []string{"hands: 5 min", "hands: §5 m"}, want: `hands: "5 m" could be minutes or metres; write 5 min for minutes`},
		{name: "hands with a comma", edit: []string{"hands: 5 min", "hands: §5,5 min"}, want: `hands: a decimal number has a point, not a comma; write: 5.5 min`},
		{name: "hands of a length", edit: []string{"hands: 5 min", "hands: §5 mm"}, want: `hands: "5 mm" is a length, not a duration`},
		{name: "hands below zero", edit: []string{"hands: 5 min", "hands: §-5 min"}, want: "hands must not be less than 0"},
		{name: "shared", edit: []string{"hands: 5 min", "shared: §perhaps"}, want: "shared must be yes or no"},
		{name: "caution empty", edit: []string{"hands: 5 min", "caution: §[]"}, want: "caution is an empty list"},
		{name: "caution blank", edit: []string{"hands: 5 min", "caution: §''"}, want: "caution is empty"},
		{name: "caution of keys", edit: []string{"hands: 5 min", "caution: §{a: b}"}, want: "caution must be a list, not a mapping"},
		{name: "caution with nothing", edit: []string{"hands: 5 min", "caution: [a, §~]"}, want: "an entry of caution must be text, not nothing"},
		{name: "tools of keys", edit: []string{"tools: [knife]", "tools: §{knife: yes}"}, want: "tools must be a list, not a mapping"},
		{name: "alone yes", edit: []string{"hands: 5 min", "alone: §yes"}, want: "alone must say what one alone may do in place of the second person, or no"},
		{name: "alone no without why", edit: []string{"hands: 5 min", "alone: §no"}, want: "must not be done alone: say why, with why"},
		{name: "alone no in a list", edit: []string{"hands: 5 min", "alone: [A mirror, §no]"}, want: `"no" is not a way of doing it alone: write no in place of the list`},
		{name: "alone empty", edit: []string{"hands: 5 min", "alone: §[]"}, want: "alone is an empty list"},
		{name: "alone of keys", edit: []string{"hands: 5 min", "alone: §{a: b}"}, want: "alone must be a list, not a mapping"},
		{name: "alone cut", edit: []string{"hands: 5 min", "alone: Mirror §#2"}, want: "the text of alone ends before the #"},
		{name: "tool of a release", edit: []string{"release: yes", "release: yes\n        tools: §[knife]"}, want: "a release uses no tool, and would not ask for its hold: name the tool on the step before it"},
		{name: "alone at a wait", edit: []string{"wait: 2 h", "wait: 2 h\n        alone: §A clock"}, want: "a wait wants no second person: write alone on the step before it"},
		{name: "apart without a join", edit: []string{"hands: 5 min", "apart: §Saw."}, want: "joins nothing, so nothing of it is parted: write apart on the step that joins"},
		{name: "renews in a build", edit: []string{"hands: 5 min", "hands: 5 min\n        renews: §[wing]"}, want: "renews wing, and no later step of a repair joins a new part there: delete renews"},
		{name: "renews at a wait", edit: []string{"wait: 2 h", "wait: 2 h\n        renews: §[wing]"}, want: "throws nothing away: write renews on a step that is done or confirmed"},
		{name: "retires at a wait", edit: []string{"wait: 2 h", "wait: 2 h\n        retires: §[wing]"}, want: "throws nothing away: write retires on a step that is done or confirmed"},
		{name: "tools twice", edit: []string{"tools: [knife]", "tools: [knife, §knife]"}, want: `"knife" is duplicated in tools`},
		{name: "parts a list", edit: []string{"tools: [knife]", "parts: §[screw]"}, want: "parts must be a mapping (keys with values), not a list"},
		{name: "no part", edit: []string{"tools: [knife]", "parts: {screw: §0}"}, want: "screw must be a whole number from 1 to 10000"},
		{name: "less than no part", edit: []string{"tools: [knife]", "parts: {tube: §-5 mm}"}, want: "tube must be more than 0"},
		{name: "part without a unit", edit: []string{"tools: [knife]", "parts: {tube: §5.5}"}, want: `tube: "5.5" has no unit`},
		{name: "part twice", edit: []string{"tools: [knife]", "parts: {tube: 1, §tube: 2}"}, want: `"tube" is duplicated in parts`},
		{name: "part in unlike units", edit: []string{"tools: [knife]", "parts: {tube: 5 mm}", "      - step: level\n", "      - §step: level\n        parts: {tube: 2}\n"}, want: "the step level has the part \"tube\" in another unit than a step before it"},
		{name: "unknown tool", edit: []string{"tools: [knife]", "tools: [§knive]"}, want: `unknown tool "knive"; did you mean "knife"?`},
		{name: "hold called as a tool", edit: []string{"      - step: care\n", "      - §step: knife\n"}, want: "the hold knife has the name of something in the sheet that has a hold of its own"},
		{name: "tool used before it can be", edit: []string{"        sets: {propeller: off}\n", "        sets: {propeller: off, fan: off}\n", "      - step: fit\n        do: Lay it in.\n", "      - §step: fit\n        do: Lay it in.\n        tools: [iron]\n", "        needs: {fan: on}\n", "", "      - step: level\n", "      - step: blow\n        do: Blow.\n        sets: {fan: on}\n      - step: level\n"}, want: "the step fit uses iron, which needs fan: on, which the step blow sets after it; before it, count sets another state"},
		{name: "needs a list", edit: []string{"needs: {fan: on}", "needs: §[fan]"}, want: "needs must be a mapping (keys with values), not a list"},
		{name: "needs twice", edit: []string{"needs: {fan: on}", "needs: {fan: on, §fan: off}"}, want: `"fan" is duplicated in needs`},
		{name: "needs no name", edit: []string{"needs: {fan: on}", "needs: {§Fan: on}"}, want: `"Fan" is not a name for a condition`},
		{name: "needs no state", edit: []string{"needs: {fan: on}", "needs: {fan: §[on]}"}, want: "the state of fan must be text, not a list"},
		{name: "here without on", edit: []string{"disturbs: [radio]", "disturbs: [§here]"}, want: "here means the zone that a repair was started on, but this procedure has no line on:"},
		{name: "with and without", edit: []string{"with: rudder", "with: rudder\n        without: §rudder"}, want: "this can never apply"},

		{name: "coat without adhesive", edit: []string{coat, "coat: §{joint: roots}"}, want: "coat has no with"},
		{name: "coat a text", edit: []string{coat, "coat: §roots"}, want: "coat must be a mapping (keys with values), not text"},
		{name: "join without disturbs", edit: []string{"      - step: join\n        join: {joint: roots, load: yes}\n        disturbs: [wing]", "      - step: join\n        join: §roots"}, want: "the step join joins something and disturbs nothing"},
		{name: "join load", edit: []string{"load: yes", "load: §some"}, want: "load must be yes or no"},
		{name: "join without joint", edit: []string{"join: {joint: roots, load: yes}", "join: §{load: yes}"}, want: "join has no joint"},
		{name: "glue without disturbs", edit: []string{"      - step: join\n        join: {joint: roots, load: yes}\n        disturbs: [wing]", "      - step: join\n        glue: §{joint: roots, with: contact}"}, want: "the step join joins something and disturbs nothing"},
		{name: "glue without adhesive", edit: []string{"join: {joint: roots, load: yes}", "glue: §{joint: roots}"}, want: "glue has no with"},
		{name: "glue a text", edit: []string{"join: {joint: roots, load: yes}", "glue: §roots"}, want: "glue must be a mapping (keys with values), not text"},
		{name: "coat with no adhesive", edit: []string{coat, "coat: {joint: roots, with: §[]}"}, want: "with is an empty list"},
		{name: "coat with an adhesive twice", edit: []string{coat, "coat: {joint: roots, with: [contact, §contact]}"}, want: `"contact" is duplicated in with`},
		{name: "wait zero", edit: []string{"wait: 2 h", "wait: §0 h"}, want: "wait must be more than 0; write how much, or delete it"},
		{name: "wait of a length", edit: []string{"wait: 2 h", "wait: §2 mm"}, want: `wait: "2 mm" is a length, not a duration`},
		{name: "wait a list", edit: []string{"wait: 2 h", "wait: §[2 h]"}, want: "wait must be a mapping (keys with values), not a list"},
		{name: "wait without until", edit: []string{"{joint: roots, until: handling}", "§{joint: roots}"}, want: "wait has no until"},
		{name: "wait for nothing", edit: []string{"{joint: roots, until: handling}", "§{until: handling}"}, want: "wait has no joint"},
		{name: "wait with from alone", edit: []string{"{joint: roots, until: handling}", "§{from: join}"}, want: "wait has no joint"},
		{name: "wait for two things", edit: []string{"{joint: roots, until: handling}", "§{joint: roots, until: handling, for: 2 h}"}, want: "wait is for a joint and for a time: make two steps of it"},
		{name: "by without late", edit: []string{"wait: 2 h", "wait: {by: §2 h}"}, want: "wait has by and does not say what happens when it is too late: write late"},
		{name: "late without by", edit: []string{"{joint: roots, until: handling}", "{for: 2 h, late: §say}"}, want: "wait has late and does not say when it is too late: write by"},
		{name: "over too late", edit: []string{"wait: 2 h", "wait: {for: 2 h, by: §2 h, late: say}"}, want: "the wait is over after 2 h, when it is too late already"},
		{name: "by nought", edit: []string{"wait: 2 h", "wait: {by: §0 h, late: say}"}, want: "by must be more than 0"},
		{name: "wait until when", edit: []string{"until: handling", "until: §cured"}, want: `unknown state of a joint "cured"; did you mean "cure"?`},
		{name: "measure of keys", edit: []string{"measure: [slot]", "measure: §{slot: yes}"}, want: "measure must be a list, not a mapping"},
		{name: "stale and more", edit: []string{"measure: [slot]", "measure: §[slot, stale]"}, want: "stale must be the only entry"},
		{name: "hold without lines", edit: []string{"hold: {confirm: [The mat is clear]}", "hold: §{}"}, want: "hold has no confirm"},
		{name: "hold with empty lines", edit: []string{"[The mat is clear]", "§[]"}, want: "confirm is an empty list"},
		{name: "release no", edit: []string{"release: yes", "release: §no"}, want: "release must be yes; otherwise delete the line"},
		{name: "release a list", edit: []string{"release: yes", "release: §[]"}, want: "release must be yes or no"},
	})
	run(t, repairText, []faulty{
		{name: "cycle named once", edit: []string{"    phase: structure", "    after: [more]\n    phase: structure", "      - step: again", "  - stage: more\n    after: [all]\n    steps:\n      - step: again"}, at: "7:5", want: "a cycle: stages come after each other: all after more after all"},
		{name: "on nothing", edit: []string{"on: [wing, tail]", "on: §[]"}, want: "on is an empty list", of: 2},
		{name: "release in a repair", edit: []string{"      - step: again\n        measure: [stale]", "      - §step: again\n        release: yes"}, want: "a repair cannot release; only a build ends with a release"},
		{name: "unknown zone of on", edit: []string{"on: [wing, tail]", "on: [wing, §tale]"}, want: `unknown zone "tale"; did you mean "tail"? (in the design finch)`},
	})
}

func TestOrderFaults(t *testing.T) {
	t.Parallel()
	const (
		coat    = "      - step: coat\n        needs: {fan: on}\n        coat: {joint: roots, with: contact}\n"
		join    = "      - step: join\n        join: {joint: roots, load: yes}\n        disturbs: [wing]\n"
		rest    = "      - step: rest\n        wait: 2 h\n"
		grip    = "      - step: grip\n        wait: {joint: roots, until: handling}\n"
		level   = "      - step: level\n        measure: [square]\n"
		release = "      - step: release\n        release: yes\n"
	)
	markAt := func(behind, s string) string { return strings.Replace(s, behind, behind+"§", 1) }
	mark := func(s string) string { // a fault of a joint is where that is named
		if strings.Contains(s, "joint: ") {
			return markAt("joint: ", s)
		}
		return strings.Replace(s, "step:", "§step:", 1)
	}
	run(t, buildText, []faulty{
		{name: "coated, never joined", edit: []string{coat, mark(coat), join, "", grip, ""}, want: "the joint roots is coated but never joined"},
		{name: "joined, never coated", edit: []string{coat, "", join, mark(join)}, want: "the joint roots is joined but never coated"},
		{name: "joined, another coated", edit: []string{"coat: {joint: roots", "coat: {joint: roost", join, mark(join)}, want: `the joint roots is joined but never coated; did you mean "roost"?`},
		{name: "joined twice", edit: []string{rest, mark(strings.ReplaceAll(join, "step: join", "step: rejoin"))}, want: "the joint roots is joined a second time"},
		{name: "glued twice", edit: []string{rest, mark(strings.NewReplacer("step: join", "step: reglue", "join: {joint: roots, load: yes}", "glue: {joint: roots, with: contact}").Replace(join))}, want: "the joint roots is joined a second time"},
		{name: "glued with another", edit: []string{join, markAt("with: ", strings.Replace(join, "join: {joint: roots, load: yes}", "glue: {joint: roots, with: epoxy}", 1))}, want: "the joint roots is coated with epoxy here and with contact by the step coat: one joint has one adhesive"},
		{name: "wait for another glue", edit: []string{join, strings.Replace(join, "join: {joint: roots, load: yes}", "glue: {joint: roots, with: contact}", 1), grip, mark(strings.Replace(grip, "roots", "root", 1))}, want: `it waits for the joint root, which is never joined; did you mean "roots"?`},
		{name: "more, and none follows", edit: []string{join, mark(strings.Replace(join, "load: yes", "more: yes", 1))}, want: "more parts of the joint roots follow, it says, and none does"},
		{name: "joined after the last part", edit: []string{join, strings.Replace(join, "load: yes", "more: yes", 1) + strings.Replace(join, "step: join", "step: join-two", 1) + mark(strings.Replace(join, "step: join", "step: join-three", 1))}, want: "the joint roots is joined a second time"},
		{name: "a part coated late", edit: []string{join, strings.Replace(join, "load: yes", "more: yes", 1) + mark(strings.Replace(join, "step: join", "step: join-two", 1)), "      - step: fit\n", strings.Replace(coat, "step: coat", "step: coat-two", 1) + "      - step: fit\n"}, want: "the joint roots may be joined before the step coat-two coats it"},
		{name: "wait between the parts", edit: []string{join, strings.Replace(join, "load: yes", "more: yes", 1), grip, mark(grip) + strings.Replace(join, "step: join", "step: join-two", 1)}, want: "it waits for the joint roots but may come before the step join-two joins it"},
		{name: "two adhesives", edit: []string{join, markAt("with: ", strings.NewReplacer("step: coat", "step: coat-tip", "contact", "epoxy").Replace(coat)) + join}, want: "the joint roots is coated with epoxy here and with contact by the step coat: one joint has one adhesive"},
		{name: "unlike lists", edit: []string{coat, strings.Replace(coat, "contact", "[contact, epoxy]", 1), join, markAt("with: ", strings.NewReplacer("step: coat", "step: coat-tip", "contact", "[epoxy]").Replace(coat)) + join}, want: "the joint roots is coated with epoxy here and with contact or epoxy by the step coat: all coats of one joint have the same list"},
		{name: "unknown of a list", edit: []string{"with: contact", "with: [contact, §epoxi]"}, want: `unknown adhesive "epoxi"; did you mean "epoxy"?`},
		{name: "joined before it is coated", edit: []string{coat + join, mark(join) + coat}, want: "the joint roots may be joined before the step coat coats it"},
		{name: "coated in a stage beside", edit: []string{coat, "", join, mark(join), "      - step: fit\n", coat + "      - step: fit\n"}, want: "the joint roots may be joined before the step coat coats it"},
		{name: "coat with an option", edit: []string{coat, strings.Replace(coat, "needs", "with: rudder\n        needs", 1), join, mark(join)}, want: "the joint roots is joined but never coated"},
		{name: "join without an option", edit: []string{coat, mark(coat), join, strings.Replace(join, "        join:", "        without: rudder\n        join:", 1)}, want: "the joint roots is coated but never joined (with rudder)"},
		{name: "second coat late with an option", edit: []string{join, mark(join), rest, strings.NewReplacer("step: coat", "step: coat-more", "needs", "with: rudder\n        needs").Replace(coat)}, want: "the joint roots may be joined before the step coat-more coats it (with rudder)"},
		{name: "wait first", edit: []string{rest, "", "      - step: care\n", mark(rest) + "      - step: care\n"}, want: "it waits from the step before it, but it is the first step of its stage"},
		{name: "wait first without an option", edit: []string{rest, "", "      - step: fit\n        do: Lay it in.\n", "      - step: fit\n        with: rudder\n        do: Lay it in.\n", "      - step: move\n", mark(rest) + "      - step: move\n"}, want: "it waits from the step before it, but it is the first step of its stage"},
		{name: "wait for another joint", edit: []string{grip, mark(strings.Replace(grip, "roots", "root", 1))}, want: `it waits for the joint root, which is never joined; did you mean "roots"?`},
		{name: "ends, and nothing follows", edit: []string{"      - step: move\n", "      - step: end\n        wait: {by: §2 h, late: say}\n      - step: move\n"}, want: "it has an end, and no step comes after it in its stage"},
		{name: "ends before what follows is done", edit: []string{rest, markAt("by: ", strings.Replace(rest, "2 h", "{for: 30 min, by: 40 min, late: say}", 1)) + "      - step: press\n        do: Press it again.\n        hands: 11 min\n"}, want: "the step press takes 11 min, and the wait leaves less for it"},
		{name: "from nowhere", edit: []string{rest, markAt("from: ", strings.Replace(rest, "2 h", "{for: 2 h, from: jion}", 1))}, want: `it counts from an unknown step "jion"; did you mean "join"?`},
		{name: "from what comes after", edit: []string{rest, markAt("from: ", strings.Replace(rest, "2 h", "{for: 2 h, from: depth}", 1))}, want: "it counts from depth, which may come after it"},
		{name: "from a stage beside", edit: []string{rest, markAt("from: ", strings.Replace(rest, "2 h", "{for: 2 h, from: fit}", 1))}, want: "it counts from fit, which may come after it"},
		{name: "from a wait", edit: []string{grip, markAt("from: ", strings.Replace(grip, "{joint: roots, until: handling}", "{for: 2 h, from: rest}", 1))}, want: "it counts from rest, which is a wait: name the step before that"},
		{name: "an end after a wait", edit: []string{grip, markAt("by: ", strings.Replace(grip, "{joint: roots, until: handling}", "{by: 2 h, late: say}", 1))}, want: "it has an end and counts from the step before it, rest, which is a wait too"},
		{name: "late nowhere", edit: []string{rest, markAt("late: ", strings.Replace(rest, "2 h", "{by: 2 h, late: coats}", 1))}, want: `it opens an unknown step "coats" again; did you mean "coat"?`},
		{name: "late in another stage", edit: []string{rest, markAt("late: ", strings.Replace(rest, "2 h", "{by: 2 h, late: count}", 1))}, want: "it opens count again, which does not come before it in its stage: write late: with a step of the stage wing before it, or late: say"},
		{name: "late and after it", edit: []string{rest, markAt("late: ", strings.Replace(rest, "2 h", "{by: 2 h, late: grip}", 1))}, want: "it opens grip again, which does not come before it in its stage"},
		{name: "late before a join", edit: []string{rest, markAt("late: ", strings.Replace(rest, "2 h", "{by: 2 h, late: coat}", 1))}, want: "it opens coat again, and by then join has joined the joint roots; write late: say"},
		{name: "late before a join and a step", edit: []string{rest, "      - step: press\n        do: Press.\n" + markAt("late: ", strings.Replace(rest, "2 h", "{by: 2 h, late: coat}", 1))}, want: "by then join has joined the joint roots; write late: press, or late: say"},
		{name: "over before its end", edit: []string{"      - step: care\n", "      - step: end\n        do: D.\n      - step: ends\n        wait: {for: 20 min, by: §5 min, late: say}\n      - step: care\n"}, want: "the wait is over after 20 min, when it is too late already"},
		{name: "a stage beside all that it disturbs", edit: []string{"after: [wing, radio]", "after: [radio]", release, mark(release)}, want: "the release is not last: the step care, and 5 more, may come after it: no stage before it comes after wing; write, for the stage finish or one before it: after: [radio, wing]"},
		{name: "wait before the join", edit: []string{join + rest + grip, mark(grip) + join}, want: "it waits for the joint roots but may come before the step join joins it"},

		{name: "no release", edit: []string{release, ""}, want: "a build must end with a release; this one has none; write as the last step of its last stage: - {step: release, release: yes}"},
		{name: "second release", edit: []string{release, release + mark(strings.Replace(release, "step: release", "step: relase", 1))}, want: "a second release; a build has only one", of: 2},
		{name: "release with an option", edit: []string{release, mark(strings.Replace(release, "        release:", "        with: rudder\n        release:", 1))}, want: "the release depends on an option; every airframe needs a release"},
		{name: "release not last in its stage", edit: []string{level + release, mark(release) + level}, want: "the release is not last: the step level may come after it"},
		{name: "release beside a stage", edit: []string{"after: [wing, radio]", "after: [wing]", release, mark(release)}, want: "the release is not last: the step fit, and 1 more, may come after it: no stage before it comes after radio; write, for the stage finish or one before it: after: [wing, radio]"},

		{name: "unknown zone", edit: []string{"disturbs: [radio]", "disturbs: [§rado]"}, want: `unknown zone "rado"; did you mean "radio"? (in the design finch)`},
		{name: "unknown option", edit: []string{"with: rudder", "with: §ruder"}, want: `unknown option "ruder"; did you mean "rudder"?`},
		{name: "unknown condition", edit: []string{"{fan: on}", "{§fans: on}"}, want: `unknown condition "fans"; did you mean "fan"?`},
		{name: "unknown state", edit: []string{"{propeller: off}", "{propeller: §of}"}, want: `unknown state of propeller "of"; did you mean "off"?`},
		{name: "unknown adhesive", edit: []string{"with: contact", "with: §contakt"}, want: `unknown adhesive "contakt"; did you mean "contact"?`},
		{name: "unknown gate", edit: []string{"[slot]", "[§slit]"}, want: `unknown gate "slit"; did you mean "slot"?`},

		{name: "measures what is not there", edit: []string{"      - step: move\n        with: rudder\n", "      - step: move\n", "measure: [throw]", "measure: §[throw]"}, want: "the step move measures nothing (without any option): no airframe built that way has throw"},
		{name: "critical never measured", edit: []string{level, ""}, want: "no step ever measures the critical gate square"},
		{name: "disturbed after", edit: []string{release, mark("      - step: sand\n        do: Sand it.\n        disturbs: [tail]\n") + release}, want: "the step sand can disturb the critical gate square after it was last measured, by level"},
		{name: "disturbed beside", edit: []string{"disturbs: [radio]", "disturbs: [radio, tail]", "step: fit", "§step: fit", "      - step: depth\n        measure: [slot]\n", level, level + release, "      - step: release\n        release: yes\n"}, want: "the step fit can disturb the critical gate square after it was last measured, by level"},
		{name: "disturbed with an option", edit: []string{release, mark("      - step: sand\n        with: rudder\n        do: Sand it.\n        disturbs: [tail]\n") + release}, want: "the step sand can disturb the critical gate square after it was last measured, by level (with rudder)"},
	})
}

func TestGlueThatSetsTooSoon(t *testing.T) {
	lay := "      - step: spar\n        hands: %s\n        glue: {joint: spar, with: epoxy}\n        disturbs: [wing]\n      - step: rest\n"
	sheet, err := Parse("s.yaml", []byte(strings.Replace(sheetText, "    works: {between: [15 °C, 30 °C]}\n", "    works: {between: [15 °C, 30 °C]}\n    mixed: yes\n", 1)))
	if err != nil {
		t.Fatal(err)
	}
	for hands, want := range map[string]string{"20 min": "", "21 min": "x.yaml:25:16: epoxy must be joined within 20 min of mixing, and the step takes 21 min"} {
		doc, err := Parse("x.yaml", []byte(strings.Replace(buildText, "      - step: rest\n", fmt.Sprintf(lay, hands), 1)))
		if err != nil {
			t.Fatal(err)
		}
		if faults := doc.Against(sheet.Sheet); faults.Error() != want && (want != "" || len(faults) > 0) {
			t.Errorf("%s: %v", hands, faults)
		}
	}
}

// What an open coat must not have is never done between it and its join, and waits
// where it may come beside it.
func TestWhatAnOpenCoatMustNotHave(t *testing.T) {
	const adhesive, coat, fit = "    mixed: no\n", "coat: {joint: roots, with: contact}\n", "      - step: fit\n"
	for _, c := range []struct {
		name, sheet, build string
		faults, notes      string
	}{
		{"nothing between", "", "", "", ""},
		{"it sets it", "", coat + "      - step: air\n        do: Shut it.\n        sets: {fan: off}\n", "x.yaml:21:9: the step air sets fan: off, ", ""},
		{"it needs it", "", coat + "      - step: air\n        do: Look.\n        needs: {fan: off}\n", "x.yaml:21:9: the step air needs fan: off, ", ""},
		{"its gate needs it", "  sole:\n    needs: {fan: off}\n", coat + "      - step: air\n        measure: [sole]\n", "x.yaml:21:9: the step air measures sole, which needs fan: off, ", ""},
		{"its gate is not there", "  sole:\n    needs: {fan: off}\n    without: rudder\n    with: rudder\n", coat + "      - step: air\n        measure: [sole]\n", "", ""},
		{"the other adhesive may have it", "", "coat: {joint: roots, with: [contact, epoxy]}\n      - step: air\n        do: Shut it.\n        sets: {fan: off}\n", "", "x.yaml:21:9: the step air sets fan: off, "},
		{"beside it", "", fit + "        sets: {fan: off}\n", "", "x.yaml:"},
	} {
		old := coat
		if strings.HasPrefix(c.build, fit) {
			old = fit
		}
		of := strings.Replace(sheetText, adhesive, adhesive+"    needs: {fan: on}\n", 1)
		if c.sheet != "" {
			of = strings.Replace(of, "  sole:\n", c.sheet, 1)
		}
		built := buildText
		if c.build != "" {
			built = strings.Replace(built, old, c.build, 1)
		}
		sheet, _ := parseOwn("s.yaml", []byte(of), (&shelf{}).find)
		doc, _ := parseOwn("x.yaml", []byte(built), (&shelf{}).find)
		if sheet == nil || doc == nil {
			t.Fatalf("%s: it does not parse", c.name)
		}
		faults, notes := doc.harming(sheet.Sheet)
		for _, got := range []struct {
			Faults
			want string
		}{{faults, c.faults}, {notes, c.notes}} {
			if len(got.Faults) > 1 || (len(got.Faults) == 1) != (got.want != "") || got.want != "" && !strings.HasPrefix(got.Faults.Error(), got.want) {
				t.Errorf("%s: %v, want %q", c.name, got.Faults, got.want)
			}
		}
	}
}

func TestEveryDesignFault(t *testing.T) {
	doc, err := Parse("x.yaml", []byte(buildText))
	if err != nil {
		t.Fatal(err)
	}
	text := strings.NewReplacer("tail", "fin", "rudder:", "flap:", "with: rudder", "with: flap", "contact:", "glue:", "fan:", "wind:", "slot:", "slit:", "off, on", "off, fast").Replace(sheetText)
	sheet, err := Parse("s.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	faults := doc.Against(sheet.Sheet)
	for _, want := range []string{"option \"rudder\"", "adhesive \"contact\"", "condition \"fan\"", "gate \"slot\""} {
		if !strings.Contains(faults.Error(), "unknown "+want) {
			t.Errorf("nothing of %s in\n%v", want, faults)
		}
	}
	orderly(t, faults)
	if doc.Serves(sheet.Sheet) {
		t.Error("it serves a design that it does not fit")
	}
}

// A fault is reported for each smallest set of options that causes it.
func TestFewestOptions(t *testing.T) {
	const head = "procedure: a\nkind: check\ntitle: A\nrevision: 1\nstages:\n- stage: a\n  steps:\n"
	for _, c := range []struct{ steps, want string }{
		{"  - {step: b, with: o, coat: {joint: j, with: k}}\n  - {step: c, without: p, do: x}\n",
			"x.yaml:8:38: the joint j is coated but never joined (with o)"},
		{"  - {step: b, coat: {joint: j, with: k}}\n  - {step: c, without: p, join: j, disturbs: [z]}\n  - {step: d, without: o, do: x}\n",
			"x.yaml:8:29: the joint j is coated but never joined (with p)"},
		{"  - {step: b, coat: {joint: j, with: k}}\n  - {step: c, join: j, disturbs: [z]}\n  - {step: d, with: p, wait: 1 h}\n" +
			"- stage: b\n  steps:\n  - {step: e, without: p, do: x}\n  - {step: f, without: o, do: x}\n  - {step: g, wait: 1 h}\n",
			""}, // of two options a sheet must say whether they exclude each other
		{"  - {step: b, with: o, join: j, disturbs: [z]}\n  - {step: c, with: p, join: i, disturbs: [z]}\n",
			"x.yaml:8:30: the joint j is joined but never coated (with o)\nx.yaml:9:30: the joint i is joined but never coated (with p)"},
		{"  - {step: b, do: x, with: o1}\n  - {step: c, do: x, with: o2}\n  - {step: d, do: x, with: o3}\n  - {step: e, do: x, with: o4}\n" +
			"  - {step: f, do: x, with: o5}\n  - {step: g, do: x, with: o6}\n  - {step: h, with: o7, join: j, disturbs: [z]}\n",
			"x.yaml:14:31: the joint j is joined but never coated (with o7)"},
	} {
		_, err := Parse("x.yaml", []byte(head+c.steps))
		if err == nil && c.want != "" || err != nil && err.Error() != c.want {
			t.Errorf("got\n%v\nwant\n%s", err, c.want)
		}
	}
}

// Documents far over the limits are refused quickly.
func TestFarTooMuch(t *testing.T) {
	const head = "procedure: big\nkind: check\ntitle: Big\nrevision: 1\nstages:\n"
	var joints, chain strings.Builder
	joints.WriteString("  - stage: a\n    steps:\n")
	for i := range 1500 {
		fmt.Fprintf(&joints, "      - {step: j%d, join: a, disturbs: [b]}\n      - {step: c%d, coat: {joint: a, with: b}}\n", i, i)
		fmt.Fprintf(&chain, "  - {stage: s%d, after: [s%d], steps: [{step: t%d, do: x}]}\n", i+1, i, i)
	}
	for name, c := range map[string]struct{ body, want string }{
		"steps":  {joints.String(), "x.yaml:8:7: steps has 3000 entries; the limit is 1000"},
		"stages": {chain.String(), "x.yaml:6:3: stages has 1500 entries; the limit is 100"},
	} {
		start := time.Now()
		faults := faultsOf(t, head+c.body)
		if len(faults) != 1 || faults[0].Error() != c.want {
			t.Errorf("%s: %d faults, not %s", name, len(faults), c.want)
		}
		if took := time.Since(start); took > 10*time.Second {
			t.Errorf("%s: it took %v", name, took)
		}
	}
}
