package page

import (
	"fmt"
	"strings"
	"time"

	"fettle/cmd/internal/term"
	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow"
)

// A Reason is a reason with its remedy spelled out.
type Reason struct {
	workflow.Reason
	Do string    `json:"do,omitempty"`
	By time.Time `json:"by,omitzero"` // of what is to be ended before a sitting is over: when that is

	Again time.Time `json:"needed_again,omitzero"` // of what is to be ended at once: when this sitting needs it so again
}

// newReasons is not inlined: its copies in all callers would take 5 KB.
//
//go:noinline
func newReasons(reasons []workflow.Reason) []Reason {
	var all []Reason
	for _, r := range reasons {
		all = append(all, newReason(r))
	}
	return all
}

func newReason(r workflow.Reason) Reason {
	advice, command := Remedy(r.Remedy)
	return Reason{Reason: r, Do: joined(advice, command)}
}

// said is a cause in words, with its day in local time.
//
//go:noinline
func said(c workflow.Cause) string { return Said(c, time.Local) }

//go:noinline
func allSaid(causes []workflow.Cause) []string {
	var all []string
	for _, c := range causes {
		all = append(all, said(c))
	}
	return all
}

// Said is a cause in words, with its day in that zone.
func Said(c workflow.Cause, zone *time.Location) string {
	if c.At.IsZero() {
		return c.Text
	}
	return c.Text + " (" + c.At.In(zone).Format("2 January 2006") + ")"
}

func joined(advice, command string) string {
	if advice == "" || command == "" {
		return advice + command
	}
	return advice + ": " + command
}

// Blank stands in a command for what only the bench can say: pasted as it is, it is
// refused.
const Blank = "__"

// HasBlank reports whether a blank of a suggested command was not filled in.
func HasBlank(arg string) bool {
	_, value, named := strings.Cut(arg, "=")
	return strings.HasPrefix(arg, Blank) || named && strings.HasPrefix(value, Blank)
}

// Remedy spells a remedy: advice in words, and the command to type; either may
// be "".
func Remedy(r workflow.Remedy) (advice, command string) {
	if advice, command = remedy(r); command != "" && !r.Then.IsZero() {
		command += fmt.Sprintf(" --at %q", r.Then.In(time.Local).Format("2006-01-02 15:04"))
	}
	return advice, command
}

func remedy(r workflow.Remedy) (advice, command string) {
	switch r.Kind {
	case workflow.ToReadBench:
		if r.Humidity {
			return "read the thermometer and the hygrometer", humidityLine(r.Mark)
		}
		return "read the thermometer", benchLine(r.Mark)
	case workflow.ToDryAir:
		return fmt.Sprintf("dry the air to a humidity of %s or less, then read it again", r.Value), humidityLine(r.Mark)
	case workflow.ToDampAir:
		return fmt.Sprintf("damp the air to a humidity of %s or more, then read it again", r.Value), humidityLine(r.Mark)
	case workflow.ToSetCondition:
		return "make sure of it, then record it", fmt.Sprintf("fettle bench %s --set %s=%s", r.Mark, r.Setting.Condition, r.Setting.State)
	case workflow.ToChoose:
		if len(r.Names) == 1 {
			return "", chooseLine(r.Mark, r.Names[0])
		}
		return "say which one, of " + strings.Join(r.Names, ", "), chooseLine(r.Mark, Blank)
	case workflow.ToWarmBench:
		return fmt.Sprintf("warm the bench, the parts and the adhesive to %s or more", r.Value) + orUse(r.Names), ""
	case workflow.ToCoolBench:
		return fmt.Sprintf("let the bench cool to %s or less", r.Value) + orUse(r.Names), ""
	case workflow.ToNearBench:
		return fmt.Sprintf("bring the bench closer to %s", r.Value), ""
	case workflow.ToCoatAgain:
		return "put a fresh thin coat on every face", ""
	case workflow.ToClearOut:
		return "take out all that has begun to set, measure what it lay in again, and spread fresh glue", ""
	case workflow.ToSayBegan:
		return "once a fresh coat is on, say when it was begun", fmt.Sprintf("fettle done %s %s --began %s", r.Mark, stepOf(r), Blank)
	case workflow.ToNameAdhesive:
		return "name the one that is used", fmt.Sprintf("fettle done %s %s --with %s", r.Mark, stepOf(r), Blank)
	case workflow.ToNameSecond:
		line := "fettle done " + r.Mark + " " + r.Step
		if r.Name != "" {
			line = "fettle clear " + r.Mark + " " + r.Name
		}
		return secondAdvice(r.Names), line + " --second " + Blank
	case workflow.ToTouchAgain:
		return "touch it again, and once it is dry", fmt.Sprintf("fettle done %s %s --touch %s", r.Mark, stepOf(r), workflow.TouchDry)
	case workflow.ToMeasure:
		return "measure it", measureLine(r.Mark, r.Gate, r.Points, r.Unit)
	case workflow.ToDecide:
		ways := "measure it again, since the mean of all then decides"
		switch finer := " with a finer gauge (" + strings.Join(r.Names, " or ") + ")"; {
		case r.Coarse && len(r.Names) > 0:
			ways = "measure it" + finer
		case len(r.Names) > 0:
			ways += ", or" + finer
		}
		ways += ", or rework it"
		if r.Concede {
			ways += ", or concede it"
		}
		return ways, measureLine(r.Mark, r.Gate, r.Points, r.Unit)
	case workflow.ToBeginAnew:
		return fmt.Sprintf("steady the set-up and read %d at once where the readings lie too far apart; what was read before stays in the record", r.Anew),
			measureLine(r.Mark, r.Gate, r.Points, r.Unit) + " --anew"
	case workflow.ToJoinFirst:
		return "join it first, or begin it all the same with --sure", "fettle next " + r.Mark
	case workflow.ToBeSure:
		if r.Gate == "" {
			return "look at the sign and the unit again, and if it is so, add --sure", ""
		}
		return "look at the gauge again, and if it shows that", measureLine(r.Mark, r.Gate, r.Points, r.Unit) + given(r.Names) + " --sure"
	case workflow.ToMeasureRest:
		rest := strings.TrimSuffix(" at "+strings.Join(r.Points, ", "), " at ")
		return fmt.Sprintf("measure the rest of it%s, then rework it; to take back a misreading", rest), "fettle undo " + r.Mark
	case workflow.ToCheckGauge:
		size := Blank + r.Value.Unit()
		command := fmt.Sprintf("fettle gauge %s %s --reads %s --of %s", r.Mark, r.Gauge, size, size)
		if r.Gate != "" {
			return fmt.Sprintf("measure with another gauge, or check %s until it passes, then measure", r.Gauge), command
		}
		return "use another gauge, or adjust this one and check it again", command
	case workflow.ToRework:
		return "rework it, record that, then measure again", reworkLine(r.Mark, r.Gate)
	case workflow.ToChooseWay:
		return "say which way was taken", reworkLine(r.Mark, r.Gate) + " --way " + Blank
	case workflow.ToSayMixed:
		return "say when it was mixed", reworkLine(r.Mark, r.Gate) + " --mixed " + Blank
	case workflow.ToTakeBack:
		return "if that was a mistake", fmt.Sprintf("fettle undo %s %d", r.Mark, r.Entry)
	case workflow.ToBeginAgain:
		return "take it back, and begin " + r.Name + " anew after the release", fmt.Sprintf("fettle undo %s %d", r.Mark, r.Entry)
	case workflow.ToSetClock:
		return "set the clock; if it was wrong when that entry was made, take the entry back", fmt.Sprintf("fettle undo %s %d", r.Mark, r.Entry)
	case workflow.ToSetBenchClock:
		return "set the clock that is wrong; what was recorded by it keeps its times: take that back and record it again with --at", ""
	case workflow.ToClear, workflow.ToClearUse:
		return "clear it line by line", "fettle clear " + r.Mark + " " + r.Name
	case workflow.ToRecordRemoved:
		return "if it is off the airframe", "fettle equip " + r.Mark + " removed " + r.Name
	case workflow.ToFitAnother:
		return "fit another one, by the name written on it", "fettle equip " + r.Mark + " fitted " + r.Name + " --name " + Blank
	case workflow.ToNameThing:
		line := "fettle done " + r.Mark + " " + r.Step
		if r.Name != "" {
			line = "fettle clear " + r.Mark + " " + r.Name
		}
		return "give the name written on it", line + " --name " + Blank
	case workflow.ToSayWhere:
		return "add --zone ZONE --mass MASS", ""
	case workflow.ToGiveReason:
		return "with the reason", fmt.Sprintf("fettle undo %s %d --reason %s", r.Mark, r.Entry, Blank)
	case workflow.ToRelease:
		return "", releaseLine(r.Mark)
	case workflow.ToStart:
		return "", "fettle start " + r.Mark + " " + r.Name
	case workflow.ToAccept:
		return "if it was built elsewhere, take it over by the check that accepts it as it is", "fettle start " + r.Mark + " --as-built"
	case workflow.ToFinish:
		return "finish job " + r.Name + " first", "fettle next " + r.Mark
	case workflow.ToMoveJob:
		return "see what the newer sheet changes, then move what is open", "fettle move-job " + r.Mark + " " + r.Name
	case workflow.ToWait:
		return "wait for it", "fettle wait " + r.Mark + " " + r.Step
	case workflow.ToSeeNext:
		return "see what comes next", "fettle next " + r.Mark
	case workflow.ToPlan:
		return "to go on now, plan with the time that you stay", `fettle plan --sitting "today ` + Blank + "-" + Blank + `"`
	case workflow.ToPlanRepair:
		return "", "fettle repair " + r.Mark
	case workflow.ToRepair:
		return "", "fettle repair " + r.Mark + " --start"
	case workflow.ToReportDamage:
		return "to report damage", "fettle crash " + r.Mark
	}
	return simpleAdvice(r), ""
}

func orUse(names []string) string { return optionally(", or use ", strings.Join(names, " or ")) }

// secondAdvice says how a step is done that wants a second person: with one, or in
// one of the ways.
func secondAdvice(ways []string) string {
	if len(ways) == 0 {
		return "say who it was"
	}
	return "say who it was, or, alone, what you did instead with " + strings.Join(numbered(ways, "--alone %d (%s)"), " or ")
}

// numbered are ways of doing something by their numbers, in the format, which is
// given a number and a text without its full stop.
func numbered(ways []string, format string) []string {
	var each []string
	for i, way := range ways {
		each = append(each, fmt.Sprintf(format, i+1, strings.TrimRight(way, ".\n ")))
	}
	return each
}

//go:noinline
func benchLine(mark string) string {
	return strings.TrimSpace("fettle bench "+mark) + " --temperature " + Blank + "C"
}

//go:noinline
func humidityLine(mark string) string { return benchLine(mark) + " --humidity " + Blank + "%" }

// given are readings as they were typed.
func given(readings []string) (line string) {
	for _, r := range readings {
		if strings.Contains(r, " ") {
			r = `"` + r + `"`
		}
		line += " " + r
	}
	return line
}

// simpleAdvice is advice without a command.
func simpleAdvice(r workflow.Remedy) string {
	switch r.Kind {
	case workflow.ToTakeBackFirst:
		return "take those back first"
	case workflow.ToDoAgain:
		return "record it again"
	case workflow.ToChooseMark:
		return "register another airframe under its own mark"
	case workflow.ToUseOtherStore:
		return "import the file into another store"
	case workflow.ToAddTriageRow:
		return "add a row for it to the triage table"
	case workflow.ToMarkCritical:
		return "mark its gates critical in a new revision of the sheet"
	case workflow.ToNameWho:
		return "give a name with --by NAME"
	case workflow.ToNameZone:
		return "give one of these with --zone: " + strings.Join(r.Names, ", ")
	case workflow.ToRaiseRevision:
		return "raise revision: in " + r.Name + ", and say below changes: what is new"
	case workflow.ToOmitZone:
		return "leave out --zone"
	}
	return ""
}

// measureLine is the command that measures a gate, with the values left open.
func measureLine(mark, gate string, points []string, unit string) string {
	line := "fettle measure " + mark + " " + gate
	for _, p := range points {
		if p != "" {
			p += "="
		}
		line += " " + p + Blank + unit
	}
	return line
}

func measureGate(mark string, g steps.Gate) string {
	return measureLine(mark, g.Name, g.Readings(), g.Unit())
}

// ReworkStep in front of the name of a gate stands for the rework of it, where a
// command takes a step.
const ReworkStep = "rework:"

// stepOf is what to type for the step of a remedy, which may be a rework.
func stepOf(r workflow.Remedy) string {
	if r.Step == "" {
		return ReworkStep + r.Gate
	}
	return r.Step
}

func reworkLine(mark, gate string) string { return "fettle done " + mark + " " + ReworkStep + gate }

// ReasonText is a reason with its times and what to do about it.
func ReasonText(r workflow.Reason, c *Clock) string {
	text := reasonTimes(r, c)
	advice, command := Remedy(r.Remedy)
	if command == "" {
		return text + optionally("; ", esc(advice))
	}
	return withCommand(text, advice, command)
}

// withCommand is a text with advice and a command. A code block is never wrapped, so that
// the command can be copied. The indent keeps it inside the item of a list.
func withCommand(text, advice, command string) string {
	if advice != "" {
		text += "; " + esc(advice) + ":"
	}
	return text + "\n\n  ```\n  " + term.Line(command) + "\n  ```\n"
}

// reasonList adds reasons, each after the words that go before it. A command that several
// ask for is said once, at the last of them, with the options that any of them needs. Holds come first, see [holdsFirst].
func (l *lines) reasonList(reasons []Reason, before func(i int) string, c *Clock) {
	reasons, words := holdsFirst(reasons, before)
	commands := map[string]*suggested{}
	for i, r := range reasons {
		advice, line := Remedy(r.Remedy)
		key, options := apart(r, line)
		all := commands[key]
		if all == nil {
			all = &suggested{advice: advice}
			commands[key] = all
		}
		all.last, all.differ = i, all.differ || all.advice != advice
		for _, o := range options {
			if !lists.Contains(all.options, o) {
				all.options = append(all.options, o)
			}
		}
	}
	for i, r := range reasons {
		advice, line := Remedy(r.Remedy)
		key, _ := apart(r, line)
		switch all := commands[key]; {
		case line == "":
			l.item("%s%s", words[i], ReasonText(r.Reason, c))
		case all.last == i:
			if all.differ {
				advice = strings.TrimPrefix(advice+"; then record all of it", "; ")
			}
			l.item("%s%s", words[i], withCommand(reasonTimes(r.Reason, c), advice, strings.Join(all.options, " --")))
		case all.differ:
			l.item("%s%s", words[i], reasonAdvice(r.Reason, c))
		default:
			l.item("%s%s", words[i], reasonTimes(r.Reason, c))
		}
	}
}

// holdsFirst puts the holds of adhesives and tools before all else that goes after the same words: what a hold guards may be set hot or on
// by the rest, and its lines are read before that.
//
//go:noinline
func holdsFirst(reasons []Reason, before func(i int) string) (ordered []Reason, words []string) {
	for i := range reasons {
		ordered, words = append(ordered, reasons[i]), append(words, before(i))
		if reasons[i].Remedy.Kind != workflow.ToClearUse {
			continue
		}
		for k := i; k > 0 && words[k-1] == words[k] && ordered[k-1].Remedy.Kind != workflow.ToClearUse; k-- {
			ordered[k-1], ordered[k] = ordered[k], ordered[k-1]
		}
	}
	return ordered, words
}

// noWords go before a reason.
func noWords(int) string { return "" }

// A suggested command helps against some reasons, of which the last tells of it.
type suggested struct {
	advice  string
	differ  bool     // they say different advice
	options []string // the first is the command without any
	last    int
}

// apart is a command in parts, and what it has in common with others that can be given as
// one: what is dated is not put together with what is not.
func apart(r Reason, line string) (key string, parts []string) {
	parts = strings.Split(line, " --")
	return parts[0] + r.Remedy.Then.String(), parts
}

// reasonAdvice is a reason with its times and advice, where questions take the place of
// commands.
func reasonAdvice(r workflow.Reason, c *Clock) string {
	advice, _ := Remedy(r.Remedy)
	return reasonTimes(r, c) + optionally("; ", esc(advice))
}

func reasonTimes(r workflow.Reason, c *Clock) string {
	text, in := esc(said(workflow.Cause{Text: r.Text, At: r.At})), ""
	if !c.Stands && r.Until.After(c.Now) {
		in = fmt.Sprintf(" (in %s)", c.In(r.Until))
	}
	switch {
	case !r.Until.IsZero() && !r.Closes.IsZero():
		from, to := c.Between(r.Until, r.Closes)
		text += fmt.Sprintf("; open from **%s**%s to %s", from, in, to)
	case r.Because == workflow.ByClock:
	case !r.Until.IsZero():
		text += fmt.Sprintf(", until **%s**%s", c.At(r.Until), in)
	case !r.Closes.IsZero():
		text += "; join it by " + c.At(r.Closes)
	}
	return text
}

// A Missing is what a command was not told, and what can be said now.
type Missing struct {
	Mark    string
	What    string  // "step"; "": words, which nobody can list
	Wrong   string  // why what was named is none; "": nothing was
	Can     []Named // what can be named now
	Command string  // up to what is missing
}

// A Named is a name with what it is.
type Named struct{ Name, Is string }

// Markdown lists what can be said, and ends with the command that helps: whole, where only
// one thing can be said.
func (m Missing) Markdown(*Clock) string {
	var l lines
	why := "The " + m.What + " is missing"
	if m.Wrong != "" {
		why = esc(Capital(m.Wrong))
	}
	switch {
	case m.What == "":
		return "The words are missing:\n\n" + command(m.Command+" "+Blank)
	case len(m.Can) == 0:
		l.add("%s, and %s has none now. What comes next:\n", why, esc(m.Mark))
		return l.String() + command("fettle next "+m.Mark)
	}
	l.add("%s. On %s now:\n", why, esc(m.Mark))
	for _, n := range m.Can {
		l.item("`%s`%s", term.Line(n.Name), optionally(" ", esc(n.Is)))
	}
	what := Blank
	if len(m.Can) == 1 {
		what = m.Can[0].Name
	}
	l.add("\n%s", command(m.Command+" "+what))
	return l.String()
}
