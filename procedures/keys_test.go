package procedures

import (
	"regexp"
	"slices"
	"testing"
	"unicode"

	"fettle/steps"
)

func TestEveryKindOfStepHasARow(t *testing.T) {
	kinds := stepKinds()
	for _, traits := range steps.Kinds() {
		n := 0
		for _, k := range kinds {
			if k.kind == traits.Kind {
				n++
			}
		}
		if n != 1 {
			t.Errorf("the kind %s has %d rows", traits.Kind, n)
		}
	}
	if all := steps.Kinds(); len(kinds) != len(all[:]) {
		t.Errorf("%d rows of %d kinds", len(kinds), len(all[:]))
	}
}

// No mapping has a key twice, and no key is both that of a kind and one of all steps.
func TestKeysAreUnique(t *testing.T) {
	var check func(*typ)
	check = func(of *typ) {
		var names []string
		for _, r := range of.keys {
			if slices.Contains(names, r.name) {
				t.Errorf("%s has the key %s twice", of.what, r.name)
			}
			names = append(names, r.name)
			check(r.typ)
		}
		for _, one := range of.of {
			check(one)
		}
	}
	for _, f := range forms() {
		check(f.typ)
	}
}

// Checking only the first byte of a character misses no unsafe character.
func TestUnsafeCharactersAreFound(t *testing.T) {
	for c := rune(0); c <= unicode.MaxRune; c++ {
		if s := "a" + string(c) + "b"; holdsUnsafe(s) != unsafe(c) {
			t.Fatalf("%U: found %v, unsafe %v", c, holdsUnsafe(s), unsafe(c))
		}
	}
}

func TestNames(t *testing.T) {
	form := regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)
	letters := []byte("a9-_Z\n")
	for n := range 6 * 6 * 6 * 6 * 6 {
		var name []byte
		for ; n > 0; n /= 6 {
			name = append(name, letters[n%6])
		}
		if got := isName(string(name)); got != form.Match(name) {
			t.Errorf("%q is a name: %v", name, got)
		}
	}
}

func TestSet(t *testing.T) {
	var s set
	for round := range 2 {
		for i := range 100 {
			if name := string(rune('a' + i)); s.add(name) != (round == 0) {
				t.Errorf("%q in round %d", name, round)
			}
		}
	}
}
