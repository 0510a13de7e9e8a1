package book

import (
	"strings"
	"testing"
	"time"

	"fettle/workflow"
)

// What is planned in a sitting that goes on stays in the book until it is done, however late it is: the first thing after a
// crash is to pull the plug. A sitting that is over is left out. Bars that are wide enough have the letter of their step.
func TestLateIsStillComing(t *testing.T) {
	at := func(day, hour, minute int) time.Time { return time.Date(2026, 3, day, hour, minute, 0, 0, time.UTC) }
	turn := func(step string, day, hour, minute, takes int) workflow.Turn {
		begins := at(day, hour, minute)
		return workflow.Turn{Mark: "SK-01", Job: "repair", Step: step, Title: "Do " + step, Begins: begins, Ends: begins.Add(time.Duration(takes) * time.Minute)}
	}
	plan := &workflow.Timetable{Made: at(2, 18, 0), Visits: []workflow.Visit{
		{Sitting: workflow.Sitting{From: at(2, 19, 0), To: at(2, 20, 0)}, Turns: []workflow.Turn{turn("over", 2, 19, 0, 10)}},
		{Sitting: workflow.Sitting{From: at(3, 19, 0), To: at(3, 21, 0)}, Turns: []workflow.Turn{turn("plug-out", 3, 19, 0, 1), turn("done", 3, 19, 1, 9), turn("glue", 3, 19, 10, 30)}},
	}}
	s := &workflow.State{}
	s.Airframe.Mark = "SK-01"
	m := &maker{o: Options{Plan: plan, Zone: time.UTC}, s: s, now: at(3, 19, 12), done: map[string][]entry{"repair/done": {{}}}}
	c := m.coming()
	if c == nil || len(c.Days) != 1 || len(c.Drawing.Lanes) != 1 {
		t.Fatalf("%+v", c)
	}
	if text := c.Days[0].Text; !strings.HasPrefix(text, "a 19:00 Do plug-out") || !strings.Contains(text, "; b 19:10 Do glue") || strings.Contains(text, "Do done") {
		t.Error(text)
	}
	if spans := c.Drawing.Lanes[0].Spans; len(spans) != 2 || spans[0].Name != "" || spans[1].Name != "b" {
		t.Errorf("%+v", spans)
	}
	if m.now = at(3, 21, 0); m.coming() != nil {
		t.Error("a sitting that is over is coming")
	}
}
