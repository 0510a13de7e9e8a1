package main

import (
	"context"
	"encoding/json"
	"encoding/pem"
	"io"
	"log"
	"net"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"fettle/cmd/internal/cli"
	"fettle/cmd/internal/keep"
	"fettle/store/bolt"
	"fettle/store/etcd"

	"go.etcd.io/etcd/server/v3/embed"
)

// The member of the tests of outages, which no test stops: they cut their own ways to it.
var cluster struct {
	sync.Once
	server *embed.Etcd
	host   string
}

// A way leads to the member, and can be cut: then nobody gets through, or only who asks.
type way struct {
	net.Listener
	mu   sync.Mutex
	cut  bool // whoever comes is sent away
	deaf int  // from loses on what is asked goes through, and no answer comes back
	all  []net.Conn
}

// How far a way is from losing answers.
const (
	answering = iota
	once      // it lets one more question be answered
	answered
	loses
)

func newWay(t *testing.T) *way {
	t.Helper()
	cluster.Do(func() { cluster.server, cluster.host = member(shared{t}) })
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	w := &way{Listener: l}
	t.Cleanup(func() { w.set(true, answering); _ = l.Close() })
	go w.serve()
	return w
}

// shared is a test whose folder outlives it.
type shared struct{ *testing.T }

func (s shared) TempDir() string {
	dir, err := os.MkdirTemp("", "fettle-shed")
	if err != nil {
		s.Fatal(err)
	}
	return dir
}

func (w *way) serve() {
	for {
		from, err := w.Accept()
		if err != nil {
			return
		}
		to, err := net.Dial("tcp", cluster.host)
		w.mu.Lock()
		cut := w.cut || err != nil
		w.all = append(w.all, from)
		w.mu.Unlock()
		if cut {
			_ = from.Close()
			continue
		}
		go func() { _, _ = io.Copy(questions{w, to}, from); _ = to.Close() }()
		go func() { _, _ = io.Copy(answers{w, from}, to); _ = from.Close() }()
	}
}

// answers go back, but where the way is deaf.
type answers struct {
	way *way
	to  net.Conn
}

func (a answers) Write(data []byte) (int, error) {
	a.way.mu.Lock()
	deaf := a.way.deaf
	if deaf == once && len(data) > few {
		a.way.deaf = answered
	}
	a.way.mu.Unlock()
	if deaf == loses {
		return len(data), nil
	}
	return a.to.Write(data)
}

// few is as many bytes as there are in what is no question and no answer, as an acknowledgement.
const few = 64

// questions go to the member.
type questions struct {
	way *way
	to  net.Conn
}

func (q questions) Write(data []byte) (int, error) {
	q.way.mu.Lock()
	if q.way.deaf == answered && len(data) > few {
		q.way.deaf = loses
	}
	q.way.mu.Unlock()
	return q.to.Write(data)
}

func (w *way) set(cut bool, deaf int) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.cut, w.deaf = cut, deaf; cut {
		for _, c := range w.all {
			_ = c.Close()
		}
		w.all = nil
	}
}

// store is the name of the shed of a test by this way.
func (w *way) store(t *testing.T) string {
	return etcd.Scheme + w.Addr().String() + "/" + strings.ReplaceAll(t.Name(), "/", "-")
}

// atAppend is the variable with the address that is called before and after something is written.
const atAppend = "FETTLE_TEST_AT_APPEND"

// called makes the program call at an address before and after it writes.
func called(k keep.Kind, at string) keep.Kind {
	with, open := k.With, k.Open
	k.With = func(c keep.Cluster) keep.Kind { return called(with(c), at) }
	k.Open = func(name string, migrated func(from, to int, kept string)) keep.Store {
		return calling{open(name, migrated).(shed), at}
	}
	return k
}

type calling struct {
	shed
	at string
}

func (c calling) Append(ctx context.Context, mark string, size int64, records [][]byte) error {
	c.call("before")
	err := c.shed.Append(ctx, mark, size, records)
	c.call("after")
	return err
}

// call waits until whoever is called has done what they do.
func (c calling) call(when string) {
	to, err := net.Dial("tcp", c.at)
	if err != nil {
		return
	}
	_, _ = io.WriteString(to, when+"\n")
	_, _ = io.ReadAll(to)
}

func callingMain(at string) {
	os.Exit(cli.Main(keep.Kind{Open: openBolt, Create: bolt.Create}, called(clusters(keep.Cluster{}), at)))
}

// at calls do whenever the program is about to write, and has written.
func (b bench) at(do func(when string)) bench {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.t.Fatal(err)
	}
	b.t.Cleanup(func() { _ = l.Close() })
	go func() {
		for {
			from, err := l.Accept()
			if err != nil {
				return
			}
			line := make([]byte, 32)
			n, _ := from.Read(line)
			do(strings.TrimSpace(string(line[:n])))
			_ = from.Close()
		}
	}()
	b.env = append(b.env, atAppend+"="+l.Addr().String())
	return b
}

// A copy that the connection dies under says that it is run again, and goes on then.
func TestCopyCutShort(t *testing.T) {
	t.Parallel()
	w := newWay(t)
	b := benchOf(t, "by: rosa\n")
	for _, mark := range []string{"CW-01", "CW-02"} {
		b.run(0, "--store one.db airframe add "+mark+" --design causeway")
	}
	copying := "store copy one.db " + w.store(t)
	text := b.at(func(when string) { w.set(when == "after", answering) }).run(5, copying, "the copy is not complete: run it again", "it goes on where it was")
	if strings.Contains(text, "--at") || strings.Contains(text, "nothing") {
		t.Errorf("it says %s", text)
	}
	w.set(false, answering)
	b.run(0, copying, "2 airframes, 2 entries")
}

// What was recorded, what was not, and what nobody knows of are told apart, by words and by the
// exit code, wherever the connection dies.
func TestWhatWasRecorded(t *testing.T) {
	t.Parallel()
	for name, test := range map[string]struct {
		when    string
		deaf    int
		command string
		code    int
		words   []string
		entries string
	}{
		"after it was written": {"after", answering, "note CW-01 seen", 0, []string{"noted: seen (entry 2)"}, "CW-01: 3 entries"},
		"between two of one command": {"after", answering, "note CW-01 seen --photo PICTURE", 6,
			[]string{"CW-01 is recorded up to entry 2; then", "look before doing anything again: fettle airframe show CW-01 --entries"}, "CW-01: 3 entries"},
		"before it is written": {"before", answering, "note CW-01 seen", 5, []string{"nothing was recorded", "cannot be reached", "--at"}, "CW-01: 2 entries"},
		"while it is written":  {"before", once, "note CW-01 seen", 6, []string{"it is not known whether it was recorded", "look before doing it again: fettle airframe show CW-01 --entries"}, "CW-01: 3 entries"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w := newWay(t)
			b := benchOf(t, "by: rosa\nstore: "+w.store(t)+"\n")
			b.run(0, "airframe add CW-01 --design causeway")
			b.run(0, "start CW-01 kit-check")
			cutting := b.at(func(when string) {
				if when == test.when {
					w.set(test.deaf == answering, test.deaf)
				}
			})
			text := cutting.run(test.code, strings.ReplaceAll(test.command, "PICTURE", picture(t)), test.words...)
			if recorded := test.when == "after" || test.deaf == once; recorded && strings.Contains(text, "nothing was recorded") {
				t.Errorf("it says %s", text)
			}
			w.set(false, answering)
			b.run(0, "examine", test.entries)
		})
	}
}

// A running is a command that has not ended, and what it has said so far.
type running struct {
	b   bench
	cmd *exec.Cmd
	mu  sync.Mutex
	out strings.Builder
}

func (r *running) Write(data []byte) (int, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.out.Write(data)
}

func (r *running) said() string {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.out.String()
}

func (b bench) begin(command string) *running {
	b.t.Helper()
	r := &running{b: b, cmd: b.command(command)}
	r.start()
	return r
}

func (r *running) start() {
	r.b.t.Helper()
	r.cmd.Stdout, r.cmd.Stderr = r, r
	if err := r.cmd.Start(); err != nil {
		r.b.t.Fatal(err)
	}
	r.b.t.Cleanup(func() { _ = r.cmd.Process.Kill(); _ = r.cmd.Wait() })
}

// says waits until it has said each of these, in their order, since the last time.
func (r *running) says(words ...string) {
	r.b.t.Helper()
	for _, word := range words {
		for late := time.Now().Add(30 * time.Second); ; time.Sleep(10 * time.Millisecond) {
			_, rest, found := strings.Cut(r.said(), word)
			if found {
				r.mu.Lock()
				r.out.Reset()
				r.out.WriteString(rest)
				r.mu.Unlock()
				break
			}
			if time.Now().After(late) {
				r.b.t.Fatalf("%v does not say %q: %s", r.cmd.Args[1:], word, r.said())
			}
		}
	}
}

// dated runs a command in an outage, whose JSON must have the time of which it is.
func dated(t *testing.T, b bench, command string) {
	t.Helper()
	cmd := b.command(command)
	out, _ := cmd.Output()
	var of struct {
		AsOf time.Time `json:"as_of"`
	}
	if err := json.Unmarshal(out, &of); err != nil || cmd.ProcessState.ExitCode() != 5 || time.Since(of.AsOf).Abs() > time.Minute {
		t.Errorf("%s ended with %d, %v: %s", command, cmd.ProcessState.ExitCode(), err, out)
	}
}

// In an outage what was last seen is shown, with who was where and of when it is; a watch goes on
// with that until the cluster is back, whether it began before or in it, and where nothing was ever
// seen none says that there is nothing.
func TestShownInAnOutage(t *testing.T) {
	t.Parallel()
	w := newWay(t)
	one := benchOf(t, "by: rosa\nstore: "+w.store(t)+"\netcd:\n  bench: window\n")
	two := benchOf(t, "by: hugo\nstore: "+etcd.Scheme+cluster.host+"/"+t.Name()+"\netcd:\n  bench: door\n")
	fresh := benchOf(t, "by: olga\nstore: "+w.store(t)+"\n")
	two.run(0, "airframe add CW-01 --design causeway")
	two.run(0, "start CW-01 kit-check")
	two.run(0, "bench --temperature 20C --humidity 50%")
	first := step(t, two.run(0, "next CW-01"))
	one.run(0, "next CW-01", "hugo at door is at "+first)
	one.run(0, "timers")

	before := one.begin("status --watch")
	before.says("0 of")
	w.set(true, answering)
	var all sync.WaitGroup // each waits for the cluster
	for _, command := range []string{"next CW-01", "status"} {
		all.Go(func() { one.run(5, command, "as of", "hugo at door is at "+first) })
	}
	for _, command := range []string{"status", "timers", "next CW-01"} {
		all.Go(func() { dated(t, one, command+" --json") })
	}
	all.Wait()
	begun, unseen := one.begin("timers --watch"), fresh.begin("timers --watch")
	before.says("as of")
	begun.says("as of", "Nothing is drying or curing.")
	unseen.says("cannot be reached")
	if text := unseen.said(); strings.Contains(text, "Nothing is drying") {
		t.Errorf("where nothing was ever seen it says %s", text)
	}
	two.run(0, "done CW-01 "+first)
	w.set(false, answering)
	before.says("can be reached again", "1 of")
	begun.says("can be reached again")
	if text := before.said() + begun.said(); strings.Contains(text, "nothing was recorded") || strings.Contains(text, "--at") {
		t.Errorf("a watch records nothing, and says %s", text)
	}
	one.run(0, "next CW-01")
}

// follow begins in an outage with what was last seen, says of when that is and records nothing; what
// was recorded at this bench is part of that. Once the cluster is back it goes on, and says so.
func TestFollowInAnOutage(t *testing.T) {
	t.Parallel()
	w := newWay(t)
	b := benchOf(t, "by: rosa\nstore: "+w.store(t)+"\netcd:\n  bench: window\n")
	unseen := benchOf(t, "by: olga\nstore: "+w.store(t)+"\n")
	b.run(0, "airframe add CW-01 --design causeway")
	b.run(0, "start CW-01 kit-check")
	b.run(0, "bench CW-01 --temperature 20C --humidity 50%")
	first := step(t, b.run(0, "next CW-01"))
	b.run(0, "done CW-01 "+first)
	w.set(true, answering)
	var all sync.WaitGroup                                                     // each waits for the cluster
	all.Go(func() { b.run(5, "next CW-01", "as of", "Read everything once") }) // and not what was recorded here
	all.Go(func() {
		unseen.run(5, "follow CW-01", "cannot be reached", "was not read here while it could be")
	})
	all.Go(func() {
		quits := b.command("follow CW-01 --plain")
		quits.Stdin = strings.NewReader("q\n")
		if out, _ := quits.CombinedOutput(); quits.ProcessState.ExitCode() != 5 || !strings.Contains(string(out), "As of") {
			t.Errorf("who only looks ends with %d: %s", quits.ProcessState.ExitCode(), out)
		}
	})
	all.Wait()
	sits := &running{b: b, cmd: b.command("follow CW-01 --plain")}
	in, err := sits.cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	sits.start()
	sits.says("Read everything once", "As of", "cannot be reached", "1 yes")
	_, _ = io.WriteString(in, "1\n2\n3\n4\n")
	sits.says("Nothing was recorded", "--at", "1 yes")
	w.set(false, answering)
	time.Sleep(2 * time.Second) // so long it is not asked anew
	_, _ = io.WriteString(in, "1\n2\n3\n4\n")
	sits.says("cleared hold read-first", "can be reached again")
	_, _ = io.WriteString(in, "q\n")
	sits.says("All that was answered is recorded")
	if err := sits.cmd.Wait(); err != nil {
		t.Errorf("once it is back, it ends with %v", err)
	}
}

// A cluster that is there, and is not spoken to as it asks, is a mistake of the config and no outage.
func TestSpokenToOtherwise(t *testing.T) {
	t.Parallel()
	w := newWay(t)
	other := httptest.NewTLSServer(nil)
	defer other.Close()
	other.Config.ErrorLog = log.New(io.Discard, "", 0)
	ca := filepath.Join(t.TempDir(), "ca.pem")
	if err := os.WriteFile(ca, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: other.Certificate().Raw}), 0o600); err != nil {
		t.Fatal(err)
	}
	var all sync.WaitGroup // each waits for the cluster
	for config, says := range map[string]string{
		"store: " + w.store(t) + "\netcd:\n  ca: " + ca + "\n":        "TLS",
		"store: etcd://" + other.Listener.Addr().String() + "/shed\n": "it speaks TLS alone",
	} {
		for _, command := range []string{"status", "note CW-01 seen", "follow CW-01"} {
			all.Go(func() {
				if text := benchOf(t, config).run(2, command, says, "as ca:", "fettle help sheds"); strings.Contains(text, "cannot be reached") {
					t.Errorf("%s says %s", command, text)
				}
			})
		}
	}
	all.Wait()
}

// What is no address of a shed, and what a config cannot mean, is said to be that, with what to
// write: it is neither an outage nor the name of a file. No password is repeated.
func TestMistypedStore(t *testing.T) {
	t.Parallel()
	w := newWay(t)
	host := cluster.host
	b := benchOf(t, "by: rosa\n")
	const form = "etcd://HOST:PORT,HOST:PORT/SHED"
	for _, name := range []string{
		"etcd:" + host + "/shed", "ETCD://" + host + "/shed", host + "/shed", "http://" + host + "/shed", "etcd://localhost/shed", "etcd://" + host, "etcd://" + host + "/shed/a",
		"etcd://rosa:geheim@" + host + "/shed", "etcd://" + host + "/shed?password=geheim",
		host, "bench-a:2379,bench-b:2379", "etcd://localhost:0/shed", "etcd://localhost:99999/shed",
	} {
		for _, command := range []string{"status", "airframe add X-1 --design causeway"} {
			if text := b.run(2, "--store "+name+" "+command, form); strings.Contains(text, "geheim") || strings.Contains(text, "recorded") {
				t.Errorf("of %s it says %s", name, text)
			}
		}
		b.run(2, "store copy "+name+" one.db", form)
	}
	b.run(2, "--store one.db backup "+w.store(t), "a backup is a file; to copy into a shed: fettle store copy one.db "+w.store(t))
	if left, _ := os.ReadDir(b.home); len(left) != 1 { // its config
		t.Errorf("files were made: %v", left)
	}
	for config, says := range map[string]string{
		"etcd:\n  bench: [geheim]\n":      "line 3: bench: takes one text: write bench: TEXT",
		"etcd:\n  plain: geheim\n":        "line 3: plain: takes a list: write plain: [TEXT, TEXT]",
		"etcd:\n  user:\n    - geheim\n":  "line 4: user: takes one text",
		"etcd: geheim\n":                  "line 2: etcd: takes keys on lines of their own",
		"etcd:\n  ca: none.pem\n":         "reading ca: below etcd: in the config",
		"etcd:\n  cacert: ca.pem\n":       "line 3: cacert is not one of the keys below etcd: ca, cert, key, user, password, plain, bench, photos",
		"stor: x\netcd:\n  bench: door\n": "line 2: stor is not one of its keys; did you mean store?",
	} {
		if text := benchOf(t, "store: "+w.store(t)+"\n"+config).run(2, "status", says); strings.Contains(text, "geheim") || strings.Contains(text, "unmarshal") {
			t.Errorf("of the config %q it says %s", config, text)
		}
	}
	for config, says := range map[string]string{
		"etcd:\n  bench: door\n":             "the config has etcd: and no store:",
		"store:\netcd:\n  bench: door\n":     "line 1: store: names no store",
		"by: rosa\nstore: \"\" # none yet\n": "line 2: store: names no store",
		"store: \" \"\n":                     "the name of the store is blank",
		"just a text\n":                      "is made of lines such as by: NAME",
	} {
		b := benchOf(t, config)
		b.run(2, "airframe add CW-01 --design causeway", says)
		if left, _ := os.ReadDir(filepath.Join(b.home, ".local")); len(left) > 0 {
			t.Errorf("with the config %q files were made: %v", config, left)
		}
	}
	benchOf(t, "etcd:\n  bench: door\n").run(0, "--store one.db status")

	b.run(0, "--store "+w.store(t)+" airframe add CW-01 --design causeway", "the shed TestMistypedStore has no record yet")
	mistyped := "--store " + w.store(t) + "x "
	b.run(4, "store copy "+w.store(t)+"x copy.db", "has no record, so there is nothing to copy")
	b.run(0, mistyped+"status", "the shed TestMistypedStorex has no record yet; the cluster has", "TestMistypedStore", "No airframe is registered yet")
	b.run(0, mistyped+"airframe add CW-01 --design causeway", "the shed TestMistypedStorex has no record yet; the cluster has")
	if text := b.run(0, mistyped+"status"); strings.Contains(text, "no record") {
		t.Errorf("once something is recorded it says %s", text)
	}
}
