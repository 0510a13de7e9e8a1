package page_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/cmd/internal/page"
	"fettle/steps"
	"fettle/steps/quantity"
	"fettle/workflow"
)

// twoSittings is a plan for two airframes, written by hand.
func twoSittings(now time.Time) workflow.Timetable {
	at := func(minute int) time.Time { return now.Add(time.Duration(minute) * time.Minute) }
	roots := workflow.Drying{Mark: "FN-01", Job: "finch-build", Joint: "wing-roots", For: workflow.AfterDrying, From: at(14), Until: at(29)}
	cure := workflow.Drying{Mark: "FN-01", Job: "finch-build", Joint: "wing-roots", For: workflow.AfterCure, From: at(62), Until: at(32 + 24*60)}
	nose := workflow.Drying{Mark: "WR-01", Job: "wren-build", Joint: "nose", For: workflow.AfterHandling, From: at(115), Until: at(145)}
	sets := nose
	sets.For, sets.From, sets.Until = workflow.AfterCure, at(145), at(115+24*60)
	rest := workflow.Drying{Mark: "WR-01", Job: "wren-build", Step: "rest", For: workflow.AfterWait, From: at(115), Until: at(130)}
	later := 2 * 24 * 60
	return workflow.Timetable{Made: now, Finish: at(later + 20), Bound: at(later + 10), Attended: 51 * time.Minute, Idle: 10 * time.Minute,
		Visits: []workflow.Visit{
			{Sitting: workflow.Sitting{From: at(0), To: at(120)}, Turns: []workflow.Turn{
				{Mark: "FN-01", Job: "finch-build", Step: "coat-left-root", Title: "Coat the left root", Begins: at(10), Ends: at(14), With: "contact", Tools: []string{"brush"},
					Needs: []steps.Setting{{Condition: "ventilation", State: "on"}, {Condition: "iron", State: "cold"}}, Titles: []workflow.Titled{{Title: "A window open, or a fan on", Bench: true}, {Title: "The film iron", Bench: true}}},
				{Mark: "WR-01", Job: "wren-build", Step: "cut-slot", Title: "Cut the slot", Begins: at(14), Ends: at(29), Tools: []string{"knife"}, Parts: []steps.Part{{Name: "carbon tube", Count: 2}}, Dries: []workflow.Drying{roots}},
				{Mark: "FN-01", Job: "finch-build", Step: "join-roots", Title: "Join the roots", Act: workflow.ToPress, Begins: at(29), Ends: at(32), With: "contact", Second: true, Alone: []string{"A mirror", "Look again the next day"}, Opens: at(29), Closes: at(45), By: at(40)},
				{Mark: "WR-01", Job: "wren-build", Step: "measure-slot", Title: "Measure the slot", Rework: "slot-depth", Begins: at(110), Ends: at(115), Dries: []workflow.Drying{cure}},
			}, After: []workflow.Drying{cure, nose, rest, sets}},
			{Sitting: workflow.Sitting{From: at(later), To: at(later + 60)}, Turns: []workflow.Turn{
				{Mark: "FN-01", Job: "finch-build", Step: "release-it", Title: "Release it", Second: true, Begins: at(later), Ends: at(later + 20)},
			}},
		},
		Chain: []workflow.Link{
			{Mark: "FN-01", Step: "coat-left-root", Begins: at(10), Ends: at(14), After: workflow.AfterNow},
			{Mark: "FN-01", Step: "join-roots", Begins: at(29), Ends: at(32), After: workflow.AfterDrying, Joint: "wing-roots"},
			{Mark: "FN-01", Step: "release-it", Begins: at(later), Ends: at(later + 20), After: workflow.AfterCure, Joint: "wing-roots", Sitting: true},
		},
		Answers: []workflow.Answer{{Mark: "FN-01", Job: "finch-build", Step: "choose-spar", Choice: "spar", Answer: "carbon"}},
		Climate: []workflow.Climates{{Mark: "FN-01", Celsius: 18, Given: true}, {Mark: "WR-01", Celsius: 20}},
		Lapses:  []workflow.Lapse{{Mark: "FN-01", Job: "finch-build", Name: "fin", Closes: at(40), Lost: true, Save: workflow.Sitting{From: at(25), To: at(32)}}, {Mark: "FN-01", Job: "finch-build", Name: "nose", Closes: at(9)}, {Mark: "WR-01", Job: "wren-build", Name: "tail", Closes: at(2), Lost: true}, {Mark: "WR-01", Job: "wren-build", Name: "nose", Closes: at(-2), Lost: true}},
	}
}

func (a album) planning(now time.Time) {
	marks := []string{"FN-01", "WR-01"}
	plan := page.NewPlan(marks, twoSittings(now))
	plan.Begin, plan.Kept, plan.Sittings[0].Overtime = []page.PlanBegin{{Mark: marks[1], What: "repair", Do: "fettle repair " + marks[1] + " --start"}}, true, true
	plan.Lapses[0].InReach, plan.Lapses[2].InReach, plan.Lapses[2].Before = true, true, true
	last := plan.Sittings[1].To
	plan.Sittings[1].Turns = append(plan.Sittings[1].Turns,
		workflow.Turn{Mark: "WR-01", Job: "wren-build", Step: "heat-iron", Title: "Heat the iron", Again: workflow.AgainReady, Sets: []steps.Setting{{Condition: "iron", State: "hot"}}, Look: []string{"It lies on its stand", "No coat is open"}, Begins: last.Add(-20 * time.Minute), Ends: last.Add(-12 * time.Minute)},
		workflow.Turn{Mark: "WR-01", Job: "wren-build", Step: "cool-iron", Title: "Switch the iron off", Again: workflow.AgainSafe, Sets: []steps.Setting{{Condition: "iron", State: "cold"}}, Begins: last.Add(-2 * time.Minute), Ends: last.Add(-time.Minute)})
	plan.Sittings[0].Leave = []workflow.Left{{Mark: "WR-01", Setting: steps.Setting{Condition: "iron", State: "cold"}, Title: "The film iron", Again: now.Add(2 * 24 * time.Hour)}}
	plan.Sittings[0].Leave = append(plan.Sittings[0].Leave, plan.Sittings[0].Leave[0], workflow.Left{Mark: "WR-01", Setting: steps.Setting{Condition: "gun", State: "cold"}, Title: "The glue gun"})
	plan.Sittings[0].Leave[1].Mark = "FN-01"
	plan.Left = []page.Reason{{Reason: workflow.Reason{Text: "the journal says battery: in, and nothing since says that it is out", At: now.Add(-time.Hour),
		Remedy: workflow.Remedy{Kind: workflow.ToSetCondition, Mark: "FN-01", Setting: steps.Setting{Condition: "battery", State: "out"}}}}}
	plan.Hasty = []workflow.Hasty{{Mark: "FN-01", Job: "finch-build", Name: "wing-roots", Closes: now.Add(45 * time.Minute), Spare: 2}, {Mark: "FN-01", Job: "finch-build", Name: "fins", Closes: now.Add(45 * time.Minute)}}
	a.show("Plan", plan, now)
	paced := twoSittings(now)
	paced.Visits[0].Turns[1].Written, paced.Visits[1].Turns[0].Written = 12, 25
	plan.Full, plan.Pace = true, page.NewPlan(marks, paced).Pace
	a.show("Plan-full", plan, now)
	long := twoSittings(now)
	long.Attended = 101*time.Hour + 5*time.Minute
	long.Proven, long.Stops = true, []workflow.Stop{{Mark: "WR-01", Job: "wren-build", Step: "set-tail", Title: "Set the tail", Reasons: []workflow.Reason{{Because: workflow.ByState, Text: "the gauge must be checked"}}}}
	for range 3 {
		long.Visits = append(long.Visits, long.Visits[1])
		long.Visits[len(long.Visits)-1].Added = true
	}
	a.show("Plan-long", page.NewPlan(marks, long), now)
	two := twoSittings(now)
	a["PlannedNow"] = page.PlannedNow(&two, &page.Clock{Now: now})
	a.show("Plan-empty", page.NewPlan(marks, workflow.Timetable{Made: now, Proven: true}), now)
	a["TurnLine"] = page.TurnLine(twoSittings(now).Visits[0].Turns[2], "FN-01: ")
	turns, warm := twoSittings(now).Visits[0].Turns, 15.
	cold := twoSittings(now)
	for i, step := range []string{"Coat the nose", "Coat the tail", "Spread epoxy"} {
		is, _ := quantity.Parse([]string{"10 °C", "10 °C", "15 °C"}[i], quantity.Temperature)
		cold.Stops = append(cold.Stops, workflow.Stop{Mark: "WR-01", Job: "wren-build", Step: step, Title: step, Reasons: []workflow.Reason{{Because: workflow.ByClimate,
			Text: "it works between " + is.String() + " and 30 °C, and the bench is planned at 2 °C", Remedy: workflow.Remedy{Kind: workflow.ToWarmBench, Value: is}}}})
	}
	cold.Bench = &warm
	a.show("Plan-cold", page.NewPlan(marks, cold), now)
	short := twoSittings(now)
	short.Free = []workflow.Freeing{{Once: time.Hour}}
	short.Stops = []workflow.Stop{{Mark: "WR-01", Job: "wren-build", Step: "charge", Title: "Charge it", Reasons: []workflow.Reason{{Because: workflow.ByTime, Text: "it takes 55 min without a break, and your longest sitting has 50 min"}}}}
	a.show("Plan-short", page.NewPlan(marks, short), now)
	for name, e := range map[string]*workflow.NoPlan{
		"conflict": {Why: workflow.Conflict, Turns: turns[:2], Windows: []workflow.Lapse{{Mark: "FN-01", Name: "wing-roots", Closes: now.Add(time.Hour)}}, InHours: true, Together: true, Least: true,
			Free: []workflow.Freeing{{Once: 95 * time.Minute}, {Each: 80 * time.Minute}, {Tight: true}}},
		"too-long":   {Why: workflow.TooLong, Open: []workflow.Lapse{{Mark: "FN-01", Name: "wing-roots", Closes: now.Add(17 * time.Minute), Save: workflow.Sitting{From: now.Add(10 * time.Minute), To: now.Add(17 * time.Minute)}}}, Turns: turns[:1], Takes: 40 * time.Minute, Has: 30 * time.Minute, Free: []workflow.Freeing{{Needs: 40 * time.Minute}}},
		"together":   {Why: workflow.TooLong, Turns: turns[:2], Together: true, Takes: 60 * time.Minute, Has: 55 * time.Minute, Free: []workflow.Freeing{{Once: 60 * time.Minute}}},
		"too-little": {Why: workflow.TooLittle, Takes: 10 * time.Hour, Has: 5 * time.Hour, Free: []workflow.Freeing{{More: 5 * time.Hour}}},
		"not-found":  {Why: workflow.NotFound, Left: []workflow.Reason{{Text: "battery: in, as the journal says, and nothing since says that it is out", At: now.Add(-time.Hour), Remedy: workflow.Remedy{Kind: workflow.ToSetCondition, Mark: "FN-01", Setting: steps.Setting{Condition: "battery", State: "out"}}}}},
		"overlap":    {Why: workflow.Overlap, Sittings: []workflow.Sitting{{From: now, To: now.Add(time.Hour)}}},
		"none":       {Why: workflow.NoSitting},
	} {
		a["NoPlan-"+name] = page.NewNoPlan(e).Markdown(&page.Clock{Now: now})
	}
}

// Whoever looked long is not told to look for less.
func TestLookLonger(t *testing.T) {
	now := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	for think, named := range map[time.Duration]bool{time.Second: true, 20 * time.Second: false} {
		for _, kept := range []bool{false, true} {
			p := page.NewPlan([]string{"FN-01", "WR-01"}, twoSittings(now))
			p.Think, p.Kept = think, kept
			if text := p.Markdown(&page.Clock{Now: now}); strings.Contains(text, "--think") != named {
				t.Errorf("after %v of thinking, kept %v: %s", think, kept, text)
			}
		}
	}
}

// Where nobody knows whether a window can be met, it isn't said that it can't, nor is a sitting asked for that is there.
func TestWindowForWhichNoPlanWasFound(t *testing.T) {
	now := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	for _, unknown := range []bool{false, true} {
		t1 := twoSittings(now)
		t1.Lapses = t1.Lapses[:1]
		if unknown {
			t1.Bound = t1.Made
		}
		text := page.NewPlan([]string{"FN-01", "WR-01"}, t1).Markdown(&page.Clock{Now: now})
		for said, want := range map[string]bool{"can't be met": !unknown, "would save it": !unknown, "no plan that meets it was found": unknown} {
			if strings.Contains(text, said) != want {
				t.Errorf("unknown %v, %q: %s", unknown, said, text)
			}
		}
	}
}

// How far a plan is at most from the best is a share of the whole, and one that is little is no whole percent.
func TestHowFarFromTheBest(t *testing.T) {
	now := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	for bound, share := range map[int]string{1999: "(under 1 %", 1980: "(1 %", 1979: "(2 %"} {
		p := page.NewPlan(nil, workflow.Timetable{Made: now, Finish: now.Add(2000 * time.Minute), Bound: now.Add(time.Duration(bound) * time.Minute), Visits: twoSittings(now).Visits})
		if text := p.Markdown(&page.Clock{Now: now}); !strings.Contains(text, share) {
			t.Errorf("not before %d of 2000 min: %s", bound, text)
		}
	}
}

// Where none was found, more time is named than was given, up to the most that may be.
func TestLookLongerForAny(t *testing.T) {
	for think, named := range map[time.Duration]string{time.Second: "look longer, with `--think 10s`.", 10 * time.Second: "--think 1min`.", time.Minute: "--think 10min`.", 59 * time.Minute: "--think 1h`.", time.Hour: "One may exist."} {
		if text := page.NewNoPlan(&workflow.NoPlan{Why: workflow.NotFound, Thought: think}).Markdown(&page.Clock{}); !strings.Contains(text, named) {
			t.Errorf("after %v: %s", think, text)
		}
	}
}

// Each turn is drawn, also where several are done at once, or a column has more than one.
func TestChartShowsEachTurn(t *testing.T) {
	now := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	at := func(minute int) time.Time { return now.Add(time.Duration(minute) * time.Minute) }
	v := workflow.Visit{Sitting: workflow.Sitting{From: now, To: at(180)}}
	for _, from := range [][3]int{{0, 20, 1}, {5, 6, 2}, {6, 7, 2}, {7, 8, 2}, {8, 9, 2}, {20, 21, 1}, {21, 60, 1}, {60, 180, 1}} {
		v.Turns = append(v.Turns, workflow.Turn{Mark: "FN-01", Step: "s", Title: "A step", Begins: at(from[0]), Ends: at(from[1]), Hands: []int{from[2]}})
	}
	text := page.NewPlan([]string{"FN-01"}, workflow.Timetable{Made: now, Finish: v.To, Bound: v.To, Proven: true, Visits: []workflow.Visit{v}}).Markdown(&page.Clock{Now: now})
	table, chart, _ := strings.Cut(text, "```\n")
	if !strings.Contains(table, "| At | Who | Step |") || !strings.Contains(table, "| b | 19:05 | 2 | A step |") {
		t.Errorf("nobody is told who does it:\n%s", table)
	}
	chart, _, _ = strings.Cut(chart, "```")
	for _, name := range "abcdefgh" {
		if !strings.ContainsRune(chart[strings.Index(chart, "FN-01")+5:], name) {
			t.Errorf("%c is not drawn:\n%s", name, chart)
		}
	}
	if lines := strings.Split(strings.TrimSpace(chart), "\n"); len(lines) > 6 || !strings.Contains(lines[2], "aaaaa") {
		t.Errorf("in %d rows:\n%s", len(lines), chart)
	}
}

// A sitting of more turns than there are letters is shown in parts, each with letters of its own.
func TestSittingOfManyTurns(t *testing.T) {
	now := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	v := workflow.Visit{Sitting: workflow.Sitting{From: now, To: now.Add(2 * time.Hour)}}
	for at := now; at.Before(v.To); at = at.Add(time.Minute) {
		v.Turns = append(v.Turns, workflow.Turn{Mark: "FN-01", Step: "s", Title: "At " + at.Format("15:04"), Begins: at, Ends: at.Add(time.Minute)})
	}
	text := page.NewPlan([]string{"FN-01"}, workflow.Timetable{Made: now, Finish: v.To, Bound: v.To, Proven: true, Visits: []workflow.Visit{v}}).Markdown(&page.Clock{Now: now})
	for _, want := range []string{"## Today 09:00–09:52", "## Today 09:52–10:44", "## Today 10:44–11:00", "| Z | 09:51 | At 09:51 |", "| a | 09:52 | At 09:52 |", "| p | 10:59 | At 10:59 |"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %s", want)
		}
	}
	if strings.Contains(text, "#  |") || strings.Count(text, "```\n") < 3 {
		t.Error(text)
	}
}

// A calendar says of a sitting what the page does.
func TestPlanCalendar(t *testing.T) {
	now := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	events := page.NewPlan([]string{"FN-01", "WR-01"}, twoSittings(now)).Calendar()
	if len(events) != 2 || events[0].Summary != "Bench: FN-01, WR-01" || !events[0].End.Equal(now.Add(2*time.Hour)) {
		t.Fatalf("%+v", events)
	}
	for _, want := range []string{"19:10 FN-01: Coat the left root\n", "19:29 FN-01: Join the roots: press, done by 19:40, second person\n",
		"\nLeft to dry and cure: FN-01: wing-roots cured by Tue 3 Mar 19:32; WR-01: nose set at 21:25, cured by Tue 3 Mar 20:55; WR-01: rest over at 21:10",
		"\nHave ready: brush, knife, contact, 2 × carbon tube\n", "\nAt the bench, in this order: A window open, or a fan on: on; The film iron: cold"} {
		if !strings.Contains(events[0].Description, want) {
			t.Errorf("no %q in %q", want, events[0].Description)
		}
	}
	two := twoSittings(now)
	two.Visits[0].After = append(two.Visits[0].After, two.Visits[0].After[2]) // once
	two.Visits[0].Turns[1].Hands, two.Visits[0].Turns[2].Hands = []int{2}, []int{1, 2}
	said := page.NewPlan([]string{"FN-01", "WR-01"}, two).Calendar()[0].Description
	for _, want := range []string{"19:10 FN-01: Coat the left root\n", "19:14 WR-01: Cut the slot, who: 2\n", "19:29 FN-01: Join the roots: press, done by 19:40, second person, who: 1+2\n", "WR-01: rest over at"} {
		if strings.Count(said, want) != 1 {
			t.Errorf("where two are at work: no %q in %q", want, said)
		}
	}
	if want := "19:00 FN-01: Release it, not alone"; events[1].Description != want {
		t.Errorf("%q, want %q", events[1].Description, want)
	}
}

// What the clock on the wall shows twice is told apart. Europe/Berlin, 25 October 2026 (IANA time zone database).
func TestPlanWhereClocksGoBack(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Skip("no time zones here:", err)
	}
	local := time.Local
	time.Local = zone
	defer func() { time.Local = local }()
	from := time.Date(2026, 10, 24, 23, 30, 0, 0, time.UTC)
	v := workflow.Visit{Sitting: workflow.Sitting{From: from, To: from.Add(3 * time.Hour)}}
	for _, minute := range []int{15, 45, 105} {
		at := from.Add(time.Duration(minute) * time.Minute)
		v.Turns = append(v.Turns, workflow.Turn{Mark: "FN-01", Step: "s", Title: "A step", Begins: at, Ends: at.Add(time.Minute)})
	}
	text := page.NewPlan([]string{"FN-01"}, workflow.Timetable{Made: from, Finish: from.Add(106 * time.Minute), Proven: true, Visits: []workflow.Visit{v}}).Markdown(&page.Clock{Now: from})
	for _, want := range []string{"Done by 02:16 CET", "| a | 01:45 |", "| b | 02:15 CEST |", "| c | 02:15 CET |", "02:00 CEST"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
}

// A plan of long sittings and of many steps stays within 80 columns, and within a terminal that has fewer.
func TestChartFits(t *testing.T) {
	for _, columns := range []int{0, 120, 60, 40} {
		chartFits(t, columns)
	}
}

func chartFits(t *testing.T, columns int) {
	now := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	most := 80
	if columns > 0 {
		most = min(most, columns)
	}
	for _, length := range []time.Duration{10 * time.Minute, 90 * time.Minute, 3 * time.Hour, 12 * time.Hour} {
		v := workflow.Visit{Sitting: workflow.Sitting{From: now, To: now.Add(length)}}
		for at := now; at.Before(v.To); at = at.Add(10 * time.Minute) {
			v.Turns = append(v.Turns, workflow.Turn{Mark: "FN-0123456789", Step: "s", Title: "A step", Begins: at, Ends: at.Add(10 * time.Minute)})
		}
		p := page.NewPlan([]string{"FN-0123456789"}, workflow.Timetable{Made: now, Finish: v.To, Bound: v.To, Proven: true, Visits: []workflow.Visit{v}})
		p.Columns = columns
		text := p.Markdown(&page.Clock{Now: now})
		_, chart, _ := strings.Cut(text, "```\n")
		chart, _, _ = strings.Cut(chart, "```")
		lines := strings.Split(strings.TrimSpace(chart), "\n")
		if !slices.ContainsFunc(lines, func(l string) bool { return strings.HasPrefix(l, "FN-0123456789  ") && len(l) > 20 }) {
			t.Errorf("%s: no row of the airframe in\n%s", length, chart)
		}
		for _, line := range lines {
			if len(line) > most-2 { // a page has a margin
				t.Errorf("%s: %d columns: %s", length, len(line), line)
			}
		}
	}
}

// Work alone holds a finish back only from the first sitting on; what begins in a later one waited for that.
func TestHeldBackByWorkAlone(t *testing.T) {
	now := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	day := 24 * time.Hour
	p := workflow.Timetable{Made: now, Finish: now.Add(day + time.Hour), Bound: now, Visits: []workflow.Visit{
		{Sitting: workflow.Sitting{From: now, To: now.Add(time.Hour)}, Turns: []workflow.Turn{{Mark: "FN-01", Step: "a", Begins: now, Ends: now.Add(time.Minute)}}},
		{Sitting: workflow.Sitting{From: now.Add(day), To: now.Add(day + time.Hour)}, Turns: []workflow.Turn{{Mark: "FN-01", Step: "b", Begins: now.Add(day), Ends: now.Add(day + time.Hour)}}}}}
	for begins, want := range map[time.Duration]string{0: "held back** by work alone", day: "held back** by when your sittings are: the last work begins at Tue 3 Mar 19:00"} {
		p.Chain = []workflow.Link{{Mark: "FN-01", Step: "a", Begins: now.Add(begins), Ends: now.Add(begins + time.Minute)}}
		if text := page.NewPlan([]string{"FN-01"}, p).Markdown(&page.Clock{Now: now}); !strings.Contains(text, want) {
			t.Errorf("%s is not in\n%s", want, text)
		}
	}
	// A sitting that is full is said so, and what dries till the next one.
	link := func(after workflow.After, joint string) workflow.Link {
		return workflow.Link{Mark: "FN-01", Step: "b", Title: "Join the roots", Begins: now.Add(day), Ends: now.Add(day + time.Hour), After: after, Joint: joint, Sitting: true}
	}
	said := func(full bool, links ...workflow.Link) string {
		p.Chain = append([]workflow.Link{{Mark: "FN-01", Step: "a", Begins: now, Ends: now.Add(time.Minute)}}, links...)
		is := page.NewPlan([]string{"FN-01"}, p)
		is.Full = full
		return is.Markdown(&page.Clock{Now: now})
	}
	for i, is := range []struct {
		link workflow.Link
		want string
	}{
		{link(workflow.AfterStep, ""), "nothing of the sitting is left for Join the roots"},
		{link(workflow.AfterHandling, "pad"), "the glue of pad sets, and the next sitting begins"},
	} {
		for full, want := range map[bool]string{false: "held back** longest from 19:01 until Tue 3 Mar 19:00: " + is.want + ".", true: "- 19:01 until Tue 3 Mar 19:00: " + is.want + "\n"} {
			if text := said(full, is.link); !strings.Contains(text, want) {
				t.Errorf("%d: %s is not in\n%s", i, want, text)
			}
		}
	}
	// Before the first there may be time to spare.
	spare := workflow.Link{Mark: "FN-01", Step: "b", Title: "Join the roots", Begins: now.Add(day), Ends: now.Add(day + time.Hour), After: workflow.AfterSitting, Sitting: true, Before: "Coat the roots", Spare: 75}
	for full, want := range map[bool]string{false: "held back** by when your sittings are: the last work begins at Tue 3 Mar 19:00; before that, Coat the roots could be up to 1 h 15 min later.\n",
		true: "- before Tue 3 Mar 19:00 there is time to spare: Coat the roots could be up to 1 h 15 min later\n- 1 step, 1 h of work\n"} {
		p.Chain = []workflow.Link{spare}
		is := page.NewPlan([]string{"FN-01"}, p)
		is.Full = full
		if text := is.Markdown(&page.Clock{Now: now}); !strings.Contains(text, want) {
			t.Errorf("%s is not in\n%s", want, text)
		}
	}
	cures := workflow.Link{Mark: "FN-01", Step: "c", Begins: now.Add(3 * day), Ends: now.Add(3*day + time.Minute), After: workflow.AfterCure, Joint: "roots", Sitting: true}
	for want, links := range map[string][]workflow.Link{
		": the glue of roots cures, and the next sitting begins. At the end of 1 sitting nothing is left for what comes next.":   {link(workflow.AfterStep, ""), cures},
		": nothing of the sitting is left for Join the roots. At the end of 1 more sitting nothing is left for what comes next.": {link(workflow.AfterStep, ""), {Mark: "FN-01", Step: "d", Begins: now.Add(day + 2*time.Hour), After: workflow.AfterStep, Sitting: true}},
	} {
		if text := said(false, links...); !strings.Contains(text, want) {
			t.Errorf("%s is not in\n%s", want, text)
		}
	}
}

// All times of a plan are in one zone, for programs too.
func TestPlanHasOneZone(t *testing.T) {
	made := time.Date(2026, 3, 3, 20, 26, 0, 0, time.FixedZone("", 3600))
	is := workflow.Timetable{Made: made, Lapses: []workflow.Lapse{{Closes: made.UTC()}}, Climate: []workflow.Climates{{Read: made.UTC()}, {}}}
	p := page.NewPlan(nil, is)
	for _, at := range []time.Time{p.Lapses[0].Closes, p.Climate[0].Read} {
		if at.Location() != made.Location() || !at.Equal(made) {
			t.Errorf("it is %s, in another zone than %s", at, made)
		}
	}
	if !p.Climate[1].Read.IsZero() || is.Climate[0].Read.Location() != time.UTC {
		t.Error("what was not read has a time, or the timetable was changed")
	}
}

// What must stand at the bench is named where no turn before has it so, in the order in which it is needed: who fits a propeller in one
// sitting after a plug was in is not told to fit it beside that.
func TestPlanSaysWhatMustStand(t *testing.T) {
	now := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	is := func(condition, state string) steps.Setting {
		return steps.Setting{Condition: condition, State: state}
	}
	titles := []workflow.Titled{{Title: "The propeller"}, {Title: "The plug"}}
	v := workflow.Visit{Sitting: workflow.Sitting{From: now, To: now.Add(time.Hour)}, Turns: []workflow.Turn{
		{Mark: "FN-01", Title: "Plug it in", Needs: []steps.Setting{is("propeller", "off"), is("battery", "out")}, Titles: titles, Sets: []steps.Setting{is("battery", "in")}},
		{Mark: "FN-01", Title: "Try it", Needs: []steps.Setting{is("propeller", "off"), is("battery", "in")}, Titles: titles},
		{Mark: "FN-01", Title: "Tie it down", Needs: []steps.Setting{is("battery", "out"), is("propeller", "on")}, Titles: []workflow.Titled{{Title: "The plug"}, {Title: "The propeller"}}},
		{Mark: "FN-01", Title: "Run it", Needs: []steps.Setting{is("propeller", "on"), is("battery", "in")}, Titles: titles},
	}}
	text := page.NewPlan([]string{"FN-01"}, workflow.Timetable{Made: now, Finish: v.To, Bound: v.To, Proven: true, Visits: []workflow.Visit{v}}).Markdown(&page.Clock{Now: now})
	if want := "The propeller: off; The plug: out; The plug: out; The propeller: on; The plug: in\n"; !strings.Contains(text, want) {
		t.Errorf("no %s in\n%s", want, text)
	}
}

// Of several airframes in a sitting each condition of one is named with its mark, and one of the bench is not; what ends something till it
// is needed again asks for nothing before.
func TestPlanSaysOfWhichAirframeItMustStand(t *testing.T) {
	now := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	is := func(condition, state string) steps.Setting {
		return steps.Setting{Condition: condition, State: state}
	}
	titles := []workflow.Titled{{Title: "The propeller"}}
	v := workflow.Visit{Sitting: workflow.Sitting{From: now, To: now.Add(time.Hour)}, Turns: []workflow.Turn{
		{Mark: "FN-01", Title: "Pull the plug", Again: workflow.AgainSafe, Needs: []steps.Setting{is("propeller", "on")}, Titles: titles[:1], Sets: []steps.Setting{is("battery", "out")}},
		{Mark: "FN-01", Title: "Tie it down", Needs: []steps.Setting{is("propeller", "on"), is("iron", "cold")}, Titles: []workflow.Titled{titles[0], {Title: "The iron", Bench: true}}},
		{Mark: "WR-01", Title: "Try it", Needs: []steps.Setting{is("propeller", "off")}, Titles: titles[:1]},
	}}
	text := page.NewPlan([]string{"FN-01", "WR-01"}, workflow.Timetable{Made: now, Finish: v.To, Bound: v.To, Proven: true, Visits: []workflow.Visit{v}}).Markdown(&page.Clock{Now: now})
	if want := "in this order:** FN-01 · The propeller: on; The iron: cold; WR-01 · The propeller: off\n"; !strings.Contains(text, want) {
		t.Errorf("no %s in\n%s", want, text)
	}
	v.Turns = v.Turns[:1]
	if text := page.NewPlan([]string{"FN-01"}, workflow.Timetable{Made: now, Finish: v.To, Bound: v.To, Proven: true, Visits: []workflow.Visit{v}}).Markdown(&page.Clock{Now: now}); strings.Contains(text, "The propeller: on") {
		t.Errorf("who pulls the plug fits the propeller first:\n%s", text)
	}
}

// What is to be so before anybody leaves has its mark in each sitting of a plan of several, also where only one of them has work.
func TestPlanMarksWhatIsLeftInEverySitting(t *testing.T) {
	now := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	iron := workflow.Left{Mark: "FN-01", Setting: steps.Setting{Condition: "iron", State: "cold"}, Title: "The film iron"}
	v := workflow.Visit{Sitting: workflow.Sitting{From: now, To: now.Add(time.Hour)}, Turns: []workflow.Turn{{Mark: "FN-01", Title: "Film it", Begins: now, Ends: now.Add(time.Minute)}}, Leave: []workflow.Left{iron}}
	later := v
	later.Sitting = workflow.Sitting{From: now.Add(24 * time.Hour), To: now.Add(25 * time.Hour)}
	for marks, want := range map[string]int{"FN-01 WR-01": 4, "FN-01": 0} {
		p := page.NewPlan(strings.Fields(marks), workflow.Timetable{Made: now, Finish: later.To, Bound: later.To, Proven: true, Visits: []workflow.Visit{v, later}})
		text := p.Markdown(&page.Clock{Now: now})
		for _, e := range p.Calendar() {
			text += e.Description
		}
		if n := strings.Count(text, "FN-01 · The film iron: cold"); n != want {
			t.Errorf("a plan of %s has it %d times: %s", marks, n, text)
		}
	}
}

// A sitting on one line names two of its steps, and each that wants a second person at its time: nobody takes that for the time of another.
func TestSittingOnALineSaysWhichStepWantsASecond(t *testing.T) {
	now := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	visit := func(day int, turns ...workflow.Turn) workflow.Visit {
		from := now.Add(time.Duration(day) * 24 * time.Hour)
		for k := range turns {
			turns[k].Mark, turns[k].Begins, turns[k].Ends = "FN-01", from.Add(time.Duration(10*k)*time.Minute), from.Add(time.Duration(10*k+10)*time.Minute)
		}
		return workflow.Visit{Sitting: workflow.Sitting{From: from, To: from.Add(time.Hour)}, Turns: turns}
	}
	cut := workflow.Turn{Step: "cut", Title: "Cut the slot"}
	try := workflow.Turn{Step: "try", Title: "Try the booms", Second: true, Alone: []string{"A mirror"}}
	set := workflow.Turn{Step: "set", Title: "Set the booms"}
	p := page.NewPlan([]string{"FN-01"}, workflow.Timetable{Made: now, Finish: now.Add(100 * time.Hour), Bound: now, Visits: []workflow.Visit{visit(0, cut), visit(1, cut, try, set), visit(2, workflow.Turn{Step: "range", Title: "Check the range", Second: true})}})
	text := p.Markdown(&page.Clock{Now: now})
	for _, want := range []string{"Cut the slot … Set the booms; at 19:10 Try the booms: second person\n", ": Check the range, 19:00 **not alone**\n"} {
		if !strings.Contains(text, want) {
			t.Errorf("%s is not in\n%s", want, text)
		}
	}
}
