package procedures

import (
	"strings"

	"fettle/steps"
	"fettle/steps/quantity"
)

const shareHelp = "A quantity, or shares of figures of `power`, such as `80 % of controller`: `battery`, `connectors`, `controller`, `motor` and `supply` of its limits, `full`, " +
	"`brownout`, and `pack`, the nominal voltage of all cells. Of a list "

// writtenLimits are both limits of a gate, where both are written as they are.
type writtenLimits struct{ rangeValue[*steps.Gate] }

func (v *writtenLimits) write(from *steps.Gate) *node {
	if len(from.Least)+len(from.Most) > 0 {
		return nil
	}
	return v.rangeValue.write(from)
}

// limitValue is one limit of a gate: a quantity, or shares of figures of the drive, of
// which the strictest counts. It is not written where both limits are written as a range.
type limitValue struct {
	amountLike[*steps.Gate]
	shares   func(*steps.Gate) *[]steps.Share
	stricter int // 1: the greater one is; -1: the lesser
}

func (v *limitValue) read(r *reader, n *node, what string, to *steps.Gate) {
	switch {
	case n.Kind == listNode:
		r.list(n, what, func(item *node) { v.share(r, item, what, to) })
	case n.Kind == textNode && strings.Contains(n.Value, " of "):
		v.share(r, n, what, to)
	default:
		v.amountLike.read(r, n, what, to)
	}
}

// share reads one share.
func (v *limitValue) share(r *reader, n *node, what string, to *steps.Gate) {
	part, name, ok := strings.Cut(n.Value, " of ")
	if n.Kind != textNode || !ok {
		r.fault(n, "%s must be a share of a figure of power, such as 80 %% of controller, not %s", what, shape(n))
		return
	}
	times := *n
	times.Value = part
	var of quantity.Quantity
	if (&amountValue{quantity.Ratio, aboveZero}).read(r, &times, what, &of); of.Sign() <= 0 {
		return
	}
	var names []string
	for _, figure := range r.doc.Sheet.Power.Figures() {
		if names = append(names, figure.Name); figure.Name != strings.TrimSpace(name) {
			continue
		}
		if figure.Value.IsZero() {
			r.fault(n, "%s is a share of %s, which power does not give", what, figure.Name)
			return
		}
		share, err := steps.ShareOf(of, figure)
		limit := v.of(to)
		switch want := v.like(to); {
		case err != nil:
			r.fault(n, "%s: %v", what, err)
			return
		case want != "" && share.Limit.Dimension() != want:
			r.fault(n, "%s: a share of %s is %s, not %s", what, figure.Name, articled(string(share.Limit.Dimension())), articled(string(want)))
			return
		case !limit.IsZero() && share.Limit.Dimension() != limit.Dimension():
			r.fault(n, "%s: a share of %s is %s, and the one before %s", what, figure.Name, articled(string(share.Limit.Dimension())), articled(string(limit.Dimension())))
			return
		case limit.IsZero() || share.Limit.Cmp(*limit) == v.stricter:
			*limit = share.Limit
		}
		*v.shares(to) = append(*v.shares(to), share)
		return
	}
	r.fault(n, "%s is a share of %q, which is not a figure of power%s", what, strings.TrimSpace(name), suggest(name, names))
}

func (v *limitValue) write(from *steps.Gate) *node {
	shares := *v.shares(from)
	if len(shares) == 0 {
		if l := from.Limits; !l.Low.IsZero() && !l.High.IsZero() && len(from.Least)+len(from.Most) == 0 {
			return nil
		}
		return v.amountLike.write(from)
	}
	var items []string
	for _, s := range shares {
		items = append(items, s.Part.Typed()+" of "+s.Figure.Name)
	}
	if len(items) == 1 {
		return scalar(items[0])
	}
	return flow(items)
}

func (v *limitValue) typ() *typ {
	share := &typ{is: aShare}
	return &typ{is: anEither, of: []*typ{v.amountLike.typ(), share, {is: aList, of: []*typ{share}}}}
}

// ratedValue is the most that a battery gives: a current, or so many C by its label.
type ratedValue struct{}

func (*ratedValue) read(r *reader, n *node, what string, to *steps.Currents) {
	rate, ok := strings.CutSuffix(n.Value, "C")
	if n.Kind != textNode || !ok || strings.HasSuffix(rate, "°") || !strings.ContainsAny(rate, "0123456789") {
		(&amountValue{quantity.Current, aboveZero}).read(r, n, what, &to.Battery)
		return
	}
	times := *n
	times.Value = strings.TrimSpace(rate)
	(&numberValue{1, 1000}).read(r, &times, what, &to.Rate)
}

func (*ratedValue) write(from *steps.Currents) *node {
	if from.Rate > 0 {
		n := (&numberValue{}).write(&from.Rate)
		return scalar(n.Value + " C")
	}
	return (&amountValue{}).write(&from.Battery)
}

func (*ratedValue) typ() *typ {
	return &typ{is: anEither, of: []*typ{(&amountValue{quantity.Current, aboveZero}).typ(), {is: aRate}}}
}

// driveChecked works out what the battery gives by its label.
func driveChecked(f fields, d *steps.Drive) {
	if d.Limits.Rate == 0 {
		return
	}
	var err error
	if d.Capacity.IsZero() {
		if !f.lost("capacity") {
			f.fault(f.get("limits"), "the battery's limit in C is a multiple of its capacity, which power does not give")
		}
	} else if d.Limits.Battery, err = steps.Rated(d.Limits.Rate, d.Capacity); err != nil {
		f.fault(f.get("limits"), "the battery's limit: %v", err)
	}
}
