package steps

// A Kind is what satisfies a step.
type Kind string

// The kinds of step.
const (
	Do      Kind = "do"      // somebody says that it was done
	Coat    Kind = "coat"    // adhesive is on a face of a joint, and has not lapsed
	Join    Kind = "join"    // the joint is joined within its window
	Glue    Kind = "glue"    // coat and join in one step
	Wait    Kind = "wait"    // time has passed
	Measure Kind = "measure" // the gates are met
	Hold    Kind = "hold"    // every line is confirmed
	Choose  Kind = "choose"  // one of the answers is chosen
	Release Kind = "release" // a person has released the airframe
)

// Traits are true of every step of a kind, for every package. What one package does
// with a kind is in a table of that package.
type Traits struct {
	Kind     Kind
	Coats    bool // it spreads adhesive on a face of a joint
	Joins    bool // it joins a joint
	Passes   bool // time alone satisfies it
	Measures bool // gates satisfy it
	Confirms bool // a person confirms it line by line
	Releases bool // it lets the airframe fly
	Attended bool // it may want a second person, since somebody says that it is done
}

// Glues reports whether the step is part of making a joint.
func (t Traits) Glues() bool { return t.Coats || t.Joins }

// Plain reports whether somebody says that the step is done, and nothing else is asked.
func (t Traits) Plain() bool { return t.Attended && !t.Glues() && !t.Measures && !t.Confirms }

// kinds are all of them, a row each. Nobody changes it.
var kinds = [...]Traits{
	{Kind: Do, Attended: true},
	{Kind: Coat, Coats: true, Attended: true},
	{Kind: Join, Joins: true, Attended: true},
	{Kind: Glue, Coats: true, Joins: true, Attended: true},
	{Kind: Wait, Passes: true},
	{Kind: Measure, Measures: true, Attended: true},
	{Kind: Hold, Confirms: true, Attended: true},
	{Kind: Choose},
	{Kind: Release, Releases: true},
}

// Kinds are all the kinds of step.
func Kinds() [len(kinds)]Traits { return kinds }

// Traits returns the traits of the kind.
// Inlined, it would stand in the program a hundred times.
//
//go:noinline
func (k Kind) Traits() Traits {
	for i := range kinds {
		if kinds[i].Kind == k {
			return kinds[i]
		}
	}
	return Traits{Kind: k}
}
