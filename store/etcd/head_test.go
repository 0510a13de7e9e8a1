package etcd

import (
	"errors"
	"testing"

	clientv3 "go.etcd.io/etcd/client/v3"

	"fettle/store"
)

// A journal whose head is lost, or is as it once was, is damaged: neither an airframe that never
// was nor one of which less is known. Nothing is appended to it.
func TestLostHead(t *testing.T) {
	t.Parallel()
	begun := func() (*Store, clientv3.KV, string) {
		s := empty(t)
		kv, _ := s.reach(t.Context())
		old := ""
		for size, record := range []string{"a", "b", "c"} {
			if err := s.Append(t.Context(), "CW-01", int64(size), [][]byte{[]byte(record)}); err != nil {
				t.Fatal(err)
			}
			if found, err := kv.Get(t.Context(), headKey("CW-01")); err != nil {
				t.Fatal(err)
			} else if size == 1 {
				old = string(found.Kvs[0].Value)
			}
		}
		if err := s.Append(t.Context(), "SK-02", 0, [][]byte{[]byte("x")}); err != nil {
			t.Fatal(err)
		}
		return s, kv, old
	}
	for name, harm := range map[string]func(kv clientv3.KV, old string) error{
		"lost": func(kv clientv3.KV, _ string) error {
			_, err := kv.Delete(t.Context(), headKey("CW-01"))
			return err
		},
		"gone back": func(kv clientv3.KV, old string) error {
			_, err := kv.Put(t.Context(), headKey("CW-01"), old)
			return err
		},
		"lost with all its records": func(kv clientv3.KV, _ string) error {
			_, err1 := kv.Delete(t.Context(), headKey("CW-01"))
			_, err2 := kv.Delete(t.Context(), appendsKey("CW-01"), clientv3.WithRange(end(appendsKey("CW-01"))))
			return errors.Join(err1, err2)
		},
	} {
		t.Run(name, func(t *testing.T) {
			s, kv, old := begun()
			if err := harm(kv, old); err != nil {
				t.Fatal(err)
			}
			_ = s.View(t.Context(), func(r store.Reader) error {
				_, errSize := r.Size("CW-01")
				_, errRead := r.Read("CW-01", 0)
				_, errAll := r.Journals()
				if name == "lost" && !errors.Is(errSize, store.ErrDamaged) {
					t.Errorf("size: %v", errSize)
				}
				if name != "lost with all its records" && !errors.Is(errRead, store.ErrDamaged) {
					t.Errorf("read: %v", errRead)
				}
				if name != "gone back" && !errors.Is(errAll, store.ErrDamaged) {
					t.Errorf("journals: %v", errAll)
				}
				if _, err := r.Read("SK-02", 0); err != nil {
					t.Errorf("another airframe: %v", err)
				}
				return nil
			})
			if name != "lost with all its records" {
				for size := range int64(4) {
					if err := s.Append(t.Context(), "CW-01", size, [][]byte{[]byte("d")}); err == nil || size == map[string]int64{"gone back": 2}[name] && !errors.Is(err, store.ErrDamaged) {
						t.Errorf("append at %d: %v", size, err)
					}
				}
			}
			report, err := s.Examine(t.Context())
			if err != nil || len(report.Faults) == 0 || !errors.Is(report.Faults[0], store.ErrDamaged) {
				t.Errorf("%+v, %v", report, err)
			}
		})
	}
}
