package steps

import (
	"cmp"
	"slices"
	"strings"
	"time"
	"unicode"

	"fettle/steps/lists"
	"fettle/steps/quantity"
	"fettle/steps/sorting"
)

// A Triage is the table that says what to do about what is seen after a crash.
type Triage struct {
	Name     string    `json:"name"`
	Design   string    `json:"design,omitempty"` // asked first for that design; "": for every design
	Title    string    `json:"title"`
	About    string    `json:"about,omitempty"` // Markdown, optional
	Revision int       `json:"revision"`
	Changes  []Change  `json:"changes,omitempty"`
	Findings []Finding `json:"findings"`
	Rows     []Row     `json:"rows"`
	// Unknown is the procedure for what no row answers: an inspection.
	Unknown string `json:"unknown"`
	// OwnWords say what damage in words of one's own is taken for in some zones.
	OwnWords []OwnWords `json:"own_words,omitempty"`
	// Lost is the procedure that takes a lost part off, before the build makes it anew.
	Lost string `json:"lost,omitempty"`
	// HardLanding is the check that a hard landing asks for.
	HardLanding string `json:"hard_landing,omitempty"`
}

// A Finding is one thing that can be seen.
type Finding struct {
	Name  string   `json:"name"`
	Title string   `json:"title"`
	Zones []string `json:"zones,omitempty"` // where it is asked for; none: everywhere
	Also  []string `json:"also,omitempty"`  // what people call it
	// Caution is said as soon as it is found.
	Caution string `json:"caution,omitempty"`
	// Quarantine: the part is kept out of reach until a person clears it, such as a
	// battery that was hit.
	Quarantine Quarantine `json:"quarantine,omitzero"`
}

// A Quarantine is how long a part is kept out of reach, and what is confirmed
// when it is cleared.
type Quarantine struct {
	For     quantity.Quantity `json:"for,omitzero"` // no line is confirmed earlier; absent: at any time
	Confirm []string          `json:"confirm"`
}

// IsZero reports whether there is none.
func (q Quarantine) IsZero() bool { return len(q.Confirm) == 0 }

// Lasts is how long it lasts at least.
//
//go:noinline
func (q Quarantine) Lasts() time.Duration {
	d, err := q.For.Duration()
	if err != nil {
		return 0
	}
	return d
}

// and is the quarantine of two that both hold: the longer time, and the lines of
// both, each once.
func (q Quarantine) and(other Quarantine) Quarantine {
	if other.Lasts() > q.Lasts() {
		q.For = other.For
	}
	q.Confirm = slices.Clip(q.Confirm)
	for _, line := range other.Confirm {
		if !lists.Contains(q.Confirm, line) {
			q.Confirm = append(q.Confirm, line)
		}
	}
	return q
}

// OwnWords are what damage in words of one's own is taken for in a zone.
type OwnWords struct {
	Zone string `json:"zone"`
	Mean string `json:"mean"` // a finding, or the procedure that inspects it
}

// The severities, from least to worst.
const (
	Cosmetic = "cosmetic" // a mark: it is looked at, and disturbs nothing else
	Slight   = "slight"
	Serious  = "serious"
	Total    = "total"
)

// Severities are all of them, in order.
//
//go:noinline
func Severities() []string { return []string{Cosmetic, Slight, Serious, Total} }

// What a row asks for.
const (
	ToRepair  = "repair"
	ToReplace = "replace"
	ToRebuild = "rebuild"
)

// A Row answers a finding: with a procedure that repairs or replaces, or with
// a part that is lost and made anew by the build. The first row that fits counts.
type Row struct {
	Findings   []string `json:"findings"`
	Zones      []string `json:"zones,omitempty"`      // none: all
	Severities []string `json:"severities,omitempty"` // none: all but cosmetic
	Outcome    string   `json:"outcome"`
	Procedure  string   `json:"procedure,omitempty"` // of a part that is made anew, how the lost one is taken off; "": as Lost says
	Why        string   `json:"why"`
}

// Asked are tables as one, in the order in which they are asked: the first row of
// them that fits answers, and the findings of all are known. Of a finding that
// several have, the first one's title counts, and the words, zones, cautions and
// quarantines of all.
func Asked(tables ...*Triage) *Triage {
	all := &Triage{}
	var names []string
	for _, t := range tables {
		names = append(names, t.Name)
		all.Rows = append(all.Rows, t.Rows...)
		all.Unknown, all.Lost, all.HardLanding = cmp.Or(all.Unknown, t.Unknown), cmp.Or(all.Lost, t.Lost), cmp.Or(all.HardLanding, t.HardLanding)
		for _, f := range t.Findings {
			i := slices.IndexFunc(all.Findings, func(have Finding) bool { return have.Name == f.Name })
			if i < 0 {
				all.Findings = append(all.Findings, f)
				continue
			}
			all.Findings[i] = all.Findings[i].with(f)
		}
	}
	for _, t := range tables {
		all.OwnWords = append(all.OwnWords, t.OwnWords...)
	}
	all.Name = strings.Join(names, ", ")
	return all
}

// with adds what a table that is asked later says of the finding.
func (f Finding) with(later Finding) Finding {
	if len(f.Zones) == 0 || len(later.Zones) == 0 {
		f.Zones = nil
	} else {
		for _, z := range later.Zones {
			if !lists.Contains(f.Zones, z) {
				f.Zones = append(slices.Clip(f.Zones), z)
			}
		}
	}
	for _, words := range append([]string{later.Title}, later.Also...) {
		if words != f.Title && !lists.Contains(f.Also, words) {
			f.Also = append(slices.Clip(f.Also), words)
		}
	}
	if !strings.Contains(f.Caution, later.Caution) {
		f.Caution = strings.TrimSpace(f.Caution + " " + later.Caution)
	}
	f.Quarantine = f.Quarantine.and(later.Quarantine)
	return f
}

// In reports whether the finding is possible in the zone.
//
//go:noinline
func (f Finding) In(zone string) bool { return len(f.Zones) == 0 || lists.Contains(f.Zones, zone) }

func (t *Triage) ownWords(zone string) (OwnWords, bool) {
	return find(t.OwnWords, func(o OwnWords) bool { return o.Zone == zone })
}

// Means returns the finding that words of one's own in the zone are taken for. Where a
// finding there is put in quarantine it is one of these: the one that the tables say,
// else the one with the longest. False: they are inspected.
func (t *Triage) Means(zone string) (Finding, bool) {
	var said Finding
	own, is := t.ownWords(zone)
	if is {
		said, is = t.Finding(own.Mean)
	}
	if !said.Quarantine.IsZero() {
		return said, true
	}
	worst, found := said, is
	for _, f := range t.Findings {
		if f.In(zone) && !f.Quarantine.IsZero() && (worst.Quarantine.IsZero() || f.Quarantine.Lasts() > worst.Quarantine.Lasts()) {
			worst, found = f, true
		}
	}
	return worst, found
}

// Danger is the finding by which damage in the zone can hurt: one that is put in
// quarantine, or one with a caution that some table takes words of one's own for.
func (t *Triage) Danger(zone string) (Finding, bool) {
	if f, is := find(t.Findings, func(f Finding) bool { return f.In(zone) && !f.Quarantine.IsZero() }); is {
		return f, true
	}
	return t.cautioned(zone)
}

// cautioned is the finding with a caution that some table takes words of one's own for
// in the zone.
func (t *Triage) cautioned(zone string) (Finding, bool) {
	for _, own := range t.OwnWords {
		if f, is := t.Finding(own.Mean); is && own.Zone == zone && f.In(zone) && f.Caution != "" {
			return f, true
		}
	}
	return Finding{}, false
}

// Dangers are the zones that are looked at first after a crash, since what is
// damaged there can hurt. A quarantine of a finding that is possible everywhere
// puts none before the others.
func (t *Triage) Dangers(zones []string) []string {
	var first []string
	add := func(zone string) {
		if lists.Contains(zones, zone) && !lists.Contains(first, zone) {
			first = append(first, zone)
		}
	}
	for _, f := range t.Findings {
		if !f.Quarantine.IsZero() {
			for _, z := range f.Zones {
				add(z)
			}
		}
	}
	for _, own := range t.OwnWords {
		if f, is := t.Danger(own.Zone); is && len(f.Zones) > 0 {
			add(own.Zone)
		}
	}
	return first
}

// A Meaning is a finding in a zone that words of one's own may stand for.
type Meaning struct {
	Finding
	Zone string
}

// Sounds are what words of one's own in a zone may stand for: they hold the name, the
// title or another word of a finding there. Of the other zones of the airframe they
// may stand for what is put in quarantine, if they name its zone or hold a word that
// no finding here has.
func (t *Triage) Sounds(zones []string, zone, words string) []Meaning {
	return sorting.Delete(t.meanings(zones, zone, words), func(m Meaning) bool { return m.Zone != zone && m.Quarantine.IsZero() })
}

// SoundsElsewhere are the findings of other zones that words of one's own in a zone
// may stand for, and that nobody is asked about.
func (t *Triage) SoundsElsewhere(zones []string, zone, words string) []Meaning {
	return sorting.Delete(t.meanings(zones, zone, words), func(m Meaning) bool { return m.Zone == zone || !m.Quarantine.IsZero() })
}

func (t *Triage) meanings(zones []string, zone, words string) []Meaning {
	said := Words(words)
	var here, elsewhere []Meaning
	var taken []string // the words that findings here have
	for _, f := range t.Findings {
		if names := f.heldBy(said); f.In(zone) && len(names) > 0 {
			here, taken = append(here, Meaning{f, zone}), append(taken, names...)
		}
	}
	for _, f := range t.Findings {
		within := func(name string) bool { // "smells burnt" has "smells"
			return lists.ContainsFunc(taken, func(t string) bool { return holds(strings.Fields(t), strings.Fields(name)) })
		}
		free := lists.ContainsFunc(f.heldBy(said), func(name string) bool { return !within(name) })
		for _, other := range zones {
			named := len(f.heldBy(said)) > 0 && holds(said, Words(other))
			if other != zone && f.In(other) && !f.In(zone) && (free || named) {
				elsewhere = append(elsewhere, Meaning{f, other})
			}
		}
	}
	return append(here, elsewhere...)
}

// heldBy are the names of the finding that the words hold.
func (f Finding) heldBy(said []string) []string {
	var held []string
	for _, name := range lists.Concat([]string{f.Name, f.Title}, f.Also) {
		if words := Words(name); holds(said, words) {
			held = append(held, strings.Join(words, " "))
		}
	}
	return held
}

// Words are the words of a text, in small letters.
func Words(text string) []string {
	return strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
}

// holds reports whether the words follow one another in the text.
func holds(text, words []string) bool {
	for i := 0; len(words) > 0 && i+len(words) <= len(text); i++ {
		if lists.Equal(text[i:i+len(words)], words) {
			return true
		}
	}
	return false
}

// Answer returns the first row that fits, or the inspection of the unknown. Words
// of one's own, and a finding where it is not possible, are answered as what words
// are taken for there, or by how the zone is replaced once it is lost; these and what is put in quarantine are never answered as less
// bad than their rows ask for.
func (t *Triage) Answer(finding, zone, severity string) (row Row, known bool) {
	f, is := t.Finding(finding)
	own := !is || !f.In(zone)
	if own {
		if is {
			finding = "" // an older program took it
		}
		if f, is = t.Means(zone); is {
			finding = f.Name
		}
	}
	severities := []string{severity}
	if is && (own || !f.Quarantine.IsZero()) {
		severities = append(severities, Severities()[lists.Index(Severities(), severity)+1:]...)
	}
	for _, s := range severities {
		if i := t.Fits(finding, zone, s); i >= 0 {
			return t.Rows[i], true
		}
	}
	if i := t.loss(zone); own && severity == Total && i >= 0 {
		return t.Rows[i], true
	}
	if i := t.renews(zone, severity); i >= 0 && t.MustRenew(finding, zone, severity) {
		return t.Rows[i], true
	}
	inspect := t.Unknown
	if own, said := t.ownWords(zone); said {
		if _, is := t.Finding(own.Mean); !is {
			inspect = own.Mean
		}
	}
	return Row{Findings: []string{finding}, Outcome: ToRepair, Procedure: inspect, Why: "No row of the table answers it, so it is inspected first."}, false
}

// loss is the index of the first row that has the zone, by its name, replaced where it is
// lost, and is for nothing lighter; -1: none has.
func (t *Triage) loss(zone string) int {
	return slices.IndexFunc(t.Rows, func(r Row) bool {
		return r.Outcome == ToReplace && lists.Contains(r.Zones, zone) && lists.Equal(r.Severities, []string{Total})
	})
}

// Renews reports whether the row has the part replaced or made anew.
func (r Row) Renews() bool { return r.Outcome == ToReplace || r.Outcome == ToRebuild }

// MustRenew reports whether only a row that has the part replaced or made anew may
// answer the finding in the zone. What is put in quarantine is never repaired. Where
// damage can hurt there are no marks to look at, and nothing is repaired that a row of
// any table has replaced; nor, where words of one's own are taken for one with a caution,
// is what is graver than slight, which may be the same by another name.
func (t *Triage) MustRenew(finding, zone, severity string) bool {
	if f, _ := t.Finding(finding); !f.Quarantine.IsZero() {
		return true
	}
	_, danger := t.Danger(zone)
	renewed := func(r Row) bool { return r.Renews() && r.answers(finding, zone, severity) }
	_, named := t.cautioned(zone)
	return danger && (severity == Cosmetic || slices.ContainsFunc(t.Rows, renewed) || named && severity != Slight && t.renews(zone, severity) >= 0)
}

// renews is the index of the first row that has something in the zone replaced or made
// anew; -1: none has.
//
//go:noinline
func (t *Triage) renews(zone, severity string) int {
	return slices.IndexFunc(t.Rows, func(r Row) bool {
		in := func(name string) bool {
			f, is := t.Finding(name)
			return is && f.In(zone) && r.answers(name, zone, severity)
		}
		return r.Renews() && lists.ContainsFunc(r.Findings, in)
	})
}

func (r Row) severities() []string {
	if len(r.Severities) == 0 {
		return Severities()[1:]
	}
	return r.Severities
}

// Possible are the severities that a finding can have in the zone. Cosmetic is one
// only where a row says so.
func (t *Triage) Possible(finding, zone string) []string {
	if t.Fits(finding, zone, Cosmetic) < 0 {
		return Severities()[1:]
	}
	return Severities()
}

// Meets reports whether there is a zone in which both are possible.
//
//go:noinline
func (f Finding) Meets(other Finding) bool {
	return len(f.Zones) == 0 || len(other.Zones) == 0 || lists.ContainsFunc(f.Zones, other.In)
}

// Fits is the index of the first row that fits and may answer, or -1.
func (t *Triage) Fits(finding, zone, severity string) int {
	renew := t.MustRenew(finding, zone, severity)
	return slices.IndexFunc(t.Rows, func(r Row) bool { return (r.Renews() || !renew) && r.answers(finding, zone, severity) })
}

// Fitting are all rows that fit and may answer, in their order.
func (t *Triage) Fitting(finding, zone, severity string) []Row {
	all := t.Rows[:0:0]
	renew := t.MustRenew(finding, zone, severity)
	for i := range t.Rows {
		if r := &t.Rows[i]; (!renew || r.Renews()) && r.answers(finding, zone, severity) {
			all = append(all, *r)
		}
	}
	return all
}

func (r Row) answers(finding, zone, severity string) bool {
	return lists.Contains(r.Findings, finding) && (len(r.Zones) == 0 || lists.Contains(r.Zones, zone)) && lists.Contains(r.severities(), severity)
}

// FindingOf returns the finding of that name, if it is possible in the zone.
func (t *Triage) FindingOf(name, zone string) (Finding, bool) {
	return find(t.Findings, func(f Finding) bool { return f.Name == name && f.In(zone) })
}

// Finding returns the finding of that name.
func (t *Triage) Finding(name string) (Finding, bool) {
	return find(t.Findings, func(f Finding) bool { return f.Name == name })
}
