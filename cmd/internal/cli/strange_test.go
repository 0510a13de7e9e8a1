package cli_test

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/cmd/internal/book"
	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/page"
	"fettle/store"
	"fettle/store/memory"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// Entries that no program has written, of every kind and at any place among those that one
// has, are refused or looked at from all sides. They never make it panic.
func TestStrangeFacts(t *testing.T) {
	t.Parallel()
	rounds := 4
	if os.Getenv("FETTLE_LONG") != "" {
		rounds = 1_500
	}
	d := &desk.Desk{Store: memory.New(), Now: time.Now}
	lives := map[string][][]byte{}
	pool := &strange{facts: map[string][]any{}}
	for _, name := range names(t, ".zip") {
		into := &desk.Desk{Store: memory.New(), Now: d.Now}
		in, err := (&keep.Keeper{Desk: into}).Import(t.Context(), filepath.Join(kept, name+".zip"), nil)
		if err != nil {
			t.Fatal(err)
		}
		mark := in.State.Airframe.Mark
		records, err := store.Records(t.Context(), into.Store, mark)
		if err != nil {
			t.Fatal(err)
		}
		lives[name] = records
		for _, e := range in.State.Entries {
			names := journal.NamesOf(e.Facts)
			for _, digest := range []string{names.Sheet, names.Procedure} {
				if digest == "" {
					continue
				}
				var data []byte
				err := into.Store.View(t.Context(), func(r store.Reader) (err error) {
					data, err = r.Document(digest)
					return err
				})
				if err == nil {
					_, err = d.Store.Keep(t.Context(), data)
				}
				if err != nil {
					t.Fatal(err)
				}
			}
		}
		for _, record := range records {
			pool.add(t, record)
		}
	}
	all := slices.Sorted(maps.Keys(lives))
	replayed := 0
	for seed := range rounds {
		r := rand.New(rand.NewPCG(uint64(seed), 13))
		pool.Rand = r
		records := slices.Clone(lives[all[r.IntN(len(all))]])
		var changed []string
		for range 1 + r.IntN(3) {
			records, changed = pool.change(t, records, changed)
		}
		func() {
			defer func() {
				if fault := recover(); fault != nil {
					t.Errorf("round %d: %v\n%s\n%s", seed, fault, strings.Join(changed, "\n"), debug.Stack())
				}
			}()
			if looked(t.Context(), d, records) == nil {
				replayed++
			}
		}()
	}
	t.Logf("%d of %d were replayed", replayed, rounds)
	if replayed < rounds/10 {
		t.Errorf("only %d of %d were replayed", replayed, rounds)
	}
}

// looked replays records and looks at all that the program shows of them.
func looked(ctx context.Context, d *desk.Desk, records [][]byte) error {
	entries, err := journal.Decode(records, 0)
	if err != nil {
		return err
	}
	first, _ := entries[0].Facts.(journal.Registered)
	s, err := d.Replay(ctx, first.Mark, records)
	if err != nil {
		return err
	}
	for _, at := range []time.Time{s.Entries[len(s.Entries)-1].Recorded, s.Since.Add(time.Hour), s.Since.AddDate(1, 0, 0)} {
		c := &page.Clock{Now: at, BothUnits: true}
		_ = page.NewAirframe(s, at).Markdown(c)
		_ = page.NewNext(s, at).Markdown(c)
		_ = page.NewTile(s, at, 2)
		_ = page.Prove(s, at).Markdown(c)
		_ = page.Calendar(s, at)
		_ = page.Damages(s, at)
		_, _ = stand(s, []time.Time{at})
		_, _ = s.AirworthinessThen(at)
		_ = s.Moments(s.Since, at)
		for _, g := range s.Gates(at) {
			_ = page.NewGate(s, g, at).Markdown(c)
		}
		for p := int64(at.Unix() % 7); p < s.Size(); p += 11 {
			_, _ = s.Decide(workflow.Undo{Position: p, Reason: "strange"}, workflow.Circumstances{Now: at, At: at, By: "Ro", Program: "0.1"})
		}
		readings, _ := s.Audit(workflow.AuditFilter{}, at)
		summary, _ := s.AuditSummary(at)
		record, err := s.Record(at)
		if err != nil {
			continue
		}
		_ = page.NewAudit(s, summary, record, readings, "", at).Markdown(c)
		_ = page.NewAuditScreen(s, summary, record, nil, at).Markdown(c)
		for _, name := range page.TableNames() {
			table := page.NewTable(name)
			_ = table.Add(s, record, workflow.AuditFilter{}, at)
		}
	}
	_ = page.NewJournal(s).Markdown(&page.Clock{Now: s.Since})
	few, err := journal.Handling(records)
	if err == nil {
		_ = new(workflow.Elsewhere).AddEntries(few, nil)
	}
	new(workflow.Elsewhere).Add(s)
	return book.Write(io.Discard, s, book.Options{Clock: &page.Clock{Now: s.Entries[len(s.Entries)-1].Recorded}, Full: true})
}

// strange makes strange entries of what others say.
type strange struct {
	*rand.Rand
	facts map[string][]any // by kind: whole records
	kinds []string
	words []any
}

func (p *strange) add(t *testing.T, record []byte) {
	var env map[string]any
	if err := json.Unmarshal(record, &env); err != nil {
		t.Fatal(err)
	}
	kind := env["kind"].(string)
	if p.facts[kind] = append(p.facts[kind], string(record)); len(p.facts[kind]) == 1 {
		p.kinds = append(p.kinds, kind)
	}
	var words func(v any)
	words = func(v any) {
		switch v := v.(type) {
		case map[string]any:
			for _, key := range slices.Sorted(maps.Keys(v)) {
				words(v[key])
			}
		case []any:
			for _, one := range v {
				words(one)
			}
		case string:
			if !slices.Contains(p.words, any(v)) {
				p.words = append(p.words, v)
			}
		}
	}
	words(env["facts"])
}

func pick[T any](p *strange, of []T) T { return of[p.IntN(len(of))] }

// change changes an entry, puts one of another life in, takes one out, or swaps two.
func (p *strange) change(t *testing.T, records [][]byte, log []string) ([][]byte, []string) {
	at := p.IntN(len(records))
	read := func(record []byte) map[string]any {
		var env map[string]any
		if err := json.Unmarshal(record, &env); err != nil {
			t.Fatal(err)
		}
		return env
	}
	env := read(records[at])
	switch p.IntN(6) {
	case 0, 1:
		at = min(at+1, len(records))
		other := read([]byte(pick(p, p.facts[pick(p, p.kinds)]).(string)))
		for _, key := range []string{"at", "recorded"} {
			other[key] = env[key]
		}
		env = other
		records = slices.Insert(records, at, nil)
	case 2:
		if at > 0 && len(records) > 2 {
			records = slices.Delete(records, at, at+1)
			at = min(at, len(records)-1)
			env = read(records[at])
		}
	}
	if p.IntN(4) > 0 {
		env["facts"] = p.value(env["facts"], at, len(records), true)
	}
	if p.IntN(6) == 0 {
		env[pick(p, []string{"at", "recorded"})] = time.Date(1970+p.IntN(230), 1, 1+p.IntN(300), 0, 0, p.IntN(86400), 0, time.UTC)
	}
	for i := range records {
		one := env
		if i != at {
			one = read(records[i])
		}
		one["position"] = i
		data, err := json.Marshal(one)
		if err != nil {
			t.Fatal(err)
		}
		records[i] = data
	}
	return records, append(log, string(records[at]))
}

// value changes a value somewhere in it.
func (p *strange) value(v any, at, of int, whole bool) any {
	if !whole && p.IntN(20) == 0 {
		return nil
	}
	switch v := v.(type) {
	case map[string]any:
		if len(v) == 0 {
			return v
		}
		key := pick(p, slices.Sorted(maps.Keys(v)))
		if p.IntN(12) == 0 && key != "mark" {
			delete(v, key)
		} else if key != "mark" && key != "sheet" && key != "procedure" {
			v[key] = p.value(v[key], at, of, false)
		}
		return v
	case []any:
		switch p.IntN(5) {
		case 0:
			return []any{}
		case 1:
			return append(v, v...)
		case 2:
			slices.Reverse(v)
			return v
		}
		if len(v) > 0 {
			i := p.IntN(len(v))
			v[i] = p.value(v[i], at, of, false)
		}
		return v
	case float64:
		return pick(p, []any{-1, 0, 1, 2, at - 1, at, of, p.IntN(of), math.MaxInt64, math.MinInt64, math.MaxInt32, -p.IntN(of)})
	case bool:
		return !v
	}
	if p.IntN(3) > 0 {
		return pick(p, p.words)
	}
	return pick(p, []any{"", "NaN", "Inf", "-1", "0", "1e999", "999999999999999999999", "-0.0000000001", "1/0", "%s", "\x00", "no", strings.Repeat("9", 400), fmt.Sprintf("D%d", p.IntN(5))})
}
