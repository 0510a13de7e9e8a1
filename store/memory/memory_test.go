package memory_test

import (
	"testing"
	"time"

	"fettle/store"
	"fettle/store/memory"
	"fettle/store/storetest"
)

func TestStore(t *testing.T) {
	storetest.Run(t, func(*testing.T) store.Store { return memory.New() })
}

func TestShared(t *testing.T) {
	storetest.Run(t, func(*testing.T) store.Store { return memory.NewShared() })
}

// A claim runs out when its time is over, unless it is claimed again, and is forgotten a while later.
func TestClaimEnds(t *testing.T) {
	s := memory.NewShared()
	now := time.Date(2026, 3, 3, 19, 0, 0, 0, time.UTC)
	s.Now = func() time.Time { return now }
	stands := func() bool {
		all, err := s.Claims(t.Context())
		return len(all) == 1 && all[0].Silent == 0 && err == nil
	}
	for range 3 {
		if _, err := s.Claim(t.Context(), &store.Claim{Mark: "CW-01", Step: "build/coat", By: "hugo"}, time.Minute, false); err != nil {
			t.Fatal(err)
		}
		if now = now.Add(59 * time.Second); !stands() {
			t.Error("it has ended before its time was over")
		}
	}
	if now = now.Add(time.Second); stands() {
		t.Error("it stands after its time was over")
	}
	if all, err := s.Claims(t.Context()); err != nil || len(all) != 1 || all[0].Silent != time.Minute {
		t.Errorf("it is remembered as %v, %v", all, err)
	}
	now = now.Add(store.Remembered)
	if all, err := s.Claims(t.Context()); err != nil || len(all) > 0 {
		t.Errorf("%v, %v are remembered for ever", all, err)
	}
}

func TestViewIsOneMoment(t *testing.T) {
	s := memory.New()
	err := s.View(t.Context(), func(r store.Reader) error {
		if err := s.Append(t.Context(), "CW-01", 0, [][]byte{[]byte("later")}); err != nil {
			return err
		}
		if size, err := r.Size("CW-01"); size != 0 || err != nil {
			t.Errorf("a record of later was seen: %d, %v", size, err)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
