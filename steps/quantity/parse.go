package quantity

import (
	"cmp"
	"errors"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"fettle/steps/nearest"
)

// WithPoint is the text with a point for the comma of each decimal number, or as
// it is where none has one.
func WithPoint(text string) string {
	tokens, ok := lex(text)
	if !ok {
		return text
	}
	clear := []byte(text)
	for _, t := range tokens {
		if t.kind == number && strings.Count(t.text, ",") == 1 {
			clear[t.start+strings.Index(t.text, ",")] = '.'
		}
	}
	return string(clear)
}

// Unclear is the error of a duration that could be a length: 30 m. Parse takes it
// for minutes, as what was once written has to be read.
func Unclear(text string, want Dimension) error {
	tokens, ok := lex(text)
	if !ok || want != Duration || len(tokens) != 3 { // 1 h 30 m is clear
		return nil
	}
	if n, m := tokens[0], tokens[1]; n.kind == number && m.text == "m" && m.gap {
		return &Error{Text: text, Reason: Ambiguous, Message: quote(text) + " could be minutes or metres", Hint: "write " + n.text + " min for minutes"}
	}
	return nil
}

// longest is how many bytes a quantity may have.
const longest = 100

// Parse reads one quantity of the dimension wanted, or of any if want is "". Its
// errors are of type *[Error].
func Parse(text string, want Dimension) (Quantity, error) {
	p, err := begin(text, want)
	if err != nil {
		return Quantity{}, err
	}
	r, err := p.amount()
	if err != nil {
		return Quantity{}, err
	}
	if p.at().kind != end {
		return Quantity{}, p.trailing()
	}
	return p.quantity(r, text)
}

// ParseIn is Parse for what is asked for in a unit: a bare number is in that unit. A
// bare fraction is only in inches, since nobody reads one off a metric gauge.
func ParseIn(text, symbol string) (Quantity, error) {
	u, _ := unitOf(symbol)
	q, err := Parse(text, u.of)
	if !errors.Is(err, NoUnit) {
		return q, err
	}
	if q, again := Parse(Written(strings.TrimSpace(text), symbol), u.of); again == nil && (!q.fraction || symbol == "in") {
		return q, nil
	}
	return q, err
}

// ParseRange reads two quantities of the dimension wanted, separated by a hyphen, a
// dash or the word "to"; a unit written only once counts for both.
func ParseRange(text string, want Dimension) (from, to Quantity, err error) {
	fail := func(err error) (Quantity, Quantity, error) { return Quantity{}, Quantity{}, err }
	p, err := begin(text, want)
	if err != nil {
		return fail(err)
	}
	low, err := p.amount()
	if err != nil {
		return fail(err)
	}
	split := p.at()
	if !p.parts(split) {
		if split.kind == end {
			return fail(&Error{Text: text, Reason: NotANumber, Message: quote(text) + " is one quantity; a range has two", Hint: "write 20-30 min"})
		}
		return fail(p.trailing())
	}
	p.next++
	high, err := p.amount()
	if err != nil {
		return fail(err)
	}
	if p.at().kind != end {
		return fail(p.trailing())
	}
	first := strings.TrimSpace(text[:split.start])
	if low.unit == "" {
		low.unit, first = high.unit, first+" "+high.unit
	}
	if from, err = p.quantity(low, first); err != nil {
		return fail(err)
	}
	if to, err = p.quantity(high, strings.TrimSpace(text[split.stop:])); err != nil {
		return fail(err)
	}
	if from.Dimension() != to.Dimension() {
		return fail(wrongDimension(to.typed, to.Dimension(), from.Dimension()))
	}
	if from.Cmp(to) > 0 {
		return fail(&Error{Text: text, Reason: WrongWayRound, Message: quote(text) + " runs backwards", Hint: "write the smaller value first"})
	}
	return from, to, nil
}

// ParseLimits reads the lower and the upper limit of what is wanted: a range,
// or a nominal size with its tolerance (56 mm ± 4 mm, 56 mm +/- 4 mm,
// 107 °C +8 -7 °C). A unit that is missing is the one written next, or else the
// one written before; so it may be written once. Both limits are exact, in the
// unit of the nominal size; of a temperature the tolerance is a difference.
func ParseLimits(text string, want Dimension) (low, high Quantity, err error) {
	fail := func(err error) (Quantity, Quantity, error) { return Quantity{}, Quantity{}, err }
	p, err := begin(text, want)
	if err != nil {
		return fail(err)
	}
	if !p.tolerates() {
		return ParseRange(text, want)
	}
	nominal, err := p.amount()
	if err != nil {
		return fail(err)
	}
	above, below, err := p.tolerances()
	if err != nil {
		return fail(err)
	}
	if p.at().kind != end {
		return fail(p.trailing())
	}
	below.unit = cmp.Or(below.unit, above.unit, nominal.unit)
	above.unit = cmp.Or(above.unit, below.unit)
	if nominal.unit = cmp.Or(nominal.unit, above.unit); nominal.unit == "" {
		return fail(&Error{Text: text, Reason: NoUnit, Message: quote(text) + " has no unit", Hint: "write " + p.withUnit(strings.TrimSpace(text))})
	}
	u, _ := unitOf(nominal.unit)
	if p.want != "" && u.of != p.want {
		return fail(wrongDimension(text, u.of, p.want))
	}
	limit := func(away amount, sign int64) (Quantity, error) {
		from, _ := unitOf(away.unit)
		if from.of != u.of {
			return Quantity{}, wrongDimension(text, from.of, u.of)
		}
		span := new(big.Rat).Quo(from.scale(), u.scale())
		span.Mul(span, away.value).Mul(span, big.NewRat(sign, 1))
		return made(span.Add(span, nominal.value), nominal.unit, nominal.fraction || away.fraction)
	}
	if low, err = limit(below, -1); err != nil {
		return fail(err)
	}
	if high, err = limit(above, 1); err != nil {
		return fail(err)
	}
	if low.Cmp(high) == 0 {
		return fail(&Error{Text: text, Reason: WrongWayRound, Message: quote(text) + " leaves no room", Hint: "write what it may be more or less"})
	}
	return low, high, nil
}

// tolerates reports whether the text is a size with a tolerance: a ± in it, or a
// plus that does not stand before the second end of a range.
func (p *parser) tolerates() bool {
	for i, t := range p.tokens[1:] {
		if t.kind == either || t.kind == plus && !p.parts(p.tokens[i]) {
			return true
		}
	}
	return false
}

// tolerances reads what a nominal size may be more and less: ± and one amount,
// or + and - with one each.
func (p *parser) tolerances() (above, below amount, err error) {
	unsigned := func(signs ...kind) (amount, error) {
		if k := p.ahead(1).kind; slices.Contains(signs, p.at().kind) && (k == number || k == vulgar) {
			p.next++
			return p.amount()
		}
		return amount{}, &Error{Text: p.text, Reason: NotANumber, Message: quote(p.text) + " is not a size with its tolerance",
			Hint: "write it like 56 mm ± 4 mm, or 56 mm +4 -2 mm"}
	}
	if p.at().kind == either {
		above, err = unsigned(either)
		return above, above, err
	}
	if above, err = unsigned(plus); err != nil {
		return above, below, err
	}
	below, err = unsigned(hyphen, dash, minus)
	return above, below, err
}

// An amount is what was read: a value, and its unit if one was written.
type amount struct {
	value    *big.Rat
	unit     string
	fraction bool
}

// A parser walks the tokens of one text.
type parser struct {
	text   string
	want   Dimension
	tokens []token
	next   int
}

func begin(text string, want Dimension) (*parser, error) {
	if len(text) > longest {
		return nil, &Error{Text: text, Reason: TooLong, Message: quote(text) + " is longer than 100 bytes"}
	}
	tokens, ok := lex(text)
	p := &parser{text: text, want: want, tokens: tokens}
	switch {
	case !ok:
		return nil, p.notANumber()
	case tokens[0].kind == end:
		return nil, &Error{Text: text, Reason: Empty, Message: "the quantity is empty", Hint: "write " + p.example()}
	}
	return p, nil
}

func (p *parser) at() token { return p.tokens[p.next] }

// ahead is the token n after this one, or the end.
func (p *parser) ahead(n int) token { return p.tokens[min(p.next+n, len(p.tokens)-1)] }

// parts reports whether the token separates the two ends of a range.
func (p *parser) parts(t token) bool {
	return t.kind == hyphen || t.kind == dash || t.kind == minus || t.kind == word && strings.EqualFold(t.text, "to")
}

// quantity turns what was read into a quantity, with its text as typed.
func (p *parser) quantity(a amount, typed string) (Quantity, error) {
	typed = strings.TrimSpace(typed)
	if a.unit == "" {
		return Quantity{}, &Error{Text: p.text, Reason: NoUnit, Message: quote(typed) + " has no unit", Hint: "write " + p.withUnit(typed)}
	}
	u, _ := unitOf(a.unit)
	if p.want != "" && u.of != p.want {
		return Quantity{}, wrongDimension(typed, u.of, p.want)
	}
	q := Quantity{typed: typed, value: a.value, unit: a.unit, fraction: a.fraction}
	if err := q.bounded(u, typed); err != nil {
		return Quantity{}, err
	}
	return q, nil
}

// amount reads a signed number with its unit, and the smaller units after it:
// 2 ft 1 3/8 in.
func (p *parser) amount() (amount, error) {
	negative := false
	if k := p.at().kind; k == hyphen || k == minus || k == plus {
		negative = k != plus
		p.next++
	}
	sum, err := p.part()
	if err != nil {
		return amount{}, err
	}
	for p.another(sum.unit) {
		if p.at().kind == hyphen {
			p.next++
		}
		more, err := p.part()
		if err != nil {
			return amount{}, err
		}
		if sum, err = p.add(sum, more); err != nil {
			return amount{}, err
		}
	}
	if negative {
		sum.value.Neg(sum.value)
	}
	return sum, nil
}

// another reports whether a part in a smaller unit follows.
func (p *parser) another(after string) bool {
	if after == "" {
		return false
	}
	if k := p.at().kind; k == number || k == vulgar {
		return true
	}
	// A hyphen without spaces around it joins feet and inches.
	return after == "ft" && p.at().kind == hyphen && !p.at().gap && !p.ahead(1).gap && p.inches(p.next+1)
}

// inches reports whether the part that begins at token i is fewer than twelve
// inches.
func (p *parser) inches(i int) bool {
	look := *p
	look.next = i
	part, err := look.part()
	return err == nil && part.unit == "in" && part.value.Cmp(big.NewRat(12, 1)) < 0
}

// add adds a part in a smaller unit to what comes before it.
func (p *parser) add(sum, more amount) (amount, error) {
	if more.unit == "" {
		return amount{}, p.two("")
	}
	if more.unit == "m" && (sum.unit == "h" || sum.unit == "day") {
		more.unit = "min"
	}
	greater, _ := unitOf(sum.unit)
	lesser, _ := unitOf(more.unit)
	if !compound(sum.unit, more.unit) || !sum.value.IsInt() || sum.fraction {
		return amount{}, p.two("")
	}
	// The value so far, in the smaller unit.
	ratio := new(big.Rat).Quo(greater.scale(), lesser.scale())
	if more.value.Cmp(ratio) >= 0 {
		return amount{}, p.two("write less than one " + sum.unit + " in the smaller unit")
	}
	more.value.Add(more.value, ratio.Mul(ratio, sum.value))
	return more, nil
}

// compound reports whether the second unit may follow the first, as in 3 ft 4 in.
func compound(greater, lesser string) bool {
	order := []string{"yd", "ft", "in", "", "lb", "oz", "", "day", "h", "min", "s"}
	i := 0
	for i < len(order) && order[i] != greater {
		i++
	}
	for i++; i < len(order) && order[i] != ""; i++ {
		if order[i] == lesser {
			return true
		}
	}
	return false
}

// part reads one unsigned number and its unit, if one is written.
func (p *parser) part() (amount, error) {
	value, fraction, err := p.magnitude()
	if err != nil {
		return amount{}, err
	}
	a := amount{value: value, fraction: fraction}
	if p.at().kind != word || p.parts(p.at()) {
		return a, nil
	}
	a.unit, err = p.unit()
	return a, err
}

// magnitude reads a number: 5, 5.375, 3/8, 5 3/8, 5-3/8, ⅜ or 5⅜.
func (p *parser) magnitude() (value *big.Rat, fraction bool, err error) {
	t := p.at()
	switch t.kind {
	case vulgar:
		p.next++
		num, den := fractionOf([]rune(t.text)[0])
		return big.NewRat(num, den), true, nil
	case number:
	default:
		return nil, false, p.notANumber()
	}
	if p.ahead(1).kind == slash {
		r, err := p.over()
		return r, true, err
	}
	whole, err := p.number(t)
	if err != nil {
		return nil, false, err
	}
	p.next++
	joint := 0
	if p.at().kind == hyphen && !p.at().gap && !p.ahead(1).gap && whole.Sign() > 0 {
		joint = 1 // 5-3/8
	}
	follows := p.ahead(joint)
	fractional := follows.kind == vulgar || follows.kind == number && p.ahead(joint+1).kind == slash
	if !fractional || !strictlyDigits(t.text) {
		return whole, false, nil
	}
	mark := p.next
	p.next += joint
	part, _, err := p.magnitude()
	if err != nil {
		return nil, false, err
	}
	if part.Cmp(big.NewRat(1, 1)) >= 0 {
		if joint == 0 {
			return nil, false, p.two("keep the fraction of a mixed number below 1")
		}
		p.next = mark // a range: 1-3/2
		return whole, false, nil
	}
	return whole.Add(whole, part), true, nil
}

// over reads a fraction, number slash number.
func (p *parser) over() (*big.Rat, error) {
	above, below := p.at(), p.ahead(2)
	if below.kind != number || !strictlyDigits(above.text) || !strictlyDigits(below.text) {
		return nil, p.notANumber()
	}
	if len(above.text) > 6 || len(below.text) > 6 {
		return nil, tooFine(p.text)
	}
	// big.Rat.SetString would read 010 as an octal number.
	num, _ := strconv.ParseInt(above.text, 10, 64)
	den, _ := strconv.ParseInt(below.text, 10, 64)
	if den == 0 {
		return nil, &Error{Text: p.text, Reason: ZeroBelow, Message: quote(p.text) + " divides by zero"}
	}
	p.next += 3
	return big.NewRat(num, den), nil
}

//go:noinline
func strictlyDigits(s string) bool { return !strings.ContainsAny(s, ".,") }

// number reads a whole number or a decimal.
func (p *parser) number(t token) (*big.Rat, error) {
	i := strings.IndexAny(t.text, ".,")
	whole, places := t.text, ""
	if i >= 0 {
		whole, places = t.text[:i], t.text[i+1:]
	}
	switch {
	case strings.ContainsAny(places, ".,"):
		return nil, &Error{Text: p.text, Reason: NotANumber, Message: quote(t.text) + " is not a number", Hint: "use one decimal point and no thousands separator"}
	case len(whole) > 15 || len(places) > 15:
		return nil, tooFine(p.text)
	case i >= 0 && t.text[i] == ',' && len(places) == 3 && strings.Trim(whole, "0") != "":
		return nil, &Error{Text: p.text, Reason: Ambiguous, Message: quote(t.text) + " could be thousands or a decimal", Hint: "write " + whole + places + " or " + whole + "." + places}
	}
	if i < 0 {
		n, _ := strconv.ParseInt(whole, 10, 64)
		return new(big.Rat).SetInt64(n), nil
	}
	r, _ := new(big.Rat).SetString("0" + strings.Replace(t.text, ",", ".", 1))
	return r, nil
}

// unit reads the unit at this token.
func (p *parser) unit() (string, error) {
	t := p.at()
	p.next++
	said := strings.TrimSuffix(t.text, ".")
	if follows := p.at(); degrees(said) && scale(follows.text) != "" {
		p.next++
		return scale(follows.text), nil
	}
	lower := strings.ToLower(said)
	switch {
	case lower == "mil" || lower == "mils":
		return "", &Error{Text: p.text, Reason: Ambiguous, Message: quote(p.text) + " could mean thousandths of an inch or millimetres", Hint: "write thou or mm"}
	case degrees(said) && p.want == Temperature:
		return "", &Error{Text: p.text, Reason: NoUnit, Message: quote(p.text) + " has no temperature scale", Hint: "write °C or °F"}
	case p.want == Force && (lower == "oz" || lower == "lb" || lower == "g" || lower == "kg"):
		return "", &Error{Text: p.text, Reason: WrongDimension, Message: quote(p.text) + " is a mass, not a force", Hint: "write " + lower + "f"}
	}
	symbol := symbolOf(said)
	if symbol == "" {
		return "", p.unknown(said)
	}
	if symbol == "m" && p.want == Duration {
		// 30m if a duration is wanted; otherwise 5 m is a length.
		symbol = "min"
	}
	return symbol, nil
}

// degrees reports whether the word is one for degrees, of an angle or of a
// temperature.
func degrees(s string) bool {
	switch strings.ToLower(s) {
	case "°", "deg", "degs", "degree", "degrees":
		return true
	}
	return false
}

// scale is the temperature scale that a letter after a degree sign means.
func scale(s string) string {
	switch strings.ToLower(strings.TrimSuffix(s, ".")) {
	case "c", "celsius":
		return "°C"
	case "f", "fahrenheit":
		return "°F"
	}
	return ""
}

// trailing says what is wrong with text after a whole quantity.
func (p *parser) trailing() error {
	t := p.at()
	switch {
	case t.kind == either || t.kind == plus:
		return &Error{Text: p.text, Reason: TwoNumbers, Message: quote(p.text) + " is a size with a tolerance; one value is wanted", Hint: "write " + p.example()}
	case t.kind == number || t.kind == vulgar || p.parts(t) && p.ahead(1).kind != end:
		return p.two("")
	case t.kind == word:
		if symbolOf(strings.TrimSuffix(t.text, ".")) == "" {
			return p.unknown(t.text)
		}
		return &Error{Text: p.text, Reason: NotANumber, Message: quote(p.text) + " has two units in a row"}
	}
	return p.notANumber()
}

func (p *parser) two(hint string) error {
	if hint == "" {
		hint = "write one number, such as " + p.example()
	}
	return &Error{Text: p.text, Reason: TwoNumbers, Message: quote(p.text) + " contains two numbers", Hint: hint}
}

func (p *parser) notANumber() error {
	hint := "write " + p.example()
	if i := strings.IndexFunc(p.text, unicode.IsControl); i >= 0 {
		hint = "it contains a control character; " + hint
	}
	return &Error{Text: p.text, Reason: NotANumber, Message: quote(p.text) + " is not a number with a unit", Hint: hint}
}

func (p *parser) unknown(said string) error {
	e := &Error{Text: p.text, Reason: UnknownUnit, Message: quote(said) + " is not a unit"}
	if near := nearest.Of(said, words()); near != "" && len(said) > 2 {
		e.Hint = "did you mean " + near + "?"
		return e
	}
	e.Hint = "write " + strings.Join(p.want.symbols(), ", ")
	return e
}

// example is a quantity of the dimension wanted.
//
//go:noinline
func (p *parser) example() string { return p.withUnit("12") }

func (p *parser) withUnit(value string) string {
	want := p.want
	if want == "" {
		want = Length
	}
	one, other := want.usual()
	if other == "" {
		return value + " " + one
	}
	return value + " " + one + " or " + value + " " + other
}

func wrongDimension(text string, is, want Dimension) error {
	one, other := want.usual()
	hint := "write it in " + one
	if other != "" {
		hint += " or " + other
	}
	return &Error{Text: text, Reason: WrongDimension, Message: quote(text) + " is " + is.article() + ", not " + want.article(), Hint: hint}
}
