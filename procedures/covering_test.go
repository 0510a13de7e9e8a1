package procedures

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"testing"

	"fettle/steps/lists"
)

// The combinations that are checked hold, in turn, the one that has the most of what every three answers come to and none before
// has; together they have all of it.
func TestCovering(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 4))
	for range 4 {
		var names []string
		for k := range 5 + r.IntN(4) {
			names = append(names, fmt.Sprint("a", k))
		}
		var all [][]string
		for range allChecked + 1 + r.IntN(60) {
			one := []string{}
			for _, name := range names {
				if r.IntN(2) == 0 {
					one = append(one, name)
				}
			}
			all = append(all, one)
		}
		of := func(one []string) map[string]bool { // what its answers come to, three at a time
			has := map[string]bool{}
			for a := range names {
				for b := range a {
					for c := range b {
						has[fmt.Sprint(a, b, c, lists.Contains(one, names[a]), lists.Contains(one, names[b]), lists.Contains(one, names[c]))] = true
					}
				}
			}
			return has
		}
		covered := map[string]bool{}
		var want [][]string
		for {
			most, best := 0, -1
			for i, one := range all {
				adds := 0
				for three := range of(one) {
					if !covered[three] {
						adds++
					}
				}
				if adds > most {
					most, best = adds, i
				}
			}
			if best < 0 {
				break
			}
			want = append(want, all[best])
			for three := range of(all[best]) {
				covered[three] = true
			}
		}
		if got := covering(all); !reflect.DeepEqual(got, want) {
			t.Fatalf("of %d combinations %d are checked, want %d: %v, want %v", len(all), len(got), len(want), got, want)
		}
	}
}
