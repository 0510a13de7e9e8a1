package procedures

import (
	"strconv"
	"strings"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/quantity"
)

// A typ says what a value may be: enough to explain it to a person, or to make a
// schema from it.
type typ struct {
	is    form
	what  string             // aMapping: what it is; aMap: what each is
	to    thing              // aName, oneName: what is named
	words []string           // aWord, words: all there are; oneName: what else may stand there
	of    []*typ             // aList, aMap: the item; anEither: the forms
	keys  []row              // aMapping
	one   bool               // aMapping: one of its choices is required
	unit  quantity.Dimension // anAmount, aRange: "" for any
	least bound              // anAmount
	low   int                // aWhole, aNumber
	high  int
	on    bool // aSwitch: the default
	none  bool // oneName: there may be none
}

// A form is the outermost part of a typ.
type form int

const (
	aText     form = iota
	prose          // Markdown
	texts          // one text, or a list of them
	aName          //
	oneName        // one name, or a list of them
	aWord          // one of a few
	oneWord        // one of a few, or a list of them
	aSwitch        // yes or no
	aYes           // yes, and never no
	aWhole         // a whole number
	aNumber        // a number without a unit
	anAmount       // a number with its unit
	aRange         // two of them
	settings       // conditions with their states
	pairs          // of points
	aMapping       // keys with values
	aList          // a list of mappings
	aMap           // a mapping by names that the author chooses
	anEither       // one of several forms
	entries        // steps and runs
	wordLists      // lists of words, by names
	used           // stages and steps of other procedures
	changes        // texts, by revisions
	parts          // amounts, by the names of parts
	aPlace         // a point of the plan
	places         // the corners of a polygon
	aLine          // from a place to another
	aShare         // so much of a figure of the drive
	aRate          // so many times its capacity in an hour
)

// A bound is the lower bound of a number.
type bound int

const (
	unbounded bound = iota
	fromZero
	aboveZero
)

// scalar is a text as a node, quoted if it would otherwise be read as something else.
// It is not inlined: its many copies would make the program larger.
//
//go:noinline
func scalar(s string) *node {
	return &node{Kind: textNode, Tag: stringTag, Value: s}
}

// plain is a number or a switch as a node.
// It is not inlined: its many copies would make the program larger.
//
//go:noinline
func plain(s string) *node { return &node{Kind: textNode, Value: s} }

//go:noinline
func unlessEmpty(n *node) *node {
	if len(n.Content) == 0 {
		return nil
	}
	return n
}

// flow is a list on one line.
func flow(items []string) *node {
	n := &node{Kind: listNode, Style: flowStyle}
	for _, s := range items {
		n.Content = append(n.Content, scalar(s))
	}
	return unlessEmpty(n)
}

// textValue is one text.
type textValue struct{ form form }

func (*textValue) read(r *reader, n *node, what string, to *string) {
	*to = r.text(n, what)
	r.prose(n, what)
}

func (*textValue) write(from *string) *node {
	if *from == "" {
		return nil
	}
	return scalar(*from)
}

func (v *textValue) typ() *typ { return &typ{is: v.form} }

// textsValue is one text or a list of them.
type textsValue struct{}

func (*textsValue) read(r *reader, n *node, what string, to *[]string) {
	if n.Kind == textNode {
		if s := r.text(n, what); s != "" {
			*to = []string{s}
		}
		r.prose(n, what)
		return
	}
	r.list(n, what, func(item *node) {
		if s := r.text(item, "an entry of "+what); s != "" {
			*to = append(*to, s)
		}
		r.prose(item, what)
	})
}

func (*textsValue) write(from *[]string) *node {
	n := flow(*from)
	if n != nil {
		n.Style = 0
	}
	return n
}

func (*textsValue) typ() *typ { return &typ{is: texts} }

// aloneValue is one text or a list of them, or no.
type aloneValue struct{}

func (*aloneValue) read(r *reader, n *node, what string, to *[]string) {
	if n.Kind == textNode && isSwitch(n) {
		if on, _ := r.yes(n, what); on {
			r.fault(n, "%s must say what one alone may do in place of the second person, or no", what)
			return
		}
		*to = []string{steps.No}
		return
	}
	(&textsValue{}).read(r, n, what, to)
	for _, item := range n.Content {
		if isSwitch(item) {
			r.fault(item, "%q is not a way of doing it alone: write no in place of the list", item.Value)
		}
	}
}

func isSwitch(n *node) bool {
	return lists.Contains([]string{"yes", "no", "true", "false"}, strings.ToLower(n.Value))
}

func (*aloneValue) write(from *[]string) *node {
	switch {
	case len(*from) == 1 && (*from)[0] == steps.No:
		return plain(steps.No)
	case len(*from) == 1:
		return scalar((*from)[0])
	}
	return (&textsValue{}).write(from)
}

func (*aloneValue) typ() *typ {
	return &typ{is: anEither, of: []*typ{(&textsValue{}).typ(), {is: aWord, words: []string{steps.No}}}}
}

// nameValue is the name of something, or a new name if to is "".
type nameValue struct{ to thing }

func (v *nameValue) read(r *reader, n *node, what string, to *string) {
	*to = r.name(n, what)
	if v.to != "" {
		r.refer(v.to, n, *to, "")
	}
}

func (*nameValue) write(from *string) *node { return (&textValue{}).write(from) }

func (v *nameValue) typ() *typ { return &typ{is: aName, to: v.to} }

// namesValue is a list of names without duplicates. One name may always be written
// without the list.
type namesValue struct {
	to     thing
	except string // a word that is allowed although no sheet has it
	loose  bool   // a name that the sheet lacks asks nothing
}

//go:noinline
func (v *namesValue) read(r *reader, n *node, what string, to *[]string) {
	*to = r.names(n, what, func(item *node, name string) {
		if v.to != "" && name != v.except && !v.loose {
			r.refer(v.to, item, name, "")
		}
	})
}

func (*namesValue) write(from *[]string) *node { return flow(*from) }

// It is not inlined: its copies in all callers would take 2 KB.
//
//go:noinline
func (v *namesValue) typ() *typ {
	t := &typ{is: oneName, to: v.to}
	if v.except != "" {
		t.words = []string{v.except}
	}
	return t
}

// oneOrMore is names of which one is chosen when the time comes; a single one is
// written without the list.
type oneOrMore struct{ namesValue }

func (v *oneOrMore) write(from *[]string) *node {
	if len(*from) == 1 {
		return scalar((*from)[0])
	}
	return v.namesValue.write(from)
}

// names reads the names of a list, without duplicates; or one name without a list.
func (r *reader) names(n *node, what string, each func(item *node, name string)) []string {
	if n.Kind == textNode {
		name := r.name(n, what)
		if name == "" {
			return nil
		}
		each(n, name)
		return []string{name}
	}
	var all []string
	var met set
	entry := "an entry of " + what
	r.list(n, what, func(item *node) {
		name := r.name(item, entry)
		switch {
		case name == "":
		case !met.add(name):
			r.fault(item, "%q is duplicated in %s", name, what)
		default:
			all = append(all, name)
			each(item, name)
		}
	})
	return all
}

// wordValue is one of a few words.
type wordValue struct {
	known []string
	what  string // in faults; if "", the key
}

func (v *wordValue) read(r *reader, n *node, what string, to *string) {
	if v.what != "" {
		what = v.what
	}
	*to = r.text(n, what)
	r.word(n, what, *to, v.known)
}

func (*wordValue) write(from *string) *node { return (&textValue{}).write(from) }

func (v *wordValue) typ() *typ { return &typ{is: aWord, words: v.known} }

func (r *reader) word(n *node, what, word string, known []string) {
	if word != "" && !lists.Contains(known, word) {
		r.fault(n, "unknown %s %q%s", what, word, suggest(word, known))
	}
}

// wordsValue is one of a few words, or a list of them.
type wordsValue struct{ known []string }

func (v *wordsValue) read(r *reader, n *node, what string, to *[]string) {
	*to = r.names(n, what, func(item *node, word string) { r.word(item, what, word, v.known) })
}

func (*wordsValue) write(from *[]string) *node { return flow(*from) }

func (v *wordsValue) typ() *typ { return &typ{is: oneWord, words: v.known} }

// markValue is a switch that a word of its own turns on.
type markValue struct{ word string }

func (v *markValue) read(r *reader, n *node, what string, to *bool) {
	if *to = r.text(n, what) == v.word; !*to {
		r.fault(n, "%s must be %q; otherwise delete the line", what, v.word)
	}
}

func (v *markValue) write(from *bool) *node {
	if !*from {
		return nil
	}
	return scalar(v.word)
}

func (v *markValue) typ() *typ { return &typ{is: aWord, words: []string{v.word}} }

// switchValue is yes or no; on is the default.
type switchValue struct{ on bool }

func (*switchValue) read(r *reader, n *node, what string, to *bool) {
	if on, ok := r.yes(n, what); ok {
		*to = on
	}
}

func (v *switchValue) write(from *bool) *node {
	switch {
	case *from == v.on:
		return nil
	case *from:
		return plain("yes")
	}
	return plain("no")
}

func (v *switchValue) typ() *typ { return &typ{is: aSwitch, on: v.on} }

// yesValue is a key whose only value is yes.
type yesValue[P any] struct{}

func (*yesValue[P]) read(r *reader, n *node, what string, _ P) {
	if on, ok := r.yes(n, what); ok && !on {
		r.fault(n, "%s must be yes; otherwise delete the line", what)
	}
}

func (*yesValue[P]) write(P) *node { return plain("yes") }

func (*yesValue[P]) typ() *typ { return &typ{is: aYes} }

// wholeValue is a whole number from 1 up.
type wholeValue struct{ most int }

func (v *wholeValue) read(r *reader, n *node, what string, to *int) {
	number, err := strconv.Atoi(n.Value)
	if n.Kind != textNode || err != nil || number < 1 || number > v.most {
		r.fault(n, "%s must be a whole number from 1 to %d", what, v.most)
		return
	}
	*to = number
}

func (*wholeValue) write(from *int) *node {
	if *from == 0 {
		return nil
	}
	return plain(strconv.Itoa(*from))
}

func (v *wholeValue) typ() *typ { return &typ{is: aWhole, low: 1, high: v.most} }

// numberValue is a number without a unit.
type numberValue struct{ least, most int }

func (v *numberValue) read(r *reader, n *node, what string, to *float64) {
	// Read as a percentage, so that the same rules for numbers apply.
	q, err := quantity.Parse(n.Value+" %", quantity.Ratio)
	number, _ := q.Float("%")
	if n.Kind != textNode || err != nil || number < float64(v.least) || number > float64(v.most) {
		r.fault(n, "%s must be a number from %d to %d, without a unit", what, v.least, v.most)
		return
	}
	*to = number
	r.clear(n, what, quantity.Ratio)
}

func (*numberValue) write(from *float64) *node {
	if *from == 0 {
		return nil
	}
	return plain(strconv.FormatFloat(*from, 'f', -1, 64))
}

func (v *numberValue) typ() *typ { return &typ{is: aNumber, low: v.least, high: v.most} }

// amountValue is a number with its unit.
type amountValue struct {
	unit  quantity.Dimension
	least bound
}

func (v *amountValue) read(r *reader, n *node, what string, to *quantity.Quantity) {
	*to = r.amount(n, what, v.unit)
	sign := to.Sign()
	switch {
	case to.IsZero():
	case v.least == fromZero && sign < 0:
		r.fault(n, "%s must not be less than 0", what)
	case v.least == aboveZero && sign <= 0:
		r.fault(n, "%s must be more than 0; write how much, or delete it", what)
	}
}

func (*amountValue) write(from *quantity.Quantity) *node {
	if from.IsZero() {
		return nil
	}
	return scalar(from.Typed())
}

func (v *amountValue) typ() *typ { return &typ{is: anAmount, unit: v.unit, least: v.least} }

// amountLike is a number whose unit must suit one that was read before.
type amountLike[P any] struct {
	of    func(P) *quantity.Quantity
	like  func(P) quantity.Dimension
	least bound
}

func (v *amountLike[P]) read(r *reader, n *node, what string, to P) {
	(&amountValue{v.like(to), v.least}).read(r, n, what, v.of(to))
}

func (v *amountLike[P]) write(from P) *node { return (&amountValue{}).write(v.of(from)) }

func (v *amountLike[P]) typ() *typ { return (&amountValue{least: v.least}).typ() }

func (r *reader) amount(n *node, what string, want quantity.Dimension) quantity.Quantity {
	if n.Kind != textNode || null(n) {
		r.fault(n, "%s must be a number with its unit, not %s", what, shape(n))
		return quantity.Quantity{}
	}
	q, err := quantity.Parse(n.Value, want)
	if err != nil {
		r.fault(n, "%s: %v%s", what, err, amountHint(n.Value))
		return quantity.Quantity{}
	}
	r.clear(n, what, want)
	return q
}

// clear holds that a quantity can be read one way only.
func (r *reader) clear(n *node, what string, want quantity.Dimension) {
	if r.kept {
		return
	}
	if err := quantity.Unclear(n.Value, want); err != nil {
		r.fault(n, "%s: %v", what, err)
	}
	if point := quantity.WithPoint(n.Value); point != n.Value {
		r.fault(n, "%s: a decimal number has a point, not a comma; write: %s", what, point)
	}
}

// rangeValue is a list of the lower and the upper limit, or one text such as
// 2-3 turns or 56 mm ± 4 mm. Its two ends are two fields.
type rangeValue[P any] struct {
	unit quantity.Dimension
	ends func(P) (low, high *quantity.Quantity)
}

func (v *rangeValue[P]) read(r *reader, n *node, what string, to P) {
	low, high := v.ends(to)
	r.limits(n, what, v.unit, low, high)
}

// limits reads the ends of a range; unit "": of any dimension, the same for both.
func (r *reader) limits(n *node, what string, unit quantity.Dimension, low, high *quantity.Quantity) {
	if n.Kind == textNode {
		var err error
		switch *low, *high, err = quantity.ParseLimits(n.Value, unit); {
		case err != nil:
			r.fault(n, "%s: %v", what, err)
		case low.Cmp(*high) == 0:
			r.stricter(n, "%s: the limits leave no room, %s is not less than %s", what, low, high)
		}
		if err == nil {
			r.clear(n, what, unit)
		}
		return
	}
	if n.Kind == listNode && r.decimalCommas(n, what) {
		return
	}
	if n.Kind != listNode || len(n.Content) != 2 {
		r.fault(n, "%s must be two limits, the lower and the upper: [3.5 mm, 4.5 mm], or a size with its tolerance: 4 mm ± 0.5 mm", what)
		return
	}
	*low = r.amount(n.Content[0], what, unit)
	want := unit
	if want == "" && !low.IsZero() {
		want = low.Dimension()
	}
	*high = r.amount(n.Content[1], what, want)
	if !low.IsZero() && !high.IsZero() && low.Cmp(*high) >= 0 {
		r.fault(n, "%s: the limits are the wrong way round, %s is not less than %s", what, low, high)
	}
}

func (v *rangeValue[P]) write(from P) *node {
	low, high := v.ends(from)
	if low.IsZero() || high.IsZero() {
		return nil
	}
	return flow([]string{low.Typed(), high.Typed()})
}

func (v *rangeValue[P]) typ() *typ { return &typ{is: aRange, unit: v.unit} }

// settingsValue is conditions with their states, in the order written.
type settingsValue struct{}

func (*settingsValue) read(r *reader, n *node, what string, to *[]steps.Setting) {
	r.pairs(n, what, func(k, v *node) {
		name := r.name(k, "a condition")
		if name == "" {
			return
		}
		is := r.name(v, "the state of "+name)
		r.refer(condition, k, name, "")
		r.refer(state, v, is, name)
		*to = append(*to, steps.Setting{Condition: name, State: is})
	})
}

func (*settingsValue) write(from *[]steps.Setting) *node {
	n := &node{Kind: mappingNode, Style: flowStyle}
	for _, s := range *from {
		n.Content = append(n.Content, scalar(s.Condition), scalar(s.State))
	}
	return unlessEmpty(n)
}

func (*settingsValue) typ() *typ { return &typ{is: settings} }

// partsValue is things that are used up, each with a whole number or a size.
type partsValue struct{}

func (*partsValue) read(r *reader, n *node, what string, to *[]steps.Part) {
	r.pairs(n, what, func(k, v *node) {
		part := steps.Part{Name: r.text(k, "a part")}
		if part.Name == "" {
			return
		}
		if v.Kind == textNode && strings.Trim(v.Value, "0123456789") == "" {
			(&wholeValue{mostParts}).read(r, v, part.Name, &part.Count)
		} else {
			(&amountValue{least: aboveZero}).read(r, v, part.Name, &part.Size)
		}
		if part.Count > 0 || part.Size.Sign() > 0 {
			*to = append(*to, part)
		}
	})
}

func (*partsValue) write(from *[]steps.Part) *node {
	n := &node{Kind: mappingNode, Style: flowStyle}
	for _, p := range *from {
		amount := plain(strconv.Itoa(p.Count))
		if p.Count == 0 {
			amount = scalar(p.Size.Typed())
		}
		n.Content = append(n.Content, scalar(p.Name), amount)
	}
	return unlessEmpty(n)
}

func (*partsValue) typ() *typ { return &typ{is: parts} }

// mostParts is the most of one part that a step may use up.
const mostParts = 10_000

// changesValue is a text for each revision that is said something of.
type changesValue struct{}

func (*changesValue) read(r *reader, n *node, what string, to *[]steps.Change) {
	r.pairs(n, what, func(k, v *node) {
		c := steps.Change{}
		(&wholeValue{mostRevision}).read(r, k, "a revision", &c.Revision)
		what := "what revision " + k.Value + " changed"
		c.Text = r.text(v, what)
		r.prose(v, what)
		if c.Revision != 0 && c.Text != "" {
			*to = append(*to, c)
		}
	})
}

func (*changesValue) write(from *[]steps.Change) *node {
	n := &node{Kind: mappingNode}
	for _, c := range *from {
		n.Content = append(n.Content, plain(strconv.Itoa(c.Revision)), scalar(c.Text))
	}
	return unlessEmpty(n)
}

func (*changesValue) typ() *typ { return &typ{is: changes} }

// pairsValue is pairs of points.
type pairsValue struct{}

func (*pairsValue) read(r *reader, n *node, what string, to *[][2]string) {
	r.list(n, what, func(item *node) {
		if item.Kind != listNode || len(item.Content) != 2 {
			r.fault(item, "a pair must be two points: [left, right]")
			return
		}
		*to = append(*to, [2]string{r.name(item.Content[0], "a point"), r.name(item.Content[1], "a point")})
	})
}

func (*pairsValue) write(from *[][2]string) *node {
	n := &node{Kind: listNode, Style: flowStyle}
	for _, p := range *from {
		n.Content = append(n.Content, flow(p[:]))
	}
	return unlessEmpty(n)
}

func (*pairsValue) typ() *typ { return &typ{is: pairs} }

// listed is a list of words in a sentence: a, b or c.
func listed(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}
