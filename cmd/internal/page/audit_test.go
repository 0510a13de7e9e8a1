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
	a := Audit{Mark: "CW-01", Readings: []AuditedReading{{Gate: "slot", Concession: words}, {Gate: "gap"}}}
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
