package cli

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/steps/quantity"
	"fettle/steps/spread"
	"fettle/store/wholefile"
	"fettle/workflow"
	"fettle/workflow/journal"
)

func (a *app) studyCommand() *cobra.Command {
	var request workflow.StudyGauge
	cmd := &cobra.Command{
		Use:   "study [MARK] GAUGE --gate GATE FILE",
		Short: "Record a study of a gauge by several people",
		Long: "Record how much a gauge differs when one person reads a part again, and when others do.\n" +
			"FILE, or - for standard input, is CSV with a heading, in any order:\n\n" +
			"    person,part,reading\n" +
			"    Jo,rib 1,4.02mm\n\n" +
			"Each person reads each part as many times, at least twice: 2 to 10 people, parts and readings.\n" +
			"Take the parts in mixed order, set the gauge up anew each time, and let nobody see what was\n" +
			"read before. A bare number is in the unit of the gate.\n\n" +
			"Worked out by average and range, and widened by Student's factor, as few readings say little\n" +
			"of how others lie. Later readings of this gate with this gauge are judged with\n" +
			"the repeatability found, if that is worse than the sheet's or the sheet states none. For other\n" +
			"readings, also earlier ones, a study can only add doubt. A later study of the same gate takes\n" +
			"the place of this one for what is read after it. It is part of one airframe's record.",
		Example:           "  fettle gauge study CW-01 depth --gate spar-depth study.csv",
		Args:              arguments(1, 3),
		ValidArgsFunction: a.completeStudy,
	}
	stringFlag(cmd.Flags(), &request.Gate, "gate", "", "the `GATE` whose readings it is about")
	stringFlag(cmd.Flags(), &request.Note, "note", "", "`WORDS` about the study")
	at := atFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return a.study(cmd.Context(), args, request, *at)
	}
	return cmd
}

func (a *app) study(ctx context.Context, args []string, request workflow.StudyGauge, at string) error {
	s, rest, err := a.airframeWith(ctx, args, 2)
	switch {
	case err != nil:
		return err
	case len(rest) != 2:
		return usage("name the gauge and the file of readings: fettle gauge study %s GAUGE --gate GATE FILE", s.Airframe.Mark)
	case request.Gate == "":
		return usage("name the gate whose readings the study is about: --gate GATE")
	}
	request.Gauge = rest[0]
	gate, ok := s.Sheet.Gate(request.Gate)
	if !ok {
		return a.act(ctx, s, request, at) // which says so
	}
	readings, lines, err := a.studyReadings(rest[1], gate.Unit())
	if err != nil {
		return err
	}
	request.Readings = readings
	err = a.act(ctx, s, request, at)
	var bad *spread.StudyError
	if errors.As(err, &bad) {
		if bad.At < 0 || bad.At >= len(lines) {
			return usage("%s: %s", rest[1], bad.Why)
		}
		return usage("%s:%d: %s", rest[1], lines[bad.At], bad.Why)
	}
	return err
}

// mostStudy is how many bytes a file of a study may have.
const mostStudy = 1 << 20

// studyReadings reads the readings of a study and the line of each. Bare numbers are in
// the unit.
func (a *app) studyReadings(path, unit string) (all []journal.StudyReading, lines []int, err error) {
	var data []byte
	if path == "-" {
		data, err = io.ReadAll(io.LimitReader(a.In, mostStudy+1))
		if err == nil && len(data) > mostStudy {
			err = usage("-: the readings are longer than 1 MiB")
		}
	} else {
		data, err = wholefile.Read(path, mostStudy)
	}
	if err != nil {
		return nil, nil, fmt.Errorf("reading the study: %w", err)
	}
	rows := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(data, []byte("\ufeff")))) // spreadsheets begin a file with that
	rows.FieldsPerRecord, rows.TrimLeadingSpace = 3, true
	columns := []string{"person", "part", "reading"}
	at := make([]int, len(columns))
	for first := true; ; first = false {
		row, err := rows.Read()
		if err == io.EOF && !first {
			return all, lines, nil
		}
		var parse *csv.ParseError
		if errors.As(err, &parse) {
			return nil, nil, usage("%s:%d: %v; a line is person,part,reading", path, parse.Line, parse.Err)
		}
		if err != nil && err != io.EOF {
			return nil, nil, fmt.Errorf("reading the study: %w", err)
		}
		for i := range row {
			row[i] = strings.TrimSpace(row[i])
		}
		if first {
			for i, name := range columns {
				at[i] = slices.IndexFunc(row, func(field string) bool { return strings.EqualFold(field, name) })
				if at[i] < 0 {
					return nil, nil, usage("%s:1: there is no column %q; the first line names the columns: person,part,reading", path, name)
				}
			}
			continue
		}
		line, _ := rows.FieldPos(at[2])
		value, err := quantity.ParseIn(row[at[2]], unit)
		if err != nil {
			return nil, nil, usage("%s:%d: %v", path, line, err)
		}
		all, lines = append(all, journal.StudyReading{Person: row[at[0]], Part: row[at[1]], Value: value}), append(lines, line)
	}
}

// completeStudy completes a mark, a gauge and a file.
func (a *app) completeStudy(cmd *cobra.Command, args []string, text string) ([]string, cobra.ShellCompDirective) {
	if len(args) > 1 {
		return nil, files
	}
	return a.completeAfterMark(gauges, nothing)(cmd, args, text)
}
