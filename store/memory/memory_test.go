package memory_test

import (
	"testing"

	"fettle/store"
	"fettle/store/memory"
	"fettle/store/storetest"
)

func TestStore(t *testing.T) {
	storetest.Run(t, func(*testing.T) store.Store { return memory.New() })
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
