package workflow

import (
	"fmt"
	"testing"
	"time"

	"fettle/workflow/journal"
)

// BenchmarkReplay reads and folds a journal of 10,000 entries: readings,
// rework and the temperature of many evenings.
func BenchmarkReplay(b *testing.B) {
	start := building(b)
	entries := start.state.Entries
	for len(entries) < 10_000 {
		i := len(entries)
		at := start.now.Add(time.Duration(i) * time.Minute)
		var f journal.Facts = journal.ReadingTaken{Gate: "slot", Point: "root", Value: q(fmt.Sprintf("%d.%02d mm", 3+i%2, i%100)), Gauge: "caliper"}
		switch i % 10 {
		case 3:
			f = journal.BenchRead{Temperature: q(fmt.Sprintf("%d °C", 15+i%10))}
		case 7:
			f = journal.Reworked{Gate: "slot", Disturbs: []string{"wing"}}
		}
		entries = append(entries, journal.Entry{Position: int64(i), At: at, Recorded: at, By: "builder", Program: "test", Facts: f})
	}
	records, err := journal.Encode(entries)
	if err != nil {
		b.Fatal(err)
	}
	b.ResetTimer()
	for b.Loop() {
		read, err := journal.Decode(records, 0)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := Replay(read, documents()); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(records)), "ns/entry")
}
