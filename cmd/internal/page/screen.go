package page

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/workflow"
)

// An AuditScreen is the answer of an audit on one screen: how it stands, how near the
// limits it is, and what is missing, conceded, flown while grounded and in doubt.
type AuditScreen struct {
	mark  string
	items []screenLine
}

// A screenLine is one answer: a word in bold, if any, and the rest.
type screenLine struct {
	bold, text string
	brief      string // the same on one line; "": it is cut
}

func (l screenLine) long() bool {
	return utf8.RuneCountInString(l.bold)+utf8.RuneCountInString(l.text) > screenShort
}

// An answer takes at most two lines of 80 columns, and all of them at most so many: with the
// head and the foot a screen of 24.
const (
	screenLong  = 140
	screenShort = 72
	screenLines = 20
)

// NewAuditScreen makes the screen.
func NewAuditScreen(s *workflow.State, sum workflow.AuditSummary, record *workflow.Record, documents []Cited, at time.Time) AuditScreen {
	a := AuditScreen{mark: s.Airframe.Mark}
	a.stands(s, at)
	a.add("", fmt.Sprintf("%s, %s; %s, %s, %s (%d open)", many(sum.Entries, "entry"), many(sum.Readings, "reading"), many(sum.Releases, "release"), many(sum.Flights, "flight"), many(sum.Damages, "damage"), sum.OpenDamage))
	a.gates(s, at)
	near := []string{}
	for _, n := range s.NearLimit(at) {
		likely := ""
		if j := n.Value.Finding.Judged; j.Known && j.Probability <= sure {
			likely = ", probability " + j.Likely()
		}
		near = append(near, fmt.Sprintf("%s %s, %s inside%s", strings.TrimSpace(n.Gate.Gate.Name+" "+n.Value.Named()), quantity.Written(nearFigures(n.Value), n.Value.Unit), amount(n.Value.Finding.Margin.By, n.Value.Unit), likely))
	}
	a.list("within a tenth of a limit", near)
	a.list("not measured yet", sum.NeverTaken)
	a.notPassed(sum.NotCurrent)
	conceded := []string{}
	for _, c := range record.Concessions {
		if c.InForce {
			till := ""
			if c.Flights > 0 {
				till = fmt.Sprintf(" (for %s)", many(c.Flights, "flight"))
			}
			if !c.Until.IsZero() {
				till += " (till " + c.Until.In(time.Local).Format("2 Jan 2006") + ")"
			}
			conceded = append(conceded, fmt.Sprintf("%s by %s%s: %s", c.Gate, c.By, till, c.Reason))
		}
	}
	a.list("conceded", conceded)
	grounded := []string{}
	for _, f := range record.Flights {
		if f.Grounded != "" {
			grounded = append(grounded, f.At.In(time.Local).Format("2 Jan 2006")+", "+f.Grounded)
		}
	}
	a.list("flown while grounded", grounded)
	a.list("in doubt", doubted(s, record))
	if !sum.Build.IsZero() {
		a.add("", said(sum.Build))
	}
	a.also(sum, record, len(record.Concessions)-len(conceded))
	for _, d := range documents[:min(1, len(documents))] {
		a.add("", d.Line())
	}
	lines := len(a.items)
	for _, item := range a.items {
		if item.long() {
			lines++
		}
	}
	for i := len(a.items) - 1; i >= 0 && lines > screenLines; i-- {
		if a.items[i].long() {
			a.items[i].text = cut(cmp.Or(a.items[i].brief, a.items[i].text), screenShort-utf8.RuneCountInString(a.items[i].bold))
			lines--
		}
	}
	return a
}

// sure is the probability of conformity from which on nobody asks for it.
const sure = 0.999

func (a *AuditScreen) stands(s *workflow.State, at time.Time) {
	stands, open, then := mayFly(s, at), "", ""
	if len(stands.Quarantine) > 0 {
		open, then = ", QUARANTINE OPEN:", "released "
	}
	switch stands.Flight {
	case Retired:
		a.items = append(a.items, screenLine{bold: "Retired:", text: cut(stands.Because, screenLong-9)})
	case Released:
		a.items = append(a.items, screenLine{bold: "Released" + open, text: fmt.Sprintf("%s%s by %s", then, stands.ReleasedAt.In(time.Local).Format("2 Jan 2006"), cut(stands.ReleasedBy, screenShort))})
	default:
		a.items = append(a.items, screenLine{bold: "Grounded" + strings.TrimSuffix(open, ":") + ":", text: cut(cmp.Or(stands.Because, said(s.Airworthiness(at).Why)), screenLong-len(open)-10)})
	}
	held := []string{}
	for _, q := range stands.Quarantine {
		held = append(held, q.says(&Clock{Now: at}))
	}
	if len(held) > 0 {
		a.items = append(a.items, screenLine{bold: "QUARANTINE:", text: fitting(held, screenLong-12)})
	}
}

func (a *AuditScreen) gates(s *workflow.State, at time.Time) {
	var passed, all, critical, allCritical, conceded int
	for _, g := range s.Gates(at) {
		all++
		if g.Gate.Critical {
			allCritical++
		}
		switch {
		case g.Standing == workflow.Conceded:
			conceded++
		case g.Standing == workflow.Current:
			passed++
			if g.Gate.Critical {
				critical++
			}
		}
	}
	text := fmt.Sprintf("%d of %s passed, %d of %d critical ones", passed, many(all, "gate"), critical, allCritical)
	if conceded > 0 {
		text += fmt.Sprintf("; %d conceded", conceded)
	}
	a.add("", text)
}

// doubted says of each check that a gauge failed which gates were read with it.
func doubted(s *workflow.State, record *workflow.Record) []string {
	all := []string{}
	for _, bad := range record.BadGauges {
		var gates []string
		for _, p := range bad.Readings {
			if j := record.JudgementOf(p); j != nil && !lists.Contains(gates, j.Gate.Name) {
				gates = append(gates, j.Gate.Name)
			}
		}
		if len(gates) > 0 {
			all = append(all, fmt.Sprintf("%s of %s: %s, entry %d", many(len(bad.Readings), "reading"), strings.Join(gates, ", "), said(bad.Doubts()), bad.Position))
		}
	}
	return all
}

// also counts what is in the record besides.
func (a *AuditScreen) also(sum workflow.AuditSummary, record *workflow.Record, ended int) {
	var also []string
	if flown, unsaid := record.Flown(); flown > 0 {
		also = append(also, Span(flown.Round(time.Minute))+" in the air")
		if unsaid > 0 {
			also = append(also, many(unsaid, "flight")+" nobody timed")
		}
	}
	for _, of := range []struct {
		n    int
		what string
	}{
		{sum.Out, "reading out of tolerance"}, {sum.Undecided, "reading undecided"}, {len(sum.Lapsed), "joint outside the window"}, {len(sum.TooLate), "step too late after a wait"},
		{ended, "concession no longer in force"}, {len(sum.Corrections), "correction"}, {sum.Late, "entry typed in late"}, {len(sum.Backwards), "entry out of time order"},
		{len(sum.NeverChecked), "gauge never checked"}, {len(sum.NotGood), "gauge found bad"},
	} {
		if of.n > 0 {
			noun, rest, _ := strings.Cut(of.what, " ")
			also = append(also, strings.TrimSpace(many(of.n, noun)+" "+rest))
		}
	}
	if len(also) > 0 {
		a.list("also", also)
	}
}

func (a *AuditScreen) list(what string, items []string) {
	if len(items) == 0 {
		a.add(what, "none")
		return
	}
	a.items = append(a.items, screenLine{text: cut(what+": "+fitting(items, screenLong-len(what)-2), screenLong), brief: cut(what+": "+fitting(items, screenShort-len(what)-2), screenShort)})
}

// It is not inlined: its copies in all callers would take 1 KB.
//
//go:noinline
func (a *AuditScreen) add(what, text string) {
	if what != "" {
		text = what + ": " + text
	}
	a.items = append(a.items, screenLine{text: cut(text, screenLong)})
}

// notPassed says of each reason how many gates it holds back, then as many of their names as
// there is room for. A reason is never cut: what does not fit is counted.
func (a *AuditScreen) notPassed(groups []workflow.NotPassed) {
	if len(groups) == 0 {
		a.add("not passed", "none")
		return
	}
	total := 0
	for _, g := range groups {
		total += len(g.Gates)
	}
	within := func(most int) string {
		var all []string
		left := total
		for _, g := range groups {
			why := many(len(g.Gates), "gate") + " " + said(g.Why)
			more := ""
			if after := left - len(g.Gates); after > 0 {
				more = fmt.Sprintf("; and %s for other reasons", many(after, "gate"))
			}
			if len(all) > 0 && utf8.RuneCountInString(strings.Join(append(all, why), "; ")+more) > most {
				return fmt.Sprintf("%s; and %s for other reasons", strings.Join(all, "; "), many(left, "gate"))
			}
			left -= len(g.Gates)
			if room := most - utf8.RuneCountInString(strings.Join(append(all, why), "; ")+more+" ()"); room > 0 {
				if names := namesIn(g.Gates, room); names != "" {
					why += " (" + names + ")"
				}
			}
			all = append(all, why)
		}
		return strings.Join(all, "; ")
	}
	const what = "not passed: "
	line := screenLine{text: what + within(screenLong-len(what)), brief: what + within(screenShort-len(what))}
	if counted := fmt.Sprintf("%s%s, for %s", what, many(total, "gate"), many(len(groups), "reason")); utf8.RuneCountInString(line.brief) > screenShort {
		line.brief = counted
	}
	if utf8.RuneCountInString(line.text) > screenLong {
		line.text = line.brief
	}
	a.items = append(a.items, line)
}

// namesIn are as many of the names as there is room for, and how many more there are; "": for none.
func namesIn(names []string, room int) string {
	for n := len(names); n > 0; n-- {
		text := strings.Join(names[:n], ", ")
		if n < len(names) {
			text += fmt.Sprintf(" and %d more", len(names)-n)
		}
		if utf8.RuneCountInString(text) <= room {
			return text
		}
	}
	return ""
}

// fitting are as many of the items as fit, and how many more there are.
func fitting(items []string, most int) string {
	text := ""
	for i, item := range items {
		more := ""
		if left := len(items) - i - 1; left > 0 {
			more = fmt.Sprintf("; and %d more", left)
		}
		longer := strings.TrimPrefix(text+"; "+item, "; ")
		if utf8.RuneCountInString(longer+more) > most {
			if i == 0 {
				return cut(item, most-utf8.RuneCountInString(more)) + more
			}
			return fmt.Sprintf("%s; and %d more", text, len(items)-i)
		}
		text = longer
	}
	return text
}

// cut is the text with no more characters than that.
func cut(text string, most int) string {
	if runes := []rune(text); len(runes) > most {
		text = string(runes[:max(0, most-3)])
		if i := strings.LastIndexByte(text, ' '); i > len(text)/2 && runes[max(0, most-3)] != ' ' {
			text = text[:i] // no half of a word
		}
		return strings.TrimRight(text, " ,;:") + "..."
	}
	return text
}

// Markdown is the screen.
func (a AuditScreen) Markdown(*Clock) string {
	var l lines
	l.add("# What the record of %s shows\n", esc(a.mark))
	for _, item := range a.items {
		if item.bold != "" {
			item.bold = "**" + item.bold + "** "
		}
		l.item("%s%s", item.bold, esc(item.text))
	}
	l.add("\nMore: `fettle audit %s --full`, `--gate GATE`, `--table TABLE`.", a.mark)
	return l.String()
}

// A GateHistory is how one gate was judged, sitting by sitting.
type GateHistory struct {
	gate  Gate
	rows  []historyRow
	since map[int]string // limits or way, where they changed
}

type historyRow struct {
	at                     time.Time
	of, value, scale, says string
	counts                 bool
}

// NewGateHistory makes the history of the gate of that name.
func NewGateHistory(s *workflow.State, record *workflow.Record, gate string, at time.Time) (GateHistory, error) {
	report, err := s.GateReport(gate, at)
	if err != nil {
		return GateHistory{}, err
	}
	h := GateHistory{gate: NewGate(s, report, at), since: map[int]string{}}
	limits := ""
	var before steps.Gate
	for _, j := range record.Judgements {
		if j.Gate.Name != gate {
			continue
		}
		if now := LimitsText(j.Gate); now != limits {
			switch {
			case limits == "":
			case j.Gate.Limits == before.Limits && j.Gate.Or.Gauge == before.Gauge:
				gauge, _ := s.Sheet.Gauge(j.Gate.Gauge)
				h.since[len(h.rows)] = "from here with the " + strings.ToLower(first(gauge.Title, j.Gate.Gauge))
			default:
				h.since[len(h.rows)] = "limits from here: " + now
			}
			limits = now
		}
		before = j.Gate
		for _, v := range j.Judged {
			if !v.Limited() || !v.Known {
				continue
			}
			row := historyRow{at: j.At, of: v.Named(), value: amountOfValue(v), scale: drawn(v.Scale), says: verdictText(v.Part, j.Gate.Repeat), counts: j.Counts}
			if likely := v.Finding.Judged; likely.Known && likely.Probability <= sure && v.Finding.Verdict != measuring.Out {
				row.says += ", P " + likely.Likely()
			}
			if n := len(v.Readings); n > max(1, j.Gate.Repeat) {
				row.says += fmt.Sprintf(", of %d readings", n)
			}
			if j.Concession != nil && !j.Passed() {
				row.says += ", conceded"
			}
			if j.Doubt != nil {
				row.says += ", in doubt"
			}
			h.rows = append(h.rows, row)
		}
	}
	return h, nil
}

func amountOfValue(v workflow.Judged) string {
	if len(v.Readings) == 1 {
		return v.Readings[0].String()
	}
	return quantity.Written(figures(v.Value), v.Unit)
}

// nearFigures is a value that is near a limit, to three places, or to more where it would be
// rounded onto the limit or over it.
func nearFigures(v workflow.Judged) string {
	for places := 3; ; places++ {
		text := trimmed(strconv.FormatFloat(v.Value, 'f', places, 64))
		rounded, err := strconv.ParseFloat(text, 64)
		same := func(limit float64) bool {
			return (v.Value < limit) == (rounded < limit) && (v.Value > limit) == (rounded > limit)
		}
		if same(v.Low) && same(v.High) || err != nil || places == 12 {
			return text
		}
	}
}

// padded is a text in so many columns.
//
//go:noinline
func padded(text string, to int) string {
	text = cut(text, to)
	return text + strings.Repeat(" ", to-utf8.RuneCountInString(text))
}

// Markdown is the history, oldest first.
func (h GateHistory) Markdown(c *Clock) string {
	var l lines
	l.add("# %s: %s\n", esc(h.gate.Name), esc(h.gate.Title))
	l.item("%s", esc(strings.Join(h.heads(), "; ")))
	if h.gate.Reason != "" && h.gate.Standing != workflow.Current {
		l.item("%s", esc(h.gate.Reason))
	}
	if len(h.rows) == 0 {
		l.add("\nIt was not measured yet.")
		return l.String()
	}
	var wide [2]int
	for _, r := range h.rows {
		wide[0], wide[1] = max(wide[0], utf8.RuneCountInString(r.of)), max(wide[1], utf8.RuneCountInString(r.value))
	}
	wide[0], wide[1] = min(wide[0], 16), min(wide[1], 14)
	l.add("\n```")
	last := ""
	for i, r := range h.rows {
		if limits := h.since[i]; limits != "" {
			l.add("  %s", limits)
		}
		when := c.Full(r.at)
		if when == last {
			when = ""
		} else {
			last = when
		}
		mark := " "
		if r.counts {
			mark = ">"
		}
		row := fmt.Sprintf("%s %s", mark, padded(when, 17))
		if wide[0] > 0 {
			row += " " + padded(r.of, wide[0])
		}
		l.add("%s", strings.TrimRight(fmt.Sprintf("%s %s %s %s", row, padded(r.value, wide[1]), r.scale, r.says), " "))
	}
	l.add("```\n\nA row with > counts now. [ and ] are the limits, = passes, ? is too near to decide, - is out, * is the value. P is how sure it is that the value is in tolerance.")
	return l.String()
}

func (h GateHistory) heads() []string {
	heads := []string{h.gate.Limits}
	if h.gate.Critical {
		heads = append(heads, "critical")
	}
	return append(heads, h.gate.Standing.Words())
}
