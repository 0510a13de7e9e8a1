package procedures

import (
	"strings"
	"testing"
)

// A sheet whose limits are shares of figures of the drive. By hand: 80 % of 20 A = 16 A; 25 C of
// 1,300 mAh = 32.5 A, 50 % of it 16.25 A; so the least is that of the controller. 130 % of
// 3.5 V = 4.55 V. 90 % of 3 × 3.7 V = 9.99 V. The shares are common practice, no source.
var powerText = strings.NewReplacer("gauges:\n", `gauges:
  clamp: {title: Clamp, resolution: 0.1 A}
  meter: {title: Voltmeter, resolution: 0.01 V}
`, "gates:\n", `gates:
  full:
    title: Current at full throttle
    at_most: [150 % of motor, 80 % of controller, 50 % of battery]
    gauge: clamp
    of: [radio]
  receiver:
    title: Voltage at the receiver
    at_least: 130 % of brownout
    at_most: 6 V
    gauge: meter
    of: [radio]
  loaded:
    title: Voltage of the battery
    at_least: 90 % of pack
    gauge: meter
    of: [radio]
`).Replace(sheetText) + `power:
  cells: 3
  capacity: 1300 mAh
  nominal: 3.7 V
  limits: {battery: 25 C, controller: 20 A, motor: 12 A}
  brownout: 3.5 V
  gate: full
  loaded: loaded
`

func TestShares(t *testing.T) {
	document, faults := parse("x.yaml", []byte(powerText), nil)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	for name, want := range map[string][2]string{
		"full":     {"", "16 A"},
		"receiver": {"4.55 V", "6 V"},
		"loaded":   {"9.99 V", ""},
	} {
		g, _ := document.Sheet.Gate(name)
		for i, limit := range []string{g.Limits.Low.String(), g.Limits.High.String()} {
			if limit != want[i] {
				t.Errorf("%s: %q, want %q", name, limit, want[i])
			}
		}
	}
	g, _ := document.Sheet.Gate("full")
	var said []string
	for _, s := range g.Most {
		said = append(said, s.String())
	}
	const says = "150 % of motor 12 A = 18 A; 80 % of controller 20 A = 16 A; 50 % of battery 32.5 A (25 C × 1300 mAh) = 16.25 A"
	if got := strings.Join(said, "; "); got != says {
		t.Errorf("it says %s", got)
	}
}

func TestShareFaults(t *testing.T) {
	run(t, powerText, []faulty{
		{name: "unknown figure", edit: []string{"80 % of controller", "§80 % of contoller"}, want: `at_most is a share of "contoller", which is not a figure of power; did you mean "controller"?`},
		{name: "figure that is not given", edit: []string{"80 % of controller", "§80 % of supply"}, want: "at_most is a share of supply, which power does not give"},
		{name: "share of another dimension than the gauge", edit: []string{"at_least: 90 % of pack\n    gauge: meter", "at_least: 90 % of pack\n    gauge: §clamp"}, want: "the gauge clamp reads a current, and the gate loaded limits a voltage"},
		{name: "shares of two dimensions", edit: []string{"50 % of battery]", "§50 % of pack]"}, want: "at_most: a share of pack is a voltage, and the one before a current"},
		{name: "limits of two dimensions", edit: []string{"at_most: 6 V", "at_most: §80 % of motor"}, want: "at_most: a share of motor is a current, not a voltage"},
		{name: "part that is no ratio", edit: []string{"80 % of controller", "§80 A of controller"}, want: `at_most: "80 A" is a current, not a ratio`},
		{name: "part of nought", edit: []string{"80 % of controller", "§0 % of controller"}, want: "at_most must be more than 0"},
		{name: "limit in a list", edit: []string{"80 % of controller", "§16 A"}, want: "at_most must be a share of a figure of power, such as 80 % of controller, not text"},
		{name: "wrong way round", edit: []string{"at_most: 6 V", "at_most: §4 V"}, want: "the limits are the wrong way round: at least 4.55 V and at most 4 V"},
		{name: "C without a capacity", edit: []string{"  capacity: 1300 mAh\n", "", "limits: {battery", "limits: §{battery", ", 50 % of battery", ""}, want: "the battery's limit in C is a multiple of its capacity, which power does not give"},
		{name: "C that is no number", edit: []string{"battery: 25 C", "battery: §many C", ", 50 % of battery", ""}, want: `battery: "many C" `},
		{name: "degrees", edit: []string{"battery: 25 C", "battery: §25 °C", ", 50 % of battery", ""}, want: `"25 °C" is a temperature, not a current`},
		{name: "gate of something else", edit: []string{"loaded: loaded", "loaded: §full"}, want: "the gate full measures a current, and the voltage at full throttle is wanted"},
		{name: "gate that is not there", edit: []string{"loaded: loaded", "loaded: §loadd"}, want: `unknown gate "loadd"; did you mean "loaded"?`},
	})
}
