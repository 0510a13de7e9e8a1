package workflow

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
)

// ledSo are places of a line each: the number of whoever is there, the mark, and the job/step; each a second after the one before.
func ledSo(lines string, since time.Time) (all []Place) {
	for _, line := range strings.Split(lines, "\n") {
		if is := strings.SplitN(line, " ", 3); len(is) == 3 {
			all = append(all, Place{Who: int(is[0][0] - '0'), Mark: is[1], Step: is[2], Since: since.Add(time.Duration(len(all)) * time.Second)})
		}
	}
	return all
}

// Whoever was led to a step beside what is plugged in minds that, also before they recorded anything: whoever is led to another airframe is not
// told to pull the plug under their hands. Left in since an earlier sitting, it is ended by whoever is led to that airframe, and by nobody
// else; where nobody is known to be there, everybody is told to.
func TestWhoWasLedToAPlugMindsIt(t *testing.T) {
	for _, test := range []struct {
		name  string
		after time.Duration // it was plugged in
		at    string        // where they are
		ago   time.Duration // since when
		want  string        // Ben, who is led to the other airframe, reads
	}{
		{"nobody was led there", time.Minute, "", 0, "stay by it himself"},
		{"Ann was led there", time.Minute, "1 PL-00 power/try", 0, "1 stays by it"},
		{"Ann was, and looked at another airframe since", time.Minute, "1 PL-00 power/try\n1 PL-01 plain/sand", 0, "1 stays by it"},
		{"Ann was before it was plugged in, and looked at another one", time.Minute, "1 PL-00 power/try\n1 PL-01 plain/sand", 2 * time.Minute, "stay by it himself"},
		{"Ben was", time.Minute, "2 PL-00 power/try", 0, "stay by it himself"},
		{"Cid was after Ann, to another step", time.Minute, "1 PL-00 power/try\n3 PL-00 power/pull", 0, "1 stays by it"},
		{"yesterday, and nobody was led there", 24 * time.Hour, "", 0, "end it himself"},
		{"yesterday, and Ann was led there", 24 * time.Hour, "1 PL-00 power/try", 0, "1 ends it"},
		{"yesterday, and Ben was led there", 24 * time.Hour, "2 PL-00 power/try", 0, "end it himself"},
	} {
		fleet := powered(t, []string{"plug"}, []steps.Step{hands("plug", "2 min"), hands("try", "20 min"), hands("pull", "3 min")}, one("plain", hands("sand", "20 min")))
		now := evening.Add(test.after)
		at := strings.ReplaceAll(test.at, "power/", fleet[0].Jobs[0].ID+"/")
		s := fleet[1].Seated(Seat{By: "Ben", Who: 2, Known: 1<<1 | 1<<3, Here: 1<<1 | 1<<3, Names: "1 Ann\n3 Cid", At: ledSo(at, now.Add(-test.ago))})
		g := s.Next(now)
		end, stay := s.StandsBeside(&g, now)
		got := "nothing"
		switch minded := s.Minded(&g, now); {
		case len(minded) == 1 && minded[0].Ends && minded[0].Mark == "PL-00":
			got = fmt.Sprint(minded[0].By, " ends it")
		case len(stay) == 1 && stay[0].By > 0 && len(end) == 0:
			got = fmt.Sprint(stay[0].By, " stays by it")
		case len(stay) == 1 && len(end) == 0 && len(minded) == 0:
			got = "stay by it himself"
		case len(end) == 1 && len(minded) == 0:
			got = "end it himself"
		}
		if got != test.want {
			t.Errorf("%s: %s, want %s", test.name, got, test.want)
		}
	}
}

// On the airframe itself whoever is led to it ends what was left plugged in, and whoever isn't stays clear of it.
func TestOneOfTwoEndsWhatWasLeftPluggedIn(t *testing.T) {
	b := armed(t)
	b.after(24 * time.Hour)
	at := fmt.Sprint("1 ", b.state.Airframe.Mark, " ", b.state.Jobs[0].ID, "/")
	for _, test := range []struct {
		at       string
		ann, ben int // who ends it, as each of them is told
	}{{"", 0, 0}, {at + "full", 0, 1}, {"3" + at[1:] + "full", 3, 3}} {
		for who, want := range map[int]int{1: test.ann, 2: test.ben} {
			seat := Seat{By: "Ann", Who: 1, Known: 1<<2 | 1<<3, Here: 1<<2 | 1<<3, Names: "2 Ben\n3 Cid", At: ledSo(test.at, b.now)}
			if who == 2 {
				seat = Seat{By: "Ben", Who: 2, Known: 1<<1 | 1<<3, Here: 1<<1 | 1<<3, Names: "1 Ann\n3 Cid", At: ledSo(test.at, b.now)}
			}
			s := b.state.Seated(seat)
			g := s.Next(b.now)
			got := 0
			if minded := s.Minded(&g, b.now); len(minded) > 0 {
				i := slices.IndexFunc(minded, func(is Plugged) bool { return is.Remedy.Setting.Condition == "battery" })
				if i < 0 || !minded[i].Ends {
					t.Fatalf("%q: person %d is told %+v", test.at, who, minded)
				}
				got = minded[i].By
			}
			if got != want {
				t.Errorf("%q: person %d is told that %d ends it, want %d; led to %s", test.at, who, got, want, ledWith(s, b.now, nil))
			}
		}
	}
}

// What somebody else set hot at the bench they mind while they are there; once they were led elsewhere, or it was left hot since yesterday,
// whoever works beside it ends it.
func TestWhoMindsWhatIsHotAtTheBench(t *testing.T) {
	hot, here := lit(t), working(t, one("tidy", plain("tidy")))
	hot.done("iron-hot")
	mark := hot.state.Airframe.Mark
	here.state.Airframe.Mark = "PL-02"
	use := fmt.Sprint(" ", mark, " ", hot.state.Jobs[0].ID, "/iron-use")
	for _, test := range []struct {
		name      string
		after     time.Duration
		at        string
		by, ended int
	}{
		{"nobody is known to be there", 11 * time.Minute, "", 0, 1},
		{"Ann was led to the next step there", 11 * time.Minute, "1" + use, 1, 0},
		{"this minute", 0, "1" + use, 1, 0},
		{"and was led elsewhere since", 11 * time.Minute, "1" + use + "\n1 PL-03 work/saw", 0, 1},
		{"whoever reads it was led there", 11 * time.Minute, "2" + use, 0, 1},
		{"yesterday", 24 * time.Hour, "1" + use, 0, 1},
	} {
		s := here.state.Seated(Seat{By: "Ben", Who: 2, Known: 2, Here: 2, Names: "1 Ann", At: ledSo(test.at, hot.now)}).Beside([]*State{hot.state})
		end, stay := standsBeside(s, hot.now.Add(test.after))
		by := 0
		if len(stay) == 1 && !stay[0].Ends && stay[0].Mark == mark {
			by = stay[0].By
		}
		if by != test.by || len(end) != test.ended {
			t.Errorf("%s: %d stays by it, ended is %v; want %d, %d ended", test.name, by, textsOf(end), test.by, test.ended)
		}
	}
}

// Whoever may have gone is asked before anybody else ends what they stay by, and sooner where it is to be ended at once.
func TestWhoMayHaveGoneFromAPlug(t *testing.T) {
	b := armed(t)
	s := b.state.Seated(Seat{By: "Ben", Who: 2, Known: 2, Here: 2, Names: "1 Ann", At: ledSo("1 PL-01 a/full\n1 PL-02 a/sand\n3 PL-01 a/full", b.now)})
	for _, test := range []struct {
		who     int
		mark    string
		ends    bool
		minutes int
		gone    bool
	}{
		{1, "PL-01", false, 30, false}, {1, "PL-01", false, 31, true}, {1, "PL-01", true, 10, false}, {1, "PL-01", true, 11, true},
		{2, "PL-01", true, 11, false}, {1, "PL-03", true, 11, false}, // of whom nobody knows when they were there
	} {
		is := Plugged{Mark: test.mark, By: test.who, Ends: test.ends}
		at := s.LastThere(&is, b.now.Add(minutesOf(test.minutes)))
		if want := b.now; !at.IsZero() != test.gone || test.gone && !at.Equal(want) {
			t.Errorf("%+v: they were there last at %v", test, at)
		}
	}
}

// Whoever is told first to end what was left plugged in ends it, wherever they are led and whoever is led there after them, until it is out.
func TestWhoIsToldFirstEndsIt(t *testing.T) {
	b := armed(t)
	b.after(24 * time.Hour)
	mark, job := b.state.Airframe.Mark, b.state.Jobs[0].ID
	ann := Seat{By: "Ann", Who: 1, Known: 1 << 2, Here: 1 << 2, Names: "2 Ben"}
	ends := func(seat Seat) string {
		s := b.state.Seated(seat)
		g := s.Next(b.now)
		told := fmt.Sprint(s.EndsAtOnce(&g, b.now))
		for _, is := range s.Minded(&g, b.now) {
			told += fmt.Sprint(" ", is.By, is.Ends)
		}
		return told
	}
	if got, want := ends(ann), "["+mark+"]"; got != want {
		t.Errorf("nobody is known to be there: %s, want %s", got, want)
	}
	ben := Seat{By: "Ben", Who: 2, Known: 1 << 1, Here: 1 << 1, Names: "1 Ann"}
	ann.At = []Place{{Who: 1, Mark: mark, Since: b.now, Ends: true}, {Who: 1, Mark: "PL-09", Step: "work/saw", Since: b.now},
		{Who: 2, Mark: mark, Step: job + "/full", Since: b.now.Add(time.Second)}}
	ben.At = ann.At
	if got, want := ends(ann), "["+mark+"]"; got != want {
		t.Errorf("Ann, who was told first: %s, want %s", got, want)
	}
	if got := ends(ben); got != "[] 1 true" {
		t.Errorf("Ben, who was led there since: %s", got)
	}
	s := b.state.Seated(Seat{By: "Ben", Who: 2})
	s.Airframe.Mark = "PL-08"
	if !s.CameSince(&ben) {
		t.Error("Ben was led to another airframe before Ann was told, and isn't answered anew")
	}
	ben.At = ann.At[1:2]
	if s.CameSince(&ben) {
		t.Error("that Ann was led to a third airframe is nothing to Ben")
	}
	ben.At = ann.At[:2]
	b.after(time.Minute)
	b.must(setting("battery", "out"), Clear{Step: "tie", Answers: []bool{true}}, setting("battery", "in"))
	if got := ends(ben); got != "[]" {
		t.Errorf("once it is out, and in anew: %s", got)
	}
}

// Nobody stays by two: whoever left one plug for another is asked at once about the first.
func TestNobodyStaysByTwoPlugs(t *testing.T) {
	here, left, safe := armed(t), armed(t), working(t, one("tidy", plain("tidy")))
	left.state.Airframe.Mark, safe.state.Airframe.Mark = "PL-02", "PL-03"
	mark, now := here.state.Airframe.Mark, here.now.Add(time.Minute)
	for at, want := range map[string][2]bool{ // whether she may have gone from PL-02, and from here
		"1 PL-02 work/full":                                     {false, false},
		"1 PL-02 work/full\n1 " + mark + " work/full":           {true, false},
		"1 " + mark + " work/full\n1 PL-02 work/full":           {false, true},
		"1 PL-02 work/full\n3 " + mark + " work/full":           {false, false},
		"1 PL-02 work/full\n1 PL-03 work/tidy":                  {false, false}, // where nothing keeps her
		"1 PL-02 work/full\n1 PL-02 work/full\n1 PL-03 work/it": {false, false},
	} {
		s := here.state.Seated(Seat{By: "Ben", Who: 2, Known: 2, Here: 2, Names: "1 Ann", At: ledSo(at, here.now)}).Beside([]*State{left.state, safe.state})
		for i, of := range []string{"PL-02", mark} {
			if got := !s.LastThere(&Plugged{Mark: of, By: 1}, now).IsZero(); got != want[i] {
				t.Errorf("%q: gone from %s: %t", at, of, got)
			}
		}
	}
}

// Whoever pulls the plug that somebody else was led to, or was told to end, has the airframe from then on.
func TestWhoPulledThePlugGoesOn(t *testing.T) {
	for by, want := range map[string][2]string{"Ben": {"full of 2", "full"}, "Ann": {"full", "full of 1"}} {
		b := armed(t)
		mark, job, led := b.state.Airframe.Mark, b.state.Jobs[0].ID, b.now
		b.after(time.Minute)
		b.by = by
		b.must(setting("battery", "out"))
		for _, ends := range []bool{false, true} {
			at := []Place{{Who: 1, Mark: mark, Step: job + "/full", Since: led, Ends: ends}}
			if ends {
				at[0].Step = ""
			}
			for i, seat := range []Seat{{By: "Ann", Who: 1, Known: 4, Here: 4, Names: "2 Ben", At: at}, {By: "Ben", Who: 2, Known: 2, Here: 2, Names: "1 Ann", At: at}} {
				s := b.state.Seated(seat)
				if got := ledWith(s, b.now, nil); got != want[i] {
					t.Errorf("%s pulled it, ended %t: %s is led to %s, want %s", by, ends, seat.By, got, want[i])
				}
				who, _ := s.isAt(s, s.Next(b.now).Step, b.now)
				if by == "Ben" && who != 2 || by == "Ann" && who != 1 {
					t.Errorf("%s pulled it, ended %t: to %s person %d is at it", by, ends, seat.By, who)
				}
			}
		}
	}
}
