package fit

import (
	"math"
	"slices"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// A clock ties a device's own clock to UTC within one file of the chain.
type clock struct {
	from   [4]int  // lengths of the streams at the file's start
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

// date brings the times that count from power-on to UTC, where something ties
// their clock. Samples that no date is known for are left out where others have
// one, since the two cannot be put in order.
func (f *reader) date() {
	if !slices.ContainsFunc(f.clocks, func(c clock) bool { return c.system }) {
		return
	}
	dated := func(t float64) bool { return t+float64(f.base) >= systemTime }
	streams := f.streams()
	first, rough, lost := math.NaN(), false, false
	for k, s := range streams {
		p := 0
		for j, t := range s.Time() {
			for p+1 < len(f.clocks) && j >= f.clocks[p+1].from[k] {
				p++
			}
			if c := &f.clocks[p]; c.tied && !dated(t) {
				t += c.offset
				s.Time()[j] = t
				rough = rough || c.rough
			} else {
				lost = lost || !dated(t)
			}
			if first != first && dated(t) {
				first = t
			}
		}
	}
	if first != first {
		f.Warn(raw.Warning{Kind: raw.NoDate})
		return
	}
	if rough {
		f.Warn(raw.Warning{Kind: raw.RoughDate})
	}
	whole := 0.0
	if f.base < systemTime {
		whole = math.Floor(first) // times stay small: time zero moves
	}
	for _, s := range streams {
		t := s.Time()
		f.Drop(s.Keep(func(i int) bool { return !lost || dated(t[i]) }), raw.NoDateBeside, s.Name)
		for j := range s.Time() {
			s.Time()[j] -= whole
		}
	}
	f.base += int64(whole)
}
