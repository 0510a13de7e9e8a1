package journal

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
)

func entry(position int64, facts Facts) Entry {
	at := time.Date(2026, 3, 3, 19, 0, 0, 0, time.UTC)
	return Entry{Position: position, At: at, Recorded: at.Add(time.Minute), By: "builder", Program: "test", Facts: facts}
}

// Every kind comes back as it was stored, under its own name once.
func TestEveryKindIsReadAsItWasWritten(t *testing.T) {
	seen := map[string]bool{}
	for i, k := range Kinds() {
		if seen[k.Name] {
			t.Errorf("%s stands twice in the table", k.Name)
		}
		seen[k.Name] = true
		want := entry(int64(i), k.Zero())
		records, err := Encode([]Entry{want})
		if err != nil {
			t.Fatal(err)
		}
		got, err := Decode(records, int64(i))
		if err != nil {
			t.Fatal(err)
		}
		if got[0].Facts.Kind() != k.Name || !got[0].At.Equal(want.At) || !got[0].Recorded.Equal(want.Recorded) || got[0].By != want.By {
			t.Errorf("%s is read as %+v", k.Name, got[0])
		}
	}
	if len(seen) < 23 {
		t.Errorf("there are %d kinds; a kind never goes", len(seen))
	}
}

// A reading of the first version passes an undecided gate only alone as well.
func TestOldReadingsStandAlone(t *testing.T) {
	const stored = `{"position":3,"kind":"ReadingTaken","v":%d,"at":"2026-03-03T19:00:00Z","recorded":"2026-03-03T19:00:00Z","by":"builder","program":"p","facts":{"gate":"slot","value":{"typed":"4 mm","value":"4","unit":"mm"},"gauge":"caliper"}}`
	for version, alone := range map[int]bool{1: true, 2: false, 3: false} {
		var e Entry
		if err := json.Unmarshal(fmt.Appendf(nil, stored, version), &e); err != nil {
			t.Fatal(err)
		}
		if f := e.Facts.(ReadingTaken); f.Alone != alone || f.Earlier != (version < 3) {
			t.Errorf("version %d: %+v", version, f)
		}
	}
}

// Damage of the first version had a quarantine without a time, of the second no place.
func TestDamageOfEarlierVersions(t *testing.T) {
	const found = `{"position":0,"kind":"DamageFound","v":1,"at":"2026-03-03T19:00:00Z","recorded":"2026-03-03T19:00:00Z","by":"b","program":"p","facts":{"damage":"D1","finding":"dented","zone":"pod","severity":"total","note":"left","quarantine":["handed in"]}}`
	entries, err := Decode([][]byte{[]byte(found)}, 0)
	if err != nil {
		t.Fatal(err)
	}
	f := entries[0].Facts.(DamageFound)
	if f.Damage != "D1" || f.Finding != "dented" || f.Zone != "pod" || f.Severity != "total" || f.Note != "left" || len(f.Quarantine.Confirm) != 1 || f.Quarantine.Lasts() != 0 {
		t.Errorf("read as %+v", f)
	}
	for _, wrong := range []string{strings.Replace(found, `"v":1`, `"v":2`, 1), strings.Replace(found, `"note"`, `"words"`, 1)} {
		if _, err := Decode([][]byte{[]byte(wrong)}, 0); !errors.Is(err, ErrBadEntry) {
			t.Errorf("%s: %v", wrong, err)
		}
	}
	second := strings.Replace(strings.Replace(found, `"v":1`, `"v":2`, 1), `["handed in"]`, `{"confirm":["handed in"]},"as":"puffed","words":"odd","tables":["t"]`, 1)
	entries, err = Decode([][]byte{[]byte(second)}, 0)
	if err != nil {
		t.Fatal(err)
	}
	f = entries[0].Facts.(DamageFound)
	if f.Damage != "D1" || f.Finding != "dented" || f.Zone != "pod" || f.Severity != "total" || f.Note != "left" || len(f.Quarantine.Confirm) != 1 || f.As != "puffed" || f.Words != "odd" || !slices.Equal(f.Tables, []string{"t"}) {
		t.Errorf("version 2 is read as %+v", f)
	}
	if _, err := Decode([][]byte{[]byte(strings.Replace(second, `"note"`, `"place"`, 1))}, 0); !errors.Is(err, ErrBadEntry) {
		t.Errorf("version 2 with a place: %v", err)
	}
	if _, err := Decode([][]byte{[]byte(strings.Replace(found, `"v":1`, `"v":4`, 1))}, 0); !errors.Is(err, ErrUnknownEntry) {
		t.Errorf("version 4: %v", err)
	}
}

// Records that no program has written, and one of a newer program.
func TestDecodeRefuses(t *testing.T) {
	const noted = `{"position":0,"kind":"Noted","v":1,"at":"2026-03-03T19:00:00Z","recorded":"2026-03-03T19:00:00Z","by":"b","program":"p","facts":{"text":"a"}}`
	if _, err := Decode([][]byte{[]byte(noted)}, 0); err != nil {
		t.Fatal(err)
	}
	reordered := `{"facts":{"text":"a"},"kind":"Noted","v":1,"position":0,"at":"2026-03-03T19:00:00Z","recorded":"2026-03-03T19:00:00Z","by":"b","program":"p"}`
	if entries, err := Decode([][]byte{[]byte(reordered)}, 0); err != nil || entries[0].Facts.(Noted).Text != "a" {
		t.Errorf("in another order: %v, %v", entries, err)
	}
	change := func(from, to string) string {
		if !strings.Contains(noted, from) {
			t.Fatalf("no %q in it", from)
		}
		return strings.Replace(noted, from, to, 1)
	}
	for name, c := range map[string]struct {
		record string
		want   error
	}{
		"a newer version":                 {change(`"v":1`, `"v":2`), ErrUnknownEntry},
		"a newer version, other fields":   {change(`"v":1`, `"v":2,"mood":"b"`), ErrUnknownEntry},
		"a newer kind":                    {change(`Noted`, `Sung`), ErrUnknownEntry},
		"a newer kind whose facts a list": {strings.Replace(change(`Noted`, `Sung`), `{"text":"a"}`, `["a"]`, 1), ErrUnknownEntry},
		"an unknown field of the facts":   {change(`"text"`, `"words"`), ErrBadEntry},
		"an unknown field of the entry":   {change(`"by"`, `"bye"`), ErrBadEntry},
		"facts of another shape":          {change(`{"text":"a"}`, `"a"`), ErrBadEntry},
		"no facts":                        {change(`,"facts":{"text":"a"}`, ``), ErrBadEntry},
		"null for facts":                  {change(`{"text":"a"}`, `null`), ErrBadEntry},
		"two kinds":                       {change(`"by"`, `"kind":"Sealed","by"`), ErrBadEntry},
		"another position":                {change(`"position":0`, `"position":1`), ErrBadEntry},
		"something behind it":             {noted + `{}`, ErrBadEntry},
		"half of it":                      {noted[:60], ErrBadEntry},
		"a word":                          {`"Sealed"`, ErrBadEntry},
		"nothing":                         {``, ErrBadEntry},
		"a kind with an escape":           {change(`Noted`, `Note\u0064`), nil},
	} {
		if _, err := Decode([][]byte{[]byte(c.record)}, 0); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", name, err, c.want)
		}
	}
}

// TestNaming wants exactly the entries that name something, in their order, as
// Decode reads them.
func TestNaming(t *testing.T) {
	entries := []Entry{entry(0, Registered{Mark: "CW-01", Sheet: "sha256:9"}), entry(1, JobOpened{Job: "wing", Procedure: "sha256:8", Sheet: "sha256:9"})}
	for _, f := range []Facts{
		Noted{Text: `they said "Sealed" and "PhotoKept", and meant neither`},
		PhotoKept{Photo: "sha256:1", Name: "a.png", Of: []int64{1}},
		Sealed{Size: 2, Root: "cm9vdA==", Key: "key", Note: "sha256:2"},
		JobMoved{Job: "wing", Procedure: "sha256:3", Sheet: "sha256:4"},
		Noted{Text: "end"},
	} {
		entries = append(entries, entry(int64(len(entries)), f))
	}
	records, err := Encode(entries)
	if err != nil {
		t.Fatal(err)
	}
	got, err := Naming(records)
	if err != nil {
		t.Fatal(err)
	}
	var want, found []int64
	for _, e := range entries {
		switch e.Facts.(type) {
		case Registered, JobOpened, JobMoved, PhotoKept, Sealed:
			want = append(want, e.Position)
		}
	}
	for _, e := range got {
		found = append(found, e.Position)
		if e.Facts.Kind() != entries[e.Position].Facts.Kind() {
			t.Errorf("entry %d is read as %s", e.Position, e.Facts.Kind())
		}
	}
	if !slices.Equal(found, want) || len(want) < 5 {
		t.Errorf("found %v, want %v", found, want)
	}

	// One that is out of place.
	if _, err := Naming(records[1:]); !errors.Is(err, ErrBadEntry) {
		t.Error(err)
	}
}

// What was said last of a condition may stand so still, however it stands by others, where it does not rest so or was taken back; how far
// back that is looked for is said too, and where nothing rests by anybody's word, nothing is.
func TestWhatRecordsLeave(t *testing.T) {
	now := time.Date(2026, 3, 20, 19, 0, 0, 0, time.UTC)
	iron := func(state string) Facts { return ConditionSet{Setting: steps.Setting{Condition: "iron", State: state}} }
	plug := func(state string) Facts {
		return StepDone{Work{Job: "j", Step: "s", Sets: []steps.Setting{{Condition: "battery", State: state}}}}
	}
	for name, test := range map[string]struct {
		days        int // before
		facts       []Facts
		says, known bool
	}{
		"cold":                         {3, []Facts{iron("hot"), iron("cold")}, false, false},
		"hot":                          {3, []Facts{iron("cold"), iron("hot"), Noted{Text: "swept"}}, true, false},
		"plugged in by a step":         {3, []Facts{plug("in"), iron("cold")}, true, false},
		"pulled by a step":             {3, []Facts{plug("in"), iron("cold"), plug("out")}, false, false},
		"taken back that it is cold":   {3, []Facts{iron("hot"), iron("cold"), Undone{TakesBack: []int64{1}}}, true, true},
		"something else is taken back": {3, []Facts{Noted{Text: "swept"}, iron("cold"), Undone{TakesBack: []int64{0}}}, false, false},
		"damaged long ago":             {400, []Facts{DamageFound{Damage: "D1", Finding: "dent", Zone: "wing", Severity: "slight"}, Noted{Text: "swept"}}, true, true},
		"landed hard":                  {400, []Facts{FlightLogged{Landing: "hard", Check: "post-crash"}}, true, true},
		"landed soft":                  {400, []Facts{FlightLogged{Landing: "soft"}}, false, true},
		"hot for longer":               {16, []Facts{iron("hot"), Noted{Text: "swept"}}, false, true},
	} {
		var entries []Entry
		for i, f := range test.facts {
			at := now.AddDate(0, 0, -test.days).Add(time.Duration(i) * time.Minute)
			entries = append(entries, Entry{Position: int64(i), At: at, Recorded: at, By: "Rosa", Facts: f})
		}
		records, err := Encode(entries)
		if err != nil {
			t.Fatal(err)
		}
		rests := func(is steps.Setting, since time.Time) bool { return is.State == "cold" || is.State == "out" }
		stated, coated, left := now.Add(-6*time.Hour), now.Add(-24*time.Hour), now.AddDate(0, 0, -15)
		if says, known := SaysOfBench(records, stated, coated, left, rests); says != test.says || known != test.known {
			t.Errorf("%s: says %t, known %t", name, says, known)
		}
		if says, _ := SaysOfBench(records, stated, coated, left, nil); says {
			t.Errorf("%s: says something though nobody asked for it", name)
		}
	}
}
