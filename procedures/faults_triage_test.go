package procedures

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fettle/steps"
)

const triageText = `triage: foam
title: What a crash does to foam
revision: 1
findings:
  cracked: {title: Cracked foam, zones: [wing, tail]}
  dented: {title: A dented battery, quarantine: [The pack was handed in]}
rows:
  - {finding: cracked, zone: wing, severity: [slight, serious], repair: finch-mend, why: It can be glued.}
  - {finding: cracked, severity: total, scrap: yes, why: It holds no shape.}
  - {finding: dented, replace: finch-mend, why: It burns hours later.}
unknown: finch-mend
hard_landing: finch-mend
design: finch
`

// dangerText has what a table says of danger.
const dangerText = `triage: danger
design: finch
title: What can hurt
revision: 1
findings:
  cracked: {title: Cracked foam, zones: [wing, tail], also: [split, in two]}
  dented: {title: A dented battery, zones: [radio], caution: Carry it out., quarantine: {for: 48 h, confirm: [It was handed in]}}
rows:
  - {finding: dented, replace: finch-mend, why: It burns hours later.}
  - {finding: cracked, severity: cosmetic, repair: finch-mend, why: It is looked at.}
  - {finding: [cracked, dented], severity: [slight, serious], repair: finch-mend, why: It can be glued.}
  - {finding: cracked, severity: total, scrap: finch-mend, why: It holds no shape.}
unknown: {radio: dented, wing: finch-mend, else: finch-mend}
`

// files writes the texts into a new folder.
func files(t *testing.T, texts map[string]string) string {
	t.Helper()
	folder := t.TempDir()
	for name, text := range texts {
		if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return folder
}

func TestTriageFaults(t *testing.T) {
	const first = "zone: wing, severity: [slight, serious], repair: finch-mend"
	var known []*Document
	for _, text := range []string{sheetText, buildText, repairText} {
		doc, err := Parse("known.yaml", []byte(text))
		if err != nil {
			t.Fatal(err)
		}
		known = append(known, doc)
	}
	for _, c := range []faulty{
		{name: "unknown key", edit: []string{"unknown:", "§unknwon:"}, want: `unknown key "unknwon" in a triage table; did you mean "unknown"?`},
		{name: "no unknown", edit: []string{"unknown: finch-mend\n", ""}, want: "a triage table has no unknown"},
		{name: "no rows", edit: []string{"rows:\n", "rows: §[]\n#", "  - {finding: cracked, zone", "#", "  - {finding: cracked", "#", "  - {finding: dented", "#"}, want: "rows is an empty list"},
		{name: "row a text", edit: []string{"rows:\n", "rows:\n  - §cracked\n"}, want: "a row must be a mapping (keys with values), not text"},
		{name: "unknown key of a finding", edit: []string{"quarantine:", "§quarantin:"}, want: `unknown key "quarantin" in the finding dented; did you mean "quarantine"?`},
		{name: "finding without title", edit: []string{"{title: Cracked foam, zones: [wing, tail]}", "§{zones: [wing, tail]}"}, want: "the finding cracked has no title"},
		{name: "finding twice", edit: []string{"  dented: {", "  §cracked: {", "finding: dented", "finding: cracked"}, want: `"cracked" is duplicated in findings`},
		{name: "quarantine empty", edit: []string{"[The pack was handed in]", "§[]"}, want: "quarantine is an empty list"},
		{name: "unknown finding", edit: []string{"finding: dented", "finding: §dentd"}, want: `unknown finding "dentd"; did you mean "dented"?`},
		{name: "row without finding", edit: []string{"{finding: dented, ", "§{"}, want: "a row has no finding"},
		{name: "row without why", edit: []string{"{finding: dented, replace: finch-mend, why: It burns hours later.}", "§{finding: dented, replace: finch-mend}"}, want: "a row has no why"},
		{name: "unknown severity", edit: []string{"[slight, serious]", "[slight, §seriuos]"}, want: `unknown severity "seriuos"; did you mean "serious"?`},
		{name: "unknown severity alone", edit: []string{"severity: total", "severity: §all"}, want: `unknown severity "all"; known: cosmetic, slight, serious, total`},
		{name: "severity twice", edit: []string{"[slight, serious]", "[slight, §slight]"}, want: `"slight" is duplicated in severity`},
		{name: "no outcome", edit: []string{"{finding: dented, replace: finch-mend", "§{finding: dented"}, want: "a row needs one of repair, replace, rebuild or scrap"},
		{name: "two outcomes", edit: []string{"{finding: dented", "{finding: dented, scrap: §yes"}, want: "a row has replace and scrap: keep one of them"},
		{name: "scrap no", edit: []string{"scrap: yes", "scrap: §no"}, want: "scrap must be yes; otherwise delete the line"},
		{name: "unknown zone", edit: []string{"zone: wing", "zone: §wnig"}, want: `unknown zone "wnig"; did you mean "wing"?`, of: 2},
		{name: "no name for a zone", edit: []string{"zone: wing", "zone: §Wing"}, want: `"Wing" is not a name for zone`},
		{name: "unknown zone of a finding", edit: []string{"[wing, tail]", "[wing, §tial]"}, want: `unknown zone "tial"; did you mean "tail"?`},
		{name: "unknown repair", edit: []string{first, "zone: wing, repair: §finch-mand"}, want: `unknown procedure "finch-mand"; did you mean "finch-mend"?`},
		{name: "unknown procedure of unknown", edit: []string{"unknown: finch-mend", "unknown: §finch-mnd"}, want: `unknown procedure "finch-mnd"; did you mean "finch-mend"?`},
		{name: "unknown check", edit: []string{"hard_landing: finch-mend", "hard_landing: §finchmend"}, want: `unknown procedure "finchmend"; did you mean "finch-mend"?`},
		{name: "answered with a build", edit: []string{"{finding: dented, replace: finch-mend", "{finding: dented, replace: §finch-build"}, want: "finch-build is a build, which cannot answer damage"},
		{name: "the unknown answered with a build", edit: []string{"unknown: finch-mend", "unknown: §finch-build"}, want: "finch-build is a build, which cannot answer damage"},
		{name: "a hard landing answered with a build", edit: []string{"hard_landing: finch-mend", "hard_landing: §finch-build"}, want: "finch-build is a build, which cannot answer damage"},
		{name: "repair of another zone", edit: []string{"{finding: cracked, " + first, "§{finding: cracked, zone: radio, repair: finch-mend", ", zones: [wing, tail]", ""}, want: "the finding cracked on radio is answered with finch-mend, which is not written for that zone"},
		{name: "row for a zone without the finding", edit: []string{"{finding: cracked, " + first, "§{finding: cracked, zone: radio, repair: finch-mend"}, want: "the finding cracked is not possible on radio; its zones are wing, tail"},
		{name: "another word twice", edit: []string{"zones: [wing, tail]}", "zones: [wing, tail], also: [Split, §split]}"}, want: `"split" is duplicated in also`},
		{name: "another word with a colon", edit: []string{"zones: [wing, tail]}", "zones: [wing, tail], also: [split, §strut: leaning]}"}, want: `an entry of also must be text, not a mapping: the ": " makes a key of it; write: "strut: leaning"`},
		{name: "another word that is none", edit: []string{"zones: [wing, tail]}", "zones: [wing, tail], also: §'?!'}"}, want: `"?!" has no word in it`},
		{name: "another word that is another finding", edit: []string{"  cracked: {title: Cracked foam, zones", "  §cracked: {title: Cracked foam, also: DENTED, zones"}, want: `"DENTED", another word for cracked, is the name of another finding in one of its zones`},
		{name: "quarantine of no time", edit: []string{"quarantine: [The pack was handed in]", "quarantine: {for: §0 h, confirm: The pack was handed in}"}, want: "for must be more than 0"},
		{name: "quarantine of no unit", edit: []string{"quarantine: [The pack was handed in]", "quarantine: {for: §48, confirm: The pack was handed in}"}, want: `for: "48" has no unit`},
		{name: "quarantine without lines", edit: []string{"quarantine: [The pack was handed in]", "quarantine: §{for: 48 h}"}, want: "quarantine has no confirm"},
		{name: "quarantine without a time", edit: []string{"quarantine: [The pack was handed in]", "quarantine: §{confirm: The pack was handed in}"}, want: "quarantine has no for"},
		{name: "own words without else", edit: []string{"unknown: finch-mend", "unknown: §{wing: dented}"}, want: "unknown has no else"},
		{name: "own words on an unknown zone", edit: []string{"unknown: finch-mend", "unknown: {§wnig: cracked, else: finch-mend}"}, want: `unknown zone "wnig"; did you mean "wing"?`},
		{name: "own words with an unknown meaning", edit: []string{"unknown: finch-mend", "unknown: {wing: §crakced, else: finch-mend}"}, want: `unknown finding or procedure "crakced"; did you mean "cracked"?`},
		{name: "own words on a zone twice", edit: []string{"unknown: finch-mend", "unknown: {wing: dented, §wing: dented, else: finch-mend}"}, want: `"wing" is duplicated in unknown`},
		{name: "own words mean what is elsewhere", edit: []string{"unknown: finch-mend", "unknown: {radio: §cracked, else: finch-mend}"}, want: "the finding cracked is not possible on radio; its zones are wing, tail"},
		{name: "own words mean two things", edit: []string{"  dented: {", "  finch-mend: {", "finding: dented", "finding: finch-mend", "unknown: finch-mend", "unknown: {wing: §finch-mend, else: finch-mend}"}, want: "finch-mend is a finding and a procedure; rename the finding"},
		{name: "own words answered with a build", edit: []string{"unknown: finch-mend", "unknown: {wing: §finch-build, else: finch-mend}"}, want: "finch-build is a build, which cannot answer damage"},
		{name: "own words answered with a repair of another zone", edit: []string{"unknown: finch-mend", "unknown: {radio: §finch-mend, else: finch-mend}"}, want: "finch-mend is not written for the zone radio"},
		{name: "a finding twice in a row", edit: []string{"{finding: cracked, severity: total", "{finding: [cracked, §cracked], severity: total"}, want: `"cracked" is duplicated in finding`},
		{name: "an unknown finding in a list", edit: []string{"{finding: cracked, severity: total", "{finding: [cracked, §crackde], severity: total"}, want: `unknown finding "crackde"; did you mean "cracked"?`},
		{name: "a finding of a list that is answered above", edit: []string{"{finding: dented, replace", "§{finding: [dented, cracked], severity: total, replace"}, want: "no finding cracked ever reaches this row: an earlier row answers it"},
		{name: "cosmetic where it can hurt", edit: []string{"  - {finding: cracked, zone: wing", "  - §{finding: cracked, zone: tail, severity: cosmetic, repair: finch-mend, why: x}\n  - {finding: cracked, zone: wing"}, want: "damage on tail can hurt, since dented is put in quarantine (line 6), so the finding cracked is cosmetic there only if the part is replaced or made anew"},
		{name: "cosmetic where words mean a caution", edit: []string{"title: A dented battery", "title: A dented battery, zones: [radio]", "{title: Cracked foam", "{caution: Keep off., title: Cracked foam", "  - {finding: cracked, zone: wing", "  - §{finding: cracked, zone: wing, severity: cosmetic, repair: finch-mend, why: x}\n  - {finding: cracked, zone: wing", "unknown: finch-mend", "unknown: {wing: cracked, else: finch-mend}"}, want: "damage on wing can hurt, since words of one's own there mean cracked, which has a caution (line 12)"},
		{name: "a mark where words mean a finding that hurts nobody", edit: []string{"title: A dented battery", "title: A dented battery, zones: [radio]", "zones: [wing, tail]}", "zones: [wing, tail], also: §'?!'}", "  - {finding: cracked, zone: wing", "  - {finding: cracked, zone: wing, severity: cosmetic, repair: finch-mend, why: x}\n  - {finding: cracked, zone: wing", "unknown: finch-mend", "unknown: {wing: cracked, else: finch-mend}"}, want: `"?!" has no word in it`},
		{name: "what is put in quarantine is repaired", edit: []string{"{finding: dented, replace", "§{finding: dented, repair"}, want: "the finding dented is put in quarantine (line 6), so it is never repaired; write replace or rebuild"},
		{name: "what another row has replaced is repaired where it can hurt", edit: []string{"  - {finding: cracked, zone: wing", "  - §{finding: cracked, zone: tail, severity: slight, repair: finch-mend, why: x}\n  - {finding: cracked, zone: tail, replace: finch-mend, why: x}\n  - {finding: cracked, zone: wing"}, want: "damage on tail can hurt, since dented is put in quarantine (line 6), and another row has the part replaced, so the finding cracked is never repaired there; write replace or rebuild"},
		{name: "what is put in quarantine is repaired in a list", edit: []string{"  - {finding: dented", "  - §{finding: [cracked, dented], zone: tail, repair: finch-mend, why: x}\n  - {finding: dented"}, want: "the finding dented is put in quarantine (line 6), so it is never repaired"},
		{name: "nobody replaces what is put in quarantine", edit: []string{"  dented: {", "  §dented: {", "{finding: dented, replace", "{finding: dented, severity: [slight, serious], replace"}, want: "the finding dented is put in quarantine, and no row replaces it or makes it anew on wing where it is total"},
		{name: "own words mean less than a quarantine", edit: []string{"unknown: finch-mend", "unknown: {wing: §cracked, else: finch-mend}"}, want: "words of one's own on wing must mean a finding that is put in quarantine, since there is one there: write wing: dented"},
		{name: "own words are inspected where there is a quarantine", edit: []string{"unknown: finch-mend", "unknown: {wing: §finch-mend, else: finch-mend}"}, want: "words of one's own on wing must mean a finding that is put in quarantine, since there is one there: write wing: dented"},
		{name: "scrap with an unknown procedure", edit: []string{"scrap: yes", "scrap: §finch-mand"}, want: `unknown procedure "finch-mand"; did you mean "finch-mend"?`},
		{name: "scrap with a procedure of another zone", edit: []string{"{finding: cracked, severity: total, scrap: yes", "§{finding: cracked, severity: total, scrap: finch-mend", "zones: [wing, tail]", "zones: [wing, tail, radio]"}, want: "the finding cracked on radio is answered with finch-mend, which is not written for that zone"},
		{name: "no design", edit: []string{"design: finch", "design: §Finch"}, want: `"Finch" is not a name for design`},
	} {
		t.Run(c.name, func(t *testing.T) {
			text, at := marked(c.text(t, triageText), c.at)
			doc, faults := parse("x.yaml", []byte(text), nil)
			faults = append(faults, doc.answered([]*steps.Sheet{known[0].Sheet}, known, doubts{})...)
			expect(t, faults.sorted(), "x.yaml:"+at, c.want, c.of)
		})
	}
}

// Rows name no more findings than a table without lists could.
func TestRowsNameSoManyFindings(t *testing.T) {
	var text, names strings.Builder
	text.WriteString("triage: foam\ntitle: F\nrevision: 1\nunknown: look\nfindings:\n")
	for i := range 100 {
		fmt.Fprintf(&text, "  f%d: {title: F}\n", i)
		fmt.Fprintf(&names, "f%d, ", i)
	}
	text.WriteString("rows:\n")
	for _, zone := range []string{"a", "b", "c", "d", "e", "f", "g", "h", "i", "j"} {
		fmt.Fprintf(&text, "  - {finding: [%s], zone: %s, scrap: yes, why: x}\n", strings.TrimSuffix(names.String(), ", "), zone)
	}
	if _, err := Parse("x.yaml", []byte(text.String())); err != nil {
		t.Error(err)
	}
	text.WriteString("  - {finding: f1, zone: k, scrap: yes, why: x}\n")
	if _, err := Parse("x.yaml", []byte(text.String())); err == nil || !strings.Contains(err.Error(), "the rows name findings 1001 times; the limit is 1000") {
		t.Error(err)
	}
}

func TestCheckTogether(t *testing.T) {
	t.Chdir(files(t, map[string]string{
		"sheet.yaml": sheetText, "build.yaml": buildText,
		"mend.yaml": faulty{edit: []string{"on: [wing, tail]", "on: [wing, tail, radio]"}}.text(t, repairText), "foam.yaml": triageText, "twice.yaml": sheetText,
		"other.yaml":  faulty{edit: []string{"design: finch", "design: fnch"}}.text(t, buildText),
		"stray.yaml":  strings.Replace(triageText, "design: finch", "design: fnch", 1),
		"second.yaml": strings.Replace(triageText, "triage: foam", "triage: foam-too", 1),
		"nobody.yaml": faulty{edit: []string{"on: [wing, tail]", "on: [gondola]"}}.text(t, repairText),
	}))
	report, err := Open("").Check(t.Context(), "sheet.yaml", "build.yaml", "mend.yaml", "foam.yaml")
	checked, faults := report.Documents, report.Faults
	if err != nil || len(faults) > 0 || len(checked) != 4 {
		t.Fatalf("%d checked, %v, and\n%v", len(checked), err, faults)
	}
	if got := checked[1].Serves; len(got) != 1 || got[0] != "finch" {
		t.Errorf("the build serves %v", got)
	}
	for _, c := range []struct {
		files []string
		at    string
		want  string
	}{
		{[]string{"sheet.yaml", "other.yaml"}, "other.yaml:1:1", `unknown design "fnch"; did you mean "finch"?`},
		{[]string{"sheet.yaml", "build.yaml", "mend.yaml", "stray.yaml"}, "stray.yaml:1:1", `unknown design "fnch"; did you mean "finch"?`},
		{[]string{"sheet.yaml", "build.yaml", "mend.yaml", "foam.yaml", "second.yaml"}, "second.yaml:1:1", "foam.yaml is a table for the design finch too; make one table of both"},
		{[]string{"sheet.yaml", "twice.yaml"}, "twice.yaml:1:1", `the name "finch" is used by sheet.yaml too`},
		{[]string{"sheet.yaml", "nobody.yaml"}, "nobody.yaml:3:6", `unknown zone "gondola"`},
		{[]string{"nowhere.yaml"}, "nowhere.yaml:0:0", "cannot be read: no such file"},
		{[]string{"."}, ".:0:0", "cannot be read: it is a folder"},
		{[]string{os.DevNull}, os.DevNull + ":0:0", "cannot be read: it is not a regular file"},
	} {
		report, err := Open("").Check(t.Context(), c.files...)
		if err != nil {
			t.Fatal(err)
		}
		expect(t, report.Faults, c.at, c.want, 1)
	}
}
