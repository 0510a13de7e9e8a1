package cli

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fettle/cmd/internal/screen/screentest"
)

// What Tab offers, word by word, on a bench with a build that is under way.
func TestCompleted(t *testing.T) {
	b := newExampleBench(t)
	for _, line := range []string{
		"airframe add CW-01 --design causeway", "airframe add FN-02 --design causeway", "airframe add RD-01 --design reed", "start CW-01 causeway-build", "bench CW-01 --temperature 20C --humidity 50%", "note CW-01 hello",
	} {
		if out, code := b.command("fettle " + line); code != exitDone {
			t.Fatal(out)
		}
	}
	const space, noSpace, order, file = ":4", ":6", ":36", ":0"
	for _, c := range []struct {
		typed   string // the last word is being typed; "''": nothing of it yet
		how     string
		has     string // words that are offered
		lacks   string
		onlyHas bool
	}{
		{"next ''", space, "CW-01 FN-02 RD-01", "", true},
		{"next cw", space, "cw-01 fn-02 rd-01", "", true}, // the shell leaves out what does not begin so
		{"next CW-01 ''", space, "", "", true},
		{"measure CW-01 ''", space, "spar-depth washout", "CW-01", false},
		{"measure cw-01 spar-depth top-left=4mm ''", noSpace, "top-root= top-right= bottom-left= bottom-root= bottom-right=", "", true},
		{"measure CW-01 spar-depth --gauge ''", space, "depth rule", "", false},
		{"clear CW-01 ''", space, "house-rules contact epoxy", "count-parts knife-block", false},
		{"done CW-01 ''", space, "", "house-rules", true},
		{"done CW-01 house-rules --touch ''", space, "dry wet", "", true},
		{"done CW-01 coat-left-root --with ''", space, "contact", "epoxy", false},
		{"done CW-01 house-rules --at ''", space, "", "", true},
		{"bench --set ''", noSpace, "propeller= ventilation= battery= iron=", "", false},
		{"bench --set propeller=", space, "propeller=off propeller=on", "", true},
		{"bench CW-01 --set ''", noSpace, "propeller= gun=", "CW-01", false},
		{"bench RD-01 --set ''", noSpace, "gun=", "", true},
		{"plan RD-01 --consider ''", space, "two-panels three-panels hot-melt", "contact", false},
		{"bench CW-01 RD-01 --set ''", noSpace, "propeller= gun=", "", false},
		{"bench RD-02 --set ''", noSpace, "propeller= gun=", "", false}, // a mistyped mark: those of all
		{"bench CW-01 ''", space, "FN-02 RD-01", "", true},
		{"wait CW-01 ''", space, "", "", true},
		{"undo CW-01 ''", order, "1 2 3", "0", false}, // a registration stays
		{"start FN-02 ''", space, "causeway-build", "skerry-build jetty-build reed-build", false},
		{"start CW-01 ''", space, "inspect", "causeway-build", false},
		{"start CW-01 ./", file, "", "", true},
		{"start CW-01 boom-snapped --zone ''", space, "left-boom right-boom", "", true},
		{"airframe add X-1 --design causeway --with ''", space, "working-rudders", "", false},
		{"airframe retire CW-01 --because ''", space, "sold scrapped kept", "", true},
		{"crash CW-01 --found ''", noSpace, "nose= left-boom=", "", false},
		{"crash CW-01 --found nose=", noSpace, "nose=crushed:", "", false},
		{"crash CW-01 --found nose=crushed:", space, "nose=crushed:slight nose=crushed:total", "", false},
		{"equip CW-01 fitted ''", space, "battery-pack camera", "", false},
		{"flight CW-01 --landing ''", space, "soft hard", "", true},
		{"flight CW-01 --trim ''", noSpace, "elevator-up= elevator-down= ailerons-left-up= ailerons-left-down= ailerons-right-up= ailerons-right-down=", "", true},
		{"note CW-01 ''", space, "", "", true},
		{"note CW-01 --photo ''", file, "", "", true},
		{"demo ''", space, "", "", true},
		{"library lessons ''", file, "causeway-build inspect", "causeway crash-triage", false},
		{"check ''", file, "", "", true},
		{"export CW-01 ''", file, "", "", true},
	} {
		out, _ := b.command("fettle __complete " + strings.ReplaceAll(c.typed, "''", `""`))
		var offered []string
		how := ""
		for line := range strings.Lines(out) {
			word, _, _ := strings.Cut(strings.TrimSpace(line), "\t")
			if strings.HasPrefix(word, ":") {
				how = word
				break
			}
			offered = append(offered, word)
		}
		if how != c.how {
			t.Errorf("%s is completed in the way %s, not %s: %s", c.typed, how, c.how, out)
		}
		for _, word := range strings.Fields(c.has) {
			if !slices.Contains(offered, word) {
				t.Errorf("%s offers %v, but not %s", c.typed, offered, word)
			}
		}
		for _, word := range offered {
			if slices.Contains(strings.Fields(c.lacks), word) || c.onlyHas && !slices.Contains(strings.Fields(c.has), word) {
				t.Errorf("%s offers %s", c.typed, word)
			}
		}
	}
	if out, _ := b.command("fettle __complete undo CW-01 \"\""); !strings.Contains(out, "noted: hello") {
		t.Errorf("an entry is offered without what it says: %s", out)
	}
}

// Tab, pressed for real, in the shells that are here.
func TestCompletionInShells(t *testing.T) {
	play := player(t)
	play("fettle airframe add CW-01 --design causeway")
	play("fettle start CW-01 causeway-build")
	fettle := program(t).Path
	dir := t.TempDir()
	t.Chdir(dir) // with a file in it, which must not be offered
	if err := os.WriteFile("zebra", nil, 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("PATH", filepath.Dir(fettle)+":"+os.Getenv("PATH"))
	for _, shell := range []struct {
		name, load string
		args       []string
	}{
		{"bash", "for f in /usr/share/bash-completion/bash_completion /usr/local/share/bash-completion/bash_completion /opt/homebrew/etc/profile.d/bash_completion.sh; do [ -f $f ] && . $f; done; source <(fettle completion bash)", []string{"--norc", "--noprofile", "-i"}},
		{"zsh", "autoload -U compinit; compinit -u -d " + filepath.Join(dir, ".dump") + "; source <(fettle completion zsh)", []string{"-f", "-i"}},
		{"fish", "fettle completion fish | source", []string{"--no-config", "-i"}},
	} {
		t.Run(shell.name, func(t *testing.T) {
			path, err := exec.LookPath(shell.name)
			if err != nil {
				t.Skip("this shell is not installed")
			}
			if shell.name == "bash" {
				if _, err := os.Stat("/usr/share/bash-completion/bash_completion"); err != nil {
					t.Skip("the package bash-completion is not installed, which the script needs")
				}
			}
			cmd := exec.Command(path, shell.args...)
			cmd.Env = append(os.Environ(), "PS1=> ", "XDG_CONFIG_HOME="+dir, "XDG_DATA_HOME="+dir)
			p := screentest.Start(t, cmd, 100, 30)
			// \x15 clears the line: each word is completed on a line of its own.
			typed := func(keys, sees string) {
				t.Helper()
				p.Press("\x15" + keys)
				p.See(sees)
			}
			p.Press(" " + shell.load + "; echo load''ed\r")
			p.See("loaded")
			p.Press(" clear\r")
			typed("fettle meas\t", "fettle measure")
			typed("fettle next cw\t", "fettle next cw-01")
			typed("fettle measure CW-01 spar-o\t", "spar-over-spar")
			typed("fettle measure CW-01 spar-depth top-le\t", "spar-depth top-left=")
			typed("fettle start CW-01 mount\t", "mount-torn")
			typed("fettle bench --set prop\t", "--set propeller=")
			p.Press("of\t")
			p.See("--set propeller=off")
			typed("fettle note CW-01 --at zeb\t!", "zeb!") // no files
			typed("fettle note CW-01 --photo zeb\t", "--photo zebra")
		})
	}
}

// Of PowerShell the script is generated; it is not run.
func TestCompletionOfPowerShell(t *testing.T) {
	out, code := newExampleBench(t).command("fettle completion powershell")
	if code != exitDone || !strings.Contains(out, "Register-ArgumentCompleter -CommandName 'fettle'") || !strings.Contains(out, "__complete") {
		t.Errorf("ends with %d: %.200s", code, out)
	}
}
