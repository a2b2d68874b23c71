package ride

import (
	"cmp"
	"math"
	"slices"
)

// oneTackTimes is how much longer one tack must be for a ride to have it.
const oneTackTimes = 4.0

// rides fills in the flights' numbers.
func (d *detector) rides() {
	g := d.g
	wind, known := d.windRad()
	for k := range d.s.Reaches {
		if known {
			d.s.Reaches[k].Tack = tack(wind, d.s.Reaches[k].Course)
		}
	}
	for k, r := range d.runs {
		q := Ride{Start: g.at(r.from), End: g.at(r.to)}
		var sum, n float64
		for i := r.from; i < r.to; i++ {
			v := g.speed[i]
			if math.IsNaN(v) {
				continue
			}
			sum, n = sum+g.mag[i], n+1
			q.MaxSpeed = math.Max(q.MaxSpeed, v)
		}
		q.Distance = sum * g.Step
		if n > 0 {
			q.MeanSpeed = sum / n
		}
		on := map[string]float64{} // s on each tack
		for _, l := range d.s.Reaches {
			if l.Ride == k {
				on[l.Tack] += l.End - l.Start
			}
		}
		switch {
		case on["starboard"] > oneTackTimes*on["port"]:
			q.Tack = "starboard"
		case on["port"] > oneTackTimes*on["starboard"]:
			q.Tack = "port"
		}
		d.s.Rides = append(d.s.Rides, q)
	}
	slices.SortStableFunc(d.s.Events, func(a, b Event) int { return cmp.Compare(a.Time, b.Time) })
}

// tack is the side the wind comes from on a course.
func tack(from, course float64) string {
	if wrapPi(from-course) > 0 {
		return "starboard"
	}
	return "port"
}

func (d *detector) totals() {
	t := &d.s.Totals
	for _, r := range d.s.Rides {
		t.Foiling += r.End - r.Start
		t.Distance += r.Distance
	}
	for _, r := range d.s.Reaches {
		t.Straight += r.End - r.Start
	}
	t.Rides = len(d.s.Rides)
	for _, x := range d.s.Turns {
		if x.Complete {
			t.Turns++
		}
	}
	for _, e := range d.s.Events {
		if e.Kind == "touchdown" {
			t.Touchdowns++
		}
	}
}
