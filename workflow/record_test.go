package workflow

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/steps/measuring"
	"fettle/workflow/journal"
)

// Each sitting is judged once it is decided, with the value, the limits and the uncertainty
// that were judged then. The figures are reckoned by hand from the sheet of the tests:
// caliper U = 0.03 mm; of a difference by the rule U = 0.5 mm · √(2/3). The last root is the mean
// of 4.475 mm and 4.46 mm, of which the first is undecided: u² = (0.0005 + 0.0004/2)/4 of the
// gauge and (0.0001125 - 0.0001)/2 of the spread beyond it, with 841 degrees of freedom, k 2.025.
func TestJudgements(t *testing.T) {
	b := inspected(t)
	r, err := b.state.Record(b.now)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, j := range r.Judgements {
		text := fmt.Sprintf("%s %s n=%d", j.Gate.Name, j.Report.Standing, len(j.Entries))
		for _, v := range j.Judged {
			text += fmt.Sprintf("; %s %.4g in %g..%g U %.3g room %.3g", v.Named(), v.Value, v.Low, v.High, v.U, v.Room)
		}
		if j.Concession != nil {
			text += "; conceded: " + j.Concession.Reason
		}
		got = append(got, text)
	}
	want := []string{
		"slot current n=2; root 4 in 3.5..4.5 U 0.03 room 0.5; tip 3.9 in 3.5..4.5 U 0.03 room 0.4",
		"slot out of tolerance n=2; root 5 in 3.5..4.5 U 0.03 room -0.5; tip 4 in 3.5..4.5 U 0.03 room 0.5; conceded: holds",
		"square current n=2; left 500 in NaN..NaN U 0.289 room NaN; right 501 in NaN..NaN U 0.289 room NaN; left / right 1 in NaN..3 U 0.408 room 0.667",
		"slot undecided n=2; root 4.475 in 3.5..4.5 U 0.03 room 0.025; tip 4 in 3.5..4.5 U 0.03 room 0.5",
		"slot current n=1; root 4.468 in 3.5..4.5 U 0.0273 room 0.0325; tip 4 in 3.5..4.5 U 0.03 room 0.5",
	}
	if !slices.Equal(got, want) {
		t.Errorf("judged:\n%s\nwant:\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if len(r.Concessions) != 1 || r.Concessions[0].InForce {
		t.Errorf("the concession ended with the next reading: %+v", r.Concessions)
	}
	if len(r.Releases) != 1 || r.Releases[0].Ended.IsZero() || len(r.Releases[0].Young) != 0 {
		t.Errorf("releases: %+v", r.Releases)
	}
	if len(r.Holds) != 1 || r.Holds[0].Step != "blade-care" || len(r.Joints) != 2 || len(r.Damages) != 1 || r.Damages[0].Repaired {
		t.Errorf("%+v, %d joints, %+v", r.Holds, len(r.Joints), r.Damages)
	}
	for _, p := range r.Parts {
		if p.Zone != "tail" && p.Origin != Original { // no step of this build is of the tail
			t.Errorf("%+v was made by the build", p)
		}
	}
}

// A verdict stays the one that was given: what is read afterwards has its own, be it one
// point alone, and be it by a clock that stands still.
func TestLaterReadingsRewriteNoVerdict(t *testing.T) {
	between := func(low, high string) measuring.Limits { return measuring.Limits{Low: q(low), High: q(high)} }
	scales := func(function string) measuring.Result {
		return measuring.Result{Function: function, Of: []string{"a", "b"}, Reads: q("1 g"), Stations: []measuring.Station{{Point: "a", At: q("-100 mm")}, {Point: "b", At: q("150 mm")}}}
	}
	of := func(function string) measuring.Result {
		return measuring.Result{Function: function, Of: []string{"a", "b"}, Reads: q("0.5 mm")}
	}
	angle := of("angle")
	angle.Run = q("100 mm")
	for name, c := range map[string]struct {
		gate         steps.Gate
		in, out, one []string
	}{
		"balance":    {steps.Gate{Gauge: "scale", Result: scales(measuring.Balance), Limits: between("50 mm", "70 mm")}, []string{"a=216 g", "b=384 g"}, []string{"a=180 g", "b=420 g"}, []string{"b=600 g"}},
		"lateral":    {steps.Gate{Gauge: "scale", Result: scales(measuring.Lateral), Limits: between("50 mm", "70 mm")}, []string{"a=216 g", "b=384 g"}, []string{"a=180 g", "b=420 g"}, []string{"a=100 g"}},
		"difference": {steps.Gate{Gauge: "rule", Result: of("difference"), Limits: between("0 mm", "10 mm")}, []string{"a=25 mm", "b=20 mm"}, []string{"a=35 mm", "b=20 mm"}, []string{"b=40 mm"}},
		"mean":       {steps.Gate{Gauge: "rule", Result: of("mean"), Limits: between("10 mm", "30 mm")}, []string{"a=25 mm", "b=20 mm"}, []string{"a=35 mm", "b=36 mm"}, []string{"b=60 mm"}},
		"sum":        {steps.Gate{Gauge: "rule", Result: of("sum"), Limits: between("20 mm", "60 mm")}, []string{"a=25 mm", "b=20 mm"}, []string{"a=35 mm", "b=36 mm"}, []string{"b=60 mm"}},
		"ratio":      {steps.Gate{Gauge: "rule", Result: of("ratio"), Limits: between("50 %", "150 %")}, []string{"a=25 mm", "b=20 mm"}, []string{"a=45 mm", "b=20 mm"}, []string{"b=10 mm"}},
		"angle":      {steps.Gate{Gauge: "rule", Result: angle, Limits: between("0°", "10°")}, []string{"a=25 mm", "b=20 mm"}, []string{"a=45 mm", "b=20 mm"}, []string{"b=-20 mm"}},
		"alike":      {steps.Gate{Gauge: "rule", Limits: measuring.Limits{Alike: q("5 mm")}}, []string{"a=25 mm", "b=24 mm"}, []string{"a=45 mm", "b=20 mm"}, []string{"b=40 mm"}},
		"each":       {steps.Gate{Gauge: "rule", Limits: between("10 mm", "30 mm")}, []string{"a=25 mm", "b=20 mm"}, []string{"a=45 mm", "b=20 mm"}, []string{"b=40 mm"}},
	} {
		for _, apart := range []time.Duration{0, time.Minute} {
			s := sheet()
			s.Gauges = append(s.Gauges, steps.Gauge{Name: "scale", Title: "Scale", Resolution: q("1 g"), Uncertainty: q("1 g")})
			c.gate.Name, c.gate.Points, c.gate.Repeat, c.gate.Of = "it", []string{"a", "b"}, 1, []string{"wing"}
			s.Gates = append(s.Gates, c.gate)
			docs := documents()
			docs.Sheets["sha256:it"] = s
			b := &bench{t: t, now: evening, by: "builder", docs: &docs}
			b.state = b.replay(nil)
			b.must(Register{Mark: "PL-01", Sheet: s, Digest: "sha256:it"})
			for _, then := range [][]string{c.in, c.one, nil, c.in, c.out} {
				m := readings("it", then...)
				m.Sure = true
				if then == nil {
					b.must(Rework{Gate: "it"})
				} else {
					b.must(m)
				}
				b.after(apart)
			}
			r, err := b.state.Record(b.now)
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, j := range r.Judgements {
				got = append(got, fmt.Sprint(j.Report.Standing, j.Entries))
			}
			if want := []string{"current[1 2]", "out of tolerance[3]", "current[5 6]", "out of tolerance[7 8]"}; !slices.Equal(got, want) {
				t.Errorf("%s, %s apart: judged %q, want %q", name, apart, got, want)
			}
		}
	}
}

// What stands near its limit is told, the nearest first; what is found bad later is told too,
// and joints that a colder bench makes younger than their cure.
func TestRecordOfDoubt(t *testing.T) {
	b := released(t)
	if near := b.state.NearLimit(b.now); len(near) != 0 {
		t.Errorf("near: %+v", near)
	}
	b.must(readings("slot", "root=4.43 mm", "tip=3.54 mm"))
	near := b.state.NearLimit(b.now)
	if len(near) != 2 || near[0].Value.Named() != "tip" || math.Abs(near[0].Value.Room-0.04) > 1e-9 {
		t.Errorf("near: %+v", near)
	}
	b.must(badCheck("rule"))
	r, err := b.state.Record(b.now)
	if err != nil || len(r.BadGauges) != 1 || len(r.BadGauges[0].Readings) != 2 {
		t.Fatalf("%+v, %v", r.BadGauges, err)
	}
	for _, p := range r.BadGauges[0].Readings {
		if j := r.JudgementOf(p); j == nil || j.Gate.Name != "square" || j.Doubt == nil || !j.Passed() {
			t.Errorf("as judged then it passed, and is in doubt since: %+v", j)
		}
	}
	young := func() (all []string) {
		r, err := b.state.Record(b.now)
		if err != nil {
			t.Fatal(err)
		}
		for _, y := range r.Releases[0].Young {
			all = append(all, y.Name)
		}
		return all
	}
	if got := young(); len(got) != 0 {
		t.Errorf("young at the release: %q", got)
	}
	for _, j := range b.state.everyJoint() {
		if j.Name == "saddle" {
			back := b.now.Sub(j.Joined) - time.Minute
			b.written(back, journal.BenchRead{Temperature: q("10 °C")})
			break
		}
	}
	if got := young(); !slices.Equal(got, []string{"roots", "saddle"}) {
		t.Errorf("on a bench that was colder than anybody said, young at the release: %q", got)
	}
}
