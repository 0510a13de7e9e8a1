package cli

import (
	"cmp"
	"context"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"fettle/cmd/internal/desk"
	"fettle/procedures"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/workflow"
)

// completionPatience is how long completion reads the store before it gives up.
const completionPatience = time.Second

const (
	noFiles = cobra.ShellCompDirectiveNoFileComp
	files   = cobra.ShellCompDirectiveDefault
)

// A word is what is being typed when Tab is pressed, and what stands before it.
type word struct {
	desk   *desk.Desk
	ctx    context.Context
	now    time.Time
	state  *workflow.State // the airframe; nil: none is known
	before []string        // the arguments before it, without the mark
	text   string
	flags  *pflag.FlagSet
}

// names lists what can stand there, each with what it is behind a tab.
type names func(word) []string

// described is a name with what it is.
func described(name string, is ...string) string {
	is = sorting.Delete(is, func(s string) bool { return s == "" })
	return cobra.CompletionWithDesc(name, strings.Join(is, " · "))
}

// completing calls fn with a desk. Completion shows no errors.
func (a *app) completing(cmd *cobra.Command, fn func(context.Context, *desk.Desk)) {
	d, err := a.desk()
	if err != nil {
		return
	}
	ctx, cancel := context.WithTimeout(cmp.Or(cmd.Context(), context.Background()), completionPatience)
	defer cancel()
	fn(ctx, d)
}

// completeAfterMark completes a mark, then words on that airframe; without a mark, on
// the only one with an open job. The last of them completes every further word.
//
//go:noinline
func (a *app) completeAfterMark(after ...names) cobra.CompletionFunc {
	return func(cmd *cobra.Command, args []string, text string) (out []string, how cobra.ShellCompDirective) {
		how = noFiles
		a.completing(cmd, func(ctx context.Context, d *desk.Desk) {
			if len(args) == 0 {
				out = marks(ctx, d, text)
			}
			if s, rest, err := a.airframe(ctx, args); err == nil && len(after) > 0 {
				list := after[min(len(rest), len(after)-1)]
				out = append(out, list(word{d, ctx, a.time.Now(), s, rest, text, cmd.Flags()})...)
			}
		})
		return out, directive(out)
	}
}

// directive is how a shell treats these words: it leaves out the space where more of the
// same word follows, keeps numbers in their order, and adds no files.
func directive(out []string) cobra.ShellCompDirective {
	how := noFiles
	if lists.ContainsFunc(out, func(w string) bool {
		name, _, _ := strings.Cut(w, "\t")
		return strings.HasSuffix(name, "=") || strings.HasSuffix(name, ":")
	}) {
		how |= cobra.ShellCompDirectiveNoSpace
	}
	if len(out) > 0 && strings.Trim(out[0][:1], "0123456789") == "" {
		how |= cobra.ShellCompDirectiveKeepOrder
	}
	return how
}

// marks are those of all airframes, in small letters where one is typed so.
func marks(ctx context.Context, d *desk.Desk, text string) []string {
	marks, _ := d.Marks(ctx)
	if text != "" && text == strings.ToLower(text) {
		for i, mark := range marks {
			marks[i] = strings.ToLower(mark)
		}
	}
	return marks
}

// completeMarks completes one mark.
//
//go:noinline
func (a *app) completeMarks(cmd *cobra.Command, args []string, text string) ([]string, cobra.ShellCompDirective) {
	if len(args) > 0 {
		return nil, noFiles
	}
	return a.completeAllMarks(cmd, nil, text)
}

// completeAllMarks completes any number of marks.
func (a *app) completeAllMarks(cmd *cobra.Command, args []string, text string) (out []string, _ cobra.ShellCompDirective) {
	a.completing(cmd, func(ctx context.Context, d *desk.Desk) { out = marks(ctx, d, text) })
	return sorting.Delete(out, func(mark string) bool {
		return lists.ContainsFunc(args, func(given string) bool { return strings.EqualFold(given, mark) })
	}), noFiles
}

// nothing completes no word.
func nothing(word) []string { return nil }

// oneOf completes words that are always the same.
func oneOf(words ...string) names { return func(word) []string { return words } }

// completeOfAll completes what stands in a list of every airframe that the command is for.
//
//go:noinline
func (a *app) completeOfAll(list names) cobra.CompletionFunc {
	return func(cmd *cobra.Command, args []string, text string) (out []string, _ cobra.ShellCompDirective) {
		a.completing(cmd, func(ctx context.Context, d *desk.Desk) {
			states, err := a.states(ctx, args)
			if len(args) == 0 {
				states, err = a.atBench(ctx, d)
			}
			if err != nil { // nothing is on the bench, or a mark is mistyped: those of all
				all, _ := d.Marks(ctx)
				states, _ = a.states(ctx, all)
			}
			for _, s := range states {
				for _, offer := range list(word{state: s, text: text, now: a.time.Now()}) {
					if !lists.Contains(out, offer) {
						out = append(out, offer)
					}
				}
			}
		})
		return out, directive(out)
	}
}

func (a *app) completeStart(cmd *cobra.Command, args []string, text string) ([]string, cobra.ShellCompDirective) {
	if strings.ContainsAny(text, `./\`) {
		return nil, files
	}
	return a.completeAfterMark(fitting, nothing)(cmd, args, text)
}

//go:noinline
func (a *app) completeDesigns(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	return a.documents(func(d *procedures.Document) bool { return d.Sheet != nil }), files
}

func (a *app) completeDocuments(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	if len(args) > 0 {
		return nil, files
	}
	return a.documents(func(*procedures.Document) bool { return true }), noFiles
}

func (a *app) completeProcedures(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	if len(args) > 0 {
		return nil, noFiles
	}
	return a.documents(func(d *procedures.Document) bool { return d.Procedure != nil }), files
}

func (a *app) documents(want func(*procedures.Document) bool) []string {
	library, err := a.library()
	if err != nil {
		return nil
	}
	entries, _ := library.List()
	var names []string
	for _, e := range entries {
		if want(e.Document) {
			names = append(names, described(e.Document.Name(), e.Document.Title()))
		}
	}
	return names
}

// completeOptions completes the options of the design that --design names.
func (a *app) completeOptions(cmd *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	library, err := a.library()
	flag := cmd.Flags().Lookup("design")
	if err != nil || flag == nil {
		return nil, noFiles
	}
	doc, err := library.Sheet(flag.Value.String())
	if err != nil {
		return nil, noFiles
	}
	var out []string
	for _, o := range doc.Sheet.Options {
		out = append(out, described(o.Name, o.Title))
	}
	return out, noFiles
}

func completeFiles(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	return nil, files
}

func completeFolders(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	return nil, cobra.ShellCompDirectiveFilterDirs
}

// completeMarkAndFile completes a mark, then a file.
//
//go:noinline
func (a *app) completeMarkAndFile(cmd *cobra.Command, args []string, text string) ([]string, cobra.ShellCompDirective) {
	if len(args) > 0 {
		return nil, files
	}
	return a.completeMarks(cmd, args, text)
}

// completeValues says how the values of options are completed: it goes by what their
// help calls the value. It looks at all commands, and so is only called for completion.
func (a *app) completeValues(root *cobra.Command) {
	of := func(list names) cobra.CompletionFunc {
		return func(cmd *cobra.Command, args []string, text string) (out []string, _ cobra.ShellCompDirective) {
			a.completing(cmd, func(ctx context.Context, d *desk.Desk) {
				if s, rest, err := a.airframe(ctx, args); err == nil {
					out = list(word{d, ctx, a.time.Now(), s, rest, text, cmd.Flags()})
				}
			})
			return out, directive(out)
		}
	}
	values := map[string]cobra.CompletionFunc{
		"FILE": completeFiles, "SEAL": completeFiles, "FOLDER": completeFolders,
		"DESIGN": a.completeDesigns, "OPTION": a.completeOptions,
		"GAUGE": of(gauges), "GATE": of(gates), "ZONE": of(zones), "JOB": of(openJobs), "ADHESIVE": of(adhesives),
		"CONDITION=STATE": a.completeOfAll(settings), "ADHESIVE or ANSWER": a.completeOfAll(considerable), "ZONE=FINDING:SEVERITY[:NOTE]": of(findings), "SURFACE-WAY=VALUE": of(surfaces),
	}
	var look func(*cobra.Command)
	complete := func(cmd *cobra.Command) func(*pflag.Flag) {
		return func(f *pflag.Flag) {
			value, _ := pflag.UnquoteUsage(f)
			fn := values[value]
			if fn == nil && value == strings.ToLower(value) && strings.Contains(value, " or ") { // soft or hard
				fn = cobra.FixedCompletions(strings.Split(strings.ReplaceAll(value, " or ", ", "), ", "), noFiles)
			}
			if fn != nil {
				_ = cmd.RegisterFlagCompletionFunc(f.Name, fn) // fails only for a flag that does not exist, or that has one
			}
		}
	}
	look = func(cmd *cobra.Command) {
		cmd.Flags().VisitAll(complete(cmd))
		cmd.PersistentFlags().VisitAll(complete(cmd))
		for _, c := range cmd.Commands() {
			look(c)
		}
	}
	look(root)
	root.CompletionOptions.SetDefaultShellCompDirective(noFiles)
}
