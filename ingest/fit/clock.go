package fit

import (
	"math"
	"slices"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// A clock ties a device's own clock to UTC within one file of the chain.
type clock struct {
	mark   [4]int  // lengths of the columns at the file's start
	system bool    // some time stamps count from power-on
	tied   bool    // offset is known
	rough  bool    // only by stamps that stand side by side
	offset float64 // UTC minus system time, s
	last   uint32
}

// note looks at the time stamp of a message whose time counts.
func (c *clock) note(ts uint32) {
	c.system = c.system || ts < systemTime
	if c.last != 0 && !c.tied && (c.last < systemTime) != (ts < systemTime) {
		c.tied, c.rough = true, true
		c.offset = math.Abs(float64(ts) - float64(c.last))
	}
	c.last = ts
}

func (c *clock) tie(offset float64) {
	if !c.tied || c.rough {
		c.tied, c.rough, c.offset = true, false, offset
	}
}

// correlation takes in a timestamp_correlation message.
func (f *reader) correlation(m *msg) {
	part := func(frac, ms int) float64 { return or(m.num(frac)/32768, or(m.num(ms), 0)/1000) }
	if sys := m.num(1); sys == sys && f.timed && f.last >= systemTime {
		f.clock.tie(float64(f.last) + part(0, 3) - sys - part(2, 4))
	}
}

// streams are what is stamped, the receiver's own fixes last.
func (f *reader) streams() [4]raw.Stream {
	acc, gyr := &f.sensors[unit.Acc], &f.sensors[unit.Gyr]
	return [4]raw.Stream{{Table: acc.Table(), Name: acc.name}, {Table: gyr.Table(), Name: gyr.name},
		{Table: f.rec.Table(), Name: "GPS fix"}, {Table: f.meta.Table(), Name: "GPS fix"}}
}

// settleClock brings the times of the last file of the chain to UTC, where
// its stamps count from power-on and something ties them.
func (f *reader) settleClock() {
	c := &f.clock
	if !c.system {
		return
	}
	if !c.tied {
		f.undated = true
		return
	}
	whole := 0.0
	if f.base < systemTime {
		// Keep times small: move time zero by whole seconds.
		whole = math.Floor(c.offset)
	}
	for k, s := range f.streams() {
		t := s.Time()
		for j := range t {
			if j < c.mark[k] || t[j]+float64(f.base) >= systemTime {
				t[j] -= whole
				continue
			}
			t[j] += c.offset - whole
			f.roughly[k] = f.roughly[k] || c.rough
		}
	}
	f.base += int64(whole)
}

// dropUndated leaves out samples that no date is known for where others have
// one, since the two cannot be put in order.
func (f *reader) dropUndated() {
	if !f.undated {
		return
	}
	dated := func(t float64) bool { return t+float64(f.base) >= systemTime }
	shift := math.NaN()
	for _, s := range f.streams() {
		if i := slices.IndexFunc(s.Time(), dated); i >= 0 {
			shift = math.Floor(s.Time()[i])
			break
		}
	}
	if shift != shift {
		f.Warn(raw.Warning{Kind: raw.NoDate})
		return
	}
	move := f.base < systemTime
	for _, s := range f.streams() {
		t := s.Time()
		f.Drop(s.Keep(func(i int) bool { return dated(t[i]) }), raw.NoDateBeside, s.Name)
		for j := range s.Time() {
			if move {
				s.Time()[j] -= shift
			}
		}
	}
	if move {
		f.base += int64(shift)
	}
}
