package csv

import (
	"bufio"
	"fmt"
	"io"
	"math/rand/v2"
	"strings"
	"testing"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// TestBlocks: a file read in blocks of any size, as pieces on all cores, holds
// what it holds read in one: columns, marks, warnings with their lines.
func TestBlocks(t *testing.T) {
	const longest = 200
	read := func(text string, block int) (*raw.Columns, error) {
		c := &reader{r: bufio.NewReaderSize(strings.NewReader(text), longest), size: int64(len(text)), block: block}
		c.layout = &layout{longest: longest, eol: '\n'}
		c.notes.File = "log.csv"
		return c.read()
	}
	heads := []string{
		"time_s,ax_g,ay_g,az_g,gx_dps,gy_dps,gz_dps,lat_deg,lon_deg,speed_kn,mark\n",
		"time_ms,left_n,right_n,pitch_moment_nm,ax_g,ay_g,az_g,gx_dps,gy_dps,gz_dps,mark\n",
		"time_s,time_utc,ax_g,ay_g,az_g,gx_dps,gy_dps,gz_dps,lat_deg,lon_deg,speed_kn\n",
		"time_utc,ax_g,ay_g,az_g,gx_dps,gy_dps,gz_dps,lat_deg,lon_deg,mark,speed_kn\n",
	}
	for seed := range uint64(60) {
		rnd := rand.New(rand.NewPCG(seed, 1))
		head := heads[seed%4]
		columns := strings.Split(strings.TrimSpace(head), ",")
		var b strings.Builder
		b.WriteString(head)
		at := 0.0
		for range 200 {
			at += 0.01
			var row []string
			for _, name := range columns {
				cell := fmt.Sprintf("%.3f", rnd.Float64())
				switch {
				case name == "time_ms":
					cell = fmt.Sprintf("%.1f", at*1000)
				case name == "time_s":
					cell = fmt.Sprint(at)
				case name == "time_utc":
					cell = fmt.Sprintf("2026-09-20T10:00:%06.3f", at+1)
				case name == "mark":
					cell = []string{"", "", "wing", "kite", "0"}[rnd.IntN(5)]
				case rnd.IntN(40) == 0:
					cell = []string{"", "x", "NaN", "1e60"}[rnd.IntN(4)]
				}
				row = append(row, cell)
			}
			line := strings.Join(row, ",")
			switch rnd.IntN(60) {
			case 0:
				line = "# start: 2026-09-20T12:00:00Z\n" + line
			case 1:
				line = "# device: " + row[1] + "\n\n" + line + ",more"
			case 2:
				line = strings.Repeat("7", 150+rnd.IntN(900))
			case 3:
				at -= 5 * rnd.Float64()
			case 4:
				line = ",," + line[1:]
			}
			b.WriteString(line + "\n")
		}
		text := b.String()
		text = text[:len(text)-rnd.IntN(8)]
		want, err := read(text, len(text)+longest)
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		wanted := asText(want)
		for _, block := range []int{2 * longest, 3*longest + 1, 2000} {
			got, err := read(text, block)
			if err != nil {
				t.Fatalf("seed %d, blocks of %d: %v", seed, block, err)
			}
			if asText(got) != wanted {
				t.Fatalf("seed %d: blocks of %d give\n%+v\nwant\n%+v", seed, block, got, want)
			}
		}
	}
}

// TestBlockPanics: a panic over a block comes to who called the reader.
func TestBlockPanics(t *testing.T) {
	text := "time_s,ax_g,ay_g,az_g\n" + strings.Repeat("1,0.1,0.2,1.0\n", 500)
	c := &reader{size: int64(len(text)), block: 500}
	c.r = bufio.NewReaderSize(readerFunc(func(p []byte) (int, error) {
		if c.rowsN > 0 && c.cols[1].slot == unit.SlotAcc { // once, before the first core begins
			c.cols[1].slot = unit.SlotMark + 1 // is nowhere
		}
		n := copy(p[:min(len(p), 500)], text)
		if text = text[n:]; n == 0 {
			return 0, io.EOF
		}
		return n, nil
	}), 200)
	c.layout = &layout{longest: 200, eol: '\n'}
	defer func() {
		if p := recover(); p == nil || c.rowsN > 100 {
			t.Errorf("after %d rows: recovered %v", c.rowsN, p)
		}
	}()
	c.read()
}

type readerFunc func([]byte) (int, error)

func (f readerFunc) Read(p []byte) (int, error) { return f(p) }

// asText is what is compared: NaN is no other NaN's equal.
func asText(c *raw.Columns) string { return fmt.Sprintf("%+v", *c) }
