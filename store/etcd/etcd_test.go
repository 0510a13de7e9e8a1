package etcd

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"math"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/anishathalye/porcupine"
	clientv3 "go.etcd.io/etcd/client/v3"
	"go.etcd.io/etcd/server/v3/embed"
	"go.etcd.io/etcd/server/v3/storage/wal"

	"fettle/steps/leantest"
	"fettle/store"
	"fettle/store/bolt"
	"fettle/store/diskless"
	"fettle/store/seal"
	"fettle/store/storetest"
)

// The cluster of the tests: one member in this process.
var cluster struct {
	sync.Once
	server *embed.Etcd
	host   string
	took   time.Duration
	err    error
}

func TestMain(m *testing.M) {
	if os.Getenv(asMember) != "" {
		serve()
	}
	if name := os.Getenv(asWriter); name != "" {
		s := New(name, Access{})
		size, err := int64(1), error(nil)
		if _, err = fmt.Sscan(os.Getenv(asWriter+"_SIZE"), &size); err == nil {
			err = s.Append(context.Background(), "CW-01", size, many())
		}
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	_ = flag.Set("rapid.checks", "30")  // each step waits for the cluster
	_ = flag.Set("test.parallel", "16") // they wait most of the time
	wal.SegmentSizeBytes = 1 << 20      // else each member sets aside 128 MB, of memory too where its folder is there
	leantest.Begin()
	diskless.Begin()
	code := m.Run()
	if cluster.server != nil {
		cluster.server.Server.HardStop() // Close would wait for watches that a test has left
		os.RemoveAll(cluster.server.Config().Dir)
	}
	os.Exit(code)
}

// hostOf starts the cluster of the tests, if it is not there yet.
func hostOf(t *testing.T) string {
	cluster.Do(func() {
		begun := time.Now()
		dir, err := os.MkdirTemp("", "fettle-etcd")
		if err != nil {
			cluster.err = err
			return
		}
		cluster.server, cluster.host, cluster.err = start(dir, func(*embed.Config) {})
		cluster.took = time.Since(begun)
	})
	if cluster.err != nil {
		t.Fatal(cluster.err)
	}
	return cluster.host
}

func start(dir string, also func(*embed.Config)) (*embed.Etcd, string, error) {
	c := embed.NewConfig()
	c.Dir, c.LogLevel, c.LogOutputs = dir, "panic", []string{os.DevNull}
	c.UnsafeNoFsync = true // what reaches the disk is etcd's own affair
	c.TickMs, c.ElectionMs = 10, 50
	any := url.URL{Scheme: "http", Host: "127.0.0.1:0"}
	c.ListenClientUrls, c.AdvertiseClientUrls = []url.URL{any}, []url.URL{any}
	c.ListenPeerUrls, c.AdvertisePeerUrls = []url.URL{any}, []url.URL{any}
	also(c)
	c.InitialCluster = c.InitialClusterFromName(c.Name)
	server, err := embed.StartEtcd(c)
	if err != nil {
		return nil, "", err
	}
	select {
	case <-server.Server.ReadyNotify():
	case <-time.After(10 * time.Second):
		server.Close()
		return nil, "", errors.New("the server is not ready after ten seconds")
	}
	return server, server.Clients[0].Addr().String(), nil
}

var sheds atomic.Int64

// empty returns a store that nobody has written to.
func empty(t *testing.T) *Store {
	return opened(t, fmt.Sprint("shed-", sheds.Add(1)))
}

func opened(t *testing.T, shed string) *Store {
	s := New(Scheme+hostOf(t)+"/"+shed, Access{})
	t.Cleanup(func() { _ = s.Close() })
	return s
}

// Tests run beside each other, but for those that end all leases of the cluster and those that measure time.
func TestStore(t *testing.T) {
	t.Parallel()
	storetest.Run(t, func(t *testing.T) store.Store { return empty(t) })
	t.Logf("the cluster was ready after %v", cluster.took)
}

func read(t *testing.T, s *Store, mark string) [][]byte {
	t.Helper()
	records, err := store.Records(t.Context(), s, mark)
	if err != nil {
		t.Fatal(err)
	}
	return records
}

// keys are the keys of a shed that begin so.
func keys(t *testing.T, s *Store, prefix string) (all []string) {
	t.Helper()
	kv, err := s.reach(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	found, err := kv.Get(t.Context(), prefix, clientv3.WithRange(end(prefix)), clientv3.WithKeysOnly())
	if err != nil {
		t.Fatal(err)
	}
	for _, kv := range found.Kvs {
		all = append(all, string(kv.Key))
	}
	return all
}

// many are 10,000 records, of which one has the greatest size.
func many() (records [][]byte) {
	for i := range 10_000 {
		records = append(records, fmt.Appendf(nil, "record %d %s", i, strings.Repeat(".", i%300)))
	}
	records[5000] = bytes.Repeat([]byte("r"), store.MaxRecord)
	return records
}

// asWriter makes the test binary a process that appends many records to the store of this name, at
// the size that asWriter_SIZE is.
const asWriter = "FETTLE_TEST_AS_WRITER"

// A process that is killed while it appends many records leaves all of them, or none that is seen.
func TestLargeAppendKilled(t *testing.T) {
	kills := 4
	if os.Getenv("FETTLE_LONG") != "" {
		kills = 100
	}
	s := empty(t)
	if err := s.Append(t.Context(), "CW-01", 0, [][]byte{[]byte("first")}); err != nil {
		t.Fatal(err)
	}
	want := seal.HeadOf(many())
	size, whole, half, left, killed := int64(1), time.Duration(0), 0, 0, 0
	// On a busy machine a writer takes longer, or less long, than the first: then it is tried at other moments.
	for i := 0; i <= kills || half == 0 && i <= kills+60; i++ {
		moment := whole * time.Duration(i) / time.Duration(kills+1)
		if i > kills {
			_, share := math.Modf(float64(i) * math.Phi)
			moment = time.Duration(share * float64(whole) * (1 + float64(i-kills)/5))
		}
		writer := exec.Command(os.Args[0])
		writer.Env = append(os.Environ(), asWriter+"="+s.name, fmt.Sprint(asWriter, "_SIZE=", size))
		begun := time.Now()
		if err := writer.Start(); err != nil {
			t.Fatal(err)
		}
		if i > 0 { // the first one tells how long it takes
			time.Sleep(moment)
			_ = writer.Process.Kill()
			killed++
		}
		if err := writer.Wait(); i == 0 && err != nil {
			t.Fatal(err)
		}
		if i == 0 {
			whole = time.Since(begun)
		}
		drafts := len(keys(t, s, keyDrafts))
		if drafts > left {
			half++
		}
		left = drafts
		records := read(t, s, "CW-01")
		switch n := int64(len(records)); n {
		case size:
		case size + 10_000:
			if seal.HeadOf(records[size:]) != want {
				t.Fatalf("kill %d: other records are there", i)
			}
			size = n
		default:
			t.Fatalf("kill %d: %d records are there, of %d and 10,000 more", i, n, size)
		}
		revokeAll(t, s)
		if i == 0 {
			s = empty(t) // a journal that is as short as it was
			if err := s.Append(t.Context(), "CW-01", 0, [][]byte{[]byte("first")}); err != nil {
				t.Fatal(err)
			}
			size, left = 1, 0
		}
	}
	if err := s.Append(t.Context(), "CW-01", size, [][]byte{[]byte("last")}); err != nil {
		t.Fatal(err)
	}
	if left := keys(t, s, keyDrafts); len(left) > 0 {
		t.Errorf("drafts are left: %q", left)
	}
	t.Logf("%d kills within %v: %d in the middle, %d records are there", killed, whole.Round(time.Millisecond), half, size)
	if half == 0 {
		t.Error("nobody was killed in the middle")
	}
}

// An append may be larger than a transaction or a request of the cluster.
func TestLargeAppend(t *testing.T) {
	t.Parallel()
	s := empty(t)
	records := many()
	if err := s.Append(t.Context(), "CW-01", 0, [][]byte{[]byte("first")}); err != nil {
		t.Fatal(err)
	}
	if err := s.Append(t.Context(), "CW-01", 1, records); err != nil {
		t.Fatal(err)
	}
	got := read(t, s, "CW-01")
	if len(got) != 10_001 || seal.HeadOf(got[1:]) != seal.HeadOf(records) {
		t.Errorf("%d records came back, or others", len(got))
	}
	if left := keys(t, s, keyDrafts); len(left) > 0 {
		t.Errorf("drafts are left: %q", left)
	}
	if err := s.View(t.Context(), func(r store.Reader) error {
		some, err := r.Read("CW-01", 9_990)
		if err != nil || len(some) != 11 || !bytes.Equal(some[0], records[9_989]) {
			t.Errorf("the last 11: %d, %v", len(some), err)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
}

// large needs pieces: three of them.
func large() [][]byte {
	return [][]byte{bytes.Repeat([]byte("a"), store.MaxRecord), bytes.Repeat([]byte("b"), store.MaxRecord), []byte("c")}
}

// A writer that ends at any stage leaves nothing that is seen, and what it left is swept by the
// next one, but not before its lease has run out.
func TestCutShort(t *testing.T) {
	for _, cut := range []struct {
		at    stage
		count int
		kept  bool // it is seen to its end
	}{{stageDraft, 1, false}, {stagePiece, 1, false}, {stagePiece, 3, false}, {stagePublish, 1, true}} {
		t.Run(fmt.Sprint(cut.at, cut.count), func(t *testing.T) {
			s := empty(t)
			if err := s.Append(t.Context(), "CW-01", 0, [][]byte{[]byte("first")}); err != nil {
				t.Fatal(err)
			}
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			seen := 0
			s.hook = func(is stage) {
				if is == cut.at {
					if seen++; seen == cut.count {
						cancel()
					}
				}
			}
			err := s.Append(ctx, "CW-01", 1, large())
			s.hook = nil
			if cut.kept {
				if got := read(t, s, "CW-01"); err != nil || len(got) != 4 {
					t.Errorf("%v, with %d records", err, len(got))
				}
				return
			}
			if !errors.Is(err, context.Canceled) {
				t.Errorf("said: %v", err)
			}
			if got := read(t, s, "CW-01"); len(got) != 1 {
				t.Errorf("there are %d records", len(got))
			}
			next := func(size int64) {
				t.Helper()
				if err := opened(t, s.Shed()).Append(t.Context(), "CW-01", size, [][]byte{[]byte("next")}); err != nil {
					t.Fatal(err)
				}
			}
			next(1)
			drafts, pieces := keys(t, s, keyDrafts), keys(t, s, keyPieces)
			if cut.at == stagePiece && (len(drafts) != 1 || len(pieces) != cut.count-1) {
				t.Fatalf("of one that may still be at work are left: %q, %q", drafts, pieces)
			}
			revokeAll(t, s)
			next(2)
			if left := append(keys(t, s, keyDrafts), keys(t, s, keyPieces)...); len(left) > 0 {
				t.Errorf("left are %q", left)
			}
			if got := read(t, s, "CW-01"); len(got) != 3 {
				t.Errorf("there are %d records", len(got))
			}
		})
	}
}

// revokeAll ends all leases, as time does.
func revokeAll(t *testing.T, s *Store) {
	t.Helper()
	leases, err := s.client.Leases(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, lease := range leases.Leases {
		if _, err := s.client.Revoke(t.Context(), lease.ID); err != nil {
			t.Fatal(err)
		}
	}
}

// Whoever was taken for dead and swept away does not publish what is no longer there: it begins
// again, or says that somebody else wrote.
func TestSweptWhileWriting(t *testing.T) {
	for _, size := range []int64{0, 1} { // what the other one writes to: another journal, or the same
		s, other := empty(t), (*Store)(nil)
		other = opened(t, s.Shed())
		done := false
		s.hook = func(is stage) {
			if is != stagePublish || done {
				return
			}
			done = true
			revokeAll(t, s)
			mark := []string{"SK-02", "CW-01"}[size]
			if err := other.Append(t.Context(), mark, 0, [][]byte{[]byte("first")}); err != nil {
				t.Error(err)
			}
		}
		err := s.Append(t.Context(), "CW-01", 0, large())
		if got := read(t, s, "CW-01"); size == 0 && (err != nil || len(got) != 3 || !bytes.Equal(got[1], large()[1])) {
			t.Errorf("%v, with %d records", err, len(got))
		} else if size == 1 && (!errors.Is(err, store.ErrConflict) || len(got) != 1) {
			t.Errorf("%v, with %d records", err, len(got))
		}
		if n := len(keys(t, s, keyPieces)); n != 3*int(1-size) {
			t.Errorf("%d pieces are there", n)
		}
	}
}

// A deaf client loses the answer to transactions that publish.
type deaf struct {
	clientv3.KV
	lose func() error // called after the transaction happened; an error takes the place of its answer
}

func (d deaf) Txn(ctx context.Context) clientv3.Txn { return &deafTxn{Txn: d.KV.Txn(ctx), deaf: d} }

type deafTxn struct {
	clientv3.Txn
	deaf   deaf
	writes bool
}

func (x *deafTxn) If(cs ...clientv3.Cmp) clientv3.Txn { x.Txn = x.Txn.If(cs...); return x }
func (x *deafTxn) Then(ops ...clientv3.Op) clientv3.Txn {
	for _, op := range ops {
		x.writes = x.writes || op.IsPut()
	}
	x.Txn = x.Txn.Then(ops...)
	return x
}
func (x *deafTxn) Else(ops ...clientv3.Op) clientv3.Txn { x.Txn = x.Txn.Else(ops...); return x }
func (x *deafTxn) Commit() (*clientv3.TxnResponse, error) {
	answer, err := x.Txn.Commit()
	if x.writes && err == nil {
		if lost := x.deaf.lose(); lost != nil {
			return nil, lost
		}
	}
	return answer, err
}

func TestLostAnswer(t *testing.T) {
	t.Parallel()
	const journal = "CW-01"
	for _, test := range []struct {
		name   string
		times  int  // how many answers are lost
		others bool // somebody else appends before it is sent again
		want   int  // of records
	}{
		{"once", 1, false, 1},
		{"often", 5, false, 1},
		{"once, and others went on", 1, true, 2},
	} {
		t.Run(test.name, func(t *testing.T) {
			s := empty(t)
			other := opened(t, s.Shed())
			kv, err := s.reach(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			lost := 0
			s.kv = deaf{kv, func() error {
				if lost++; lost > test.times {
					return nil
				}
				if test.others && lost == 1 {
					if err := other.Append(t.Context(), journal, 1, [][]byte{[]byte("theirs")}); err != nil {
						t.Error(err)
					}
				}
				return context.DeadlineExceeded
			}}
			if err := s.Append(t.Context(), journal, 0, [][]byte{[]byte("mine")}); err != nil {
				t.Error(err)
			}
			if got := read(t, other, journal); len(got) != test.want || string(got[0]) != "mine" {
				t.Errorf("the journal: %q", got)
			}
		})
	}
	t.Run("for good", func(t *testing.T) {
		s := empty(t)
		s.patience = 200 * time.Millisecond
		kv, err := s.reach(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		s.kv = deaf{kv, func() error { return context.DeadlineExceeded }}
		err = s.Append(t.Context(), journal, 0, [][]byte{[]byte("mine")})
		if !errors.Is(err, store.ErrUnknown) || errors.Is(err, store.ErrAway) || strings.Contains(err.Error(), "nothing was") {
			t.Errorf("said: %v", err)
		}
	})
}

// With nobody there, both reading and recording end soon and say what to do.
func TestAway(t *testing.T) {
	s := New("etcd://127.0.0.1:1/shed", Access{}) // nobody listens at port 1
	s.patience = 100 * time.Millisecond
	defer s.Close()
	begun := time.Now()
	err := s.View(t.Context(), func(store.Reader) error { t.Error("a view was shown"); return nil })
	if !errors.Is(err, store.ErrAway) {
		t.Errorf("said: %v", err)
	}
	err = s.Append(t.Context(), "CW-01", 0, [][]byte{[]byte("a")})
	if !errors.Is(err, store.ErrAway) || !strings.Contains(err.Error(), "nothing was written") {
		t.Errorf("said: %v", err)
	}
	if took := time.Since(begun); took > 2*time.Second {
		t.Errorf("it took %v", took)
	}
}

// Of a shed that nobody has recorded anything in it is told which others the cluster has, once and
// without reading them; of another one nothing is.
func TestVacant(t *testing.T) {
	name := fmt.Sprint("empty-", sheds.Add(1))
	one, two := opened(t, name+"-a"), opened(t, name+".b")
	for _, s := range []*Store{one, two} {
		if err := s.Append(t.Context(), "CW-01", 0, [][]byte{[]byte("a")}); err != nil {
			t.Fatal(err)
		}
	}
	told := [][]string{}
	for _, s := range []*Store{opened(t, name), one} {
		s.Vacant(func(others []string) { told = append(told, others) })
		for range 2 {
			if err := s.View(t.Context(), func(store.Reader) error { return nil }); err != nil {
				t.Fatal(err)
			}
		}
	}
	if len(told) != 1 || len(told[0]) > mostSheds {
		t.Fatalf("told %q", told)
	}
	first := opened(t, "0") // the first of all
	if err := first.Append(t.Context(), "CW-01", 0, [][]byte{[]byte("a")}); err != nil {
		t.Fatal(err)
	}
	all := opened(t, name).sheds(t, name)
	if all[0] != "0" || slices.Compact(slices.Clone(all)) == nil || len(all) > mostSheds {
		t.Errorf("there are %q", all)
	}
}

// sheds are the others that a store of the name is told of.
func (s *Store) sheds(t *testing.T, name string) (all []string) {
	t.Helper()
	s.Vacant(func(others []string) { all = others })
	if err := s.View(t.Context(), func(store.Reader) error { return nil }); err != nil || len(all) == 0 {
		t.Fatal(all, err)
	}
	if slices.Contains(all, name) {
		t.Errorf("it is among the others: %q", all)
	}
	return all
}

// A store in which any value is not as it was written says so, or has lost a whole journal's
// head, which examining it finds.
func TestDamage(t *testing.T) {
	t.Parallel()
	s := empty(t)
	for size, record := range []string{"a", "b"} {
		if err := s.Append(t.Context(), "CW-01", int64(size), [][]byte{[]byte(record)}); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Append(t.Context(), "CW-01", 2, large()); err != nil {
		t.Fatal(err)
	}
	digest, err := s.Keep(t.Context(), []byte("document"))
	if err != nil {
		t.Fatal(err)
	}
	if report, err := s.Examine(t.Context()); err != nil || len(report.Faults) > 0 || len(report.Journals) != 1 || report.Journals[0].Size != 5 || len(report.Documents) != 1 {
		t.Errorf("%+v, %v", report, err)
	}
	if records, fault, err := s.Rescue(t.Context(), "CW-01"); len(records) != 5 || fault != nil || err != nil {
		t.Errorf("%d, %v, %v", len(records), fault, err)
	}
	all := func() error {
		return s.View(t.Context(), func(r store.Reader) error {
			_, errJournals := r.Journals()
			_, errRead := r.Read("CW-01", 0)
			_, errDocument := r.Document(digest)
			return errors.Join(errJournals, errRead, errDocument)
		})
	}
	kv, _ := s.reach(t.Context())
	harmed := 0
	for _, prefix := range []string{keyHeads, keyAppends, keyDocuments, keyPieces} {
		for _, key := range keys(t, s, prefix) {
			found, err := kv.Get(t.Context(), key)
			if err != nil {
				t.Fatal(err)
			}
			value := string(found.Kvs[0].Value)
			put := func(value string) {
				if _, err := kv.Put(t.Context(), key, value); err != nil {
					t.Fatal(err)
				}
			}
			for at := 0; at < len(value); at += len(value)/7 + 1 {
				flipped := []byte(value)
				flipped[at] ^= 4
				put(string(flipped))
				if err := all(); !errors.Is(err, store.ErrDamaged) {
					t.Errorf("%s, byte %d: %v", key, at, err)
				}
				harmed++
			}
			if _, err := kv.Delete(t.Context(), key); err != nil {
				t.Fatal(err)
			}
			report, err := s.Examine(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			_, fault, err := s.Rescue(t.Context(), "CW-01")
			if prefix != keyDocuments && !errors.Is(fault, store.ErrDamaged) || prefix == keyDocuments && len(report.Documents) > 0 {
				t.Errorf("without %s: %v, %v, %+v", key, fault, err, report)
			}
			put(value)
		}
	}
	if err := all(); err != nil || harmed < 30 {
		t.Errorf("after %d harms: %v", harmed, err)
	}
}

// A store of a later program, or of another, is left alone.
func TestForeign(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]error{format + "2": store.ErrNewer, "something else": store.ErrForeign} {
		s := empty(t)
		kv, _ := s.reach(t.Context())
		if _, err := kv.Put(t.Context(), keyFormat, text); err != nil {
			t.Fatal(err)
		}
		if err := s.Append(t.Context(), "CW-01", 0, [][]byte{[]byte("a")}); !errors.Is(err, want) {
			t.Errorf("append: %v", err)
		}
		if err := s.View(t.Context(), func(store.Reader) error { return nil }); !errors.Is(err, want) {
			t.Errorf("view: %v", err)
		}
	}
}

// What is read in a view is of one moment, also what is asked for later.
func TestViewIsOneMoment(t *testing.T) {
	t.Parallel()
	s := empty(t)
	write := func(mark string, size int64) {
		t.Helper()
		if err := s.Append(t.Context(), mark, size, [][]byte{[]byte("a")}); err != nil {
			t.Fatal(err)
		}
	}
	write("CW-01", 0)
	err := s.View(t.Context(), func(r store.Reader) error {
		write("CW-01", 1)
		write("SK-02", 0)
		if _, err := s.Keep(t.Context(), []byte("later")); err != nil {
			return err
		}
		size, err := r.Size("CW-01")
		other, err2 := r.Size("SK-02")
		if all, err3 := r.Journals(); size != 1 || other != 0 || len(all) != 1 || errors.Join(err, err2, err3) != nil {
			t.Errorf("%d, %d, %v: %v", size, other, all, errors.Join(err, err2, err3))
		}
		if _, err := r.Document(store.Digest([]byte("later"))); !errors.Is(err, store.ErrNotFound) {
			t.Errorf("a document of later: %v", err)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// The head of a journal is a register that is written only where it still has the value that was
// read: porcupine looks for an order of three writers' appends that explains all that they saw.
func TestLinearizable(t *testing.T) {
	t.Parallel()
	each := 40
	if os.Getenv("FETTLE_LONG") != "" {
		each = 2000
	}
	shed := empty(t).Shed()
	var mu sync.Mutex
	var tried []porcupine.Operation
	done := 0
	begun := time.Now()
	var wg sync.WaitGroup
	for w := range 3 {
		s := opened(t, shed)
		wg.Go(func() {
			size := int64(0)
			for range each {
				call := time.Since(begun)
				err := s.Append(t.Context(), "CW-01", size, [][]byte{fmt.Append(nil, w)})
				back := time.Since(begun)
				var conflict *store.ConflictError
				out := headSeen{done: err == nil}
				if errors.As(err, &conflict) {
					out.have = conflict.Have
				} else if err != nil {
					t.Error(err)
					return
				}
				mu.Lock()
				tried = append(tried, porcupine.Operation{ClientId: w, Input: headTry{size}, Call: int64(call), Output: out, Return: int64(back)})
				if out.done {
					done++
				}
				mu.Unlock()
				if size++; !out.done {
					size = out.have
				}
			}
		})
	}
	wg.Wait()
	if got := porcupine.CheckOperationsTimeout(headModel(), tried, time.Minute); got != porcupine.Ok {
		t.Errorf("no order explains what %d appends saw: %v", len(tried), got)
	}
	if got := len(read(t, opened(t, shed), "CW-01")); got != done || done == 0 {
		t.Errorf("%d appends were acknowledged, and %d are there", done, got)
	}
	// A history that cannot be is found out, so that the check can fail.
	tried[len(tried)-1].Output = headSeen{done: true, have: -1}
	tried[len(tried)-1].Input = headTry{1 << 40}
	if porcupine.CheckOperations(headModel(), tried) {
		t.Error("an append at a size that the journal never had passes for one that can be")
	}
}

// BenchmarkAppend holds an append of one record on a cluster of one member against one in a file,
// on the same disk in one run, both synced.
func BenchmarkAppend(b *testing.B) {
	server, host, err := start(b.TempDir(), func(c *embed.Config) { c.UnsafeNoFsync = false })
	if err != nil {
		b.Fatal(err)
	}
	defer server.Close()
	shed := New(Scheme+host+"/shed", Access{})
	defer shed.Close()
	for name, s := range map[string]store.Store{"etcd": shed, "bolt": bolt.New(filepath.Join(b.TempDir(), "fettle.db"))} {
		b.Run(name, func(b *testing.B) {
			mark := fmt.Sprint("CW-", b.N)
			for size := int64(0); b.Loop(); size++ {
				if err := s.Append(b.Context(), mark, size, [][]byte{bytes.Repeat([]byte("r"), 300)}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
