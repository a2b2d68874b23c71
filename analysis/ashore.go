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
	// courseSectors part the compass, againstWind is the width, deg, that the wind
	// shuts to a board it drives (sails point within 40° of it at best), and
	// shutShare more of the way in flight than tacks lead through it (simulated
	// outings: up to 0.024, a kite's); shown on wayLeast, m, or more.
	courseSectors, againstWind, shutShare, wayLeast = 72, 80, 0.05, 3000.0
	// wayToTurn is the way, m, that a board is hardly taken without turning back
	// (simulated outings: up to 1100).
	wayToTurn = 4000.0
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
	if o.windless {
		return why
	}
	if way, turns := o.ride.Totals.Distance, max(1, o.ride.Totals.Turns); way > wayToTurn*float64(turns) {
		why = append(why, Note{Kind: LandRoad, Way: way, Count: o.ride.Totals.Turns})
	} else if share := o.emptiest(); share > shutShare {
		why = append(why, Note{Kind: LandCourses, Share: share})
	}
	return why
}

// emptiest is the part of the way in flight within the courses, againstWind wide,
// that were taken the least; 0 where the way is too short to tell.
func (o *observation) emptiest() float64 {
	g := &o.log.GPS
	var ways [courseSectors]float64
	way := 0.0
	for i := 1; i < len(g.Time); i++ {
		d, c := float64(g.Speed[i])*min(g.Time[i]-g.Time[i-1], 2/max(g.Rate, 1e-3)), float64(g.Course[i])
		if g.Flags[i] == 0 && d == d && c == c && rideAt(o.ride.Rides, g.Time[i]) > 0 {
			ways[int(c/360*courseSectors)%courseSectors] += d
			way += d
		}
	}
	if way < wayLeast {
		return 0
	}
	least := way
	for from := range ways {
		within := 0.0
		for k := range againstWind * courseSectors / 360 {
			within += ways[(from+k)%courseSectors]
		}
		least = min(least, within)
	}
	return least / way
}

// heights are the heights in flight, m, a median for each block, sorted.
func (o *observation) heights() (blocks []float64) {
	g := &o.log.GPS
	for i := 0; i < len(g.Time); {
		var in []float64
		for from := g.Time[i]; i < len(g.Time) && g.Time[i]-from < heightBlock; i++ {
			if a := float64(g.Alt[i]); a == a && g.Flags[i] == 0 && rideAt(o.ride.Rides, g.Time[i]) > 0 {
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
