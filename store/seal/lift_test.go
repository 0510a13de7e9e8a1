package seal

import (
	"bytes"
	"errors"
	"strings"
	"testing"
)

// A seal copied by way of a screen, a letter or another system is read; a changed one
// is still refused.
func TestLift(t *testing.T) {
	key, _, err := NewKey("bench")
	if err != nil {
		t.Fatal(err)
	}
	records := [][]byte{[]byte("one"), []byte("two"), []byte("three")}
	older, err := key.Sign("fettle/CW-01", HeadOf(records[:2]))
	if err != nil {
		t.Fatal(err)
	}
	seal, err := key.Sign("fettle/CW-01", HeadOf(records))
	if err != nil {
		t.Fatal(err)
	}
	inclusion, err := ProveInclusion(records[1], 1, seal, HashesOf(records))
	if err != nil {
		t.Fatal(err)
	}
	growth, err := ProveConsistency(older, seal, HashesOf(records))
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(string(seal), "\n")
	signature := lines[4]
	behind := strings.LastIndex(signature, " ")
	broken := func(at int, glue string) string {
		return strings.Replace(string(seal), signature, signature[:at]+glue+strings.TrimLeft(signature[at:], " "), 1)
	}
	shown := "Seal of CW-01, 3 entries\n\n  " + strings.ReplaceAll(string(seal), "\n", "\n  ") + "\nThe public key:\n\n  " + key.Public() + "\n"
	tests := map[string]struct {
		copied string
		want   []byte
	}{
		"as it is":               {string(seal), seal},
		"another system":         {strings.ReplaceAll(string(seal), "\n", "\r\n"), seal},
		"without its end":        {strings.TrimRight(string(seal), "\n"), seal},
		"set in":                 {"  " + strings.ReplaceAll(string(seal), "\n", "\n  "), seal},
		"all that was shown":     {shown, seal},
		"broken behind the name": {broken(behind, "\n"), seal},
		"drawn apart":            {strings.Replace(string(seal), "\n\n", "\n\n\n", 1), seal},
		"broken inside":          {broken(behind+41, "\n"), seal},
		"broken twice, set in":   {"words\n\n" + strings.ReplaceAll(broken(behind+41, "\n  "), "\n", "\n  ") + "\n\nwords", seal},
		"a proof, another system": {strings.ReplaceAll(string(inclusion.Text()), "\n", "\r\n"),
			inclusion.Text()},
		"a proof in a letter":          {"Look:\n\n" + string(growth.Text()) + "\nYours", growth.Text()},
		"signed off before and behind": {"— Ro\n\n" + string(seal) + "\n— Ro\n", seal},
		"words right behind":           {string(seal) + "Yours\n", seal},
		"a signature alone":            {signature, []byte("\n" + signature + "\n")},
		"words":                        {"these are words\n", []byte("these are words\n")},
		"nothing":                      {"", []byte{}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			if got, err := Lift([]byte(tt.copied)); err != nil || !bytes.Equal(got, tt.want) {
				t.Errorf("lifted\n%s\nout of\n%s: %v", got, tt.copied, err)
			}
		})
	}
	forged := strings.Replace(shown, "\n  3\n", "\n  2\n", 1)
	lifted, err := Lift([]byte(forged))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Open(lifted, key.Public()); err == nil {
		t.Error("a seal that was changed is good")
	}
	for name, text := range map[string]string{
		"two seals":           string(older) + "\n" + string(seal),
		"a seal and a forged": string(seal) + "\n" + forged,
		"a seal and a proof":  string(seal) + "\n" + string(inclusion.Text()),
		"a proof and a seal":  string(inclusion.Text()) + "\n" + string(older),
		"a proof of three":    string(growth.Text()) + "\n" + string(older),
	} {
		if got, err := Lift([]byte(text)); !errors.Is(err, ErrNotNote) {
			t.Errorf("%s: %v, lifted\n%s", name, err, got)
		}
	}
}
