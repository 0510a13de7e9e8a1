package seal_test

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"

	"fettle/store/seal"
)

func TestLoadKey(t *testing.T) {
	path := filepath.Join(t.TempDir(), "keys", "seal.key")
	made, isNew, err := seal.LoadKey(path, "fettle/bench")
	must(t, err)
	if !isNew || !strings.HasPrefix(made.Public(), "fettle/bench+") {
		t.Errorf("made %v, %s", isNew, made.Public())
	}
	again, isNew, err := seal.LoadKey(path, "another")
	must(t, err)
	if isNew || again.Public() != made.Public() {
		t.Errorf("loaded %v, %s", isNew, again.Public())
	}
	signed, err := made.Sign("o", seal.HeadOf(ctRecords()))
	must(t, err)
	_, err = seal.Open(signed, again.Public())
	must(t, err)

	for name, want := range map[string]os.FileMode{path: 0o600, filepath.Dir(path): 0o700} {
		info, err := os.Stat(name)
		must(t, err)
		if runtime.GOOS != "windows" && info.Mode().Perm() != want {
			t.Errorf("%s has mode %04o", name, info.Mode().Perm())
		}
	}
	left, err := os.ReadDir(filepath.Dir(path))
	must(t, err)
	if len(left) != 1 {
		t.Errorf("there is more than the key: %v", left)
	}
	text, err := os.ReadFile(path)
	must(t, err)
	for _, shown := range []string{fmt.Sprintf("%v %+v", made, *made), fmt.Sprintf("%#v", made)} {
		if secret := string(text[len(text)-20 : len(text)-2]); strings.Contains(shown, secret) {
			t.Errorf("printing a key shows it: %s", shown)
		}
	}
}

func TestLoadKeyExposed(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("Windows has no modes")
	}
	for _, mode := range []os.FileMode{0o640, 0o604, 0o620, 0o666} {
		path := filepath.Join(t.TempDir(), "seal.key")
		must(t, os.WriteFile(path, []byte(peterPrivate+"\n"), 0o600))
		must(t, os.Chmod(path, mode))
		_, _, err := seal.LoadKey(path, "fettle")
		is(t, err, seal.ErrExposed)
		must(t, os.Chmod(path, 0o400))
		_, _, err = seal.LoadKey(path, "fettle")
		must(t, err)
	}
}

func TestLoadKeyRefuses(t *testing.T) {
	for _, text := range []string{
		"", "\n", "key", peterPublic, peterPrivate + "\n\n", " " + peterPrivate,
		peterPrivate[:len(peterPrivate)-1], strings.Replace(peterPrivate, "c7", "c8", 1),
		strings.Repeat("x", 5000),
	} {
		path := filepath.Join(t.TempDir(), "seal.key")
		must(t, os.WriteFile(path, []byte(text), 0o600))
		_, made, err := seal.LoadKey(path, "fettle")
		is(t, err, seal.ErrKey)
		if made || strings.Contains(err.Error(), "AYEK") {
			t.Errorf("made %v: %v", made, err)
		}
		kept, err := os.ReadFile(path)
		must(t, err)
		if string(kept) != text {
			t.Error("the file was changed")
		}
	}
	_, _, err := seal.LoadKey(t.TempDir(), "fettle")
	is(t, err, seal.ErrKey)
	for _, name := range []string{"", "fettle+host", "fettle host", "fettle\u00a0host", "a\n", "a\x00", "a\xff", "a\u202e", strings.Repeat("a", 129)} {
		path := filepath.Join(t.TempDir(), "seal.key")
		_, _, err := seal.LoadKey(path, name)
		is(t, err, seal.ErrKey)
		if _, err := os.Stat(path); err == nil {
			t.Errorf("a key named %q was kept", name)
		}
	}
}

func TestLoadKeyTogether(t *testing.T) {
	path := filepath.Join(t.TempDir(), "keys", "seal.key")
	var all sync.WaitGroup
	var mu sync.Mutex
	keys, news := map[string]bool{}, 0
	for range 16 {
		all.Go(func() {
			key, made, err := seal.LoadKey(path, "fettle")
			mu.Lock()
			defer mu.Unlock()
			if err != nil {
				t.Error(err)
				return
			}
			keys[key.Public()] = true
			if made {
				news++
			}
		})
	}
	all.Wait()
	if len(keys) != 1 || news != 1 {
		t.Errorf("%d keys, %d made", len(keys), news)
	}
}
