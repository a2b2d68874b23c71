package analysis

import (
	"slices"
	"strings"

	"evenfoot/filter"
	"evenfoot/ingest/raw"
)

// What speaks for land under what was told as flight.
const (
	// heightBlock is the time over which heights are averaged, s, and heightsLeast
	// how many blocks it takes: what a receiver's height wanders stays below
	// heightOfLand, m, between the tenth and the ninetieth of a hundred.
	heightBlock, heightsLeast, heightOfLand = 60.0, 5, 40.0
	// paceOnFoot is a runner's, m/s (our estimate): a large wing under a light
	// rider flies from there on.
	paceOnFoot = 3.6
)

// landSports are words in what devices call outings without a board on water.
var landSports = []string{"running", "run", "walking", "walk", "hiking", "hike", "cycling", "biking", "bike", "bicycle", "ebiking", "motorcycling", "driving",
	"mountaineering", "climbing", "skiing", "snowboarding", "snowshoeing", "snowmobiling", "inline", "skating",
	"horseback", "golf", "soccer", "tennis", "flying", "gliding", "diving"}

// ashore lists what speaks against the flights that were told.
func (o *observation) ashore() (why []Finding) {
	for _, m := range o.log.Marks {
		if m.Kind == raw.Session && slices.ContainsFunc(strings.Fields(m.Text), func(word string) bool { return slices.Contains(landSports, word) }) {
			why = append(why, Note{Kind: LandSport, Sport: m.Text})
			break
		}
	}
	if h := o.heights(); len(h) >= heightsLeast {
		if d := h[len(h)*9/10] - h[len(h)/10]; d > heightOfLand {
			why = append(why, Note{Kind: LandHeights, Height: d})
		}
	}
	if b := o.ride.BestSpeeds.TenSeconds; b.Value < paceOnFoot {
		why = append(why, Note{Kind: LandPace, Speed: b.Value})
	}
	return why
}

// heights are the heights in flight, m, a median for each block, sorted.
func (o *observation) heights() (blocks []float64) {
	g := &o.log.GPS
	e := exporter{rides: o.ride.Rides}
	for i := 0; i < len(g.Time); {
		var in []float64
		for from := g.Time[i]; i < len(g.Time) && g.Time[i]-from < heightBlock; i++ {
			if a := float64(g.Alt[i]); a == a && g.Flags[i] == 0 && e.rideAt(g.Time[i]) > 0 {
				in = append(in, a)
			}
		}
		if len(in) > 0 {
			blocks = append(blocks, filter.Median(in))
		}
	}
	slices.Sort(blocks)
	return blocks
}
