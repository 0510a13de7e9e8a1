package screen

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	xansi "github.com/charmbracelet/x/ansi"

	"fettle/cmd/internal/sitting"
	"fettle/cmd/internal/term"
	"fettle/workflow"
)

var update = flag.Bool("update", false, "write the golden screens anew")

func evening(clock string) time.Time {
	t, err := time.ParseInLocation("2006-01-02 15:04:05", "2026-03-03 "+clock, time.Local)
	if err != nil {
		panic(err)
	}
	return t
}

func common() []sitting.Key {
	return []sitting.Key{{Key: "n", Word: "not now", Common: true}, {Key: "u", Word: "take back", Common: true}, {Key: "l", Word: "list", Common: true}, {Key: "q", Word: "quit", Common: true}}
}

func drying(mark, name string, from, until string) sitting.Timer {
	return sitting.Timer{Mark: mark, Timer: workflow.Timer{Name: name, Joint: true, Phase: workflow.Tacking, Opens: evening(from), Closes: evening(until), Ready: evening(from)}}
}

func open(mark, name, from, until string) sitting.Timer {
	t := drying(mark, name, from, until)
	t.Phase = workflow.Open
	return t
}

// scenes are what stands at a bench, from little to more than there is room for.
func scenes() map[string]scene {
	const flammable = "Flammable, and the vapour sinks to the floor. Window open, no flame, soldering iron or charger in the room, and the **lid back on** the tin between coats."
	coat := sitting.View{ID: "coat", Mark: "CW-01", Part: "wing", Step: 18, Of: 149, Title: "Coat the left root",
		Cautions: []sitting.Caution{{Text: flammable}},
		Action:   "Spread an even coat over the **whole** left root face with a card. Push it into the pores: no bare spot, no puddle. Stand the half on its tip, the face in the air.",
		More:     "**Why.** A bare spot is where a glue line begins to peel.\n\n- tools: card, brush\n- needs ventilation: on"}
	setting := sitting.Timer{Mark: "CW-01", Timer: workflow.Timer{Name: "top-spar", Joint: true, Phase: workflow.Setting, Handles: evening("23:51:00"), Cures: evening("23:59:00")}}
	coating := scene{
		question: sitting.Question{View: coat, Prompt: "Stamp the start, then spread.", Keys: append([]sitting.Key{{Key: "s", Word: "spreading starts now"}, {Key: sitting.Enter, Word: "done"}}, common()...)},
		now:      evening("19:42:10"), strip: 2, timers: []sitting.Timer{drying("CW-01", "boom-tubes", "19:51:00", "20:11:00"), setting},
	}
	later := coating
	later.question.View.Cautions = []sitting.Caution{{Text: flammable, Read: true}}
	later.now, later.timers = evening("20:07:30"), []sitting.Timer{open("CW-01", "boom-tubes", "19:51:00", "20:11:00"), setting}
	later.notices = []sitting.Moment{{Mark: "CW-01", Joint: "boom-tubes", At: evening("20:06:00"), Says: "CW-01: join boom-tubes by 20:11"},
		{Mark: "SK-02", Joint: "elevon-tape", At: evening("20:07:00"), Says: "SK-02: elevon-tape may be handled"}}
	later.offers = []sitting.Key{{Key: "j", Word: "join boom-tubes"}}

	gate := scene{
		question: sitting.Question{
			View: sitting.View{ID: "gate", Mark: "CW-01", Part: "wing", Step: 27, Of: 149, Title: "Measure the depth of the spar slot", Action: "Caliper, its tail on the floor of the slot. 4.0 to 5.2 mm; with this caliper 4.3 to 4.9 mm passes.",
				Rows: []sitting.Row{
					{Label: "top left", Value: "4.6 mm passed", Scale: "|----[######|####]----|", State: sitting.Good},
					{Label: "top right", Value: "5.9 mm TOO DEEP", Scale: "|----[###########]--|-|", State: sitting.Bad},
					{Label: "bottom left", Here: true}, {Label: "bottom right"},
				}, More: "How to hold a caliper."},
			Prompt: "Depth at bottom left, 4.6 mm or 3/16 in",
			Field: &sitting.Field{Label: "a value with its unit, or a bare number in mm", Check: func(text string) sitting.Verdict {
				return sitting.Verdict{Said: text + " mm passes", Scale: "|----[######|####]----|", State: sitting.Good, Taken: true}
			}},
			Keys: append([]sitting.Key{}, common()...),
		},
		told: []string{"Recorded: slot-depth top right 5.9 mm, **too deep**."}, now: evening("20:55:01"),
		typed: field{text: []rune("4.6"), at: 3},
	}
	hold := scene{
		question: sitting.Question{
			View: sitting.View{ID: "hold", Mark: "CW-01", Part: "wing", Step: 26, Of: 149, Title: "Before the blade",
				Cautions: []sitting.Caution{{Text: "A fresh blade goes through a finger before you feel it.", Read: true}},
				Rows: []sitting.Row{{Key: "1", Label: "The mat is clear and the spare hand is behind the blade", State: sitting.Good},
					{Key: "2", Label: "A new blade is in", Here: true}, {Key: "3", Label: "Goggles are on"}}},
			Prompt: "Confirm each line by its key.", Keys: common(),
		}, now: evening("20:50:00"), strip: 1, timers: []sitting.Timer{open("SK-02", "boom-tubes", "20:41:00", "21:01:00")},
	}
	long := coating
	long.question.View.Cautions = append([]sitting.Caution{}, coat.Cautions[0], sitting.Caution{Text: "Gloves on: " + strings.Repeat("what is on the skin stays there for a day, and goes from there into the eyes; ", 4) + "wash with soap."})
	long.question.View.Action = strings.Repeat(coat.Action+"\n\n", 6)
	long.told = []string{"**Refused:** the joint is not ready\n\n- it dries until 19:51\n\n```\nfettle wait CW-01 join-a-joint-with-quite-a-long-name --and-more\n```"}
	behind := coating
	behind.more = true
	return map[string]scene{"coat": coating, "later": later, "gate": gate, "hold": hold, "long": long, "more": behind}
}

func painted(colour bool) painter {
	return newModel(term.Streams{Colour: colour}, noClocks{}, time.Now, nil).painter
}

type size struct{ width, height int }

var sizes = []size{{80, 24}, {40, 12}, {120, 40}}

// all are the pages of a scene, one after the other.
func all(p painter, s scene, at size) []frame {
	sheets := p.sheets(s, at.width, at.height)
	var frames []frame
	for i := range sheets {
		frames = append(frames, p.frame(s, sheets, i, at.width, at.height))
	}
	return frames
}

// The screens as they were looked at.
func TestGolden(t *testing.T) {
	for name, s := range scenes() {
		for _, at := range sizes {
			var got strings.Builder
			for i, f := range all(painted(false), s, at) {
				fmt.Fprintf(&got, "page %d, cursor %d,%d\n%s\n", i+1, f.x, f.y, strings.Repeat("=", at.width))
				for _, line := range f.lines {
					got.WriteString(strings.TrimRight(xansi.Strip(line), " ") + "\n")
				}
				got.WriteString(strings.Repeat("=", at.width) + "\n")
			}
			path := filepath.Join("testdata", fmt.Sprintf("%s-%dx%d.txt", name, at.width, at.height))
			if *update {
				if err := os.WriteFile(path, []byte(got.String()), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatalf("%v; go test ./cmd/internal/screen -update writes it", err)
			}
			if got.String() != string(want) {
				t.Errorf("%s has changed; go test ./cmd/internal/screen -update writes it anew. It is now\n%s", path, got.String())
			}
		}
	}
}

// What was told is on one line where more has no room: what follows a colon comes after it.
func TestToldOnOneLine(t *testing.T) {
	got := strings.TrimRight(strings.Join(first([]string{"  Back at CW-01, last entry 19:05:", "", "  • joint tab: dries", "  • next: Join it"}, 70), ""), " ")
	if want := "  Back at CW-01, last entry 19:05: joint tab: dries; next: Join"; !strings.HasPrefix(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	got = strings.Join(first([]string{"  • next: Coat it,", "    takes 4 min", "", "  Back at CW-01: it waits.", "", "  • joint: dry", "", "  • next: Join it", "", "  Nothing more", "  is said"}, 100), "")
	if want := "next: Coat it, takes 4 min; Back at CW-01: it waits. joint: dry; next: Join it; Nothing"; !strings.Contains(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
}

// What was told has all the lines that are left, and the last of them says that there is more.
func TestToldHasTheRoomThatIsLeft(t *testing.T) {
	var told []string
	for i := range 18 {
		told = append(told, fmt.Sprintf("- SK-%d: what the evening has", i))
	}
	s := scenes()["hold"]
	s.told = []string{strings.Join(told, "\n")}
	for _, height := range []int{20, 24} {
		p := painted(false)
		sheets := p.sheets(s, 80, height)
		lines := p.frame(s, sheets, 0, 80, height).lines
		empty := 0
		for _, line := range lines {
			if strings.TrimSpace(xansi.Strip(line)) == "" {
				empty++
			}
		}
		got := sheets[0].told
		if len(sheets) != 1 || len(got) < 2 || len(got) == len(told) || !strings.Contains(xansi.Strip(got[len(got)-2]), fmt.Sprintf("SK-%d:", len(got)-2)) || !strings.Contains(got[len(got)-1], "… ?") {
			t.Errorf("height %d: %q on %d sheets", height, got, len(sheets))
		}
		if empty > 5 { // between the parts
			t.Errorf("height %d: %d empty lines:\n%s", height, empty, strings.Join(lines, "\n"))
		}
	}
}
