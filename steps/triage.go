package steps

import (
	"cmp"
	"slices"
	"strings"
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
	// HardLanding is the check that a hard landing asks for.
	HardLanding string `json:"hard_landing,omitempty"`
}

// A Finding is one thing that can be seen.
type Finding struct {
	Name  string   `json:"name"`
	Title string   `json:"title"`
	Zones []string `json:"zones,omitempty"` // where it is asked for; none: everywhere
	// Quarantine: the part is kept out of reach until a person clears it, such as a
	// battery that was hit.
	Quarantine []string `json:"quarantine,omitempty"` // the lines to confirm when it is cleared
}

// The severities, from least to worst.
const (
	Slight  = "slight"
	Serious = "serious"
	Total   = "total"
)

// Severities are all of them, in order.
func Severities() []string { return []string{Slight, Serious, Total} }

// What a row asks for.
const (
	ToRepair  = "repair"
	ToReplace = "replace"
	ToScrap   = "scrap"
)

// A Row answers a finding: with a procedure that repairs or replaces, or with
// the advice to scrap the part. The first row that fits counts.
type Row struct {
	Finding    string   `json:"finding"`
	Zones      []string `json:"zones,omitempty"`      // none: all
	Severities []string `json:"severities,omitempty"` // none: all
	Outcome    string   `json:"outcome"`
	Procedure  string   `json:"procedure,omitempty"` // none where the part is scrapped
	Why        string   `json:"why"`
}

// Asked are tables as one, in the order in which they are asked: the first row of
// them that fits answers, and the findings of all are known. Of a finding that
// several have, the first one's words count, the zones of all, and the longest
// quarantine.
func Asked(tables ...*Triage) *Triage {
	all := &Triage{}
	var names []string
	for _, t := range tables {
		names = append(names, t.Name)
		all.Rows = append(all.Rows, t.Rows...)
		all.Unknown, all.HardLanding = cmp.Or(all.Unknown, t.Unknown), cmp.Or(all.HardLanding, t.HardLanding)
		for _, f := range t.Findings {
			i := slices.IndexFunc(all.Findings, func(have Finding) bool { return have.Name == f.Name })
			if i < 0 {
				all.Findings = append(all.Findings, f)
				continue
			}
			all.Findings[i] = all.Findings[i].with(f)
		}
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
			if !slices.Contains(f.Zones, z) {
				f.Zones = append(slices.Clip(f.Zones), z)
			}
		}
	}
	if len(f.Quarantine) == 0 {
		f.Quarantine = later.Quarantine
	}
	return f
}

// In reports whether the finding is possible in the zone.
func (f Finding) In(zone string) bool { return len(f.Zones) == 0 || slices.Contains(f.Zones, zone) }

// Answer returns the first row that fits, or the inspection of the unknown.
func (t *Triage) Answer(finding, zone, severity string) (row Row, known bool) {
	if i := t.Fits(finding, zone, severity); i >= 0 {
		return t.Rows[i], true
	}
	return Row{Finding: finding, Outcome: ToRepair, Procedure: t.Unknown, Why: "no row of the table answers it, so it is inspected first"}, false
}

// Fits is the index of the first row that fits, or -1.
func (t *Triage) Fits(finding, zone, severity string) int {
	fits := func(list []string, one string) bool { return len(list) == 0 || slices.Contains(list, one) }
	return slices.IndexFunc(t.Rows, func(r Row) bool {
		return r.Finding == finding && fits(r.Zones, zone) && fits(r.Severities, severity)
	})
}

// Finding returns the finding of that name.
func (t *Triage) Finding(name string) (Finding, bool) {
	return find(t.Findings, func(f Finding) bool { return f.Name == name })
}
