package workflow

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// What changed since the last good flight: of two flights the one that was released and
// landed softly, with the gates as they stood right before it.
func TestSinceGood(t *testing.T) {
	b := released(t)
	if all, err := b.state.SinceGood(b.now); all != nil || err != nil {
		t.Errorf("nothing flew yet: %+v, %v", all, err)
	}
	b.must(setting("propeller", "off"), LogFlight{Landing: Soft})
	b.after(time.Hour)
	if all, err := b.state.SinceGood(b.now); err != nil || all == nil || len(all.Flights)+len(all.Equipment)+len(all.Balance)+len(all.Throws)+len(all.Readings)+len(all.Damages)+len(all.Work)+len(all.Reworked)+len(all.Conditions) != 0 {
		t.Errorf("nothing changed: %+v, %v", all, err)
	}
	b.must(setting("propeller", "on"), ChangeEquipment{Item: "camera", Change: Moved, Arm: q("-40 mm")}, readings("slot", "root=4.1 mm", "tip=4 mm"),
		LogFlight{Landing: Hard, Check: "look"}, LogFlight{Landing: Soft, Check: "look"}, puffed("pod"), setting("propeller", "on"))
	all, err := b.state.SinceGood(b.now)
	if err != nil || all == nil {
		t.Fatal(all, err)
	}
	var got []string
	for _, f := range all.Flights {
		got = append(got, "flew "+f.Landing)
	}
	for _, e := range all.Equipment {
		got = append(got, fmt.Sprint("changed ", e.Facts.Kind()))
	}
	for _, g := range append(append(all.Balance, all.Throws...), all.Readings...) {
		got = append(got, fmt.Sprintf("%s: %s, %s", g.Is.Gate.Name, g.Was.Standing, g.Is.Standing))
	}
	for _, d := range all.Damages {
		got = append(got, d.Damage+" at "+d.Zone)
	}
	for _, c := range all.Conditions {
		got = append(got, c.Condition+" "+c.Was+" "+c.Is)
	}
	want := "flew hard|flew soft|changed EquipmentChanged|slot: current, stale|square: current, stale|D1 at pod|propeller off on"
	if strings.Join(got, "|") != want || all.Flight.Landing != Soft || all.Flight.Position >= all.Flights[0].Position {
		t.Errorf("changed: %s\nwant:    %s", strings.Join(got, "|"), want)
	}
}
