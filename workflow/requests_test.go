package workflow

import (
	"errors"
	"strings"
	"testing"

	"fettle/steps"
	"fettle/workflow/journal"
)

// What is taken, and what is refused, at the edges of what a person may enter.
func TestWhatMayBeEntered(t *testing.T) {
	long, longer := strings.Repeat("x", 8192), strings.Repeat("x", 8193)
	seen := func(finding, zone, severity, note string) ReportDamage {
		return ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: finding, Zone: zone, Severity: severity, Note: note}}}
	}
	check := func(note string) CheckGauge {
		return CheckGauge{Gauge: "rule", Of: q("10 mm"), Reads: q("10 mm"), Note: note}
	}
	photo := func(of ...int64) KeepPhoto { return KeepPhoto{journal.PhotoKept{Of: of}} }
	sealed := func(size int64) RecordSeal { return RecordSeal{journal.Sealed{Size: size}} }
	bench := func(temperature, humidity string) ReadBench {
		r := ReadBench{}
		if temperature != "" {
			r.Temperature = q(temperature)
		}
		if humidity != "" {
			r.Humidity = q(humidity)
		}
		return r
	}
	equipment := func(item, change string) ChangeEquipment {
		return ChangeEquipment{Item: item, Change: change, Mass: q("45 g"), Arm: q("120 mm")}
	}
	size := building(t).state.Size()
	var nonsense, nothing error = ErrBadRequest, &UnknownError{}
	for _, c := range []struct {
		name string
		r    Request
		want error // nil: it is taken
	}{
		{"a note", Note{long}, nil},
		{"a note with spaces around it", Note{"  " + long + "\n"}, nil},
		{"a note that is too long", Note{longer}, nonsense},
		{"a note of spaces", Note{" \n"}, nonsense},
		{"a check with a note", check(long), nil},
		{"a check with a note that is too long", check(longer), nonsense},
		{"a damage with a note", seen("cracked", "wing", steps.Slight, long), nil},
		{"a damage with a note that is too long", seen("cracked", "wing", steps.Slight, longer), nonsense},
		{"a damage in own words", seen("a hole by a thorn", "wing", steps.Total, ""), nil},
		{"a damage in many words", seen(strings.Repeat("y", 200), "wing", steps.Total, ""), nil},
		{"a damage in too many words", seen(strings.Repeat("y", 201), "wing", steps.Total, ""), nonsense},
		{"a damage without words", seen(" ", "wing", steps.Total, ""), nonsense},
		{"a damage mistyped", seen("craked", "wing", steps.Total, ""), nothing},
		{"a damage of no zone", seen("cracked", "boom", steps.Total, ""), nothing},
		{"a damage of no severity", seen("cracked", "wing", "bad", ""), nothing},
		{"no damage", ReportDamage{Triage: triage()}, nonsense},
		{"a photo of the first entry and the last", photo(0, size-1), nil},
		{"a photo of an entry before the first", photo(-1), nothing},
		{"a photo of an entry after the last", photo(0, size), nothing},
		{"a seal of one entry", sealed(1), nil},
		{"a seal of all entries", sealed(size), nil},
		{"a seal of nothing", sealed(0), nonsense},
		{"a seal of more", sealed(size + 1), nonsense},
		{"a cold bench", bench("-40 °C", ""), nil},
		{"too cold a bench", bench("-40.1 °C", ""), nonsense},
		{"a hot bench", bench("60 °C", "40 %"), nil},
		{"too hot a bench", bench("60.1 °C", ""), nonsense},
		{"a bench of a length", bench("20 mm", ""), nonsense},
		{"humidity alone", bench("", "40 %"), nonsense},
		{"dry air", bench("20 °C", "0 %"), nil},
		{"fog", bench("20 °C", "100 %"), nil},
		{"more than fog", bench("20 °C", "100.1 %"), nonsense},
		{"less than dry", bench("20 °C", "-1 %"), nonsense},
		{"a humidity in grams", bench("20 °C", "40 g"), nonsense},
		{"nothing of the bench", bench("", ""), nonsense},
		{"a camera fitted", equipment("camera", Fitted), nil},
		{"a camera removed", equipment("camera", Removed), nil},
		{"a camera painted", equipment("camera", "painted"), nothing},
		{"equipment that the sheet does not list", equipment("anchor", Fitted), nonsense},
		{"with its zone and mass", ChangeEquipment{Item: "anchor", Change: Fitted, Zone: "pod", Mass: q("3 g")}, nil},
		{"with a zone that there is not", ChangeEquipment{Item: "anchor", Change: Fitted, Zone: "keel", Mass: q("3 g")}, nothing},
		{"with no mass", ChangeEquipment{Item: "anchor", Change: Fitted, Zone: "pod"}, nonsense},
		{"no such equipment", equipment("anchor", Removed), nothing},
		{"with a mass of nothing", ChangeEquipment{Item: "anchor", Change: Fitted, Zone: "pod", Mass: q("0 g")}, nonsense},
		{"a camera, misspelt", equipment("camrea", Fitted), nothing},
		{"a zone of what is listed", ChangeEquipment{Item: "camera", Change: Fitted, Zone: "pod", Mass: q("3 g")}, nonsense},
		{"a name of no letters", ChangeEquipment{Item: "camera", Change: Fitted, Name: " - "}, nonsense},
		{"a soft landing", LogFlight{Landing: Soft}, nil},
		{"a hard landing", LogFlight{Landing: Hard}, nil},
		{"no landing", LogFlight{}, nothing},
		{"a quarantine of no damage", ClearQuarantine{Damage: "D9"}, nothing},
		{"a hold with too many answers", Clear{Step: "set", Answers: []bool{true}}, nonsense},
		{"a rework of no gate", Rework{Gate: "slat"}, nothing},
		{"a concession on no gate", Concede{Gate: "slat", Reason: "holds"}, nothing},
		{"a repair of no damage", Start{Procedure: repairWork(), Digest: repairSum, Sheet: sheet(), SheetDigest: sheetSum, Zone: "wing", Damages: []string{"D9"}}, nothing},
	} {
		b := building(t)
		err := b.try(c.r)
		switch {
		case c.want == nil && err != nil, c.want == nonsense && !errors.Is(err, ErrBadRequest), c.want == nothing && !errors.As(err, new(*UnknownError)):
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

// An airframe is registered once, with options of its design, each once.
func TestRegistering(t *testing.T) {
	b := &bench{t: t, now: evening, by: "builder"}
	b.state = replay(t, nil)
	if err := b.try(Register{Mark: "PL-01", Sheet: sheet(), Digest: sheetSum, Options: []string{"ruder"}}); !errors.As(err, new(*UnknownError)) {
		t.Errorf("an option that is not there: %v", err)
	}
	if err := b.try(Register{Mark: "pl-01", Sheet: sheet(), Digest: sheetSum}); !errors.Is(err, ErrBadRequest) {
		t.Errorf("a mark in small letters: %v", err)
	}
	r := Register{Mark: "PL-01", Sheet: sheet(), Digest: sheetSum, Options: []string{"rudder", "rudder"}}
	b.must(r)
	if o := b.state.Airframe.Options; len(o) != 1 || o[0] != "rudder" || b.state.Airframe.Design != "plover" || !b.state.Since.Equal(evening) {
		t.Errorf("registered is %+v", b.state.Airframe)
	}
	mustContain(t, b.refused(r, ByState), "already registered")
}

// Jobs of one procedure are told apart by a number; one is not begun twice on one
// zone while it is open.
func TestNamesOfJobs(t *testing.T) {
	b := released(t)
	start := func(zone string) Start {
		return Start{Procedure: repairWork(), Digest: repairSum, Sheet: sheet(), SheetDigest: sheetSum, Zone: zone}
	}
	b.must(start("wing"), start("tail"))
	mustContain(t, b.refused(start("wing"), ByState), "skin-lifted")
	mustContain(t, b.refused(start("tail"), ByState), "skin-lifted-2")
	b.must(Undo{Position: b.state.Jobs[1].Position}, start("wing"))
	var ids string
	for _, j := range b.state.Jobs {
		ids += j.ID + " "
	}
	if ids != "plover-build skin-lifted-2 skin-lifted " {
		t.Errorf("jobs %s", ids)
	}
	b.done("skin-lifted/lay-skin")
	if len(b.state.Jobs[1].done) != 0 || len(b.state.Jobs[2].done) != 1 {
		t.Error("work in one job was counted in another")
	}
	newer := start("tail")
	newer.Procedure.Name = "skin-torn"
	newer.SheetDigest = strictSum
	mustContain(t, b.refused(newer, ByState), "has changed since job skin-lifted-2 was opened", "[move-job skin-lifted-2")
	b = released(t)
	newer = start("tail")
	newer.SheetDigest = strictSum
	b.must(newer) // no job is open
	if b.state.SheetDigest != strictSum {
		t.Errorf("the sheet is %s", b.state.SheetDigest)
	}
}

// A remedy names the airframe that it helps.
func TestARemedyNamesItsAirframe(t *testing.T) {
	b := released(t)
	b.must(Undo{Position: b.state.Release.Position}, readings("square", "left=510 mm"))
	for _, r := range b.state.ReleaseProof(b.now).Reasons() {
		if r.Remedy.Kind != ToRework || r.Remedy.Mark != "PL-01" || r.Remedy.Gate != "square" {
			t.Errorf("%+v", r)
		}
	}
}

// A reading given twice in one request would put another one out of sight.
func TestAPointIsGivenOnceInARequest(t *testing.T) {
	b := building(t, "rudder")
	b.must(setting("propeller", "off"))
	b.badly(readings("slot", "root=9 mm", "root=4 mm", "tip=4 mm"), "slot at root takes one reading")
	b.badly(readings("throw", "2 mm", "11 mm", "11 mm"), "throw takes 2 readings")
	if size := b.state.Size(); b.gate("slot").Standing != NeverTaken {
		t.Errorf("something is recorded, of %d entries", size)
	}
	b.must(readings("slot", "root=4 mm", "tip=4 mm"), readings("throw", "11 mm", "11 mm"))
}
