package ingest_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"evenfoot/ingest"
)

// TestFITMarks: sessions, laps and the timer's stops are told; what is not
// understood is counted.
func TestFITMarks(t *testing.T) {
	var m fitMaker
	m.records(5, ts0)
	m.def(1, 21, []fd{{253, u32, 1}, {0, 0x00, 1}, {1, 0x00, 1}})
	m.data(1, uint32(ts0), byte(0), byte(0))   // timer, start
	m.data(1, uint32(ts0+2), byte(0), byte(4)) // timer, stop all
	m.data(1, uint32(ts0+3), byte(0), byte(0))
	m.data(1, uint32(ts0+3), byte(11), byte(3)) // battery
	m.def(2, 19, []fd{{253, u32, 1}, {2, u32, 1}, {7, u32, 1}})
	m.data(2, uint32(ts0+2), uint32(ts0), uint32(2000))
	m.data(2, uint32(ts0+5), uint32(ts0+2), uint32(0xFFFFFFFF)) // length not known
	m.def(3, 18, []fd{{253, u32, 1}, {2, u32, 1}, {7, u32, 1}, {5, 0x00, 1}})
	m.data(3, uint32(ts0+5), uint32(ts0), uint32(4000), byte(43))
	l, err := ingest.ReadFIT(m.file(14))
	if err != nil {
		t.Fatal(err)
	}
	at := func(s int) time.Time { return time.Unix(631065600+ts0+int64(s), 0).UTC() }
	want := []ingest.Mark{
		{Time: at(0), Kind: "start"},
		{Time: at(2), Kind: "stop"},
		{Time: at(3), Kind: "start"},
		{Time: at(0), Kind: "lap", LengthS: 2},
		{Time: at(2), Kind: "lap"},
		{Time: at(0), Kind: "session", Text: "windsurfing", LengthS: 4}, // sport 43: as tormoder/fit v0.15.0's profile names it
	}
	got := l.Files[0].Marks
	for i := range max(len(want), len(got)) {
		if i >= len(got) || i >= len(want) || got[i] != want[i] {
			t.Fatalf("marks %v, want %v", got, want)
		}
	}
	if n := dropCount(l, "event × 1"); n != 1 {
		t.Errorf("the battery event is counted %d times: %v", n, l.Files[0].Dropped)
	}
}

// TestFITPresses: a lap that was pressed is a mark at its end, and so is the
// device's own marker; a lap that ends with the session is no press.
func TestFITPresses(t *testing.T) {
	var m fitMaker
	m.records(5, ts0)
	m.def(2, 19, []fd{{253, u32, 1}, {2, u32, 1}, {7, u32, 1}, {24, 0x00, 1}})
	m.data(2, uint32(ts0+3), uint32(ts0), uint32(3000), byte(0))   // manual
	m.data(2, uint32(ts0+5), uint32(ts0+3), uint32(2000), byte(7)) // session end
	m.def(1, 21, []fd{{253, u32, 1}, {0, 0x00, 1}, {1, 0x00, 1}})
	m.data(1, uint32(ts0+4), byte(32), byte(3)) // user marker
	l, err := ingest.ReadFIT(m.file(14))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, k := range l.Files[0].Marks {
		got = append(got, fmt.Sprintf("%s %d", k.Kind, k.Time.Unix()-631065600-ts0))
	}
	if want := "lap 0, press 3, lap 3, mark 4"; strings.Join(got, ", ") != want {
		t.Errorf("marks %v, want %s", got, want)
	}
}

// TestFITManyMarks: a hostile file does not fill the memory with laps.
func TestFITManyMarks(t *testing.T) {
	var m fitMaker
	m.records(2, ts0)
	m.def(2, 19, []fd{{2, u32, 1}})
	for range 5000 {
		m.data(2, uint32(ts0))
	}
	l, err := ingest.ReadFIT(m.file(14))
	if err != nil {
		t.Fatal(err)
	}
	if n, rest := len(l.Files[0].Marks), dropCount(l, "lap × 4000"); n != 1000 || rest != 4000 {
		t.Errorf("%d marks, %d counted: %v", n, rest, l.Files[0].Dropped)
	}
}
