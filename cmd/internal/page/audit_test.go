package page

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"
)

// RFC 4180: rows end in CRLF, and a field with commas, quotes and line breaks
// is read back as it was written.
func TestCSVIsReadBack(t *testing.T) {
	words := "said \"good\", and\ncarried on, so"
	a := Table{Columns: []string{"gate", "concession"}, Rows: []Row{{Cells: []any{"slot", words}}, {Cells: []any{"gap", nil}}}}
	var b bytes.Buffer
	if err := a.CSV(&b); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(b.String(), "\r\n"); n != 3 {
		t.Errorf("%d rows end in CRLF", n)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) != 3 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	at := map[string]int{}
	for i, name := range rows[0] {
		at[name] = i
	}
	if rows[1][at["concession"]] != words || rows[2][at["gate"]] != "gap" {
		t.Errorf("read back as %q", rows[1:])
	}
}

// What a spreadsheet would run is text, a number stays one, and what a terminal would
// act on is shown as its code.
func TestCSVIsHarmless(t *testing.T) {
	for field, want := range map[string]string{
		"=HYPERLINK(A1)": "'=HYPERLINK(A1)", "+1+cmd|x": "'+1+cmd|x", "-2+3": "'-2+3", "@SUM(A1)": "'@SUM(A1)", "  =1+1": "'  =1+1", "\t=1": "'\t=1", "\n=1": "'\n=1", "＝1": "'＝1",
		"-0.5": "-0.5", "+2": "+2", "-1e-05": "-1e-05", "-0.5 mm": "-0.5 mm", "-3/16 in": "-3/16 in", "-1.5 to 1.5 mm": "-1.5 to 1.5 mm", "a=b": "a=b", "": "",
		"a\x1b]b\u009b\u202e\rc": `a\u001b]b\u009b\u202e\u000dc`, "\r=1": `\u000d=1`,
	} {
		var b bytes.Buffer
		if err := (Table{Columns: []string{"by", "entry"}, Rows: []Row{{Cells: []any{field, 1}}}}).CSV(&b); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(&b).ReadAll()
		if err != nil || len(rows) != 2 {
			t.Fatalf("%d rows, %v", len(rows), err)
		}
		if rows[1][0] != want {
			t.Errorf("%q is written as %q", field, rows[1][0])
		}
	}
}
