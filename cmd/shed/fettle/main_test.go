package main

import (
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	clientv3 "go.etcd.io/etcd/client/v3"
	"go.etcd.io/etcd/server/v3/embed"
)

// asProgram makes the test binary the program.
const asProgram = "FETTLE_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		main()
	}
	os.Exit(m.Run())
}

// A bench runs the program in a home of its own.
type bench struct {
	t    *testing.T
	home string
}

func benchOf(t *testing.T, config string) bench {
	b := bench{t, t.TempDir()}
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
	cmd := exec.Command(os.Args[0], strings.Fields(command)...)
	cmd.Dir = b.home
	cmd.Env = append(os.Environ(), asProgram+"=1", "HOME="+b.home, "XDG_CONFIG_HOME=", "XDG_DATA_HOME=", "XDG_CACHE_HOME=", "FETTLE_BY=rosa", "FETTLE_STORE=", "FETTLE_LIBRARY=", "FETTLE_KEY=")
	out, _ := cmd.CombinedOutput()
	text := strings.Join(strings.Fields(string(out)), " ")
	if got := cmd.ProcessState.ExitCode(); got != code {
		b.t.Errorf("%s ended with %d, want %d: %s", command, got, code, out)
	}
	for _, word := range words {
		if !strings.Contains(text, word) {
			b.t.Errorf("%s does not say %q: %s", command, word, out)
		}
	}
	return text
}

func member(t *testing.T) (server *embed.Etcd, host string) {
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
		"next CW-01":        {0, []string{"as of", "ago: the store cannot be reached", "others may have recorded since", "count to the safe side by 120 s", "house-rules"}},
		"status":            {0, []string{"as of", "CW-01"}},
		"timers":            {0, []string{"as of"}},
		"audit":             {5, []string{"cannot be reached"}},
		"done CW-01 nosuch": {5, []string{"cannot be reached", "nothing was recorded"}},
		"note CW-01 unseen": {5, []string{"cannot be reached", "nothing was recorded", "--at"}},
	} {
		all.Go(func() { two.run(of.code, command, of.words...) })
	}
	all.Wait()
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
