package cli

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/user"
	"path/filepath"
	"strings"
	"time"

	"github.com/adrg/xdg"
	"gopkg.in/yaml.v3"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/procedures"
	"fettle/store/photos"
	"fettle/workflow"
)

// version is what entries say wrote them.
const version = "0.1"

// A timepiece tells the time and can wait.
type timepiece interface {
	Now() time.Time
	Sleep(ctx context.Context, d time.Duration) error
}

// An app is one run of the program.
type app struct {
	term.Streams
	time   timepiece
	stores keep.Kinds

	// From flags, the environment and the config, in this order.
	storePath, libraryPath, by string
	json, bothUnits            bool
}

// config is the file of settings, all of them optional.
type config struct {
	By      string `yaml:"by"`
	Store   string `yaml:"store"`
	Library string `yaml:"library"`
	Key     string `yaml:"key"`
}

func configPath() string { return filepath.Join(xdg.ConfigHome, "fettle", "config.yaml") }

func readConfig() (config, error) {
	var c config
	data, err := os.ReadFile(configPath())
	if errors.Is(err, fs.ErrNotExist) {
		return c, nil
	}
	if err != nil {
		return c, fmt.Errorf("reading the config: %w", err)
	}
	d := yaml.NewDecoder(strings.NewReader(string(data)))
	d.KnownFields(true)
	if err := d.Decode(&c); err != nil {
		return c, fmt.Errorf("reading the config %s: %w", configPath(), err)
	}
	return c, nil
}

// desk opens nothing yet; it settles where things are and who is at the bench.
func (a *app) desk() (*desk.Desk, error) {
	k, err := a.keeper()
	if err != nil {
		return nil, err
	}
	return k.Desk, nil
}

// keeper gives the keeper of the store, and with it the desk.
func (a *app) keeper() (*keep.Keeper, error) {
	c, err := readConfig()
	if err != nil {
		return nil, err
	}
	path := first(a.storePath, os.Getenv("FETTLE_STORE"), c.Store, filepath.Join(xdg.DataHome, "fettle", "fettle.db"))
	who, err := a.who(c)
	if err != nil {
		return nil, err
	}
	kept := a.stores.Of(path).Open(path, func(from, to int, copy string) {
		a.warn("the store was brought from schema %d to %d; as it was before, it is kept as %s", from, to, copy)
	})
	return &keep.Keeper{
		Desk: &desk.Desk{
			Store:   kept,
			Photos:  photos.Beside(path),
			Library: a.library(c),
			Now:     a.time.Now,
			By:      who,
			Program: "fettle " + version,
		},
		Store:   kept,
		Path:    path,
		Kinds:   a.stores,
		KeyPath: first(os.Getenv("FETTLE_KEY"), c.Key, filepath.Join(xdg.DataHome, "fettle", "seal.key")),
	}, nil
}

func (a *app) library(c config) *procedures.Library {
	own := filepath.Join(xdg.ConfigHome, "fettle", "library")
	return procedures.Open(first(a.libraryPath, os.Getenv("FETTLE_LIBRARY"), c.Library, own))
}

func (a *app) who(c config) (string, error) {
	login := ""
	if u, err := user.Current(); err == nil {
		login = u.Username
	}
	who := strings.TrimSpace(first(a.by, os.Getenv("FETTLE_BY"), c.By, login))
	if len(who) > 64 || who != term.Line(who) {
		return "", usage("--by takes one short name")
	}
	return who, nil
}

func first(texts ...string) string {
	for _, t := range texts {
		if t != "" {
			return t
		}
	}
	return ""
}

// warn says on the error side what did not stop the command.
func (a *app) warn(format string, args ...any) {
	fmt.Fprintln(a.Err, "fettle: "+term.Line(fmt.Sprintf(format, args...)))
}

func (a *app) clock() page.Clock { return page.Clock{Now: a.time.Now(), BothUnits: a.bothUnits} }

// A shown thing marshals to JSON and has a text.
type shown interface{ Markdown(page.Clock) string }

// show prints a thing, as JSON where that is asked for.
func (a *app) show(thing shown) error {
	if a.json {
		return a.showJSON(thing)
	}
	return a.Show(thing.Markdown(a.clock()))
}

func (a *app) showJSON(thing any) error {
	e := json.NewEncoder(a.Out)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(thing)
}

// say prints one line of what was done.
func (a *app) say(format string, args ...any) {
	fmt.Fprintln(a.Out, term.Line(fmt.Sprintf(format, args...)))
}

// markOf takes the mark from the front of the arguments, or the only airframe
// with an open job.
func (a *app) markOf(ctx context.Context, d *desk.Desk, args []string) (string, []string, error) {
	if len(args) > 0 && workflow.CheckMark(args[0]) == nil {
		return args[0], args[1:], nil
	}
	fleet, err := d.Fleet(ctx)
	if err != nil {
		return "", nil, err
	}
	var all, busy []string
	for _, s := range fleet {
		mark := s.Airframe.Mark
		if len(args) > 0 && strings.EqualFold(args[0], mark) {
			return mark, args[1:], nil
		}
		all = append(all, mark)
		if len(s.OpenJobs(a.time.Now())) > 0 {
			busy = append(busy, mark)
		}
	}
	switch {
	case len(busy) == 1:
		return busy[0], args, nil
	case len(all) == 1 && len(busy) == 0:
		return all[0], args, nil
	case len(all) == 0:
		return "", nil, usage("no airframe is registered yet; begin with: fettle airframe add CW-01 --design causeway")
	}
	return "", nil, usage("say which airframe: %s", strings.Join(all, ", "))
}

// deskOf gives a desk, and the mark and the rest of the arguments.
func (a *app) deskOf(ctx context.Context, args []string) (*desk.Desk, string, []string, error) {
	d, err := a.desk()
	if err != nil {
		return nil, "", nil, err
	}
	mark, rest, err := a.markOf(ctx, d, args)
	return d, mark, rest, err
}

// keeperOf gives the keeper of the store, and the mark of the arguments.
func (a *app) keeperOf(ctx context.Context, args []string) (*keep.Keeper, string, error) {
	k, err := a.keeper()
	if err != nil {
		return nil, "", err
	}
	mark, _, err := a.markOf(ctx, k.Desk, args)
	return k, mark, err
}

// when reads a moment as people write it: 19:02 (today), 2026-03-03 19:02,
// RFC 3339, or a length of time and "ago". None of it has yet to come.
func (a *app) when(text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	now := a.time.Now().In(time.Local)
	t, err := moment(text, now)
	if err == nil && t.After(now) {
		return t, usage("%q lies in the future: it is %s now; write the day too, as in \"2026-03-03 19:02\"", text, now.Format("2006-01-02 15:04"))
	}
	return t, err
}

func moment(text string, now time.Time) (time.Time, error) {
	if before, ok := strings.CutSuffix(text, " ago"); ok {
		d, err := parseDuration(before)
		return now.Add(-d), err
	}
	if t, err := time.ParseInLocation("15:04", text, time.Local); err == nil {
		return time.Date(now.Year(), now.Month(), now.Day(), t.Hour(), t.Minute(), 0, 0, time.Local), nil
	}
	for _, layout := range []string{"2006-01-02 15:04", "2006-01-02T15:04", time.RFC3339} {
		if t, err := time.ParseInLocation(layout, text, time.Local); err == nil {
			return t, nil
		}
	}
	return time.Time{}, usage("%q is no time; write 19:02, \"2026-03-03 19:02\" or \"6 min ago\"", text)
}
