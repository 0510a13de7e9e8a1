package cli

import (
	"testing"
	"time"
)

// stood is a clock that is set.
type stood struct {
	timepiece
	now time.Time
}

func (s *stood) Now() time.Time { return s.now }

// Time stands still until what another bench wrote, and then goes on.
func TestSteadyTime(t *testing.T) {
	seven := time.Date(2026, 3, 3, 19, 0, 0, 0, time.UTC)
	wall := &stood{now: seven}
	steady := &steadyTime{timepiece: wall}
	steady.notBefore(seven.Add(time.Minute))
	steady.notBefore(seven.Add(time.Second))
	for _, c := range []struct{ wall, want time.Duration }{{0, time.Minute}, {59 * time.Second, time.Minute}, {61 * time.Second, 61 * time.Second}} {
		wall.now = seven.Add(c.wall)
		if got := steady.Now(); !got.Equal(seven.Add(c.want)) {
			t.Errorf("at %v it reads %v", c.wall, got.Sub(seven))
		}
	}
}
