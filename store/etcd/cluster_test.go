package etcd

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"net/url"
	"os"
	"os/exec"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/anishathalye/porcupine"
	clientv3 "go.etcd.io/etcd/client/v3"
	"go.etcd.io/etcd/server/v3/embed"
	"go.uber.org/zap"

	"fettle/store"
)

// asMember makes the test binary a member of a cluster: what it is to be, as JSON.
const asMember = "FETTLE_TEST_AS_MEMBER"

// A member is a process.
type member struct {
	Name, Dir, Client, Peer, Cluster string

	space string // its network's; "": it has none of its own
	cmd   *exec.Cmd
}

// serve is the process of a member.
func serve() {
	var m member
	c := embed.NewConfig()
	err := json.Unmarshal([]byte(os.Getenv(asMember)), &m)
	if err == nil {
		address := func(host string) []url.URL { return []url.URL{{Scheme: "http", Host: host}} }
		c.Name, c.Dir, c.InitialCluster, c.LogLevel, c.LogOutputs = m.Name, m.Dir, m.Cluster, "panic", []string{os.DevNull}
		c.ListenClientUrls, c.AdvertiseClientUrls = address(m.Client), address(m.Client)
		c.ListenPeerUrls, c.AdvertisePeerUrls = address(m.Peer), address(m.Peer)
		_, err = embed.StartEtcd(c)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	select {}
}

func (m *member) start(t *testing.T) {
	t.Helper()
	is, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	words := []string{os.Args[0]}
	if m.space != "" {
		words = append([]string{"ip", "netns", "exec", m.space}, words...)
	}
	m.cmd = exec.Command(words[0], words[1:]...)
	m.cmd.Env, m.cmd.Stderr = append(os.Environ(), asMember+"="+string(is)), os.Stderr
	if err := m.cmd.Start(); err != nil {
		t.Fatal(err)
	}
}

func (m *member) kill() {
	_ = m.cmd.Process.Kill()
	_ = m.cmd.Wait()
}

// cut cuts a member off from all others, or ends that. Where it has no network of its own it is
// stopped.
func (m *member) cut(off bool) error {
	if m.space == "" {
		signal := "-CONT"
		if off {
			signal = "-STOP"
		}
		return exec.Command("kill", signal, fmt.Sprint(m.cmd.Process.Pid)).Run()
	}
	is := "up"
	if off {
		is = "down"
	}
	return ip("link", "set", m.space, is)
}

func ip(words ...string) error {
	out, err := exec.Command("ip", words...).CombinedOutput()
	if err != nil {
		err = fmt.Errorf("ip %s: %w: %s", strings.Join(words, " "), err, out)
	}
	return err
}

// networks gives each member a network of its own on one bridge, and reports whether that is
// allowed here.
func networks(t *testing.T, members []*member) bool {
	t.Helper()
	bridge := fmt.Sprint("fb", os.Getpid()%100000)
	if ip("link", "add", bridge, "type", "bridge") != nil {
		return false
	}
	t.Cleanup(func() { _ = ip("link", "del", bridge) })
	base := fmt.Sprintf("10.%d.%d.", 100+os.Getpid()%100, rand.IntN(250))
	all := [][]string{{"addr", "add", base + "254/24", "dev", bridge}, {"link", "set", bridge, "up"}}
	for i, m := range members {
		space, inside, host := fmt.Sprint(bridge, "m", i), fmt.Sprint(bridge, "i", i), base+fmt.Sprint(i+1)
		if ip("netns", "add", space) != nil {
			return false
		}
		t.Cleanup(func() { _ = ip("netns", "del", space) })
		within := func(words ...string) []string { return append([]string{"netns", "exec", space, "ip"}, words...) }
		all = append(all,
			[]string{"link", "add", space, "type", "veth", "peer", "name", inside},
			[]string{"link", "set", inside, "netns", space},
			[]string{"link", "set", space, "master", bridge},
			[]string{"link", "set", space, "up"},
			within("addr", "add", host+"/24", "dev", inside),
			within("link", "set", inside, "up"),
			within("link", "set", "lo", "up"))
		m.space, m.Client, m.Peer = space, host+":2379", host+":2380"
	}
	for _, words := range all {
		if err := ip(words...); err != nil {
			t.Fatal(err)
		}
	}
	return true
}

// clusterOfThree is a cluster of three processes.
func clusterOfThree(t *testing.T) []*member {
	t.Helper()
	var all []*member
	for i := range 3 {
		all = append(all, &member{Name: fmt.Sprint("m", i), Dir: t.TempDir()})
	}
	if os.Geteuid() != 0 || !networks(t, all) {
		t.Log("networks of their own are not allowed here: members are stopped instead of cut off")
		for _, m := range all {
			m.space, m.Client, m.Peer = "", free(t), free(t)
		}
	}
	var list []string
	for _, m := range all {
		list = append(list, m.Name+"=http://"+m.Peer)
	}
	for _, m := range all {
		m.Cluster = strings.Join(list, ",")
		m.start(t)
		t.Cleanup(m.kill)
	}
	return all
}

// free is an address that nobody listens at.
func free(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// leader is the member that the others follow; nil: nobody says.
func leader(ctx context.Context, members []*member) *member {
	for _, m := range members {
		client, err := clientv3.New(clientv3.Config{Endpoints: []string{"http://" + m.Client}, DialTimeout: time.Second, Logger: zap.NewNop()})
		if err != nil {
			continue
		}
		asked, stop := context.WithTimeout(ctx, time.Second)
		status, err := client.Status(asked, m.Client)
		stop()
		_ = client.Close()
		if err == nil && status.Leader == status.Header.MemberId {
			return m
		}
	}
	return nil
}

// A fleet is what three benches appended, and what they were told of it.
type fleet struct {
	mu       sync.Mutex
	acked    map[string]map[int64]string // by mark and position
	tried    []porcupine.Operation       // on the journal that all write to
	unknown  int                         // of which nobody knew, until they looked
	away     int                         // refused since the cluster could not be reached
	longest  time.Duration               // that one append took with all its tries
	begun    time.Time
	appended atomic.Int64
}

type headTry struct{ size int64 }

type headSeen struct {
	done bool
	have int64 // by the conflict
}

// headModel is a register that is written only where it has the value that was read.
func headModel() porcupine.Model {
	return porcupine.Model{
		Init: func() any { return int64(0) },
		Step: func(state, input, output any) (bool, any) {
			size, in, out := state.(int64), input.(headTry), output.(headSeen)
			if out.done {
				return size == in.size, size + 1
			}
			return size == out.have && size != in.size, size
		},
	}
}

// append appends one record, and goes on until it is told that it is there, or finds it.
func (f *fleet) append(t *testing.T, s *Store, bench int, mark string, size int64, text string, shared bool) int64 {
	first := time.Now()
	for {
		call := time.Since(f.begun)
		err := s.Append(t.Context(), mark, size, [][]byte{[]byte(text)})
		back := time.Since(f.begun)
		seen := headSeen{done: err == nil}
		var conflict *store.ConflictError
		known := true
		switch {
		case err == nil:
		case errors.As(err, &conflict):
			seen.have = conflict.Have
		case errors.Is(err, store.ErrUnknown):
			for { // look at the record before doing it again
				records, err := store.Records(t.Context(), s, mark)
				if err == nil {
					seen.done = int64(len(records)) > size && string(records[size]) == text
					known = seen.done // else it is as if nobody had asked
					break
				}
				time.Sleep(100 * time.Millisecond)
			}
			back = time.Since(f.begun)
			f.mu.Lock()
			f.unknown++
			f.mu.Unlock()
		case errors.Is(err, store.ErrAway):
			f.mu.Lock()
			f.away++
			f.mu.Unlock()
			time.Sleep(100 * time.Millisecond)
			known = false
		default:
			t.Errorf("bench %d at %s %d: %v", bench, mark, size, err)
			return -1
		}
		f.mu.Lock()
		if shared && known {
			f.tried = append(f.tried, porcupine.Operation{ClientId: bench, Input: headTry{size}, Call: int64(call), Output: seen, Return: int64(back)})
		}
		if seen.done {
			f.acked[mark][size] = text
			f.longest = max(f.longest, time.Since(first))
		}
		f.mu.Unlock()
		switch {
		case seen.done:
			f.appended.Add(1)
			return size + 1
		case conflict != nil:
			size = conflict.Have
		}
	}
}

// Three benches append to a cluster of three processes, of which the leader is killed and started
// again, and one is cut off, over and over. Nothing that was acknowledged is lost, nothing is there
// twice, and what each bench wrote is in its order.
func TestThreeNodes(t *testing.T) {
	if os.Getenv("FETTLE_LONG") == "" {
		t.Skip("FETTLE_LONG=1 runs it")
	}
	const benches, together = 3, 5000
	const all = "ALL"
	members := clusterOfThree(t)
	name := Scheme + members[0].Client + "," + members[1].Client + "," + members[2].Client + "/shed"
	plain := Access{}
	for _, m := range members {
		host, _, _ := net.SplitHostPort(m.Client)
		plain.Plain = append(plain.Plain, host)
	}
	for late := time.Now().Add(time.Minute); leader(t.Context(), members) == nil; time.Sleep(100 * time.Millisecond) {
		if time.Now().After(late) {
			t.Fatal("there is no leader after a minute")
		}
	}
	f := &fleet{acked: map[string]map[int64]string{all: {}}, begun: time.Now()}
	var benchesDone sync.WaitGroup
	written := make([]map[string]int, benches)
	for b := range benches {
		own := fmt.Sprint("CW-", b)
		f.acked[own] = map[int64]string{}
		written[b] = map[string]int{}
		s := New(name, plain)
		defer s.Close()
		benchesDone.Go(func() {
			sizes := map[string]int64{}
			for n := b; n < together && !t.Failed(); n += benches {
				mark := own
				if n/benches%5 == 0 { // every fifth goes to the journal that all write to
					mark = all
				}
				if sizes[mark] = f.append(t, s, b, mark, sizes[mark], fmt.Sprint(b, " ", written[b][mark]), mark == all); sizes[mark] < 0 {
					return
				}
				written[b][mark]++
			}
		})
	}
	over := make(chan struct{})
	go func() { benchesDone.Wait(); close(over) }()
	kills, cuts := 0, 0
	pause := func(d time.Duration) bool {
		select {
		case <-over:
			return false
		case <-time.After(d):
			return true
		}
	}
	for pause(time.Duration(500+rand.IntN(1500)) * time.Millisecond) {
		m := leader(t.Context(), members)
		if m == nil {
			continue
		}
		if kills <= cuts {
			m.kill()
			kills++
			pause(time.Duration(rand.IntN(2000)) * time.Millisecond)
			m.start(t)
		} else {
			if cuts%2 == 1 { // the leader every other time
				m = members[rand.IntN(3)]
			}
			if err := m.cut(true); err != nil {
				t.Fatal(err)
			}
			cuts++
			pause(time.Duration(500+rand.IntN(2500)) * time.Millisecond)
			if err := m.cut(false); err != nil {
				t.Fatal(err)
			}
		}
	}
	took := time.Since(f.begun)

	s := New(name, plain)
	defer s.Close()
	lost, doubled, disordered, total := 0, 0, 0, 0
	for mark, acked := range f.acked {
		var records [][]byte
		for late := time.Now().Add(time.Minute); ; time.Sleep(100 * time.Millisecond) {
			var err error
			if records, err = store.Records(t.Context(), s, mark); err == nil {
				break
			} else if time.Now().After(late) {
				t.Fatal(err)
			}
		}
		total += len(records)
		for at, text := range acked {
			if at >= int64(len(records)) || string(records[at]) != text {
				lost++
			}
		}
		times, next := map[string]int{}, [benches]int{}
		for _, record := range records {
			times[string(record)]++
			var b, n int
			if _, err := fmt.Sscan(string(record), &b, &n); err != nil || n != next[b] {
				disordered++
			}
			next[b] = n + 1
		}
		for _, n := range times {
			doubled += n - 1
		}
	}
	if lost+doubled+disordered > 0 || total != together || f.appended.Load() != together {
		t.Errorf("%d acknowledged, %d there: %d lost, %d doubled, %d out of order", f.appended.Load(), total, lost, doubled, disordered)
	}
	if report, err := s.Examine(t.Context()); err != nil || len(report.Faults) > 0 {
		t.Errorf("examined: %v, %v", report.Faults, err)
	}
	if kills < 3 || cuts < 3 {
		t.Errorf("only %d kills and %d cuts: nothing was tried", kills, cuts)
	}
	checked := porcupine.CheckOperationsTimeout(headModel(), f.tried, 2*time.Minute)
	if checked != porcupine.Ok {
		t.Errorf("no order explains what %d appends to one journal saw: %v", len(f.tried), checked)
	}
	t.Logf("%d appends of %d benches in %v, cut off in networks of their own: %v; the leader killed %d times, one cut off %d times; %d refused while the cluster was away, of %d nobody knew until they looked, one took at most %v; %d appends to one journal are linearizable: %v",
		total, benches, took.Round(time.Second), members[0].space != "", kills, cuts, f.away, f.unknown, f.longest.Round(time.Millisecond), len(f.tried), checked)
}
