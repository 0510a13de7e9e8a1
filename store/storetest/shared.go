package storetest

import (
	"context"
	"slices"
	"testing"
	"time"

	"fettle/store"
)

// testClaims has two benches claim steps, in a store that keeps claims.
func testClaims(t *testing.T, s store.Store) {
	c, ok := s.(store.Claimer)
	if !ok {
		t.Skip("it keeps no claims")
	}
	since := time.Date(2026, 3, 3, 19, 2, 0, 0, time.UTC)
	at := func(by, mark, step string) *store.Claim {
		return &store.Claim{Mark: mark, Step: step, By: by, Bench: "window", Since: since}
	}
	claim := func(of *store.Claim, take bool, want *store.Claim) {
		t.Helper()
		if got, err := c.Claim(t.Context(), of, time.Minute, take); err != nil || *got != *want {
			t.Errorf("claiming %v: %v, %v; want %v", of, got, err, want)
		}
	}
	stand := func(want ...*store.Claim) {
		t.Helper()
		if got, err := c.Claims(t.Context()); err != nil || !slices.EqualFunc(got, want, func(a, b *store.Claim) bool { return *a == *b }) {
			t.Errorf("there stand %v, %v; want %v", got, err, want)
		}
	}
	stand()
	coat, join := at("hugo", "CW-01", "build/coat-left"), at("hugo", "CW-01", "build/join-wing")
	claim(coat, false, coat)
	later := at("hugo", "CW-01", "build/coat-left")
	later.Since = since.Add(time.Minute)
	claim(later, false, coat) // it began when it first did
	stand(coat)

	rosa := at("rosa", "CW-01", "build/coat-left")
	claim(rosa, false, coat)
	stand(coat)
	elsewhere := at("rosa", "SK-02", "build/coat-left") // the same step of another airframe
	claim(elsewhere, false, elsewhere)
	stand(coat, elsewhere)
	took := *rosa
	took.From = "hugo at window"
	claim(rosa, true, &took) // in the place of hugo's, and of her own
	rosa = &took
	stand(rosa)

	claim(join, false, join)
	stand(rosa, join)
	other := at("hugo", "CW-01", "build/coat-right") // the same person at another bench is another
	other.Bench = "door"
	claim(other, false, other)
	stand(rosa, other, join)
	if err := c.Unclaim(t.Context(), join); err != nil {
		t.Error(err)
	}
	stand(rosa, other)
	strange := at("a/b \n", "a b", "x/é/%2f")
	claim(strange, false, strange)
	stand(rosa, other, strange)

	// what has run out stands for a while: it says that nobody was heard of, and is its owner's still
	ran := *join
	if _, err := c.Claim(t.Context(), &ran, 0, false); err != nil {
		t.Error(err)
	}
	silent := func() (all []string) {
		stand, err := c.Claims(t.Context())
		if err != nil {
			t.Error(err)
		}
		for _, of := range stand {
			if of.Silent > 0 {
				all = append(all, of.Owner()+": "+of.Step)
			}
		}
		return all
	}
	for late := time.Now().Add(5 * time.Second); len(silent()) == 0 && time.Now().Before(late); time.Sleep(10 * time.Millisecond) {
	}
	if got := silent(); !slices.Equal(got, []string{"hugo at window: build/join-wing"}) {
		t.Errorf("silent are %v", got)
	}
	theirs := at("carol", "CW-01", "build/join-wing")
	if got, err := c.Claim(t.Context(), theirs, time.Minute, false); err != nil || got.By != "hugo" || got.Silent == 0 {
		t.Errorf("claiming what has run out: %v, %v", got, err)
	}
	claim(join, false, join)
	if got := silent(); len(got) > 0 {
		t.Errorf("silent are %v after it was claimed anew", got)
	}

	// what was left midway is remembered whatever its owner claims then, until they come back to it
	left := *join
	left.Left = since.Add(time.Minute)
	glue := at("hugo", "CW-01", "build/glue")
	claim(glue, false, glue)
	claim(&left, false, &left)
	stand(rosa, other, glue, &left, strange)
	claim(glue, false, glue)
	if err := c.Unclaim(t.Context(), glue); err != nil {
		t.Error(err)
	}
	stand(rosa, other, &left, strange)
	sits := *join
	sits.Sits = true
	claim(&sits, false, &sits)
	stand(rosa, other, &sits, strange)
	two, second := sits, *glue // another sitting of hers
	two.Seat, second.Sits, second.Seat = "two", true, "two"
	claim(&two, true, &sits)
	claim(&second, false, &second)
	stand(rosa, other, &second, &sits, strange)
	claim(&sits, false, &sits)
	stand(rosa, other, &second, &sits, strange)
	if err := c.Unclaim(t.Context(), &second); err != nil {
		t.Error(err)
	}
	stand(rosa, other, &sits, strange)

	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := c.Claim(ended, join, time.Minute, false); err != context.Canceled {
		t.Errorf("claiming when the context has ended: %v", err)
	}
	wantJournals(t, s) // it is no part of the record
}

// testWatch has a bench hear of what another one does, in a store that tells.
func testWatch(t *testing.T, s store.Store) {
	w, ok := s.(store.Watcher)
	if !ok {
		t.Skip("it tells nothing")
	}
	ctx, stop := context.WithCancel(t.Context())
	heard := w.Watch(ctx)
	silent := func() (silent bool) {
		for { // what is still told of before
			select {
			case <-heard:
			case <-time.After(50 * time.Millisecond):
				return true
			case <-t.Context().Done():
				return false
			}
		}
	}
	tells := func(what string, do func()) {
		t.Helper()
		silent()
		do()
		select {
		case <-heard:
		case <-time.After(5 * time.Second):
			t.Errorf("%s: nothing is heard", what)
		}
	}
	tells("a new journal", func() { mustAppend(t, s, "CW-01", 0, "a") })
	tells("a longer journal", func() { mustAppend(t, s, "CW-01", 1, "b", "c") })
	if c, ok := s.(store.Claimer); ok {
		of := &store.Claim{Mark: "CW-01", Step: "build/coat", By: "hugo", Bench: "window"}
		again := func() {
			if _, err := c.Claim(t.Context(), of, time.Minute, false); err != nil {
				t.Error(err)
			}
		}
		tells("a claim", again)
		tells("the end of a claim", func() {
			if err := c.Unclaim(t.Context(), of); err != nil {
				t.Error(err)
			}
		})
		tells("a claim anew", again)
		silent()
		again()
		select {
		case <-heard:
			t.Error("a claim that only goes on is told of")
		case <-time.After(100 * time.Millisecond):
		}
	}
	stop()
	silent()
	mustAppend(t, s, "CW-01", 3, "d")
	select {
	case <-heard:
		t.Error("it tells of what came after the watch had ended")
	case <-time.After(100 * time.Millisecond):
	}
}
