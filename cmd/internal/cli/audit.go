package cli

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/page"
	"fettle/steps/lists"
	"fettle/steps/nearest"
	"fettle/store/seal"
	"fettle/workflow"
)

type auditOptions struct {
	filter           workflow.AuditFilter
	from, to, format string
	table            string
	prove, all, full bool
	against, key     string
	newer            string
	entry            int64
	one              bool // an entry was given
}

func (a *app) auditCommand() *cobra.Command {
	var o auditOptions
	cmd := &cobra.Command{
		Use:   "audit [MARK]",
		Short: "Show what was measured, or prove that the journal is unchanged",
		Long: "Answer on one screen how an airframe stands: what passed, what is near a limit, missing, conceded,\n" +
			"flown while grounded and in doubt. --gate shows the history of one gate, --full every reading: when,\n" +
			"by whom, with which gauge, as typed, the limits then, the margin and what became of it. For --prove\n" +
			"and --against see fettle help seals.\n\n" +
			"--table chooses one of these tables, as CSV or with --json; with --all those of all airframes:\n\n" +
			page.TablesHold() + "\n" +
			"Numbers are in the unit of the gate, named in the column unit; the columns that end in _si have the\n" +
			"same in the SI unit named in unit_si. Verdicts are those that were given when it was judged. Moments\n" +
			"are in UTC; in CSV yes and no are 1 and 0, and what is not known is empty. --format csv alone is the\n" +
			"table of readings. In gates, room is what is left to the nearest limit, as a share of the distance\n" +
			"between both limits, or of the limit where there is one.\n\n" +
			"JSON has every value as it is, and escapes what a terminal would act on. CSV has no escapes:\n" +
			"there it is shown as its code, as in text, and words that a spreadsheet would take for a\n" +
			"formula have an apostrophe before them. Numbers and quantities are never changed.",
		Example:           "  fettle audit CW-01\n  fettle audit CW-01 --gate boom-gap\n  fettle audit --all --table flights > flights.csv",
		Args:              arguments(0, 1),
		ValidArgsFunction: a.completeMarks,
	}
	flags := cmd.Flags()
	stringFlag(flags, &o.filter.Gate, "gate", "", "readings of this `GATE`")
	stringFlag(flags, &o.filter.Zone, "zone", "", "readings of gates of this `ZONE`")
	stringFlag(flags, &o.filter.Job, "job", "", "readings taken for this `JOB`")
	stringFlag(flags, &o.from, "from", "", "readings from this `DAY` on: 2026-03-03")
	stringFlag(flags, &o.to, "to", "", "readings to the end of this `DAY`")
	boolFlag(flags, &o.filter.Critical, "critical", false, "readings of critical gates only")
	boolFlag(flags, &o.filter.Failures, "failures", false, "readings out of tolerance or undecided only")
	boolFlag(flags, &o.full, "full", false, "every reading, gate by gate")
	a.formats(cmd, &o.format, "; md and json have every reading", "csv")
	stringFlag(flags, &o.table, "table", "", "one `TABLE`, as CSV or JSON: "+strings.Join(page.TableNames(), ", "))
	boolFlag(flags, &o.prove, "prove", false, "recompute the journal's tree from the stored bytes, and check its seals and photos")
	boolFlag(flags, &o.all, "all", false, "every airframe, with --table or --prove")
	stringFlag(flags, &o.against, "against", "", "prove that the journal still holds what this `SEAL`, a file, has sealed")
	flags.Int64Var(&o.entry, "entry", -1, "with --against: print the proof that entry `N` was in the journal when it was sealed")
	stringFlag(flags, &o.newer, "newer", "", "with --against: print the proof that the journal under this newer `SEAL` began with what was sealed")
	stringFlag(flags, &o.key, "key", "", "the signer's public `KEY`; else your own")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		o.one = cmd.Flags().Changed("entry")
		if o.table != "" && !a.json && !cmd.Flags().Changed("format") {
			o.format = "csv"
		}
		return a.audit(cmd.Context(), args, o)
	}
	return cmd
}

func (a *app) audit(ctx context.Context, args []string, o auditOptions) error {
	var err error
	if o.filter.From, err = day(o.from, 0); err != nil {
		return err
	}
	if o.filter.To, err = day(o.to, 1); err != nil {
		return err
	}
	if err := o.check(len(args)); err != nil {
		return err
	}
	if o.table != "" || o.format == "csv" {
		return a.table(ctx, args, o)
	}
	if o.all {
		return a.proveAll(ctx)
	}
	if o.prove || o.against != "" {
		return a.prove(ctx, args, o)
	}
	state, err := a.airframeAlone(ctx, args)
	if err != nil {
		return err
	}
	now := a.time.Now()
	readings, err := state.Audit(o.filter, now)
	if err != nil {
		return err
	}
	if len(readings) == 0 && !o.onlyGate() && o.chosen() != "" {
		return noneError("there are no readings " + o.chosen())
	}
	summary, err := state.AuditSummary(now)
	if err != nil {
		return err
	}
	documents, err := a.cited(state)
	if err != nil {
		return err
	}
	record, err := state.Record(now)
	if err != nil {
		return err
	}
	if o.format == "text" && !o.full && (o.chosen() == "" || o.onlyGate()) {
		if o.onlyGate() {
			history, err := page.NewGateHistory(state, record, o.filter.Gate, now)
			if err != nil {
				return err
			}
			return a.Show(history.Markdown(a.clock()))
		}
		return a.Show(page.NewAuditScreen(state, summary, record, documents, now).Markdown(a.clock()))
	}
	shown := page.NewAudit(state, summary, record, readings, o.chosen(), now)
	shown.Documents = documents
	return a.showAs(shown, o.format)
}

// onlyGate reports whether nothing but a gate is chosen.
func (o auditOptions) onlyGate() bool {
	return o.filter.Gate != "" && o.filter == workflow.AuditFilter{Gate: o.filter.Gate}
}

// table writes one table, of one airframe or of all. Nothing is written before all of it
// is there.
func (a *app) table(ctx context.Context, args []string, o auditOptions) error {
	name, now := cmp.Or(o.table, "readings"), a.time.Now()
	type part struct {
		table page.Table
		err   error
	}
	of := func(s *workflow.State, _ int) part {
		p := part{table: page.NewTable(name), err: s.CheckFilter(o.filter)}
		if p.err != nil {
			return p
		}
		var record *workflow.Record
		if record, p.err = s.Record(now); p.err == nil {
			p.err = p.table.Add(s, record, o.filter, now)
		}
		return p
	}
	var parts []part
	if o.all {
		var err error
		if parts, err = rows(ctx, a, nil, of); err != nil {
			return err
		}
	} else {
		state, err := a.airframeAlone(ctx, args)
		if err != nil {
			return err
		}
		parts = []part{of(state, 1)}
	}
	whole := page.NewTable(name)
	unknown := 0
	for _, p := range parts {
		switch {
		case o.all && errors.As(p.err, new(*workflow.UnknownError)): // of other designs
			if unknown++; unknown == len(parts) {
				return p.err
			}
		case p.err != nil:
			return p.err
		}
		whole.Rows = append(whole.Rows, p.table.Rows...)
	}
	if len(whole.Rows) == 0 && o.chosen() != "" {
		return noneError("there are no rows of the table " + name + " " + o.chosen())
	}
	if a.json {
		return a.showJSON(whole)
	}
	return whole.CSV(a.Out)
}

// check refuses combinations of options that make no sense, so that none is
// silently ignored.
func (o auditOptions) check(marks int) error {
	proves := o.prove || o.against != ""
	switch {
	case o.table != "" && !lists.Contains(page.TableNames(), o.table):
		return &workflow.UnknownError{What: "table", Name: o.table, Nearest: nearest.Of(o.table, page.TableNames()), Known: page.TableNames()}
	case o.table != "" && (proves || o.full):
		return usage("--table conflicts with --full, --prove and --against")
	case o.table != "" && o.format != "csv" && o.format != "json":
		return usage("a table can be csv or json, not %s", o.format)
	case o.all && (marks > 0 || o.against != "" || !o.prove && o.table == "" && o.format != "csv"):
		return usage("--all needs --table or --prove, and takes no mark and no --against")
	case o.full && (proves || o.format != "text"):
		return usage("--full is for text; md and json have every reading")
	case o.against == "" && (o.one || o.newer != ""):
		return usage("--entry and --newer need a seal; add --against SEAL")
	case o.against == "" && o.key != "":
		return usage("--key needs a seal to check; add --against SEAL")
	case o.one && o.newer != "":
		return usage("--entry conflicts with --newer")
	case proves && o.filter != workflow.AuditFilter{}:
		return usage("a proof covers every entry; leave out the filters")
	case proves && o.format != "text" && o.format != "json":
		return usage("a proof can be text or json, not %s", o.format)
	case o.mischosen() != "":
		return usage("%s does not choose rows of the table %s", o.mischosen(), o.table)
	case !o.filter.From.IsZero() && !o.filter.To.IsZero() && !o.filter.From.Before(o.filter.To):
		return usage("--from %s is after --to %s: swap them", o.from, o.to)
	}
	return nil
}

// mischosen is a filter that does not choose rows of the table; "": there is none.
func (o auditOptions) mischosen() string {
	f := o.filter
	for _, filter := range []struct {
		name  string
		given bool
	}{{"gate", f.Gate != ""}, {"zone", f.Zone != ""}, {"job", f.Job != ""}, {"from", o.from != ""}, {"to", o.to != ""}, {"critical", f.Critical}, {"failures", f.Failures}} {
		if o.table != "" && filter.given && !page.Chooses(o.table, filter.name) {
			return "--" + filter.name
		}
	}
	return ""
}

// chosen says in words which readings the filter selects; "" for all.
func (o auditOptions) chosen() string {
	var words []string
	for _, w := range []struct{ say, what string }{
		{"of gate ", o.filter.Gate}, {"of zone ", o.filter.Zone}, {"for job ", o.filter.Job}, {"from ", o.from}, {"to ", o.to},
	} {
		if w.what != "" {
			words = append(words, w.say+w.what)
		}
	}
	if o.filter.Critical {
		words = append(words, "of critical gates")
	}
	if o.filter.Failures {
		words = append(words, "out of tolerance or undecided")
	}
	return strings.Join(words, ", ")
}

// noneError says that there is nothing of what was asked for.
type noneError string

func (n noneError) Error() string { return string(n) }

// prove shows whether the journal is unchanged, and exits with a fault if not.
func (a *app) prove(ctx context.Context, args []string, o auditOptions) error {
	k, err := a.keeper()
	if err != nil {
		return err
	}
	mark, err := a.markOf(ctx, args)
	if err != nil {
		return err
	}
	tree, contains := page.Tree{Mark: mark}, true
	if o.against != "" {
		note, err := readSeal(o.against)
		if err != nil {
			return err
		}
		public, err := k.Public(o.key)
		if err != nil {
			return err
		}
		st, err := k.Against(ctx, mark, note, public)
		err = strange(err, o.key)
		var fault *seal.Error
		switch {
		case errors.As(err, &fault) && (errors.Is(err, seal.ErrShorter) || errors.Is(err, seal.ErrDiffers)):
			tree.Against, contains = err.Error(), false
		case err != nil:
			return err
		default:
			tree.Against = fmt.Sprintf("%d entries of %s, sealed by %s", st.Head.Size, st.Origin, st.Signer)
		}
		tree.Contains = &contains
		if proof := o.proof(k, mark, note); proof != nil && contains {
			text, err := proof(ctx)
			if err != nil {
				return err
			}
			if a.json {
				return a.showJSON(page.ProofText{Mark: mark, Text: string(text)})
			}
			_, err = a.Out.Write(text)
			return err
		}
	}
	v, err := k.Prove(ctx, mark)
	if err != nil {
		return err
	}
	tree.Found(v)
	if err := a.show(tree); err != nil {
		return err
	}
	if !tree.Intact || !contains || len(tree.Missing) > 0 {
		return &silentError{exitFault}
	}
	return nil
}

// proof returns a function that makes the requested proof, of one entry or of a
// newer seal; nil if none was requested.
func (o auditOptions) proof(k *keep.Keeper, mark string, note []byte) func(context.Context) ([]byte, error) {
	switch {
	case o.one:
		return func(ctx context.Context) ([]byte, error) { return k.Inclusion(ctx, mark, o.entry, note) }
	case o.newer != "":
		return func(ctx context.Context) ([]byte, error) {
			newer, err := readSeal(o.newer)
			if err != nil {
				return nil, err
			}
			return k.Growth(ctx, mark, note, newer)
		}
	}
	return nil
}

// proveAll does the same for every airframe of the store.
func (a *app) proveAll(ctx context.Context) error {
	k, err := a.keeper()
	if err != nil {
		return err
	}
	verdicts, err := k.ProveAll(ctx)
	if err != nil {
		return err
	}
	trees := page.NewTrees(verdicts)
	if err := a.show(trees); err != nil {
		return err
	}
	if slices.ContainsFunc(verdicts, func(v keep.Verdict) bool { return v.Unread }) {
		return &silentError{exitStore}
	}
	if !trees.Intact {
		return &silentError{exitFault}
	}
	return nil
}
