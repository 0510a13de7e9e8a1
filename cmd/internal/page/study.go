package page

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"fettle/steps/quantity"
	"fettle/workflow"
)

// A Study is a study of a gauge at a gate: standard deviations, in the unit, and what
// readings are judged with since, expanded.
type Study struct {
	Entry           int64     `json:"entry"`
	At              time.Time `json:"at"`
	By              string    `json:"by"`
	Gate            string    `json:"gate"`
	People          []string  `json:"people"`
	Parts           []string  `json:"parts"`
	Trials          int       `json:"trials"`
	Unit            string    `json:"unit"`
	Repeatability   float64   `json:"repeatability_sd"`
	Reproducibility float64   `json:"reproducibility_sd"`
	Gauge           float64   `json:"gauge_sd"`
	PartVariation   float64   `json:"part_sd"`
	Repeats         string    `json:"repeatability"`
	Whole           string    `json:"repeatability_and_reproducibility"`
	OfTolerance     float64   `json:"of_tolerance,omitempty"` // six deviations of the gauge; 0: the gate lacks a limit
	Groups          *int      `json:"groups_apart,omitempty"` // of parts that it tells apart
	Decides         bool      `json:"can_decide"`
	Passes          string    `json:"passes,omitempty"`
	Note            string    `json:"note,omitempty"`
	gone            bool      // the sheet no longer has the gate
}

func newStudy(r workflow.StudyReport) Study {
	s := Study{Entry: r.Position, At: r.At, By: r.By, Gate: r.GaugeStudied.Gate, People: r.People, Parts: r.Parts, Trials: r.Trials, Unit: r.Unit,
		Repeatability: r.Study.Repeatability, Reproducibility: r.Reproducibility, Gauge: r.Study.Gauge(), PartVariation: r.Part,
		Repeats: r.GaugeStudied.Repeatability.String(), Whole: r.Whole.String(), OfTolerance: r.OfTolerance, Decides: r.Decides, Note: r.Note, gone: r.Now.Name == ""}
	if n := r.Apart(); n >= 0 {
		s.Groups = &n
	}
	if !s.gone {
		s.Passes = passesText(r.Now, r.Passes, r.Decides)
	}
	return s
}

// line is the study in a list. How much of a tolerance a gauge may take up, a tenth and
// three tenths, is customary (AIAG, Measurement Systems Analysis, second-hand).
func (s Study) line(c *Clock) string {
	text := fmt.Sprintf("studied at %s by %s, %s, %s each, entry %d, %s: one person repeats to ±%s, anybody to ±%s; standard deviations: one person again %s, between people %s, between parts %s",
		esc(s.Gate), fmt.Sprintf("%d people", len(s.People)), many(len(s.Parts), "part"), many(s.Trials, "reading"), s.Entry, c.At(s.At), s.Repeats, s.Whole,
		digits(s.Repeatability, s.Unit), digits(s.Reproducibility, s.Unit), digits(s.PartVariation, s.Unit))
	if s.OfTolerance > 0 {
		how := "good"
		if s.OfTolerance > 0.3 {
			how = "**too much** by custom"
		} else if s.OfTolerance > 0.1 {
			how = "usable with care"
		}
		text += fmt.Sprintf("; it takes up %s of the tolerance, %s", share(s.OfTolerance), how)
	}
	if s.Groups != nil {
		text += fmt.Sprintf("; it tells %s of parts apart", many(*s.Groups, "group"))
	}
	switch {
	case s.gone:
		text += "; the design no longer has this gate"
	case !s.Decides:
		text += "; **it cannot decide this gate**: nothing passes with it"
	case s.Passes != "":
		text += "; " + s.Passes
	default:
		text += "; it can decide this gate"
	}
	return text + esc(optionally(": ", s.Note))
}

// digits is a size with three significant digits.
func digits(f float64, unit string) string {
	return quantity.Written(strconv.FormatFloat(rounded(f, 3), 'f', -1, 64), unit)
}

// rounded is the number to so many significant digits.
func rounded(f float64, to int) float64 {
	if f == 0 || math.IsInf(f, 0) || math.IsNaN(f) {
		return f
	}
	r, err := strconv.ParseFloat(strconv.FormatFloat(f, 'e', to-1, 64), 64)
	if err != nil {
		return f
	}
	return r
}

// share is a share in per cent, to two digits; below a hundredth of a per cent it says so.
func share(f float64) string {
	percent := 100 * f
	switch {
	case percent != 0 && percent < 0.01:
		return "less than 0.01 %"
	case percent > 99 && percent < 100:
		return "more than 99 %"
	}
	return strconv.FormatFloat(rounded(percent, 2), 'f', -1, 64) + " %"
}
