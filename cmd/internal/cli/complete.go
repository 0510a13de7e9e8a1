package cli

import (
	"cmp"
	"context"
	"fmt"
	"iter"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/page"
	"fettle/procedures"
	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/workflow"
	"fettle/workflow/journal"
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

// dueSteps are the steps whose turn has come and that done records, and the reworks of
// gates that have not passed.
func dueSteps(w word) []string {
	out := readySteps(w, func(k steps.Traits) bool { return k.Attended && !k.Confirms && !k.Measures })
	for job, r := range ready(w) {
		unmet := func(g workflow.GateReport) bool { return !g.Met() }
		if r.Step.Kind.Traits().Measures && !slices.ContainsFunc(w.state.GatesOf(job, r.Step, w.now), unmet) {
			out = append(out, described(w.state.NameOf(job.ID, r.Step.Name, w.now), r.Step.Title))
		}
	}
	for _, g := range w.state.Gates(w.now) {
		if g.Standing == workflow.Failed || g.Standing == workflow.Undecided {
			out = append(out, described(page.ReworkStep+g.Gate.Name, g.Gate.Title, g.Standing.Words()))
		}
	}
	for _, t := range w.state.Trims() {
		offer := described(page.ReworkStep+t.Rework, "trim of "+t.Control.Name)
		if t.Rework != "" && !t.Out && !lists.Contains(out, offer) {
			out = append(out, offer)
		}
	}
	return out
}

// ready are the steps whose turn has come.
func ready(w word) iter.Seq2[*workflow.Job, workflow.StepReport] {
	return func(yield func(*workflow.Job, workflow.StepReport) bool) {
		for _, job := range w.state.OpenJobs(w.now) {
			for _, r := range w.state.Steps(job, w.now) {
				if r.Progress == workflow.Ready && !yield(job, r) {
					return
				}
			}
		}
	}
}

func readySteps(w word, want func(steps.Traits) bool) []string {
	var out []string
	for job, r := range ready(w) {
		if want(r.Step.Kind.Traits()) {
			out = append(out, described(w.state.NameOf(job.ID, r.Step.Name, w.now), r.Step.Title))
		}
	}
	return out
}

// dueGates are those that have not passed: that a step asks for whose turn has come, or that
// were measured; where no job is open, all.
func dueGates(w word) []string {
	due := map[string]bool{}
	for job, r := range ready(w) {
		for _, g := range w.state.GatesOf(job, r.Step, w.now) {
			due[g.Gate.Name] = true
		}
	}
	over := len(w.state.OpenJobs(w.now)) == 0
	var out []string
	for _, g := range w.state.Gates(w.now) {
		if !g.Met() && (over || due[g.Gate.Name] || g.Standing == workflow.Failed || g.Standing == workflow.Undecided) {
			out = append(out, described(g.Gate.Name, g.Gate.Title, g.Standing.Words()))
		}
	}
	return out
}

// openAnswers are those to the choices whose turn has come; where there are none, all.
func openAnswers(w word) []string {
	var out []string
	for job, r := range ready(w) {
		choice := r.Step.Asked(w.state.Sheet)
		for _, o := range choice.Answers {
			out = append(out, described(w.state.NameOfAnswer(job, o.Name, w.now), o.Title))
		}
		if choice.Alone {
			out = append(out, described(choice.Name+" --no", "do without it"))
		}
	}
	if len(out) == 0 {
		return answers(w)
	}
	return out
}

// holds are those that wait to be cleared: of jobs, of adhesives and tools, of quarantines.
func holds(w word) []string {
	out := readySteps(w, func(k steps.Traits) bool { return k.Confirms })
	use := func(name, title string, hold []string) {
		if u, err := w.state.Use(name); err == nil && len(hold) > 0 && !w.state.Cleared(u, w.now) {
			out = append(out, described(name, title))
		}
	}
	for _, a := range w.state.Sheet.Adhesives {
		use(a.Name, a.Title, a.Hold)
	}
	for _, t := range w.state.Sheet.Tools {
		use(t.Name, t.Title, t.Hold)
	}
	for _, q := range w.state.Quarantines {
		if q.Open() {
			out = append(out, described(q.Damage, q.Says()))
		}
	}
	return out
}

// answers are those that may be given to a choice.
func answers(w word) []string {
	var out []string
	for _, o := range w.state.Sheet.Options {
		out = append(out, described(o.Name, o.Title))
	}
	for _, job := range w.state.OpenJobs(w.now) {
		for _, step := range job.Procedure.Steps() {
			for _, m := range step.Methods {
				out = append(out, described(w.state.NameOfAnswer(job, m.Name, w.now), m.Title))
			}
		}
	}
	return out
}

func gates(w word) []string {
	var out []string
	for _, g := range w.state.Gates(w.now) {
		out = append(out, described(g.Gate.Name, g.Gate.Title, g.Standing.Words()))
	}
	return out
}

// points are those of the gate before that have no reading in the command yet.
func points(w word) []string {
	gate, found := w.state.Sheet.Gate(w.before[0])
	if !found {
		return nil
	}
	var out []string
	for _, point := range lists.Concat(gate.Points, gate.Or.Points) {
		given := lists.ContainsFunc(w.before, func(arg string) bool { return strings.HasPrefix(arg, point+"=") })
		if !given || gate.For(point).Repeat > 1 {
			out = append(out, point+"=")
		}
	}
	return out
}

func gauges(w word) []string {
	var out []string
	for _, g := range w.state.Sheet.Gauges {
		out = append(out, described(g.Name, g.Title))
	}
	return out
}

// running are the joints and steps that time alone brings on.
func running(w word) []string {
	var out []string
	for _, t := range w.state.Clocks(w.now) {
		when := ""
		if !t.Ready.IsZero() {
			when = page.Clock{Now: w.now}.At(t.Ready)
		}
		out = append(out, described(t.Name, string(t.Phase), when))
	}
	return out
}

// shownEntries is how many entries are offered to be taken back.
const shownEntries = 20

// entries are the latest that can be taken back, the last first.
func entries(w word) []string {
	var out []string
	all := page.NewJournal(w.state).Entries
	for _, e := range slices.Backward(all) {
		undo := workflow.Undo{Position: e.Position, Reason: "asked"}
		if len(out) == shownEntries {
			break
		}
		if e.Undone || e.Kind == (journal.Undone{}).Kind() {
			continue
		}
		if _, err := w.state.Decide(undo, workflow.Circumstances{Now: w.now, By: w.desk.By, Program: w.desk.Program}); err == nil {
			out = append(out, described(fmt.Sprint(e.Position), e.Says, page.Clock{Now: w.now}.At(e.At)))
		}
	}
	return out
}

func openJobs(w word) []string {
	var out []string
	for _, j := range w.state.OpenJobs(w.now) {
		out = append(out, described(j.ID, j.Procedure.Title))
	}
	return out
}

// fitting are the procedures that can be started.
func fitting(w word) []string {
	docs, _ := w.desk.Fitting(w.ctx, w.state)
	var out []string
	for _, d := range docs {
		out = append(out, described(d.Name(), d.Title()))
	}
	return out
}

func equipment(w word) []string {
	var out []string
	for _, e := range w.state.Sheet.Equipment {
		out = append(out, described(e.Name, e.Title))
	}
	return out
}

// surfaces are the control surfaces, each with where it can stand.
func surfaces(w word) []string {
	var out []string
	for _, c := range w.state.Controls() {
		for _, way := range w.state.Sheet.Geometry.Ways(c) {
			out = append(out, described(c.Name+"-"+way+"=", c.Title))
		}
	}
	return out
}

// settings are the conditions, then the states of one.
func settings(w word) []string {
	var out []string
	name, _, named := strings.Cut(w.text, "=")
	for _, c := range w.state.Sheet.Conditions {
		switch {
		case !named:
			out = append(out, described(c.Name+"=", c.Title))
		case c.Name == name:
			for _, state := range c.States {
				out = append(out, name+"="+state)
			}
		}
	}
	return out
}

// findings are the zones, then what can be found at one, then how bad.
func findings(w word) []string {
	zone, found, named := strings.Cut(w.text, "=")
	if !named {
		return each(w.state.Sheet.Zones, "", "=")
	}
	triage, _, err := w.desk.Triage(w.state)
	if err != nil {
		return nil
	}
	var out []string
	if finding, _, named := strings.Cut(found, ":"); named {
		return each(triage.Possible(finding, zone), zone+"="+finding+":", "")
	}
	for _, f := range triage.Findings {
		if len(f.Zones) == 0 || lists.Contains(f.Zones, zone) {
			out = append(out, described(zone+"="+f.Name+":", f.Title))
		}
	}
	return out
}

func each(words []string, before, after string) []string {
	var out []string
	for _, w := range words {
		out = append(out, before+w+after)
	}
	return out
}

// zones are those of the airframe, or those on which the procedure before may be started.
func zones(w word) []string {
	if len(w.before) > 0 {
		if doc, err := w.desk.Library.Procedure(w.before[0]); err == nil && len(doc.Procedure.On) > 0 {
			return sorting.Delete(lists.Clone(doc.Procedure.On), func(z string) bool { return !lists.Contains(w.state.Sheet.Zones, z) })
		}
	}
	return w.state.Sheet.Zones
}

// adhesives are those that the step before may be glued with.
func adhesives(w word) []string {
	if len(w.before) == 0 {
		return nil
	}
	r, job, err := w.state.FindStep(w.before[0], w.now)
	if err != nil {
		return nil
	}
	var out []string
	for _, a := range w.state.AdhesivesOf(job, r.Step, w.now) {
		if len(a.Unfit) == 0 {
			out = append(out, described(a.Name, a.Title))
		}
	}
	return out
}

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
