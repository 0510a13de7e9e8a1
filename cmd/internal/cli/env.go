package cli

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/user"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"github.com/adrg/xdg"
	"gopkg.in/yaml.v3"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/procedures"
	"fettle/steps/nearest"
	"fettle/store/wholefile"
	"fettle/workflow"
)

// This file decides where things are, who is at the bench and which airframe is
// meant. Each is decided once per command, when it is first needed.

// config is the config file; every setting is optional.
type config struct {
	By      string `yaml:"by"`
	Store   string `yaml:"store"`
	Library string `yaml:"library"`
	Key     string `yaml:"key"`

	Sittings []string `yaml:"sittings"` // when somebody is at the bench
	Hands    string   `yaml:"hands"`    // how many people, each time

	Etcd keep.Cluster `yaml:"etcd"`

	faults []fault
}

// configKeys are the keys of the config file.
var configKeys = []string{"by", "store", "library", "key", "sittings", "hands", "etcd"}

// A fault is what is wrong with a line of the config, and the key that was meant. Where nobody knows which, it is the store: what was
// meant for it must not be recorded elsewhere.
type fault struct{ key, says string }

// fault is what is wrong with a key; "": with any but those of a plan, without which nothing else goes by another setting than was meant.
func (c *config) fault(key string) error {
	for _, f := range c.faults {
		if f.key == key || key == "" && f.key != "sittings" && f.key != "hands" {
			return usage("reading the config %s: %s", configPath(), f.says)
		}
	}
	return nil
}

// A setting is looked for in an option, in the environment, in the config file, in
// that order, and has a default.
type setting struct {
	name, flag, env, file string // the last three as given; "": not there
	fallback              func() string
}

// The settings, in the order in which settings returns them.
const (
	storeSetting = iota
	librarySetting
	bySetting
	keySetting
	sittingsSetting
	handsSetting
)

func (a *app) settings(c *config) [6]setting {
	return [...]setting{
		storeSetting:   {"store", a.storePath, "FETTLE_STORE", c.Store, func() string { return ownPlace("XDG_DATA_HOME", xdg.DataHome, "fettle.db") }},
		librarySetting: {"library", a.libraryPath, "FETTLE_LIBRARY", c.Library, func() string { return ownPlace("XDG_CONFIG_HOME", xdg.ConfigHome, "library") }},
		bySetting:      {"by", a.by, "FETTLE_BY", c.By, login},
		keySetting:     {"key", "", "FETTLE_KEY", c.Key, func() string { return ownPlace("XDG_DATA_HOME", xdg.DataHome, "seal.key") }},
		// Several of them are apart by a semicolon.
		sittingsSetting: {"sittings", "", "FETTLE_SITTINGS", strings.Join(c.Sittings, "; "), func() string { return "none" }},
		handsSetting:    {"hands", "", "FETTLE_HANDS", c.Hands, func() string { return "1" }},
	}
}

// value is what the setting is, and where that is said.
func (s setting) value() (value, origin, from string) {
	switch env := os.Getenv(s.env); {
	case s.flag != "":
		return s.flag, "flag", "--" + s.name
	case env != "":
		return env, "environment", s.env
	case s.file != "":
		return s.file, "file", s.name + ":"
	}
	if value = s.fallback(); value == "" {
		from = "is nothing, since HOME is not set to a whole path"
	}
	return value, "default", from
}

// login is the login name.
func login() string {
	u, err := user.Current()
	if err != nil {
		return ""
	}
	return u.Username
}

//go:noinline
func configPath() string { return ownPlace("XDG_CONFIG_HOME", xdg.ConfigHome, "config.yaml") }

// ownPlace is a file in the program's folder below one that a variable names, or that
// lies in the home folder. "": neither is known, and neither the root of the disk nor the
// folder one works in, whose files may be anybody's, is a home.
func ownPlace(variable, folder, file string) string {
	if home, err := os.UserHomeDir(); (err != nil || !filepath.IsAbs(home)) && !filepath.IsAbs(os.Getenv(variable)) {
		return ""
	}
	return filepath.Join(folder, "fettle", file)
}

// config is the config as far as anything but a plan goes by it.
func (a *app) config() (*config, error) {
	c, err := a.configRead()
	if err == nil {
		err = c.fault("")
	}
	return c, err
}

// configRead is the config with its faults.
func (a *app) configRead() (*config, error) {
	if a.configured != nil {
		return a.configured, nil
	}
	c, err := readConfig()
	if err == nil {
		a.configured = c
		a.stores = a.stores.With(c.Etcd)
	}
	return c, err
}

// defaultPhotos is the folder in which each shed has its photos, where the config names none.
func defaultPhotos() string { return ownPlace("XDG_DATA_HOME", xdg.DataHome, "sheds") }

// mostConfig is how many bytes the config file may have.
const mostConfig = 1 << 20

func readConfig() (*config, error) {
	c := &config{Etcd: keep.Cluster{Photos: defaultPhotos(), Own: true, Cache: ownPlace("XDG_CACHE_HOME", xdg.CacheHome, "sheds")}}
	path := configPath()
	if path == "" {
		return c, nil
	}
	data, err := wholefile.Read(path, mostConfig)
	if errors.Is(err, fs.ErrNotExist) {
		return c, nil
	}
	if err != nil {
		return c, fmt.Errorf("reading the config: %w", err)
	}
	d := yaml.NewDecoder(strings.NewReader(string(data)))
	d.KnownFields(true)
	switch err, some := d.Decode(c), (*yaml.TypeError)(nil); {
	case errors.As(err, &some): // the other lines were read
		for _, line := range some.Errors {
			c.faults = append(c.faults, faultOf(line, string(data)))
		}
	case err != nil && !errors.Is(err, io.EOF): // EOF: nothing is in it
		return c, usage("reading the config %s: %s", path, unquoted(err.Error()))
	}
	for i, line := range strings.Split(string(data), "\n") {
		if key, value, _ := strings.Cut(line, ":"); key == "store" && c.Store == "" {
			if value, _, _ = strings.Cut(value, "#"); strings.Trim(value, " \t\r\"'") == "" {
				return c, usage("the config %s, line %d: store: names no store; write the store after it, or leave the line out for a file here", path, i+1)
			}
		}
	}
	if info, err := os.Stat(path); c.Etcd.Password != "" && err == nil && runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 {
		return c, usage("%s has a password and the mode %04o, so others may read it; run: chmod 600 %s", path, info.Mode().Perm(), path)
	}
	for _, file := range []*string{&c.Etcd.CA, &c.Etcd.Cert, &c.Etcd.Key, &c.Etcd.Photos} {
		if *file != "" && !filepath.IsAbs(*file) {
			*file = filepath.Join(filepath.Dir(path), *file)
		}
	}
	c.Etcd.Own = c.Etcd.Photos == defaultPhotos()
	return c, nil
}

// unquoted is what is wrong with the config without the values that it quotes: one may be a
// password in the wrong place.
func unquoted(text string) string {
	parts := strings.Split(text, "`")
	for i := range parts {
		if i%2 == 1 {
			parts[i] = "…"
		}
	}
	return strings.Join(parts, "")
}

// faultOf is the fault of a line of the config, in its words.
func faultOf(text, config string) fault {
	at, field, _ := strings.Cut(unquoted(text), ": field ")
	if name, _, unknown := strings.Cut(field, " not found in type cli.config"); unknown {
		key := nearest.Of(name, configKeys)
		if key != "" {
			return fault{key, at + ": " + name + " is not one of its keys; did you mean " + key + "?"}
		}
		return fault{"store", at + ": " + name + " is not one of its keys: " + strings.Join(configKeys, ", ")}
	}
	if name, _, unknown := strings.Cut(field, " not found in type keep.Cluster"); unknown {
		return fault{"etcd", at + ": " + name + " is not one of the keys below etcd: " + clusterKeys}
	}
	key, says := misfit(unquoted(text), config)
	return fault{cmp.Or(key, "store"), says}
}

// clusterKeys are the keys below etcd.
const clusterKeys = "ca, cert, key, user, password, plain, bench, photos"

// misfit says in the words of the config that what stands after one of its keys is not of its kind, below which key at the margin.
func misfit(line, config string) (top, says string) {
	at, kinds, found := strings.Cut(line, ": cannot unmarshal ")
	_, kind, _ := strings.Cut(kinds, " into ")
	number, err := strconv.Atoi(at[strings.LastIndex(at, " ")+1:])
	if !found || err != nil {
		return "", line
	}
	key := ""
	lines := strings.Split(config, "\n")
	for i := min(number, len(lines)) - 1; i >= 0 && top == ""; i-- { // a list begins below its key
		if name, _, is := strings.Cut(lines[i], ":"); is && !strings.ContainsAny(strings.TrimSpace(name), " #-[{\"'") {
			key = cmp.Or(key, strings.TrimSpace(name)+":")
			if strings.TrimSpace(name) == name {
				top = name
			}
		}
	}
	switch kind {
	case "string":
		return top, at + ": " + key + " takes one text: write " + key + " TEXT, with quotes if it has a sign such as : or # in it"
	case "[]string":
		return top, at + ": " + key + " takes a list: write " + key + " [TEXT, TEXT]"
	case "keep.Cluster":
		return top, at + ": etcd: takes keys on lines of their own, each with two spaces before it: " + clusterKeys
	}
	return "", at + ": the config is made of lines such as by: NAME, with the keys " + strings.Join(configKeys, ", ")
}

// desk returns the desk; a command has only one. It opens nothing.
//
//go:noinline
func (a *app) desk() (*desk.Desk, error) {
	k, err := a.keeper()
	if err != nil {
		return nil, err
	}
	return k.Desk, nil
}

// keeper returns the keeper of the store, which has the desk.
func (a *app) keeper() (*keep.Keeper, error) {
	if a.kept != nil {
		return a.kept, nil
	}
	c, err := a.config()
	if err != nil {
		return nil, err
	}
	path, origin, _ := a.settings(c)[storeSetting].value()
	switch {
	case origin == "default" && (c.Etcd.Bench != "" || len(c.Etcd.Said()) > 0):
		return nil, usage("the config has etcd: and no store:, so the record would be a file here; write store: etcd://HOST:PORT,HOST:PORT/SHED in it, or name the store with --store")
	case path != "" && strings.TrimSpace(path) == "":
		return nil, usage("the name of the store is blank; name a file, or a shed as etcd://HOST:PORT,HOST:PORT/SHED")
	}
	if path == "" {
		return nil, usage("HOME is not set to a whole path, so there is no place for the store; set HOME, or name the store with --store FILE or FETTLE_STORE")
	}
	if err := a.checkKind(path); err != nil {
		return nil, err
	}
	who, err := a.who(c)
	if err != nil {
		return nil, err
	}
	people, said, err := a.hands("")
	if err != nil {
		people = 0
	}
	hands := people
	if !said {
		hands = 0
	}
	kept := a.stores.Of(path).Open(path, func(from, to int, copy string) {
		a.warn("the store was migrated from schema %d to %d; the original is kept as %s", from, to, copy)
	})
	library, err := a.library()
	if err != nil {
		return nil, err
	}
	if r, ok := kept.(keep.Remote); ok {
		r.Waits(a.waiting)
		r.Tell(func(text string) { a.warn("%s", text) })
	}
	key, _, _ := a.settings(c)[keySetting].value()
	clocks := a.clocks(kept)
	a.kept = &keep.Keeper{
		Desk: &desk.Desk{
			Store:   kept,
			Photos:  a.stores.Photos(path),
			Library: library,
			Now:     a.time.Now,
			By:      who,
			Program: "fettle " + version,
			Clocks:  clocks,
			Written: a.written(key, kept.File()),
			Plan:    &desk.Plan{File: kept.File() + ".plan", Hands: hands, People: people, Sits: a.sits},
			Read:    a.read,

			PhotosHere: !a.stores.Files(path) && c.Etcd.Own,
		},
		Store:   kept,
		Path:    path,
		Kinds:   a.stores,
		KeyPath: key,
	}
	return a.kept, nil
}

// checkKind refuses what is not the name of a store, and a store of a kind that another program
// knows. It never repeats the name, which may have a password in it.
func (a *app) checkKind(name string) error {
	kind := a.stores.Of(name)
	if kind.Check != nil {
		if err := kind.Check(name); err != nil {
			return usage("%v", err)
		}
	}
	scheme, rest, _ := strings.Cut(name, ":")
	port, _, _ := strings.Cut(rest, "/")
	port, _, _ = strings.Cut(port, ",")
	isAddress := strings.HasPrefix(rest, "//") || strings.EqualFold(scheme, "etcd") || port != "" && strings.Trim(port, "0123456789") == "" && !strings.Contains(scheme, "/")
	switch {
	case kind.Prefix != "" || !isAddress:
		return nil
	case slices.ContainsFunc(a.stores, func(k keep.Kind) bool { return k.Check != nil }):
		return usage("that is not a store: one on a cluster is etcd://HOST:PORT,HOST:PORT/SHED, and one in a file is its path")
	}
	return usage("this fettle keeps stores in files alone, and knows nothing of %s://; for etcd:// build the other one: go install ./cmd/shed/fettle", scheme)
}

// written is what is remembered of journals, beside the key of the seals.
func (a *app) written(key, file string) *desk.Written {
	if key == "" {
		return nil
	}
	return &desk.Written{
		Folder: filepath.Join(filepath.Dir(key), "written"),
		Store:  file,
		Tell:   func(o desk.Older) { a.warn("%s", page.OlderLine(o)) },
	}
}

// placed are the options that say where things are and who is at the bench, as they were given, to go
// with a command that is shown.
func (a *app) placed() (all []string) {
	for _, is := range [...][2]string{{"--store ", a.storePath}, {"--library ", a.libraryPath}, {"--by ", a.by}} {
		if is[1] != "" && is[1] == term.Line(is[1]) { // else it could not be typed as it is shown
			all = append(all, is[0]+quoted(is[1]))
		}
	}
	return all
}

// quoted is a word as a shell takes it. It is not inlined: its many copies would make the program
// larger.
//
//go:noinline
func quoted(word string) string {
	plain := func(r rune) bool {
		return unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune("/._-+:@%,", r)
	}
	if word != "" && strings.TrimFunc(word, plain) == "" {
		return word
	}
	return "'" + strings.ReplaceAll(word, "'", `'\''`) + "'"
}

func (a *app) library() (*procedures.Library, error) {
	c, err := a.config()
	if err != nil {
		return nil, err
	}
	folder, _, _ := a.settings(c)[librarySetting].value()
	return procedures.Open(folder), nil
}

func (a *app) who(c *config) (string, error) {
	who, _, _ := a.settings(c)[bySetting].value()
	who = strings.TrimSpace(who)
	if len(who) > 64 || who != term.Line(who) {
		return "", usage("--by takes one short name")
	}
	return who, nil
}

// airframe reads the airframe whose mark is the first argument, or without a mark
// the only one with an open job; rest are the other arguments.
//
//go:noinline
func (a *app) airframe(ctx context.Context, args []string) (s *workflow.State, rest []string, err error) {
	return a.airframeWith(ctx, args, len(args))
}

// airframeWith is like airframe where no more than so many other arguments may
// follow: one more has to be a mark.
func (a *app) airframeWith(ctx context.Context, args []string, most int) (s *workflow.State, rest []string, err error) {
	d, err := a.desk()
	if err != nil {
		return nil, nil, err
	}
	name := ""
	if len(args) > 0 {
		name = args[0]
	}
	if workflow.CheckMark(name) == nil {
		s, err = d.State(ctx, name)
		return s, args[1:], err
	}
	s, named, err := d.Choose(ctx, name)
	switch {
	case errors.Is(err, desk.ErrNoAirframe):
		return nil, nil, noAirframe()
	case !named && len(args) > most && (err == nil || errors.As(err, new(*desk.AmbiguousError))):
		marks, err := d.Marks(ctx)
		return nil, nil, cmp.Or(err, workflow.UnknownMark(name, marks))
	case named:
		args = args[1:]
	}
	return s, args, err
}

// noAirframe says what to begin with.
func noAirframe() error {
	return usage("%v; begin with: fettle airframe add CW-01 --design causeway", desk.ErrNoAirframe)
}

// airframeAlone is like airframe where nothing else may follow.
//
//go:noinline
func (a *app) airframeAlone(ctx context.Context, args []string) (*workflow.State, error) {
	s, _, err := a.airframeWith(ctx, args, 0)
	return s, err
}

// airframeAnd is like airframeWith, but at least one more argument must follow: what of
// those that can be named now. Where it is missing, the error lists them.
func (a *app) airframeAnd(ctx context.Context, command, what string, can names, args []string, most int) (*workflow.State, []string, error) {
	s, rest, err := a.airframeWith(ctx, args, most)
	if err != nil || len(rest) > 0 {
		return s, rest, err
	}
	return nil, nil, a.missing(ctx, s, command, what, can, nil)
}

// missing is the error where an argument is missing, or is none of those that can be named now, with all that can. wrong: in its place
// was one that is unknown.
func (a *app) missing(ctx context.Context, s *workflow.State, command, what string, can names, wrong error) error {
	d, err := a.desk()
	if err != nil {
		return err
	}
	missing := page.Missing{Mark: s.Airframe.Mark, What: what, Command: "fettle " + command + " " + s.Airframe.Mark}
	if wrong != nil {
		missing.Wrong = wrong.Error()
	}
	for _, w := range can(word{desk: d, ctx: ctx, now: a.time.Now(), state: s}) {
		name, is, _ := strings.Cut(w, "\t")
		missing.Can = append(missing.Can, page.Named{Name: name, Is: is})
	}
	return missingError{missing, wrong}
}

// markOf returns the mark of the airframe without replaying its journal, if the
// arguments begin with one: it may be damaged.
func (a *app) markOf(ctx context.Context, args []string) (string, error) {
	if len(args) > 0 && workflow.CheckMark(args[0]) == nil {
		return args[0], nil
	}
	s, err := a.airframeAlone(ctx, args)
	if err != nil {
		return "", err
	}
	return s.Airframe.Mark, nil
}

// states reads the airframes of these marks.
func (a *app) states(ctx context.Context, marks []string) ([]*workflow.State, error) {
	d, err := a.desk()
	if err != nil {
		return nil, err
	}
	states := make([]*workflow.State, len(marks))
	for i, mark := range marks {
		if states[i], err = d.State(ctx, mark); err != nil {
			return nil, err
		}
	}
	return states, nil
}

// rows makes a row of each named airframe, or of every one. Then the error names
// those that could not be read, and the other rows are valid. of is how many there
// are.
func rows[R any](ctx context.Context, a *app, marks []string, row func(s *workflow.State, of int) R) ([]R, error) {
	made, err := a.rows(ctx, marks, func(s *workflow.State, of int) any { return row(s, of) })
	return desk.RowsOf[R](made), err
}

// rows is [rows] of any type, which stands in the program once.
func (a *app) rows(ctx context.Context, marks []string, row func(s *workflow.State, of int) any) ([]any, error) {
	d, err := a.desk()
	if err != nil {
		return nil, err
	}
	if len(marks) == 0 {
		return d.Made(ctx, row)
	}
	states, err := a.states(ctx, marks)
	if err != nil {
		return nil, err
	}
	var all []any
	for _, s := range states {
		all = append(all, row(s, len(states)))
	}
	return all, nil
}
