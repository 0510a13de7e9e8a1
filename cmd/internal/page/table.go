package page

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"fettle/cmd/internal/term"
	"fettle/steps/lists"
	"fettle/steps/quantity"
	"fettle/workflow"
)

// A Table is rows of facts of one kind, for whoever reckons with them.
type Table struct {
	Name    string
	Columns []string
	Rows    []Row
}

// A Row is one fact: a cell a column, and what filters look at.
type Row struct {
	Cells  []any // text, whole numbers, numbers, moments, yes and no; nil: not known
	Gate   string
	Job    string
	Zones  []string
	At     time.Time
	Severe bool // of a critical gate
	Failed bool // out of tolerance or undecided, as it was judged
}

// A tableOf is one table: its columns, which filters choose of it, and its rows.
type tableOf struct {
	name, holds string
	columns     string
	filters     string
	rows        func(workflow.Record, *workflow.State, time.Time, *Table) error
}

const (
	ofGates = "gate zone critical failures "
	ofTime  = "from to "
)

// tables are all there are.
func tables() []tableOf {
	return []tableOf{
		{"readings", "each reading, with the value that it was judged in",
			"entry sitting gate critical point job at_utc recorded_utc by program gauge typed value unit low high alike judged judged_value margin uncertainty probability " +
				"value_si low_si high_si alike_si judged_value_si margin_si uncertainty_si unit_si verdict gate_verdict counts stands concession releases " +
				"gauge_check_entry gauge_checked_utc gauge_check_age_s gauge_deviation gauge_deviation_unit gauge_good in_doubt",
			ofGates + ofTime + "job", readingRows},
		{"gates", "each gate as it stands, a row for each value that is judged",
			"gate title critical standing reason of value unit low high margin room uncertainty probability value_si low_si high_si margin_si uncertainty_si unit_si verdict " +
				"read_utc entries gauge conceded_by flights_left until_utc zones",
			ofGates, gateRows},
		{"damages", "what was found, where, by what it was caused, and what was aboard; what was found at once has one event",
			"event damage entry at_utc recorded_utc by after_flight zone finding severity place cause note aboard repaired job quarantine", "zone " + ofTime, damageRows},
		{"repairs", "each repair: what was found, done and renewed, with the mass before and after",
			"job title opened_utc closed_utc by damages found thrown_away cut_out joints equipment steps mass_before mass_after mass_gained mass_unit mass_before_si mass_after_si mass_gained_si mass_unit_si mass_in_doubt mass_equipment",
			"job " + ofTime, repairRows},
		{"repair_gates", "each value of the critical gates that a repair measured again, before and after",
			"job gate title of unit low high before before_verdict before_utc before_in_doubt after after_verdict after_utc after_in_doubt unit_si low_si high_si before_si after_si", "gate zone job " + ofTime, repairGateRows},
		{"jobs", "each job: what was built, repaired and checked, when and by whom", "job kind procedure revision title zone before damages opened_utc opened_by closed_utc by steps_done steps", "job zone " + ofTime, jobRows},
		{"flights", "each flight, with what was aboard, and why it might not fly",
			"flight entry at_utc recorded_utc by landing lasted_s released grounded aboard check note trims", ofTime, flightRows},
		{"joints", "each joint that was joined, with its clocks",
			"joint part parts job adhesive carries_load entry joined_utc by handles_utc cures_utc outside_window gone joined_again young_at_release zones damages_since repaired_by", "job zone " + ofTime, jointRows},
		{"releases", "each release, with what it rests on and what had not cured",
			"release at_utc by certificate jobs performed rests_on young in_force ended_utc ended sealed_by", ofTime, releaseRows},
		{"concessions", "each concession, and until when it is in force", "entry gate at_utc by reason readings in_force flights_left until_utc", "gate " + ofTime, concessionRows},
		{"witnesses", "who was second at a step, or what was done instead", "entry at_utc by job step second instead", "job " + ofTime, witnessRows},
		{"holds", "each caution that was confirmed line by line", "entry at_utc by job step of lines", "job " + ofTime, holdRows},
		{"parts", "each part of the airframe, original or new", "zone origin original job since_utc cut_out_by new_part_utc aboard", "zone", partRows},
	}
}

// TableNames are the names of the tables.
//
//go:noinline
func TableNames() []string {
	var names []string
	for _, t := range tables() {
		names = append(names, t.name)
	}
	return names
}

// TablesHold says what each table holds, a line each.
func TablesHold() string {
	var b strings.Builder
	for _, t := range tables() {
		fmt.Fprintf(&b, "  %-12s %s\n", t.name, t.holds)
	}
	return b.String()
}

// Chooses reports whether the filter of that name chooses rows of the table.
func Chooses(table, filter string) bool {
	i := slices.IndexFunc(tables(), func(t tableOf) bool { return t.name == table })
	return i >= 0 && lists.Contains(strings.Fields(tables()[i].filters), filter)
}

// NewTable makes the table of that name without rows.
func NewTable(name string) Table {
	for _, t := range tables() {
		if t.name == name {
			return Table{Name: name, Columns: append([]string{"mark"}, strings.Fields(t.columns)...)}
		}
	}
	return Table{Name: name}
}

// Add adds the rows of an airframe which fit the filter.
func (t *Table) Add(s *workflow.State, record *workflow.Record, filter workflow.AuditFilter, at time.Time) error {
	before := len(t.Rows)
	for _, of := range tables() {
		if of.name == t.Name {
			if err := of.rows(*record, s, at, t); err != nil {
				return err
			}
		}
	}
	rows := t.Rows[before:]
	t.Rows = t.Rows[:before:before]
	for i := range rows {
		if rows[i].fits(filter) {
			t.Rows = append(t.Rows, rows[i])
		}
	}
	return nil
}

func (r Row) fits(f workflow.AuditFilter) bool {
	return (f.Gate == "" || r.Gate == f.Gate) && (f.Job == "" || r.Job == f.Job) && (f.Zone == "" || lists.Contains(r.Zones, f.Zone)) &&
		(f.From.IsZero() || !r.At.Before(f.From)) && (f.To.IsZero() || r.At.Before(f.To)) && (!f.Critical || r.Severe) && (!f.Failures || r.Failed)
}

// add adds one row; the mark comes first.
// It is not inlined: its copies in all callers would take 5 KB.
//
//go:noinline
func (t *Table) add(s *workflow.State, r Row, cells ...any) {
	r.Cells = append([]any{s.Airframe.Mark}, cells...)
	t.Rows = append(t.Rows, r)
}

// A measure is a number in a unit, and in the SI unit; it may be a difference.
type measure struct {
	is, si       any
	unit, siUnit string
}

// inSI is a quantity, or a difference of such ones, in the unit that the measure has from then on.
//
//go:noinline
func (m *measure) inSI(q, zero quantity.Quantity, difference bool) float64 {
	si, siUnit, err := q.SI()
	if difference {
		si, siUnit, err = q.SIMore(zero)
	}
	if err != nil {
		return math.NaN()
	}
	m.siUnit = siUnit
	return si
}

// measured is a value of which nothing is known where it is no number.
func measured(v float64, unit string, difference bool) measure {
	m := measure{unit: unit}
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return m
	}
	zero, err := quantity.ParseIn("0", unit)
	if err != nil {
		return m
	}
	of := func(q quantity.Quantity) float64 { return m.inSI(q, zero, difference) }
	m.is = v
	if q, err := quantity.ParseIn(strconv.FormatFloat(v, 'f', -1, 64), unit); err == nil {
		m.si = of(q)
	} else if one, err := quantity.ParseIn("1", unit); err == nil { // a mean of many figures
		m.si = of(zero) + v*(of(one)-of(zero))
	}
	return m
}

//go:noinline
func known(text string) any {
	if text == "" {
		return nil
	}
	return text
}

// moment is not inlined: its copies in all callers would take 5 KB.
//
//go:noinline
func moment(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t.UTC()
}

// figures is a number that was reckoned, to three places.
func figures(v float64) string {
	return trimmed(strconv.FormatFloat(v, 'f', 3, 64))
}

// trimmed is a decimal with places, without the zeros it ends with.
func trimmed(text string) string {
	return strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
}

// MarshalJSON has the rows as objects, with the columns in their order.
func (t Table) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	name, err := json.Marshal(t.Name)
	if err != nil {
		return nil, err
	}
	fmt.Fprintf(&b, `{"table":%s,"rows":[`, name)
	for i, r := range t.Rows {
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteByte('{')
		for k, cell := range r.Cells {
			if k > 0 {
				b.WriteByte(',')
			}
			value, err := json.Marshal(cell)
			if err != nil {
				return nil, fmt.Errorf("%s of %s: %w", t.Columns[k], t.Name, err)
			}
			fmt.Fprintf(&b, "%q:%s", t.Columns[k], value)
		}
		b.WriteByte('}')
	}
	b.WriteString("]}")
	return b.Bytes(), nil
}

// CSV writes the table in the form of RFC 4180: CRLF, quotes doubled, a head. Moments are
// in UTC, yes and no are 1 and 0, and what is not known is empty.
func (t Table) CSV(w io.Writer) error {
	if err := writeRow(w, lists.Clone(t.Columns)); err != nil {
		return err
	}
	for _, r := range t.Rows {
		fields := make([]string, len(r.Cells))
		for i, cell := range r.Cells {
			switch v := cell.(type) {
			case nil:
			case string:
				fields[i] = v
			case bool:
				if fields[i] = "0"; v {
					fields[i] = "1"
				}
			case float64:
				fields[i] = strconv.FormatFloat(v, 'g', -1, 64)
			case time.Time:
				fields[i] = v.Format(time.RFC3339)
			default:
				fields[i] = fmt.Sprint(v)
			}
		}
		if err := writeRow(w, fields); err != nil {
			return err
		}
	}
	return nil
}

// writeRow ends a row with CRLF. With csv.Writer's UseCRLF, line breaks inside a
// field would become CRLF as well. CSV has no escapes, so fields are cleaned as text for
// a terminal is.
func writeRow(w io.Writer, fields []string) error {
	var b bytes.Buffer
	row := csv.NewWriter(&b)
	for i, field := range fields {
		fields[i] = unformed(term.Clean(field))
	}
	if err := row.Write(fields); err != nil {
		return err
	}
	row.Flush()
	_, err := fmt.Fprint(w, strings.TrimSuffix(b.String(), "\n"), "\r\n")
	return err
}

// unformed keeps a spreadsheet from taking words for a formula: an apostrophe before
// them says that they are text. Numbers and quantities stay as they are.
func unformed(field string) string {
	first, _ := utf8.DecodeRuneInString(strings.TrimLeft(field, " "))
	if !strings.ContainsRune("=+-@\t\n＝＋－＠", first) || first == utf8.RuneError || isNumber(field) {
		return field
	}
	return "'" + field
}

func isNumber(field string) bool {
	if _, err := strconv.ParseFloat(field, 64); err == nil {
		return true
	}
	if _, err := quantity.Parse(field, ""); err == nil {
		return true
	}
	_, _, err := quantity.ParseLimits(field, "")
	return err == nil
}
