package page

import (
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/workflow"
)

// What somebody must see to comes first on a board of lines.
func TestOrderOfTiles(t *testing.T) {
	at := func(minute int) time.Time { return time.Date(2026, 3, 3, 19, minute, 0, 0, time.UTC) }
	want := []Tile{
		{mark: "CW-09", need: needsCoat, by: at(2)},
		{mark: "CW-01", need: needsCoat, by: at(5)},
		{mark: "CW-08", need: needsJoin, by: at(20)},
		{mark: "CW-02", need: needsJoin, by: at(40)},
		{mark: "CW-14", need: needsRepair, first: true}, // in quarantine
		{mark: "CW-03", need: needsRepair},
		{mark: "CW-07", need: needsRepair},
		{mark: "CW-06", need: needsCheck},
		{mark: "CW-05", need: needsWork},
		{mark: "CW-13", need: needsTime, by: at(30)},
		{mark: "CW-04", need: needsTime, by: at(50)},
		{mark: "CW-12", need: needsTime}, // for nobody knows how long
		{mark: "CW-11", need: needsJob},
		{mark: "CW-10", need: needsNothing},
		{mark: "CW-15", need: needsNothing},
	}
	marks := func(tiles []Tile) (all []string) {
		for _, t := range tiles {
			all = append(all, t.mark)
		}
		return all
	}
	tiles := slices.Clone(want)
	slices.SortFunc(tiles, func(a, b Tile) int { return strings.Compare(a.mark, b.mark) })
	if got := marks(NewBoard(tiles).lines); !slices.Equal(got, marks(want)) {
		t.Errorf("the order is %v,\nwant         %v", got, marks(want))
	}
}

func TestSoonestWindow(t *testing.T) {
	now := time.Date(2026, 3, 3, 19, 0, 0, 0, time.UTC)
	timer := func(name string, phase workflow.Phase, opens, closes time.Duration) Timer {
		return Timer{Name: name, Phase: phase, Opens: now.Add(opens), Closes: now.Add(closes)}
	}
	for name, test := range map[string]struct {
		timers []Timer
		want   string
	}{
		"nothing runs":        {nil, ""},
		"drying":              {[]Timer{timer("a", workflow.Tacking, time.Minute, time.Hour)}, ""},
		"found wet":           {[]Timer{timer("a", workflow.Tacking, -time.Minute, time.Hour)}, "a"},
		"one face coated":     {[]Timer{timer("a", workflow.HalfCoated, 0, time.Hour)}, "a"},
		"curing":              {[]Timer{timer("a", workflow.Curing, 0, 0), timer("b", workflow.Setting, 0, 0)}, ""},
		"the first to close":  {[]Timer{timer("a", workflow.Open, 0, time.Hour), timer("b", workflow.Open, 0, time.Minute)}, "b"},
		"a wait has no coat":  {[]Timer{{Name: "w", Opens: now.Add(time.Minute)}}, ""},
		"open before tacking": {[]Timer{timer("a", workflow.Tacking, time.Minute, 2*time.Minute), timer("b", workflow.Open, 0, time.Hour)}, "b"},
	} {
		t.Run(name, func(t *testing.T) {
			got, ok := soonest(test.timers, now)
			if got.Name != test.want || ok != (test.want != "") {
				t.Errorf("found %q, %v; want %q", got.Name, ok, test.want)
			}
		})
	}
}
