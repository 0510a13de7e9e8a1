package cli

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/store/seal"
	"fettle/workflow"
)

type auditOptions struct {
	filter           workflow.AuditFilter
	from, to, format string
	prove, all       bool
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
		Long: "Show every reading, gate by gate: when, by whom, with which gauge, as typed, the limits at the\n" +
			"time, the margin, what became of it and which release rests on it. A summary comes first; it\n" +
			"also says what the record does not show. For --prove and --against see fettle help seals.\n\n" +
			"JSON has every value as it is, and escapes what a terminal would act on. CSV has no escapes:\n" +
			"there it is shown as its code, as in text, and words that a spreadsheet would take for a\n" +
			"formula have an apostrophe before them. Numbers and quantities are never changed.",
		Example:           "  fettle audit CW-01 --critical\n  fettle audit CW-01 --gate boom-gap --format csv > boom-gap.csv",
		Args:              arguments(0, 1),
		ValidArgsFunction: a.completeMarks,
	}
	flags := cmd.Flags()
	flags.StringVar(&o.filter.Gate, "gate", "", "readings of this `GATE`")
	flags.StringVar(&o.filter.Zone, "zone", "", "readings of gates of this `ZONE`")
	flags.StringVar(&o.filter.Job, "job", "", "readings taken for this `JOB`")
	flags.StringVar(&o.from, "from", "", "readings from this `DAY` on: 2026-03-03")
	flags.StringVar(&o.to, "to", "", "readings to the end of this `DAY`")
	flags.BoolVar(&o.filter.Critical, "critical", false, "readings of critical gates only")
	flags.BoolVar(&o.filter.Failures, "failures", false, "readings out of tolerance or undecided only")
	flags.StringVar(&o.format, "format", "text", "`text, md, json or csv`")
	flags.BoolVar(&o.prove, "prove", false, "recompute the journal's tree from the stored bytes, and check its seals and photos")
	flags.BoolVar(&o.all, "all", false, "with --prove: every airframe's journal")
	flags.StringVar(&o.against, "against", "", "prove that the journal still holds what this `SEAL`, a file, has sealed")
	flags.Int64Var(&o.entry, "entry", -1, "with --against: print the proof that entry `N` was in the journal when it was sealed")
	flags.StringVar(&o.newer, "newer", "", "with --against: print the proof that the journal under this newer `SEAL` began with what was sealed")
	flags.StringVar(&o.key, "key", "", "the signer's public `KEY`; else your own")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		o.one = cmd.Flags().Changed("entry")
		for _, file := range []string{"against", "newer"} {
			if err := fileOption(cmd, file); err != nil {
				return err
			}
		}
		if a.json && !cmd.Flags().Changed("format") {
			o.format = "json"
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
	if err := cmp.Or(a.checkFormat(o.format), o.check(len(args))); err != nil {
		return err
	}
	a.json = o.format == "json"
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
	summary, err := state.AuditSummary(now)
	if err != nil {
		return err
	}
	shown := page.NewAudit(state, summary, readings, o.chosen())
	if shown.Documents, err = a.cited(state); err != nil {
		return err
	}
	return a.showAs(shown, o.format)
}

// check refuses combinations of options that make no sense, so that none is
// silently ignored.
func (o auditOptions) check(marks int) error {
	proves := o.prove || o.against != ""
	switch {
	case o.all && (!o.prove || marks > 0 || o.against != ""):
		return usage("--all needs --prove and takes no mark and no --against")
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
	case !o.filter.From.IsZero() && !o.filter.To.IsZero() && !o.filter.From.Before(o.filter.To):
		return usage("--from %s is after --to %s: swap them", o.from, o.to)
	}
	return nil
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

// A tabled thing has a table of its rows.
type tabled interface {
	shown
	CSV(w io.Writer) error
}

// showAs shows a thing in one of the formats of --format.
func (a *app) showAs(thing tabled, format string) error {
	switch format {
	case "text":
		return a.show(thing)
	case "json":
		return a.showJSON(thing)
	case "csv":
		return thing.CSV(a.Out)
	}
	_, err := fmt.Fprint(a.Out, term.Clean(thing.Markdown(a.clock()))) // md
	return err
}

// checkFormat refuses what is not a format, or not the one that --json asks for.
func (a *app) checkFormat(format string) error {
	switch {
	case !slices.Contains([]string{"text", "md", "json", "csv"}, format):
		return usage("%q is not a format; write text, md, json or csv", format)
	case a.json && format != "json":
		return usage("--json conflicts with --format %s", format)
	}
	return nil
}
