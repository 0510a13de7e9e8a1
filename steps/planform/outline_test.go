package planform

import (
	"math"
	"testing"

	"fettle/steps"
)

// corner holds that a corner lies where a hand with a pencil puts it, to a hundredth of a
// millimetre.
func corner(t *testing.T, what string, got, want Place) {
	t.Helper()
	if math.Abs(got.X-want.X) > 0.005 || math.Abs(got.Y-want.Y) > 0.005 {
		t.Errorf("%s lies at %+v, want %+v", what, got, want)
	}
}

// Outlines by hand. A swept half of two panels: 200 mm at the root, 160 mm at 300 mm out
// with 60 mm of sweep, then 100 mm of panel at 60° of dihedral, which are 50 mm of plan,
// with 45° of sweep along the panel, 100 mm. Its aileron of 40 mm from 100 mm to 200 mm: the
// trailing edge runs from 200 mm to 220 mm, so at 100 mm it lies at 206.67 mm and at 200 mm
// at 213.33 mm.
func TestOutlines(t *testing.T) {
	s := wing(t, "200 mm, 160 mm, 300 mm, 60 mm", "160 mm, 80 mm, 100 mm, 45°")
	s.Zone, s.Panels[1].Dihedral = "wing", size(t, "60°")
	fin := steps.Surface{Name: "fin", Is: steps.Fin, X: size(t, "400 mm"), Panels: []steps.Panel{{Root: size(t, "100 mm"), Tip: size(t, "60 mm"), Span: size(t, "80 mm"), Sweep: size(t, "50 mm")}}}
	at := func(x, y string) steps.Place { return steps.Place{X: size(t, x), Y: size(t, y)} }
	g := steps.Geometry{Datum: "the nose", Surfaces: []steps.Surface{s, fin},
		Controls: []steps.Control{{Name: "ailerons", Surface: "wing", Chord: size(t, "40 mm"), Inner: size(t, "100 mm"), Outer: size(t, "200 mm")},
			{Name: "rudder", Surface: "fin", Chord: size(t, "30 mm"), Outer: size(t, "80 mm")}, {Name: "flaps", Surface: "wing", Chord: size(t, "40 mm")}},
		Bodies: []steps.Body{{Name: "pod", Zone: "pod", Front: size(t, "-90 mm"), Rear: size(t, "150 mm"), Left: size(t, "-30 mm"), Right: size(t, "35 mm")},
			{Name: "cone", Zone: "nose", Outline: []steps.Place{at("-90 mm", "-30 mm"), at("-150 mm", "0 mm"), at("-90 mm", "35 mm")}},
			{Name: "float", Zone: "pod", Where: steps.Where{With: [][]string{{"floats"}}}}},
		Propeller: steps.Propeller{X: size(t, "-155 mm"), Y: size(t, "0 mm"), Diameter: size(t, "200 mm")}}
	all := Outlines(g, steps.Selection{})
	names := []string{"wing", "wing", "ailerons", "ailerons", "fin", "pod", "cone", "propeller"}
	if len(all) != len(names) {
		t.Fatalf("%d outlines: %+v", len(all), all)
	}
	for i, want := range names {
		if all[i].Name != want {
			t.Errorf("outline %d is of %s, want %s", i, all[i].Name, want)
		}
	}
	for i, want := range []Place{{0, 0}, {60, 300}, {160, 350}, {240, 350}, {220, 300}, {200, 0}} {
		corner(t, "a corner of the wing", all[0].Corners[i], want)
		corner(t, "a corner of its left half", all[1].Corners[i], Place{want.X, -want.Y})
	}
	for i, want := range []Place{{206.67, 100}, {213.33, 200}, {173.33, 200}, {166.67, 100}} {
		corner(t, "a corner of the aileron", all[2].Corners[i], want)
		corner(t, "a corner of the left one", all[3].Corners[i], Place{want.X, -want.Y})
	}
	corner(t, "the front of the fin", all[4].Corners[0], Place{400, 0})
	corner(t, "the rear of the fin, which is its tip", all[4].Corners[1], Place{510, 0})
	corner(t, "the front of the pod on the right", all[5].Corners[1], Place{-90, 35})
	corner(t, "the tip of the cone", all[6].Corners[1], Place{-150, 0})
	corner(t, "the left blade", all[7].Corners[0], Place{-155, -100})
	if zone := all[2].Zone; zone != "" {
		t.Errorf("the aileron is the zone %s, and not a part of one", zone)
	}
	var seen []Place
	for _, o := range all {
		seen = append(seen, o.Corners...)
	}
	box := Around(seen)
	corner(t, "the whole begins", box.From, Place{-155, -350})
	corner(t, "the whole ends", box.To, Place{510, 350})
	corner(t, "a larger box about the same middle begins", box.Sized(1000, 800).From, Place{-322.5, -400})
	if Around(nil) != (Box{}) || box.Long() != 665 || box.Wide() != 700 {
		t.Errorf("boxes: %+v", box)
	}
}
