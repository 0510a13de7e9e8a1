package procedures

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"
)

// hostile are files that are made to cost as much as they can: each is under
// the size that is read, or not far over it.
func hostile() map[string]string {
	each := func(n int, format string) string {
		var b strings.Builder
		for i := range n {
			fmt.Fprintf(&b, format, i)
		}
		return b.String()
	}
	full := func(line string) string { return strings.Repeat(line, min(75_000, (largestFile-200)/len(line))) }
	sheet := func(key, body string) string {
		return strings.Replace(sheetText, key, body, 1)
	}
	head := "procedure: big\nkind: check\ndesign: finch\ntitle: Big\nrevision: 1\nstages:\n"
	build := strings.Replace(head, "check", "build", 1)
	names := func(n int, format string) string { return strings.TrimSuffix(each(n, format+", "), ", ") }
	// 500 critical gates of many zones, and 1,000 steps that disturb them, with
	// as many combinations as there may be.
	var wide strings.Builder
	for i := range 400 {
		fmt.Fprintf(&wide, "  g%d: {title: G, at_least: 1 mm, gauge: rule, critical: yes, of: [%s]}\n", i, names(80, "z%d"))
	}
	var long strings.Builder
	for s := range 10 {
		fmt.Fprintf(&long, "  - stage: s%d\n    steps:\n", s)
		for i := range 60 {
			fmt.Fprintf(&long, "      - {step: s%d-%d, do: x, with: o%d, disturbs: [%s]}\n", s, i, i%6, names(50, "z%d"))
		}
	}
	fmt.Fprintf(&long, "  - stage: end\n    after: [%s]\n    steps:\n", names(10, "s%d"))
	for i := range 4 {
		fmt.Fprintf(&long, "      - {step: m%d, measure: [%s]}\n", i, strings.TrimSuffix(strings.Join(strings.SplitAfter(names(400, "g%d"), ", ")[100*i:100*i+100], ""), ", "))
	}
	long.WriteString("      - {step: release, release: yes}\n")
	return map[string]string{
		"bytes":               strings.Repeat("x", largestFile+1),
		"commas":              "zones: [" + full("a,"),
		"commas within bound": "design: a\nzones: [" + strings.Repeat("a,", 30_000) + "]\n",
		"brackets":            "a: " + full("["),
		"brackets by line":    "a:\n" + full("[\n"),
		"braces":              "a: " + full("{"),
		"dashes":              full("- "),
		"questions":           full("? "),
		"indents":             each(900, "a%[1]d:\n%[1]*[2]s"),
		"comments":            full("#\n"),
		"comments behind":     "design: a\n" + each(15_000, "k%d: b # c\n"),
		"blank lines":         full("\n"),
		"quotes":              "a: " + full("\""),
		"single quotes":       full("a: '\n"),
		"quoted keys":         full("\"a\": \"b\n"),
		"tabs":                full("\ta: b\n"),
		"colons":              full("a: b: c\n"),
		"indented colons":     "a: b\n" + full(" a: b\n"),
		"stars":               full("- *a\n"),
		"anchors":             full("- &a b\n"),
		"one long line":       "design: a\ntitle: " + full("word "),
		"one long key":        full("k") + ": b\n",
		"text of many lines":  "design: a\ntitle: b\n" + full("  c\n"),
		"text with hashes":    "design: a\ntitle: b\n" + full("  c #d\n"),
		"zig-zag":             full("a:\n      b: c\n   d: e\n"),
		"unknown keys":        "design: a\n" + each(15_000, "zonse%d: b\n"),
		"one key over again":  "design: a\n" + full("title: a\n")[:19_000*9],
		"zones":               sheet("[wing, tail, radio]", "["+names(20_000, "zone-%d")+"]"),
		"unknown zones":       sheet("of: [radio]", "of: ["+names(9_000, "unknown-zone-%d")+"]"),
		"unknown and known":   sheet("[wing, tail, radio]", "["+names(200, "left-zone-%d")+"]") + each(400, "  e%d: {title: E, disturbs: [left-zome-1, left-zonf-2]}\n"),
		"gates":               sheet("gates:\n", "gates:\n"+each(3_500, "  g%d: {title: G, at_least: 1 mm, gauge: rule, of: [wing]}\n")),
		"options":             sheet("{rudder: A moving rudder}", "{rudder: R, "+names(9_000, "o%d: O")+"}"),
		"points":              sheet("points: [root, tip]", "points: ["+names(15_000, "p%d")+"]"),
		"gauges":              sheet("gauges:\n", "gauges:\n"+each(6_500, "  a%d: {title: G, resolution: 1 mm}\n")),
		"adhesives":           sheet("adhesives:\n", "adhesives:\n"+each(9_500, "  a%d: {title: A}\n")),
		"stages":              head + each(2_800, "  - {stage: s%[1]d, after: [s%[1]d], steps: [{step: t%[1]d, do: x}]}\n"),
		"ring of stages":      head + each(99, "  - {stage: s%[1]d, after: ["+names(99, "s%[1]d")[:0]+"s0, s1, s2, s3], steps: [{step: t%[1]d, do: x}]}\n"),
		"steps":               head + "  - stage: a\n    steps:\n" + each(7_500, "      - {step: s%d, do: x}\n"),
		"joints":              head + "  - stage: a\n    steps:\n" + each(999, "      - {step: s%[1]d, join: left-joint-number-%[1]d, disturbs: [wing]}\n"),
		"coats":               head + "  - stage: a\n    steps:\n" + each(499, "      - {step: c%[1]d, coat: {joint: joint-%[1]d, with: contact}}\n      - {step: j%[1]d, join: jount-%[1]d, disturbs: [wing]}\n"),
		"needs":               head + "  - stage: a\n    steps:\n" + each(950, "      - {step: s%[1]d, do: x, needs: {fan: on, propeller: on}, sets: {fan: off, propeller: off}}\n"),
		"lines of a hold":     head + "  - stage: a\n    steps:\n      - step: b\n        hold:\n          confirm:\n" + each(15_000, "            - Line %d\n"),
		"wide build":          build + long.String(),
		"marks and words": "triage: foam\ntitle: F\nrevision: 1\nunknown: finch-mend\nfindings:\n" +
			each(200, "  f%d: {title: F, quarantine: x, also: [a"+strings.Repeat(", f1", 90)+"]}\n") +
			"rows:\n" + strings.Repeat("  - {finding: [f1, f2, f3, f4, f5, f6, f7, f8, f9], severity: cosmetic, repair: finch-mend, why: x}\n", 110),
		"wide sheet": "design: finch\ntitle: F\nrevision: 1\nzones: [" + names(150, "z%d") + "]\noptions: {" + names(6, "o%d: O") + ", c: {" + names(8, "c%d: C") +
			"}}\ngauges: {rule: {title: R, resolution: 1 mm}}\ngates:\n" + wide.String(),
		"rows": "triage: foam\ntitle: F\nrevision: 1\nfindings: {cracked: {title: C}}\nunknown: finch-mend\nrows:\n" +
			each(990, "  - {finding: cracked, zone: ["+names(25, "z%d")+", y%[1]d], scrap: yes, why: x}\n"),
		"findings": "triage: foam\ntitle: F\nrevision: 1\nunknown: finch-mend\nfindings:\n" + each(9_000, "  f%d: {title: F}\n") + "rows:\n  - {finding: f1, scrap: yes, why: x}\n",
	}
}

// slow is by how much a machine may be slower than the one that the bound was
// meant for, busy and with the race detector.
const slow = 5

// Any file is judged within a second, alone and with the library, in little
// memory, and says no more faults than anybody reads.
func TestHostileFiles(t *testing.T) {
	if testing.Short() {
		t.Skip("takes some seconds, and -short was asked for")
	}
	folder := files(t, map[string]string{"sheet.yaml": sheetText})
	if err := os.WriteFile(filepath.Join(folder, "wide.yaml"), []byte(hostile()["wide sheet"]), 0o600); err != nil {
		t.Fatal(err)
	}
	all := hostile()
	for i, name := range slices.Sorted(maps.Keys(all)) {
		if i%3 > 0 && os.Getenv("FETTLE_LONG") == "" {
			continue
		}
		text := all[name]
		path := filepath.Join(folder, "hostile.yaml")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		with := []string{path}
		if name == "wide build" {
			with = append(with, filepath.Join(folder, "wide.yaml"))
		} else if !strings.HasPrefix(text, "design: finch") {
			with = append(with, filepath.Join(folder, "sheet.yaml"))
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		start := time.Now()
		report, err := Open("").Check(t.Context(), with...)
		took := time.Since(start)
		runtime.ReadMemStats(&after)
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if took > slow*time.Second {
			t.Errorf("%s: it took %v", name, took)
		}
		if mb := (after.TotalAlloc - before.TotalAlloc) >> 20; mb > 400 {
			t.Errorf("%s: %d MB were allocated", name, mb)
		}
		if n := len(report.Faults); n > 2*mostFaults+2 {
			t.Errorf("%s: %d faults", name, n)
		}
		t.Logf("%-20s %8v %5d MB allocated, %3d KB, %3d faults, such as %.100s", name, took.Round(time.Millisecond), (after.TotalAlloc-before.TotalAlloc)>>20, len(text)>>10, len(report.Faults), append(report.Faults, Fault{})[0].Text)
	}
}

func TestCheckIsStopped(t *testing.T) {
	folder := files(t, map[string]string{"sheet.yaml": sheetText})
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if _, err := Open("").Check(ctx, filepath.Join(folder, "sheet.yaml")); !errors.Is(err, context.Canceled) {
		t.Errorf("it went on: %v", err)
	}
	if _, err := Open("").CheckAll(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("it went on: %v", err)
	}
}

func BenchmarkHostile(b *testing.B) {
	for _, name := range []string{"unknown zones", "wide sheet", "comments behind", "coats", "colons", "rows"} {
		text := hostile()[name]
		b.Run(strings.ReplaceAll(name, " ", "-"), func(b *testing.B) {
			path := filepath.Join(b.TempDir(), "x.yaml")
			if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				if _, err := Open("").Check(b.Context(), path); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
