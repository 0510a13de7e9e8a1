package robot_test

import (
	"fmt"
	"math/big"
	"testing"
	"time"

	"fettle/steps"
	"fettle/steps/quantity"
	"fettle/store"
	"fettle/workflow"
	"fettle/workflow/plan"
)

// Two pairs of hands at one bench: a pack is charged on one airframe while contact adhesive dries on
// the other, but never beside it or its vapour; and no charger is left on until the next sitting.
func TestChargingIsPlannedApart(t *testing.T) {
	t.Parallel()
	minutes := func(n int64) quantity.Quantity {
		q, err := quantity.New(big.NewRat(n, 1), "min")
		if err != nil {
			t.Fatal(err)
		}
		return q
	}
	off, on := []steps.Setting{{Condition: "charger", State: "off"}}, []steps.Setting{{Condition: "charger", State: "on"}}
	works := map[string]steps.Stage{
		"SK-01": {Name: "glue", Steps: []steps.Step{
			{Name: "coat", Kind: steps.Coat, Joint: "tab", Adhesives: []string{"contact"}, Hands: minutes(5)},
			{Name: "press", Kind: steps.Join, Joint: "tab", Hands: minutes(5)},
		}},
		"CW-01": {Name: "charge", Steps: []steps.Step{
			{Name: "pack", Kind: steps.Do, Do: "Look at it.", Hands: minutes(20)},
			{Name: "plug", Kind: steps.Do, Do: "Plug it in.", Hands: minutes(5), Sets: on},
			{Name: "charge", Kind: steps.Do, Do: "Stay by it.", Hands: minutes(55), Needs: on, Sets: off},
		}},
	}
	for _, lasts := range []time.Duration{3 * time.Hour, 70 * time.Minute, 57 * time.Minute} {
		t.Run(fmt.Sprint(lasts), func(t *testing.T) {
			var all crew
			for mark, design := range map[string]string{"SK-01": "skerry", "CW-01": "causeway"} {
				w, sheet := worker(t), named(t, design)
				act(t, w, workflow.Register{Mark: mark, Sheet: sheet.Sheet, Digest: store.Digest(sheet.Bytes)})
				p := &steps.Procedure{Name: works[mark].Name, Kind: steps.Check, Revision: 1, Stages: []steps.Stage{works[mark]}}
				w.Documents.Procedures["sha256:"+p.Name] = p
				act(t, w, workflow.Start{Procedure: p, Digest: "sha256:" + p.Name, Sheet: w.State.Sheet, SheetDigest: w.State.SheetDigest})
				all = append(all, w)
			}
			h := workflow.Hours{Hands: 2}
			for day := range 4 {
				from := all[0].Now.AddDate(0, 0, day)
				h.Sittings = append(h.Sittings, workflow.Sitting{From: from, To: from.Add(lasts)})
			}
			p, err := all.plan(t, all[0].Now, h, plan.Options{})
			if err != nil {
				t.Fatal(err)
			}
			of := map[string]workflow.Turn{}
			for _, v := range p.Visits {
				for _, turn := range v.Turns {
					of[turn.Step] = turn
				}
			}
			if lasts < time.Hour { // plugging it in and staying by it take an hour, and it is not left on until the next day
				if _, plugs := of["plug"]; plugs || len(of) != 3 || len(p.Stops) != 1 || p.Stops[0].Step != "plug" || len(p.Free) != 1 || p.Free[0].Once != time.Hour {
					t.Errorf("%+v, %+v, %+v", p.Visits, p.Stops, p.Free)
				}
				return
			}
			if apart := of["charge"].Begins.Sub(of["plug"].Ends); apart != 0 {
				t.Errorf("the charger is on for %s before anybody stays by it", apart)
			}
			if gone := of["press"].Ends.Add(30 * time.Minute); of["plug"].Begins.Before(gone) && of["charge"].Ends.After(of["coat"].Begins) {
				t.Errorf("the charger is on from %s to %s, the glue and its vapour are there from %s to %s", of["plug"].Begins, of["charge"].Ends, of["coat"].Begins, gone)
			}
			all.carry(t, p)
		})
	}
}
