package cli

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"testing"
)

// Every command that reports prints JSON in one style: the keys are words in small
// letters, with underscores between them.
func TestKeysOfJSON(t *testing.T) {
	play := player(t)
	dir := filepath.Dir(os.Getenv("CLOCK"))
	t.Setenv("FETTLE_LIBRARY", filepath.Join(dir, "own"))
	key := regexp.MustCompile(`^[a-z]+(_[a-z]+)*$`)
	var check func(command, path string, value any)
	check = func(command, path string, value any) {
		switch v := value.(type) {
		case map[string]any:
			for name, inner := range v {
				if !key.MatchString(name) {
					t.Errorf("%s: %s has the key %q", command, path, name)
				}
				check(command, path+"."+name, inner)
			}
		case []any:
			for _, inner := range v {
				check(command, path+"[]", inner)
			}
		}
	}
	for _, command := range []string{
		"airframe add FN-01 --design finch", "start FN-01 finch-build", "next", "bench --temperature 20C --humidity 50% --set ventilation=on", "next",
		"done check-kit", "clear blade-care --line 1,2", "done cut-slot", "measure slot root=4mm tip=4mm", "measure slot", "done coat-left", "timers", "next",
		"done coat-right", "gauge", "gauge rule --reads 10mm --of 10mm", "note words", "flight --landing hard", "crash --found wing=cracked:serious", "repair", "airframe list",
		"airframe show", "airframe show --entries", "status", "audit", "audit --prove", "audit --prove --all", "seal", "undo 3",
		"library list", "library show finch-build", "library lessons finch-build", "check " + filepath.Join(dir, "own", "finch.yaml"), "examine",
		"backup " + filepath.Join(dir, "copy.db"), "restore " + filepath.Join(dir, "copy.db"), "export FN-01 " + filepath.Join(dir, "one.zip"), "book -o " + filepath.Join(dir, "book.html"),
		"examine --salvage " + filepath.Join(dir, "saved.db"), "--store " + filepath.Join(dir, "new.db") + " import " + filepath.Join(dir, "one.zip"),
	} {
		out := play("fettle " + command + " --json")
		var value any
		if err := json.Unmarshal([]byte(out), &value); err != nil {
			t.Errorf("%s says %s", command, out)
			continue
		}
		check(command, "", value)
	}
}
