package procedures

import (
	"reflect"
	"testing"

	"fettle/steps"
)

// Each field of an example is found, also one in a field, at the same place as what it is in, and what it holds is that of the
// owner that is read or written.
func TestFieldOf(t *testing.T) {
	t.Parallel()
	var owner, other struct {
		First struct{ Care steps.Care }
		Texts [2]string
		On    bool
		Last  steps.Drive
	}
	for _, c := range []struct {
		at, want any
		path     []int
	}{
		{&owner.First, &other.First, []int{0}},
		{&owner.First.Care, &other.First.Care, []int{0, 0}},
		{&owner.First.Care.Caution, &other.First.Care.Caution, []int{0, 0, 0}},
		{&owner.On, &other.On, []int{2}},
		{&owner.Last.Cells, &other.Last.Cells, nil},
		{&owner.Last.Limits, &other.Last.Limits, nil},
		{&owner.Last.Limits.Supply, &other.Last.Limits.Supply, nil},
		{&owner.Last.Assumed, &other.Last.Assumed, nil},
	} {
		path := pathOf(&owner, c.at)
		if got := fieldAt(&other, path); got != c.want || c.path != nil && !reflect.DeepEqual(path, c.path) {
			t.Errorf("%T by %v is %p, want %p by %v", c.at, path, got, c.want, c.path)
		}
	}
}
