package book

import (
	"strings"

	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/workflow"
)

// The drawings are made by hand and not with a plotting library. Horizontal
// positions are a percentage of the width and vertical positions are pixels, so
// that a drawing fits a phone and a page while its text keeps its size. A library
// draws to a fixed width; scaled down to a phone its text cannot be read.

// A bar is a scale with its limits and the values that they judge.
type bar struct {
	Says   string // all of it in words, for screen readers
	In     span
	Guards []span
	Edges  []edge
	Marks  []mark
}

// A span is a part of the scale, in per cent.
type span struct {
	X, W     string
	Name, At string // a letter, and where its middle is; "": it has none
}

// An edge is a limit with its text.
type edge struct{ X, Anchor, Says string }

// A mark is one value. Beyond is the arrow for one outside the scale: ◂ or ▸.
type mark struct{ X, Beyond string }

// barsOf draws the values of a judgement: those that have the same limits on one scale.
func barsOf(j *workflow.Judgement) []bar {
	var single, pairs []workflow.Judged
	for _, v := range j.Judged {
		switch {
		case !v.Known || !v.Limited():
		case len(v.Of) == 2:
			pairs = append(pairs, v)
		default:
			single = append(single, v)
		}
	}
	var bars []bar
	limits := measuring.Limits{Low: j.Gate.Limits.Low, High: j.Gate.Limits.High}
	for _, group := range []struct {
		values []workflow.Judged
		limits measuring.Limits
	}{{single, limits}, {pairs, measuring.Limits{High: j.Gate.Limits.Alike}}} {
		if len(group.values) == 0 {
			continue
		}
		var values []float64
		var said []string
		for _, v := range group.values {
			values = append(values, v.Value)
			said = append(said, strings.TrimSpace(plain(v.Named())+" "+sized(v.Value, v.Unit))+", "+says(v.Finding.Verdict))
		}
		guard := group.values[0].U
		if group.values[0].Finding.Judged.Plain { // it decides all the same
			guard = 0
		}
		b := newScale(group.limits, guard, values).bar(values)
		b.Says = titled(j.Gate.Title, j.Gate.Name) + ": " + strings.Join(said, "; ")
		for _, q := range []quantity.Quantity{group.limits.Low, group.limits.High} {
			if !q.IsZero() {
				b.Says += ", limit " + q.String()
			}
		}
		bars = append(bars, b)
	}
	return bars
}
