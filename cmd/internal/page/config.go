package page

import (
	"fmt"
	"strings"

	"fettle/procedures"
	"fettle/steps"
	"fettle/steps/sorting"
)

// A Config is what the program goes by, and where that is said.
type Config struct {
	File     string    `json:"file"`
	Missing  bool      `json:"missing,omitempty"` // there is no such file
	Settings []Setting `json:"settings"`
}

// A Setting is one of them.
type Setting struct {
	Name   string `json:"name"`
	Value  string `json:"value"`
	Origin string `json:"origin"` // flag, environment, file or default
	From   string `json:"from,omitempty"`
}

// Markdown lists the settings.
func (c Config) Markdown(*Clock) string {
	var l lines
	l.add("# Settings\n")
	for _, s := range c.Settings {
		l.item("**%s**%s · %s", s.Name, optionally(" · ", esc(s.Value)), s.Origin+optionally(" ", esc(s.From)))
	}
	there := ""
	switch {
	case c.File == "":
		there = "none, since HOME is not set to a whole path"
	case c.Missing:
		there = " (there is no such file)"
	}
	l.add("\nThe config file: %s%s. An option comes before the environment, that before the file.", esc(c.File), there)
	return l.String()
}

// A Version is what the program was built from.
type Version struct {
	Version  string `json:"version"`
	Commit   string `json:"commit,omitempty"`
	Time     string `json:"time,omitempty"`     // of the commit
	Modified bool   `json:"modified,omitempty"` // something else than the commit
	Go       string `json:"go"`
	System   string `json:"system"`
	Module   string `json:"module,omitempty"` // its version, where it was installed as a module
}

// Markdown is the version on one line.
func (v Version) Markdown(*Clock) string {
	built := []string{v.Go, v.System}
	switch {
	case v.Commit == "" && v.Module == "":
		built = sorting.Insert(built, 0, "built without version control")
	case v.Commit != "":
		commit := "commit " + v.Commit[:min(len(v.Commit), 12)] + optionally(" of ", v.Time)
		if v.Modified {
			commit += ", changed since"
		}
		built = sorting.Insert(built, 0, commit)
	}
	return fmt.Sprintf("fettle %s%s (%s)", v.Version, optionally(", module ", v.Module), strings.Join(built, "; "))
}

// A Fitting is the procedures that can be started on an airframe.
type Fitting struct {
	Mark       string
	Procedures []*procedures.Document
}

// Markdown lists them with their numbers, by kind.
func (f Fitting) Markdown(*Clock) string {
	var l lines
	l.add("# What can be started on %s\n", esc(f.Mark))
	for i, d := range f.Procedures {
		zone := ""
		if d.Procedure.Kind == steps.Repair && len(d.Procedure.On) > 0 {
			zone = ", with --zone " + strings.Join(d.Procedure.On, " or ")
		}
		l.add("%d. **%s** · %s%s", i+1, esc(d.Name()), esc(d.Title()), esc(zone))
	}
	l.add("\nFor damage that was reported: %s", "`fettle repair "+esc(f.Mark)+"`")
	return l.String()
}
