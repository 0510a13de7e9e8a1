package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"fettle/steps/leantest"
	"fettle/store/diskless"

	clientv3 "go.etcd.io/etcd/client/v3"
	"go.etcd.io/etcd/server/v3/embed"
	"go.etcd.io/etcd/server/v3/storage/wal"
)

// asProgram makes the test binary the program.
const asProgram = "FETTLE_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	leantest.Program()
	if at := os.Getenv(atAppend); at != "" {
		callingMain(at)
	}
	if os.Getenv(asServed) != "" {
		serve()
	}
	if os.Getenv(asProgram) != "" {
		main()
	}
	_ = flag.Set("test.parallel", "16") // they wait most of the time, for what is away to be noticed
	wal.SegmentSizeBytes = 1 << 20      // else each member sets aside 128 MB, of memory too where its folder is there
	leantest.Begin()
	diskless.Begin()
	code := m.Run()
	if cluster.server != nil { // tests that cut their ways to it have left it running
		cluster.server.Server.HardStop()
		_ = os.RemoveAll(cluster.server.Config().Dir)
	}
	os.Exit(code)
}

// A bench runs the program in a home of its own.
type bench struct {
	t      testing.TB
	home   string
	env    []string // beside what all have
	served *processes
}

func benchOf(t testing.TB, config string) bench {
	b := bench{t: t, home: t.TempDir(), served: &processes{}}
	t.Cleanup(func() { b.served.end(t) })
	folder := filepath.Join(b.home, ".config", "fettle")
	if err := os.MkdirAll(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(folder, "config.yaml"), []byte(config), 0o600); err != nil {
		t.Fatal(err)
	}
	return b
}

// run runs a command, which must end with the code and print each of the words.
func (b bench) run(code int, command string, words ...string) string {
	b.t.Helper()
	got, err := b.end(command)
	if err != nil {
		b.t.Errorf("%s brought its process down: %v", command, err)
	}
	text := strings.Join(strings.Fields(string(got.Said)), " ")
	if got.Code != code {
		b.t.Errorf("%s ended with %d, want %d: %s", command, got.Code, code, got.Said)
	}
	for _, word := range words {
		if !strings.Contains(text, word) {
			b.t.Errorf("%s does not say %q: %s", command, word, got.Said)
		}
	}
	return text
}

// end runs a command to its end.
func (b bench) end(command string) (answer, error) {
	if len(b.env) == 0 {
		return b.served.run(b, strings.Fields(command))
	}
	cmd := b.command(command)
	out, err := cmd.CombinedOutput()
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		err = nil
	}
	return answer{out, cmd.ProcessState.ExitCode()}, err
}

// command is a command that is a process of its own, and not begun yet.
func (b bench) command(command string) *exec.Cmd {
	cmd := exec.Command(os.Args[0], strings.Fields(command)...)
	cmd.Dir = b.home
	cmd.Env = append(os.Environ(), asProgram+"=1", "HOME="+b.home, "XDG_CONFIG_HOME=", "XDG_DATA_HOME=", "XDG_CACHE_HOME=", "FETTLE_BY=", "FETTLE_STORE=", "FETTLE_LIBRARY=", "FETTLE_KEY=")
	cmd.Env = append(cmd.Env, b.env...)
	return cmd
}

func member(t testing.TB) (server *embed.Etcd, host string) {
	c := embed.NewConfig()
	c.Dir, c.LogLevel, c.LogOutputs, c.UnsafeNoFsync, c.TickMs, c.ElectionMs = t.TempDir(), "panic", []string{os.DevNull}, true, 10, 50
	any := []url.URL{{Scheme: "http", Host: "127.0.0.1:0"}}
	c.ListenClientUrls, c.AdvertiseClientUrls, c.ListenPeerUrls, c.AdvertisePeerUrls = any, any, any, any
	c.InitialCluster = c.InitialClusterFromName(c.Name)
	server, err := embed.StartEtcd(c)
	if err != nil {
		t.Fatal(err)
	}
	select {
	case <-server.Server.ReadyNotify():
	case <-time.After(10 * time.Second):
		server.Close()
		t.Fatal("the member is not ready after ten seconds")
	}
	return server, server.Clients[0].Addr().String()
}

// Two benches have one record; with the cluster gone, nothing is recorded and it is said what
// to do.
func TestTwoBenches(t *testing.T) {
	t.Parallel()
	server, host := member(t)
	open := true
	defer func() {
		if open {
			server.Close()
		}
	}()
	shared := t.TempDir()
	config := "store: etcd://" + host + "/shed\netcd:\n  photos: " + shared + "\n"
	one, two := benchOf(t, config), benchOf(t, config)
	one.run(0, "airframe add CW-01 --design causeway")
	two.run(0, "start CW-01 causeway-build")
	one.run(0, "note CW-01 seen --photo "+picture(t))
	two.run(0, "examine", "CW-01: 4 entries, intact")
	two.run(0, "audit --prove --all", "so is every photo")
	two.run(2, "restore some.db", "store copy")
	one.run(0, "backup copy.db", "1 airframe", "1 photo", "verified")
	one.run(0, "--store copy.db next CW-01")

	other := "etcd://" + host + "/other"
	two.run(0, "store copy etcd://"+host+"/shed "+other, "1 airframe, 4 entries, 1 photo; verified")
	two.run(0, "--store "+other+" note CW-01 elsewhere")
	one.run(3, "store copy copy.db "+other, "this one lacks: 5 there, 4 here")
	one.run(0, "store copy "+other+" copy.db", "1 airframe, 5 entries")

	server.Close()
	open = false
	var all sync.WaitGroup // each waits for the cluster
	for command, of := range map[string]struct {
		code  int
		words []string
	}{
		"next CW-01":        {5, []string{"as of", "ago: the store cannot be reached", "others may have recorded since", "count to the safe side by 2 min", "house-rules"}},
		"status":            {5, []string{"as of", "CW-01"}},
		"timers":            {5, []string{"as of"}},
		"audit":             {5, []string{"cannot be reached"}},
		"done CW-01 nosuch": {5, []string{"cannot be reached", "nothing was recorded"}},
		"note CW-01 unseen": {5, []string{"cannot be reached", "nothing was recorded", "--at"}},
	} {
		all.Go(func() { two.run(of.code, command, of.words...) })
	}
	all.Wait()
}

// What one bench begins, the other one sees and is led past, until it says that it takes it over;
// what is recorded is on the board of whoever watches within a moment.
func TestWhoIsWhere(t *testing.T) {
	t.Parallel()
	server, host := member(t)
	defer server.Close()
	config := "store: etcd://" + host + "/shed\nby: rosa\netcd:\n  bench: window\n"
	one, two := benchOf(t, config), benchOf(t, strings.ReplaceAll(strings.ReplaceAll(config, "rosa", "hugo"), "window", "door"))
	one.run(0, "airframe add CW-01 --design causeway")
	one.run(0, "start CW-01 kit-check")
	one.run(0, "bench --temperature 20C --humidity 50%")

	watch := two.command("status --watch")
	out, err := watch.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := watch.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = watch.Process.Kill(); _ = watch.Wait() }()
	lines := make(chan string)
	go func() {
		for scan := bufio.NewScanner(out); scan.Scan(); {
			lines <- scan.Text()
		}
		close(lines)
	}()
	shows := func(word string) {
		t.Helper()
		for late := time.After(20 * time.Second); ; {
			select {
			case line, open := <-lines:
				if strings.Contains(line, word) {
					return
				}
				if !open {
					t.Fatalf("the watch has ended before it showed %q", word)
				}
			case <-late:
				t.Fatalf("the watch does not show %q", word)
			}
		}
	}
	shows("0 of")
	text := one.run(0, "next CW-01")
	first := step(t, text)
	shows("rosa at window is at " + first)
	if other := two.run(0, "next CW-01", "rosa at window is at "+first, "Ask them", "--take"); step(t, other) != first {
		t.Errorf("the only step is another one: %s", other)
	}
	two.run(0, "next CW-01 --json", `"by": "rosa"`, `"bench": "window"`)
	two.run(0, "next CW-01 --take", "Taken over from rosa at window, there since")
	if took := two.run(0, "next CW-01 --take"); strings.Contains(took, "is at") {
		t.Errorf("of what was taken over before it says %s", took)
	}
	shows("hugo at door is at " + first)
	one.run(0, "status", "hugo at door is at "+first)
	one.run(0, "done CW-01 "+first, "hugo at door is at kit-check/"+first, "tell them")
	shows("1 of")
	if later := one.run(0, "note CW-01 seen"); strings.Contains(later, "tell them") {
		t.Errorf("it is told again: %s", later)
	}
	if text := one.run(0, "status"); strings.Contains(text, "is at "+first) {
		t.Errorf("somebody is still there: %s", text)
	}
	one.run(0, "audit --prove --all", "Intact")
}

// While a sitting is at a step, next of the same person in another window does not move them from it.
func TestNextBesideASitting(t *testing.T) {
	t.Parallel()
	server, host := member(t)
	defer server.Close()
	config := "store: etcd://" + host + "/shed\nby: rosa\netcd:\n  bench: window\n"
	one, two := benchOf(t, config), benchOf(t, strings.ReplaceAll(config, "rosa", "hugo"))
	for _, mark := range []string{"CW-01", "CW-02"} {
		one.run(0, "airframe add "+mark+" --design causeway")
		one.run(0, "start "+mark+" kit-check")
	}
	one.run(0, "bench CW-01 --temperature 20C --humidity 50%")
	one.run(0, "bench CW-02 --temperature 20C --humidity 50%")
	sits := one.command("follow CW-01 --plain")
	in, err := sits.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := sits.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = in.Close(); _ = sits.Wait() }()
	for late := time.Now().Add(20 * time.Second); !strings.Contains(two.run(0, "status"), "rosa at window is at"); {
		if time.Now().After(late) {
			t.Fatal("nobody sees the sitting")
		}
	}
	one.run(0, "next CW-02", "your follow is at", "of CW-01")
	one.run(0, "next CW-01")
	two.run(0, "status CW-01", "rosa at window is at")
	if text := two.run(0, "status CW-02"); strings.Contains(text, "rosa at window") {
		t.Errorf("she is at CW-02 as well: %s", text)
	}
}

// Where photos are each bench's own, whoever keeps one hears that the others lack it, and what is
// copied without it is not called whole.
func TestPhotosOfOneBench(t *testing.T) {
	t.Parallel()
	server, host := member(t)
	defer server.Close()
	config := "store: etcd://" + host + "/shed\nby: rosa\n"
	one, two := benchOf(t, config), benchOf(t, strings.ReplaceAll(config, "rosa", "hugo"))
	one.run(0, "airframe add CW-01 --design causeway")
	if said := one.run(0, "note CW-01 plain"); strings.Contains(said, "photos:") {
		t.Errorf("a note without a photo says %s", said)
	}
	one.run(0, "note CW-01 seen --photo "+picture(t), "the photo is at this bench alone", "photos: in the config")
	one.run(0, "examine", "CW-01: 4 entries, intact")
	two.run(5, "examine", "by rosa", "no photos: folder that all share")
	two.run(0, "backup copy.db", "0 photos", "not whole: 1 photo missing", "placed.jpg of CW-01 by rosa", "no photos: folder that all share")
	two.run(0, "store copy etcd://"+host+"/shed other.db", "not whole: 1 photo missing")
	one.run(0, "backup copy.db", "1 photo; verified")

	mounted := filepath.Join(t.TempDir(), "share")
	three := benchOf(t, config+"etcd:\n  photos: "+mounted+"\n")
	three.run(5, "note CW-01 seen --photo "+picture(t), "cannot write to", "the folder that all benches share is not there", "nothing was saved: mount it")
	three.run(0, "store copy "+one.home+"/copy.db etcd://"+host+"/other", "not whole: 1 photo missing", "the folder that all benches share is not there")
	if err := os.Mkdir(mounted, 0o700); err != nil {
		t.Fatal(err)
	}
	three.run(0, "note CW-01 seen --photo "+picture(t))
	three.run(0, "store copy "+one.home+"/copy.db etcd://"+host+"/other", "1 photo; verified")
}

// step is the step that a page of next has.
func step(t *testing.T, text string) string {
	t.Helper()
	_, rest, _ := strings.Cut(text, "fettle done CW-01 ")
	name, _, _ := strings.Cut(rest, " ")
	if name == "" {
		t.Fatalf("no step in %s", text)
	}
	return name
}

// A copy that is killed goes on where it was: in the end everything is there, with the photos, and
// is the same when it is copied back.
func TestCopyKilled(t *testing.T) {
	t.Parallel()
	server, host := member(t)
	defer server.Close()
	shared := t.TempDir()
	b := benchOf(t, "by: rosa\netcd:\n  photos: "+shared+"\n")
	b.run(0, "demo --store one.db")
	b.run(0, "--store one.db note CW-01 seen --photo "+picture(t))
	for n := range 4 { // more airframes to be in the middle of
		b.run(0, fmt.Sprint("--store one.db airframe add JT-9", n, " --design jetty"))
	}
	to := "etcd://" + host + "/shed"
	client, err := clientv3.New(clientv3.Config{Endpoints: []string{host}})
	if err != nil {
		t.Fatal(err)
	}
	defer client.Close()
	there := func() int64 {
		found, err := client.Get(t.Context(), "fettle/shed/heads/", clientv3.WithPrefix(), clientv3.WithCountOnly())
		if err != nil {
			t.Fatal(err)
		}
		return found.Count
	}
	all := int64(len(marks(t, b, "one.db")))
	killed := 0
	for _, least := range []int64{1, all / 2, all - 1} {
		copied := b.command("store copy one.db " + to)
		if err := copied.Start(); err != nil {
			t.Fatal(err)
		}
		for late := time.Now().Add(20 * time.Second); there() < least && time.Now().Before(late); {
			time.Sleep(time.Millisecond)
		}
		_ = copied.Process.Kill()
		if _ = copied.Wait(); there() < all {
			killed++
		}
	}
	if killed == 0 {
		t.Error("none was killed in the middle")
	}
	t.Logf("%d of 3 copies of %d airframes were killed in the middle", killed, all)
	said := b.run(0, "store copy one.db "+to, "1 photo; verified")
	b.run(0, "--store "+to+" audit --prove --all", "so is every photo")
	b.run(0, "store copy "+to+" two.db", strings.TrimPrefix(said, "• "+to))
	for _, mark := range marks(t, b, "one.db")[:2] {
		if one, two := b.run(0, "--store one.db audit --json "+mark), b.run(0, "--store two.db audit --json "+mark); one != two {
			t.Errorf("%s is another one in the copy of the copy", mark)
		}
	}
	b.run(0, "--store "+to+" backup three.db", "1 photo", "verified")
	b.run(0, "--store "+to+" examine", "CW-01", "intact")
}

func marks(t *testing.T, b bench, store string) (all []string) {
	t.Helper()
	var list struct {
		Airframes []struct {
			Mark string `json:"mark"`
		} `json:"airframes"`
	}
	if err := json.Unmarshal([]byte(b.run(0, "--store "+store+" airframe list --json")), &list); err != nil {
		t.Fatal(err)
	}
	for _, a := range list.Airframes {
		all = append(all, a.Mark)
	}
	return all
}

// A journal whose head was lost is a damaged one, and no airframe that never was.
func TestLostHead(t *testing.T) {
	server, host := member(t)
	defer server.Close()
	b := benchOf(t, "store: etcd://"+host+"/shed\n")
	b.run(0, "airframe add CW-01 --design causeway")
	b.run(0, "airframe add SK-02 --design skerry")
	client, err := clientv3.New(clientv3.Config{Endpoints: []string{host}})
	if err != nil {
		t.Fatal(err)
	}
	defer client.Close()
	if _, err := client.Delete(t.Context(), "fettle/shed/heads/CW-01"); err != nil {
		t.Fatal(err)
	}
	b.run(5, "next CW-01", "damaged", "has records and no head")
	b.run(5, "airframe add CW-01 --design causeway", "damaged")
	b.run(5, "status", "damaged", "2 journals were begun, but 1 are listed")
	b.run(5, "next SK-02", "damaged") // the other one may have an open coat at the same bench
	b.run(5, "examine", "CW-01", "has records and no head", "SK-02: 1 entry")
}

func picture(t *testing.T) string {
	t.Helper()
	path, err := filepath.Abs("../../internal/cli/testdata/placed.jpg")
	if err != nil {
		t.Fatal(err)
	}
	return path
}

// BenchmarkRun holds whole processes on a cluster of one member against the same on a file, in one
// run: a cold next, and a note, of which each bench gives the processor time too.
func BenchmarkRun(b *testing.B) {
	server, host := member(b)
	defer server.Close()
	bench := benchOf(b, "by: rosa\n")
	bench.run(0, "demo --store one.db")
	shed := "etcd://" + host + "/shed"
	bench.run(0, "store copy one.db "+shed)
	for _, command := range []string{"next CW-01 --json", "next CW-01", "note CW-01 seen"} {
		for kind, name := range map[string]string{"file": "one.db", "etcd": shed} {
			b.Run(strings.ReplaceAll(command, " ", "_")+"/"+kind, func(b *testing.B) {
				used := time.Duration(0)
				for b.Loop() {
					cmd := bench.command("--store " + name + " " + command)
					if out, err := cmd.CombinedOutput(); err != nil {
						b.Fatalf("%v: %s", err, out)
					}
					used += cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
				}
				b.ReportMetric(float64(used.Microseconds())/1000/float64(b.N), "cpu-ms/op")
			})
		}
	}
}
