package ingest

import (
	"fmt"
	"strings"
	"testing"
)

// TestLacks: what a file lacks for each answer, and several together.
func TestLacks(t *testing.T) {
	imu := func(shake float64) *Log {
		var b strings.Builder
		b.WriteString(imuHeader)
		for i := range 3000 {
			fmt.Fprintf(&b, "%.2f,%.3f,0,9.81,0.01,0.02,0\n", float64(i)/100, shake*float64(i%7-3))
		}
		return mustRead(t, b.String())
	}
	still, shaken := imu(0.02), imu(0.5)
	gps := mustRead(t, "time_s,speed_kn\n0,10\n1,10\n2,11\n")
	acc := mustRead(t, "time_s,ax_g,ay_g,az_g\n0,0,0,1\n0.01,0,0,1\n0.02,0,0,1\n")
	for _, c := range []struct {
		logs []*Log
		want string
	}{
		{[]*Log{still}, "[{speed positions or speeds}]"},
		{[]*Log{shaken}, "[{speed positions or speeds} {absolute pitch a rest}]"},
		{[]*Log{gps}, "[{pitch an accelerometer}]"},
		{[]*Log{acc}, "[{speed positions or speeds} {pitch a gyroscope}]"},
		{[]*Log{shaken, gps}, "[{absolute pitch a rest}]"},
		{[]*Log{still, gps}, "[]"},
	} {
		if got := fmt.Sprint(Lacks(c.logs...)); got != c.want {
			t.Errorf("%s, want %s", got, c.want)
		}
	}
}
