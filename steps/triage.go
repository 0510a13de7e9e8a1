package steps

import "slices"

// A Triage is the table that says what to do about what is seen after a crash.
type Triage struct {
	Name     string    `json:"name"`
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

// Answer returns the first row that fits, or the inspection of the unknown.
func (t *Triage) Answer(finding, zone, severity string) (row Row, known bool) {
	fits := func(list []string, one string) bool { return len(list) == 0 || slices.Contains(list, one) }
	for _, r := range t.Rows {
		if r.Finding == finding && fits(r.Zones, zone) && fits(r.Severities, severity) {
			return r, true
		}
	}
	return Row{Finding: finding, Outcome: ToRepair, Procedure: t.Unknown, Why: "no row of the table answers it, so it is inspected first"}, false
}

// Finding returns the finding of that name.
func (t *Triage) Finding(name string) (Finding, bool) {
	return find(t.Findings, func(f Finding) bool { return f.Name == name })
}
