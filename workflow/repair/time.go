package repair

import (
	"maps"
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
)

// A Time is how long a plan takes: somebody's work, and the waits of its longest
// chain.
type Time struct {
	Attended, Waiting time.Duration
	Chain             []Wait
}

// A Wait is a step that time passes before, or that is a wait itself.
type Wait struct {
	Step  string        `json:"step"`
	Lasts time.Duration `json:"lasts"`
}

// Clocks are an adhesive's times at the bench.
type Clocks struct{ Open, Handling, Cure time.Duration }

// A chain is when a step is done, if everything is at hand, and what was waited for
// until then.
type chain struct {
	at    time.Duration
	waits []Wait
}

// and is the chain with one more wait.
func (c chain) and(step string, lasts time.Duration) chain {
	return chain{c.at + lasts, append(slices.Clip(c.waits), Wait{step, lasts})}
}

func longer(a, b chain) chain {
	if b.at > a.at {
		return b
	}
	return a
}

// TimeOf adds up the attended time of a plan and finds its longest chain, until the
// airframe may be released. Of several adhesives the slowest counts.
func TimeOf(p *steps.Procedure, clocks func(adhesive string) Clocks) Time {
	of := map[string]Clocks{} // by joint
	for _, s := range p.Steps() {
		for _, a := range s.Adhesives {
			c, had := clocks(a), of[s.Joint]
			of[s.Joint] = Clocks{max(had.Open, c.Open), max(had.Handling, c.Handling), max(had.Cure, c.Cure)}
		}
	}
	var all Time
	var longest chain
	done := map[string]chain{} // by step
	joined, coated := map[string]chain{}, map[string]chain{}
	loaded := map[string]string{} // the step that joins what carries load, by joint
	ended := map[string]chain{}   // by stage
	for range p.Stages {          // a stage may be written before one that it comes after
		for _, stage := range p.Stages {
			if _, met := ended[stage.Name]; met || lists.ContainsFunc(stage.After, func(a string) bool { _, met := ended[a]; return !met }) {
				continue
			}
			var now chain
			for _, a := range stage.After {
				now = longer(now, ended[a])
			}
			for _, s := range stage.Steps {
				does := s.Kind.Traits()
				hands, _ := s.Hands.Duration()
				lasts, _ := s.For.Duration()
				clock := of[s.Joint]
				switch {
				case does.Passes && s.Joint != "" && s.Until == steps.UntilCure:
					now = longer(now, joined[s.Joint].and(s.Name, clock.Cure))
				case does.Passes && s.Joint != "":
					now = longer(now, joined[s.Joint].and(s.Name, clock.Handling))
				case does.Passes && s.From != "":
					now = longer(now, done[s.From].and(s.Name, lasts))
				case does.Passes:
					now = now.and(s.Name, lasts)
				case does.Joins && does.Coats:
					now.at += hands
					if clock.Open > 0 {
						now = now.and(s.Name, clock.Open)
					}
				case does.Joins && clock.Open > 0:
					now = longer(now, coated[s.Joint].and(s.Name, clock.Open))
					now.at += hands
				default:
					now.at += hands
				}
				if does.Coats {
					coated[s.Joint] = longer(coated[s.Joint], now)
				}
				if does.Joins {
					joined[s.Joint] = longer(joined[s.Joint], now)
					if s.Load {
						loaded[s.Joint] = s.Name
					}
				}
				done[s.Name] = now
				all.Attended += hands
			}
			ended[stage.Name] = now
			longest = longer(longest, now)
		}
	}
	for _, joint := range slices.Sorted(maps.Keys(loaded)) { // a release waits for its cure, if no step does
		longest = longer(longest, joined[joint].and(loaded[joint], of[joint].Cure))
	}
	all.Chain = longest.waits
	for _, w := range all.Chain {
		all.Waiting += w.Lasts
	}
	return all
}
