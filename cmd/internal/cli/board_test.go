package cli

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// A board of many airframes has a line for each, and what needs somebody first.
func TestCrowdedBoard(t *testing.T) {
	play := player(t)
	t.Setenv("FETTLE_LIBRARY", filepath.Join(filepath.Dir(os.Getenv("CLOCK")), "own"))
	for i := range 12 {
		play(fmt.Sprintf("fettle airframe add FN-%02d --design finch", i+1))
	}
	if board := play("fettle status"); !regexp.MustCompile(`(?m)^FN-12 · `).MatchString(board) {
		t.Errorf("twelve are shown as %s", board)
	}
	play("fettle airframe add FN-13 --design finch")
	coat := func(mark string) {
		for _, command := range []string{
			"start %s finch-build", "bench %s --temperature 20C --humidity 50%% --set ventilation=on", "done %s check-kit", "clear %s blade-care --line 1,2",
			"done %s cut-slot", "measure %s slot root=4mm tip=4mm", "done %s coat-left", "done %s coat-right",
		} {
			if out := play(fmt.Sprintf("fettle "+command, mark)); strings.Contains(out, "refused") {
				t.Fatal(out)
			}
		}
	}
	coat("FN-07") // which lapses
	play("pass 3h")
	coat("FN-09") // which opens
	play("pass 15m")
	play("fettle start FN-04 finch-build")
	play("fettle crash FN-11 --found wing=cracked:serious")
	board := play("fettle status")
	var got []string
	for _, m := range regexp.MustCompile(`(?m)^\S* ?(FN-\d\d) · (.{12})`).FindAllStringSubmatch(board, -1) {
		got = append(got, m[1]+" "+m[2])
	}
	want := []string{
		"FN-07 joint roots:", "FN-09 joint roots:", "FN-11 damage D1: c", "FN-04 next: Check ",
		"FN-01 NOT RELEASED", "FN-02 NOT RELEASED", "FN-03 NOT RELEASED", "FN-05 NOT RELEASED", "FN-06 NOT RELEASED",
		"FN-08 NOT RELEASED", "FN-10 NOT RELEASED", "FN-12 NOT RELEASED", "FN-13 NOT RELEASED",
	}
	if !slices.Equal(got, want) {
		t.Errorf("the board is\n%s\nread as %q", board, got)
	}
}
