package attitude_test

import (
	"math"
	"sync"
	"syscall"
	"testing"

	"evenfoot/analysis/simulate"
	"evenfoot/filter/attitude"
)

// twoHours is a made session of two hours: 100 Hz inertial samples, GPS at 1 Hz.
var twoHours = sync.OnceValues(func() (attitude.Samples, attitude.Aid) {
	sc := simulate.Default()
	sc.Duration = 7200
	return inputs(simulate.Run(sc))
})

// cpu is the processor time that the process has used, s; on a busy machine it
// says more than the clock.
func cpu() float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return math.NaN()
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}

func BenchmarkTwoHours(b *testing.B) {
	s, aid := twoHours()
	for _, c := range []struct {
		name string
		aid  *attitude.Aid
	}{{"aided", &aid}, {"unaided", nil}} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			from := cpu()
			for b.Loop() {
				if _, err := attitude.TwoSided(s, c.aid); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric((cpu()-from)/float64(b.N)*1e3, "cpu-ms/op")
			b.ReportMetric(float64(len(s.Time))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
		})
	}
}
