package cli

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/workflow"
	"fettle/workflow/journal"
)

func (a *app) crashCommand() *cobra.Command {
	var found, places []string
	var cause string
	var ownWords bool
	cmd := &cobra.Command{
		Use:   "crash [MARK]",
		Short: "Report crash damage, zone by zone",
		Long: "Report what you see after a crash: first what can hurt, then nose to tail. Each answer is\n" +
			"recorded at once, and the first finding grounds the airframe. Where your own words may mean a\n" +
			"finding, you are asked, with the zone that it belongs to; with --found nothing is asked, and such\n" +
			"words are refused without --own-words. At a battery or the like your own words are recorded at\n" +
			"once, as the worst that can be found there. What to do about it is said first.\n" +
			"--cause says what did it, of everything in this report; --place says where in its zone a finding is.\n" +
			"Answers can come from a terminal or a pipe.",
		Example: "  fettle crash CW-01\n  fettle crash CW-01 --found nose=crushed:serious --found \"battery=battery-dented:total:left corner\"\n" +
			"  fettle crash CW-01 --found wing=cracked:slight --place \"left root\" --cause \"a fence post\"",
		Args:              arguments(0, 1),
		ValidArgsFunction: a.completeMarks,
	}
	cmd.Flags().StringArrayVar(&found, "found", nil, "`ZONE=FINDING:SEVERITY[:NOTE]`; may be repeated")
	cmd.Flags().StringArrayVar(&places, "place", nil, "`WORDS`: where in its zone it is, one for each --found in their order; \"\": not said")
	stringFlag(cmd.Flags(), &cause, "cause", "", "`WORDS`: what did it")
	boolFlag(cmd.Flags(), &ownWords, "own-words", false, "the words of --found mean none of the findings that they sound like")
	at, photos := atFlag(cmd), photoFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return a.crash(cmd.Context(), args, workflow.ReportDamage{OwnWords: ownWords, Cause: cause}, found, places, *photos, *at)
	}
	return cmd
}

func (a *app) crash(ctx context.Context, args []string, report workflow.ReportDamage, found, places, photos []string, at string) error {
	s, err := a.airframeAlone(ctx, args)
	if err != nil {
		return err
	}
	d, err := a.desk()
	if err != nil {
		return err
	}
	when, err := a.when(at)
	if err != nil {
		return err
	}
	if report.Triage, report.Tables, err = d.Triage(s); err != nil {
		return err
	}
	if len(places) > 0 && len(places) != len(found) {
		return usage("give one --place for each --found, in their order; --place \"\" says nothing of one")
	}
	if len(found) > 0 {
		for i, text := range found {
			seen, err := parseSighting(text)
			if err != nil {
				return err
			}
			if len(places) > 0 {
				seen.Place = places[i]
			}
			report.Seen = append(report.Seen, seen)
		}
		entries, state, err := d.Photograph(ctx, s, report, photos, when)
		var part *workflow.PartError
		if errors.As(err, &part) {
			err = inFlags(part)
			for _, refused := range part.Refused { // what it may be can hurt all the same
				var sounds *workflow.SoundsLikeError
				if errors.As(refused, &sounds) {
					a.caution(sounds.Meanings)
				}
			}
		}
		if len(entries) == 0 {
			return err
		}
		shown := a.showDamage(state, entries, report.Triage.Findings)
		if part != nil && !a.json {
			a.say("All the rest is recorded. Now report again only what was refused.")
		}
		return errors.Join(shown, err)
	}
	if len(photos) > 0 {
		return usage("--photo needs --found; to add photos after answering the questions: fettle note %s WORDS --photo FILE", s.Airframe.Mark)
	}
	if a.json {
		return usage("--json needs --found; without it crash asks questions")
	}
	return (&walk{a, d, s.Airframe.Mark, report, term.NewPrompter(ctx, a.Streams), when}).run(ctx, s)
}

// inFlags says what was refused of a report as flags have it: the rest is recorded.
func inFlags(part *workflow.PartError) error {
	out := &workflow.PartError{Record: part.Record}
	for _, err := range part.Refused {
		var sounds *workflow.SoundsLikeError
		if errors.As(err, &sounds) {
			var names []string
			for _, m := range sounds.Meanings {
				names = append(names, fmt.Sprintf("--found %s=%s:SEVERITY:NOTE", m.Zone, m.Name))
			}
			err = usage("%v; write its name: %s. Where you mean something else, add --own-words", sounds, strings.Join(names, ", or "))
		}
		out.Refused = append(out.Refused, err)
	}
	return out
}

// showDamage says the cautions of these findings, shows what was recorded, and says what
// comes next.
func (a *app) showDamage(s *workflow.State, entries []journal.Entry, findings []steps.Finding) error {
	for _, e := range entries {
		f, _ := e.Facts.(journal.DamageFound)
		for _, finding := range findings {
			if finding.Name == cmp.Or(f.As, f.Finding) && finding.Caution != "" && !a.json {
				a.say("%s: %s", f.Damage, finding.Caution)
			}
		}
	}
	recorded := page.NewRecorded(s, entries, a.time.Now())
	recorded.Next = ""
	if err := a.show(recorded); err != nil || a.json {
		return err
	}
	clock := &page.Clock{Now: a.time.Now()}
	for _, e := range entries {
		f, ok := e.Facts.(journal.DamageFound)
		if !ok {
			continue
		}
		for _, other := range s.OpenDamages(a.time.Now()) {
			if was := other.DamageFound; was.Damage != f.Damage && was.Finding == f.Finding && was.Zone == f.Zone && was.Place == f.Place {
				a.say("%s is recorded beside %s, the same finding at the same place. Both will be repaired; --place tells two apart.", f.Damage, was.Damage)
				break
			}
		}
		d, err := s.Damage(f.Damage)
		if err != nil || !d.Quarantine.Open() {
			continue
		}
		when := ""
		if d.Quarantine.Until.After(a.time.Now()) {
			when = ", not before " + clock.At(d.Quarantine.Until)
		}
		a.say("%s is in QUARANTINE. To clear it%s: fettle clear %s %s", f.Zone, when, s.Airframe.Mark, f.Damage)
	}
	a.say("%s is grounded. Next: %s", s.Airframe.Mark, commandDue(s, a.time.Now()))
	return nil
}

// commandDue is the command that comes next after damage was reported: the check that is due, else the repair.
func commandDue(s *workflow.State, now time.Time) string {
	if due := s.Unchecked(now); due != nil {
		_, command := page.Remedy(due.Remedy)
		return command
	}
	return "fettle repair " + s.Airframe.Mark
}

// parseSighting reads ZONE=FINDING:SEVERITY[:NOTE].
func parseSighting(text string) (workflow.Sighting, error) {
	zone, rest, ok := strings.Cut(text, "=")
	parts := strings.SplitN(rest, ":", 3)
	if !ok || len(parts) < 2 {
		if ok && rest != "" {
			return workflow.Sighting{}, usage("%q does not say how bad it is; write it behind, as one of :%s", text, strings.Join(steps.Severities(), ", :"))
		}
		return workflow.Sighting{}, usage("%q is not a finding; write ZONE=FINDING:SEVERITY or ZONE=FINDING:SEVERITY:NOTE", text)
	}
	seen := workflow.Sighting{Zone: zone, Finding: parts[0], Severity: parts[1]}
	if len(parts) == 3 {
		seen.Note = parts[2]
	}
	return seen, nil
}

// A walk asks for damage zone by zone.
type walk struct {
	*app
	desk     *desk.Desk
	mark     string
	report   workflow.ReportDamage // without what is seen
	prompter *term.Prompter
	when     time.Time
}

func (w *walk) run(ctx context.Context, state *workflow.State) error {
	first, order := w.report.Triage.Dangers(state.Sheet.Zones), ""
	if len(first) > 0 {
		names := strings.Join(first[:len(first)-1], ", ")
		if names != "" {
			names += " and "
		}
		order = term.Line(names+first[len(first)-1]) + " first, since what is damaged there can hurt. "
	}
	fmt.Fprintln(w.Err, order+"Press Enter when you see nothing (more) there. q leaves; every answer is already recorded.")
	found := 0
	there := state.Zones(w.time.Now())
	zones := sorting.Delete(lists.Clone(state.Sheet.Zones), func(z string) bool {
		return lists.Contains(first, z) || !there.MayBeDamaged(w.report.Triage, z)
	})
	for _, zone := range lists.Concat(first, zones) {
		for {
			recorded, err := w.ask(ctx, state.Sheet.Zones, zone)
			if recorded {
				found++
			}
			if errors.Is(err, errLeave) || errors.Is(err, term.ErrEnd) {
				return w.end(state, found)
			}
			if err != nil {
				return errors.Join(err, w.end(state, found))
			}
			if !recorded {
				break
			}
		}
	}
	return w.end(state, found)
}

// end says how the airframe stands after so many findings; before is its state
// before the first.
func (w *walk) end(before *workflow.State, found int) error {
	if found == 0 && before.Airworthiness(w.time.Now()).Released {
		fmt.Fprintf(w.Err, "Nothing was reported; %s is still released. If it came down hard: fettle flight %s --landing hard\n", w.mark, w.mark)
		return nil
	}
	if found == 0 {
		w.say("Nothing was reported on %s. To log a hard landing: fettle flight %s --landing hard", w.mark, w.mark)
		return nil
	}
	damages := fmt.Sprintf("%d damages", found)
	if found == 1 {
		damages = "1 damage"
	}
	w.say("%s is grounded, with %s reported. Next: %s", w.mark, damages, commandDue(before, w.time.Now()))
	return nil
}

// ask asks for one finding in a zone of the zones and reports whether there was one.
func (w *walk) ask(ctx context.Context, zones []string, zone string) (bool, error) {
	var fits []steps.Finding
	for _, f := range w.report.Triage.Findings {
		if f.In(zone) {
			fits = append(fits, f)
		}
	}
	var list strings.Builder
	for i, f := range fits {
		fmt.Fprintf(&list, "  %d  %s\n", i+1, term.Line(f.Title))
	}
	answer, err := w.answer(ctx, fmt.Sprintf("\n%s\n%sWhat do you see at the %s? A number, or your own words: ", strings.ToUpper(zone), list.String(), zone))
	if err != nil || answer == "" {
		return false, err
	}
	seen := workflow.Sighting{Zone: zone, Finding: answer}
	if n, err := strconv.Atoi(answer); err == nil {
		if n < 1 || n > len(fits) {
			fmt.Fprintf(w.Err, "There is no %d in the list.\n", n)
			return w.ask(ctx, zones, zone)
		}
		seen.Finding = fits[n-1].Name
	} else if len([]rune(answer)) < 3 || strings.EqualFold(answer, "yes") {
		// n, ? or a key pressed by mistake must not ground the airframe.
		fmt.Fprintln(w.Err, "Not understood; nothing was recorded. Write a number or a few words, or press Enter if you see nothing there.")
		return w.ask(ctx, zones, zone)
	} else if err := workflow.CheckFinding(w.report.Triage, zones, zone, answer); err != nil {
		fmt.Fprintln(w.Err, term.Line(err.Error()))
		return w.ask(ctx, zones, zone)
	}
	w.warn(zones, seen)
	var left error // what was found is recorded even if nobody answers the other questions
	if _, known := w.report.Triage.FindingOf(seen.Finding, seen.Zone); !known {
		left = w.meant(ctx, zones, &seen)
	}
	for seen.Severity == "" && left == nil {
		possible := w.report.Triage.Possible(seen.Finding, seen.Zone)
		var choices []string
		for _, severity := range possible {
			choices = append(choices, fmt.Sprintf("%d %s", lists.Index(steps.Severities(), severity), severity))
		}
		answer, left = w.answer(ctx, "How bad? "+strings.Join(choices, ", ")+": ")
		for i, choice := range choices {
			if number, severity, _ := strings.Cut(choice, " "); answer == number || answer == severity {
				seen.Severity = possible[i]
			}
		}
	}
	unsaid := seen.Severity == ""
	if unsaid {
		seen.Severity = w.unsaid(seen)
	} else {
		if seen.Place, left = w.words(ctx, "Where at the "+seen.Zone+" (Enter: not said): "); left == nil {
			seen.Note, left = w.words(ctx, "Note (Enter: none): ")
		}
	}
	ctx = context.WithoutCancel(ctx)
	before, err := w.desk.State(ctx, w.mark)
	if err != nil {
		return false, err
	}
	report := w.report
	report.Seen, report.OwnWords = []workflow.Sighting{seen}, true // it was asked
	entries, state, err := w.desk.Act(ctx, before, report, w.when)
	if err != nil {
		return false, err
	}
	shown := w.showDamage(state, entries, nil) // their cautions came first
	if unsaid {
		w.say("You did not say how bad it is; it is recorded as %s. To correct it: fettle undo %s %d --reason …, then report it again", seen.Severity, w.mark, entries[0].Position)
	}
	return true, errors.Join(shown, left)
}

// warn says what to do at once, each caution once, before anything else is asked: of
// words of one's own that of all that they may mean.
func (w *walk) warn(zones []string, seen workflow.Sighting) {
	table := w.report.Triage
	var may []steps.Meaning
	if f, known := table.FindingOf(seen.Finding, seen.Zone); known {
		may = append(may, steps.Meaning{Finding: f, Zone: seen.Zone})
	} else {
		may = table.Sounds(zones, seen.Zone, seen.Finding)
		if f, is := table.Means(seen.Zone); is {
			may = append(may, steps.Meaning{Finding: f, Zone: seen.Zone})
		}
	}
	w.caution(may)
}

// caution says what to do at once, each caution once.
func (a *app) caution(may []steps.Meaning) {
	var said []string
	for _, m := range may {
		if m.Caution != "" && !lists.Contains(said, m.Caution) {
			said = append(said, m.Caution)
			fmt.Fprintln(a.Err, term.Line(fmt.Sprintf("CAUTION, %s: %s", m.Zone, m.Caution)))
		}
	}
}

// unsaid is how bad a finding is taken to be if nobody says it: serious, and
// total if it is put in quarantine, since such a part is never used again.
func (w *walk) unsaid(seen workflow.Sighting) string {
	f, known := w.report.Triage.FindingOf(seen.Finding, seen.Zone)
	if !known {
		f, _ = w.report.Triage.Means(seen.Zone)
	}
	if !f.Quarantine.IsZero() {
		return steps.Total
	}
	return steps.Serious
}

// meant asks whether words of one's own mean a finding that they sound like, and says
// which ones of other zones have such words. The words stay what they are where nobody
// says that they mean one.
func (w *walk) meant(ctx context.Context, zones []string, seen *workflow.Sighting) error {
	for _, m := range w.report.Triage.Sounds(zones, seen.Zone, seen.Finding) {
		at := ""
		if m.Zone != seen.Zone {
			at = ", at the " + m.Zone
		}
		for {
			answer, err := w.answer(ctx, fmt.Sprintf("Is that %s%s: %s? y or n: ", m.Name, at, term.Line(m.Title)))
			if err != nil {
				return err
			}
			yes, ok := term.YesNo(answer)
			if ok && yes {
				seen.Finding, seen.Zone, seen.Words = m.Name, m.Zone, seen.Finding
				return nil
			}
			if ok {
				break
			}
		}
	}
	var others []string
	for _, m := range w.report.Triage.SoundsElsewhere(zones, seen.Zone, seen.Finding) {
		others = append(others, fmt.Sprintf("%s at the %s", m.Name, m.Zone))
	}
	if len(others) > 0 {
		fmt.Fprintln(w.Err, term.Line(fmt.Sprintf("Such words are also used for %s. If you mean that, report it there too.", strings.Join(others, ", "))))
	}
	return nil
}

// words asks for words; n means none.
func (w *walk) words(ctx context.Context, question string) (string, error) {
	for {
		answer, err := w.answer(ctx, question)
		if err != nil {
			return "", err
		}
		yes, ok := term.YesNo(answer)
		switch {
		case ok && !yes:
			return "", nil
		case !ok && answer != "?":
			return answer, nil
		}
	}
}

// errLeave ends the walk; what was found so far is recorded.
var errLeave = errors.New("left")

func (w *walk) answer(ctx context.Context, question string) (string, error) {
	answer, err := w.prompter.Ask(ctx, question)
	if err == nil && answer == "q" {
		err = errLeave
	}
	return answer, err
}
