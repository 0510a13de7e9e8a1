package cli

import (
	"cmp"
	"errors"
	"io/fs"
	"os"
	"runtime"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/page"
)

func (a *app) configCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "config",
		Short: "Show what the program goes by, and where that is said",
		Args:  onlyCommands,
		RunE:  func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(&cobra.Command{
		Use:   "show",
		Short: "Show each setting with its origin",
		Long: "Show each setting with its origin: an option of this command line, the environment, the config\n" +
			"file, or the default.",
		Args: arguments(0, 0),
		RunE: func(*cobra.Command, []string) error {
			c, err := a.configRead()
			if err != nil {
				return err
			}
			shown := page.Config{File: configPath()}
			_, err = os.Stat(shown.File)
			shown.Missing = errors.Is(err, fs.ErrNotExist)
			for _, s := range a.settings(c) {
				value, origin, from := s.value()
				value = withoutUser(value)
				shown.Settings = append(shown.Settings, page.Setting{Name: s.name, Value: value, Origin: origin, From: from})
			}
			for _, s := range c.Etcd.Said() {
				row := page.Setting{Name: "etcd: " + s[0], Value: s[1], Origin: "file", From: "etcd:"}
				if s[0] == "photos" && c.Etcd.Own {
					row.Origin, row.From = "default", ""
				}
				shown.Settings = append(shown.Settings, row)
			}
			return cmp.Or(a.show(shown), c.fault(""), c.fault("sittings"), c.fault("hands"))
		},
	})
	return cmd
}

// withoutUser is an address without the user and password that must not be in it.
func withoutUser(address string) string {
	if address, _, more := strings.Cut(address, "?"); more && strings.Contains(address, "://") {
		return withoutUser(address) + "?…"
	}
	scheme, rest, found := strings.Cut(address, "://")
	if at := strings.LastIndex(rest, "@"); found && at >= 0 {
		return scheme + "://…" + rest[at:]
	}
	return address
}

func (a *app) versionCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Show the version, and what it was built from",
		Args:  arguments(0, 0),
		RunE: func(*cobra.Command, []string) error {
			v := page.Version{Version: version, Go: runtime.Version(), System: runtime.GOOS + "/" + runtime.GOARCH}
			if built, ok := debug.ReadBuildInfo(); ok {
				if v.Module = built.Main.Version; v.Module == "(devel)" {
					v.Module = "" // of a checkout
				}
				for _, s := range built.Settings {
					switch s.Key {
					case "vcs.revision":
						v.Commit = s.Value
					case "vcs.time":
						v.Time = s.Value
					case "vcs.modified":
						v.Modified = s.Value == "true"
					}
				}
			}
			return a.show(v)
		},
	}
}
