package book

import (
	"encoding/xml"
	"io"
	"math/big"
	"os"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/workflow"
)

// The drawing is XML that stands by itself; a hostile name is a name, each value has a
// mark, and that at which a rule fires has another one.
func TestChart(t *testing.T) {
	mm := func(n int64) quantity.Quantity {
		q, err := quantity.New(big.NewRat(n, 1), "mm")
		if err != nil {
			t.Fatal(err)
		}
		return q
	}
	gate := steps.Gate{Name: "gap", Title: `Gap <script>"&`, Repeat: 1, Limits: measuring.Limits{Low: mm(9), High: mm(13)}}
	sheet := &steps.Sheet{Name: "finch", Revision: 1, Gates: []steps.Gate{gate}}
	var drawn []workflow.Drawn
	for i, v := range []int64{100, 101, 100, 99, 100, 101, 100, 99, 100, 125} {
		d := workflow.Drawn{Mark: "FN-<0>", Sheet: sheet, Gate: gate, Has: true}
		d.Values = []workflow.DrawnValue{{Mark: d.Mark, Of: []string{""}, At: time.Date(2026, 3, i+1, 0, 0, 0, 0, time.UTC), Unit: "mm", Value: big.NewRat(v, 10), Limits: gate.Limits}}
		drawn = append(drawn, d)
	}
	sp, err := workflow.NewSpread(drawn, "")
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	if err := WriteChart(&b, sp); err != nil {
		t.Fatal(err)
	}
	if file := os.Getenv("FETTLE_CHART"); file != "" { // to look at
		_ = os.WriteFile(file, []byte(b.String()), 0o600)
	}
	count := map[string]int{}
	for d := xml.NewDecoder(strings.NewReader(b.String())); ; {
		token, err := d.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatalf("%v in\n%s", err, b.String())
		}
		if e, ok := token.(xml.StartElement); ok {
			count[e.Name.Local]++
			for _, a := range e.Attr {
				if a.Name.Local == "class" {
					count[a.Value]++
				}
			}
		}
	}
	if count["circle"] != 10 || count["fires"] != 3 || count["edge"] != 2 || count["sigma"] != 2 || count["mean"] != 1 || count["script"] != 0 {
		t.Errorf("%v in\n%s", count, b.String())
	}
}
