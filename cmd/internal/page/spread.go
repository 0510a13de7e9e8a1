package page

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/steps/spread"
	"fettle/workflow"
)

// A Spread is how the values of a gate lie.
type Spread struct {
	Gate     string        `json:"gate"`
	Title    string        `json:"title"`
	Design   string        `json:"design"`
	Revision int           `json:"revision"` // of the sheet that the limits are from
	Limits   string        `json:"limits"`
	Of       string        `json:"of"` // which values they are
	Series   []SpreadThing `json:"series"`
	Without  []string      `json:"without,omitempty"` // airframes without a value
	Reworked int           `json:"reworked_airframes,omitempty"`
}

// A SpreadThing is one thing that a gate judges, with its values.
type SpreadThing struct {
	Point     string        `json:"point,omitempty"` // or a pair, A/B: A less B; "": the only one
	Says      string        `json:"says,omitempty"`  // what it is, in words
	Unit      string        `json:"unit"`
	Low       *float64      `json:"low,omitempty"`
	High      *float64      `json:"high,omitempty"`
	Count     int           `json:"count"`
	Mean      *float64      `json:"mean,omitempty"`
	Deviation *float64      `json:"s,omitempty"`
	Least     *float64      `json:"least,omitempty"`
	Most      *float64      `json:"most,omitempty"`
	Range     *float64      `json:"range,omitempty"`
	Chart     *Chart        `json:"chart,omitempty"`
	Cp        *Interval     `json:"cp,omitempty"`
	Cpk       *Interval     `json:"cpk,omitempty"`
	Outside   *float64      `json:"expected_outside,omitempty"` // a share of 1
	Sorted    bool          `json:"after_rework,omitempty"`     // values of after a rework are among them
	Values    []SpreadValue `json:"values"`
}

// A Chart are the lines of a chart of individual values.
type Chart struct {
	Centre    float64 `json:"centre"`
	Sigma     float64 `json:"sigma"`
	Low       float64 `json:"low"`
	High      float64 `json:"high"`
	MeanRange float64 `json:"mean_moving_range"`
	MostRange float64 `json:"limit_of_moving_range"`
	Fires     bool    `json:"fires"` // a rule does
}

// An Interval is a number with the interval that holds the true one with 95 %.
type Interval struct {
	Is   float64 `json:"is"`
	From float64 `json:"from"`
	To   float64 `json:"to"`
}

// A SpreadValue is one value.
type SpreadValue struct {
	Mark        string    `json:"mark"`
	At          time.Time `json:"at"`
	Entry       int64     `json:"entry"`
	Value       float64   `json:"value"`
	Verdict     string    `json:"verdict"`
	Reworked    bool      `json:"after_rework,omitempty"`
	Other       bool      `json:"other_limits,omitempty"` // its sheet had other limits then
	MovingRange *float64  `json:"moving_range,omitempty"`
	Fires       []string  `json:"fires,omitempty"` // the rules that fire at it
}

// NewSpread makes the page of a spread. of says which values they are.
func NewSpread(sp workflow.GateSpread, of string) Spread {
	p := Spread{Gate: sp.Gate.Name, Title: sp.Gate.Title, Design: sp.Design, Revision: sp.Revision, Limits: LimitsText(sp.Gate), Of: of, Without: sp.Without, Reworked: sp.Reworked, Series: []SpreadThing{}}
	for _, s := range sp.Series {
		t := newThing(s, sp.Gate.Result.String())
		if t.Sorted = sp.Sorted; t.Sorted {
			t.Outside = nil
		}
		p.Series = append(p.Series, t)
	}
	return p
}

func newThing(s workflow.Series, result string) SpreadThing {
	t := SpreadThing{Point: s.Name(), Unit: s.Unit, Low: float(s.Limits.Low), High: float(s.Limits.High), Count: s.Count, Values: []SpreadValue{}}
	switch len(s.Of) {
	case 0:
		t.Says = result
	case 2:
		t.Says = s.Of[0] + " less " + s.Of[1]
	default:
		t.Says = s.Of[0]
	}
	if s.Count == 0 {
		return t
	}
	t.Mean, t.Least, t.Most = float(s.Mean), float(s.Least), float(s.Most)
	if s.Count > 1 {
		sd := s.Deviation()
		t.Deviation, t.Range = &sd, float(s.Range())
	}
	if share := s.Share(); !math.IsNaN(share) {
		t.Outside = &share
	}
	if s.HasAbility {
		if s.Ability.Cp.Is != 0 {
			t.Cp = &Interval{s.Ability.Cp.Is, s.Ability.Cp.From, s.Ability.Cp.To}
		}
		t.Cpk = &Interval{s.Ability.Cpk.Is, s.Ability.Cpk.From, s.Ability.Cpk.To}
	}
	if s.Charted {
		c := s.Chart
		t.Chart = &Chart{Centre: *float(c.Centre), Sigma: *float(c.Sigma), Low: *float(c.Line(-3)), High: *float(c.Line(3)),
			MeanRange: *float(c.MeanRange), MostRange: *float(c.MostRange), Fires: len(c.Signals) > 0}
	}
	for i, v := range s.Values {
		one := SpreadValue{Mark: v.Mark, At: v.At, Entry: v.Entry, Value: *float(v.Value), Verdict: string(v.Verdict), Reworked: v.Reworked, Other: v.Other}
		if s.Charted && i > 0 {
			one.MovingRange = float(s.Chart.Ranges[i-1])
		}
		for _, signal := range s.Chart.Signals {
			if signal.At == i {
				one.Fires = append(one.Fires, signal.Says)
			}
		}
		t.Values = append(t.Values, one)
	}
	return t
}

// float is a number as near as a float64 comes; nil: there is none.
//
//go:noinline
func float(r *big.Rat) *float64 {
	if r == nil {
		return nil
	}
	f, _ := r.Float64()
	return &f
}

// Markdown is the spread, a part for each thing that the gate judges.
func (p Spread) Markdown(*Clock) string {
	var l lines
	l.add("# %s: how its values lie\n", esc(p.Title))
	l.item("%s, %s; design %s, revision %d", esc(p.Gate), esc(p.Limits), esc(p.Design), p.Revision)
	l.item("%s", esc(p.Of))
	if len(p.Without) > 0 {
		l.item("without such a value: %s", esc(strings.Join(p.Without, ", ")))
	}
	if p.Reworked > 0 {
		l.item("**%s reworked at this gate** before the first release", map[bool]string{true: "1 airframe was", false: many(p.Reworked, "airframe") + " were"}[p.Reworked == 1])
	}
	for _, t := range p.Series {
		if t.Says != "" {
			l.add("\n## %s\n", esc(Capital(t.Says)))
		} else {
			l.add("")
		}
		t.markdown(&l)
	}
	return l.String()
}

func (t *SpreadThing) markdown(l *lines) {
	if t.Count == 0 {
		l.item("no value")
		return
	}
	size := t.size
	if t.Count == 1 {
		l.item("one value, %s: of one nothing can be said of their spread", size(*t.Mean))
		return
	}
	l.item("%s: mean %s, standard deviation s %s, from %s to %s, range %s", many(t.Count, "value"), size(*t.Mean), digits(*t.Deviation, t.Unit), size(*t.Least), size(*t.Most), size(*t.Range))
	t.ability(l)
	t.drawing(l)
}

// size is a figure of the values in as many digits as they have.
//
//go:noinline
func (t *SpreadThing) size(f float64) string { return digitsNear(f, t.step(), t.Unit) }

// ability says how the limits compare with the spread.
func (t SpreadThing) ability(l *lines) {
	limited := t.Low != nil || t.High != nil
	switch {
	case !limited:
		l.item("it has no limits of its own, so no Cp, no Cpk and no share outside")
		return
	case *t.Deviation == 0:
		l.item("the values are all alike, so nothing can be expected from their spread; the gauge may be too coarse")
		return
	case t.Sorted:
		l.item("values of after a rework are among them: they tell nothing of what comes before it, so nothing is expected")
		return
	case t.Cpk == nil:
		l.item("Cp and Cpk from %d values on: of %d their interval would be too wide to go by", spread.Enough, t.Count)
	default:
		say := func(name string, i *Interval) string {
			return fmt.Sprintf("%s %.2f (95 %%: %.2f to %.2f)", name, i.Is, i.From, i.To)
		}
		text := say("Cpk", t.Cpk)
		if t.Cp != nil {
			text = say("Cp", t.Cp) + ", " + text
		}
		l.item("%s, by s of all values", text)
	}
	l.item("expected outside the limits: %s of what comes next, if values are normally distributed and come as these did", share(*t.Outside))
	if t.Chart.Fires {
		l.item("**rules fire**: these values are not those of one steady process, so they forecast nothing")
	}
}

// chartCells is how wide the drawing is in a row of 80.
const chartCells = 40

// drawing is the chart in plain characters, a row a value.
func (t SpreadThing) drawing(l *lines) {
	ch := t.Chart
	from, to := math.Min(*t.Least, ch.Low), math.Max(*t.Most, ch.High)
	if t.Low != nil {
		from, to = math.Min(from, *t.Low), math.Max(to, *t.Low)
	}
	if t.High != nil {
		from, to = math.Min(from, *t.High), math.Max(to, *t.High)
	}
	cell := func(v float64) int {
		if to <= from {
			return chartCells / 2
		}
		return min(chartCells-1, max(0, int(math.Round((v-from)/(to-from)*(chartCells-1)))))
	}
	rail := []byte(strings.Repeat(" ", chartCells))
	for i, v := range [...]*float64{&ch.Centre, &ch.Low, &ch.High, t.Low, t.High} {
		if v != nil {
			rail[cell(*v)] = "|::[]"[i]
		}
	}
	var letters []string // of the rules that fire, in the order in which they do
	one := true
	for _, v := range t.Values {
		one = one && v.Mark == t.Values[0].Mark
	}
	rows := make([][4]string, len(t.Values))
	var wide [4]int
	var other, reworked, out, undecided bool
	for i, v := range t.Values {
		row := slices.Clone(rail)
		row[cell(v.Value)] = '*'
		label := cut(v.Mark, 12)
		if one {
			label = v.At.In(time.Local).Format("2 Jan 2006")
		}
		moved, notes := "", ""
		if v.MovingRange != nil {
			moved = places(*v.MovingRange, t.step())
		}
		for _, f := range v.Fires {
			k := lists.Index(letters, f)
			if k < 0 {
				k, letters = len(letters), append(letters, f)
			}
			notes += string(rune('a' + k))
		}
		if v.Reworked {
			notes, reworked = notes+"~", true
		}
		if v.Verdict == string(measuring.Out) {
			notes, out = notes+"!", true
		}
		if v.Verdict == string(measuring.Undecided) {
			notes, undecided = notes+"?", true
		}
		if v.Other {
			notes, other = notes+"#", true
		}
		rows[i] = [4]string{label, places(v.Value, t.step()), string(row) + "|", strings.TrimRight(moved+" "+notes, " ")}
		for k, text := range rows[i] {
			wide[k] = max(wide[k], utf8.RuneCountInString(text))
		}
	}
	l.add("\n```")
	for _, row := range rows {
		pad := func(k int) string { return strings.Repeat(" ", wide[k]-utf8.RuneCountInString(row[k])) }
		l.add("%s", strings.TrimRight(row[0]+pad(0)+"  "+pad(1)+row[1]+"  "+row[2]+" "+row[3], " "))
	}
	l.add("```\n")
	l.item("the chart: `*` value, `|` mean %s, `:` mean and 3 sigma either way, %s and %s%s; at the end of each row how far it is from the one before, in mean %s, limit %s",
		places(ch.Centre, t.step()), places(ch.Low, t.step()), places(ch.High, t.step()), map[bool]string{true: ", `[` `]` limits"}[t.Low != nil || t.High != nil],
		places(ch.MeanRange, t.step()), places(ch.MostRange, t.step()))
	l.item("sigma is what neighbours differ by, the mean of it over 1.128: %s", digits(ch.Sigma, t.Unit))
	for i, rule := range letters {
		l.item("`%c` **%s**", 'a'+i, esc(rule))
	}
	if reworked {
		l.item("`~` after a rework")
	}
	if out {
		l.item("`!` out of tolerance")
	}
	if undecided {
		l.item("`?` undecided")
	}
	if other {
		l.item("`#` its sheet had other limits then; it is compared with those of the newest")
	}
}

// step is the place that numbers are rounded to: a hundredth of the deviation, as a
// power of ten.
func (t SpreadThing) step() int {
	size := 0.0
	if t.Deviation != nil {
		size = *t.Deviation
	}
	size = cmp.Or(size, math.Abs(*t.Mean)/100)
	if size == 0 {
		return 2
	}
	return max(0, min(9, 2-int(math.Floor(math.Log10(size)))))
}

// places is a number to so many places.
func places(f float64, n int) string {
	text := strconv.FormatFloat(f, 'f', n, 64)
	if strings.Contains(text, ".") {
		text = strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
	}
	if text == "-0" {
		return "0"
	}
	return text
}

func digitsNear(f float64, n int, unit string) string {
	return quantity.Written(places(f, n), unit)
}

// CSV writes a row for each value, as a [Table] does.
func (p Spread) CSV(w io.Writer) error {
	table := Table{Name: "spread", Columns: strings.Fields("mark design revision gate point at_utc entry value unit low high verdict after_rework other_limits moving_range fires")}
	cell := func(v *float64) any {
		if v == nil {
			return nil
		}
		return *v
	}
	for _, t := range p.Series {
		for _, v := range t.Values {
			table.Rows = append(table.Rows, Row{Cells: []any{v.Mark, p.Design, p.Revision, p.Gate, t.Point, v.At.UTC(), v.Entry, v.Value, t.Unit, cell(t.Low), cell(t.High),
				v.Verdict, v.Reworked, v.Other, cell(v.MovingRange), strings.Join(v.Fires, "; ")}})
		}
	}
	return table.CSV(w)
}
