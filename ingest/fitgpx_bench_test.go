//go:build !js

package ingest_test

import (
	"bytes"
	"encoding/xml"
	"io"
	"math"
	"testing"
	"time"

	"evenfoot/ingest"
	"evenfoot/ingest/write"

	"github.com/muktihari/xmltokenizer"
	"github.com/tkrajina/gpxgo/gpx"
	tormoder "github.com/tormoder/fit"
)

// sessionLog is two hours on the water: 100 Hz accelerometer and gyroscope,
// 720,000 samples each, and GPS at gpsHz.
func sessionLog(imu bool, gpsHz int) *ingest.Log {
	l := &ingest.Log{Start: time.Date(2026, 9, 20, 10, 0, 0, 0, time.UTC)}
	const seconds = 7200
	if imu {
		for i := range seconds * 100 {
			t := float64(i) / 100
			l.IMU.Time = append(l.IMU.Time, t)
			for k := range 3 {
				s, c := math.Sincos(t*float64(k+1) + 0.001*float64(i%37))
				l.IMU.Acc[k] = append(l.IMU.Acc[k], float32(3*s+4.9*float64(k)))
				l.IMU.Gyr[k] = append(l.IMU.Gyr[k], float32(0.3*c))
			}
		}
	}
	g := &l.GPS
	for i := range seconds * gpsHz {
		t := float64(i) / float64(gpsHz)
		s, c := math.Sincos(t / 60)
		g.Time = append(g.Time, t)
		g.Lat, g.Lon = append(g.Lat, 45+0.004*s), append(g.Lon, -1+0.005*c)
		g.Alt, g.Speed, g.Course = append(g.Alt, 0.5), append(g.Speed, float32(8+2*s)), append(g.Course, float32(180+170*c))
	}
	return l
}

// report gives samples a second beside MB/s.
func report(b *testing.B, samples int) {
	b.ReportMetric(float64(samples)*float64(b.N)/b.Elapsed().Seconds(), "samples/s")
}

// BenchmarkFIT reads a session of two hours, 20.9 MB.
func BenchmarkFIT(b *testing.B) {
	l := sessionLog(true, 1)
	var w bytes.Buffer
	if err := write.FIT(&w, l); err != nil {
		b.Fatal(err)
	}
	data := w.Bytes()
	n := 2*len(l.IMU.Time) + len(l.GPS.Time)
	run := func(name string, read func() error) {
		b.Run(name, func(b *testing.B) {
			b.SetBytes(int64(len(data)))
			b.ReportAllocs()
			for b.Loop() {
				if err := read(); err != nil {
					b.Fatal(err)
				}
			}
			report(b, n)
		})
	}
	run("evenfoot", func() error {
		got, err := ingest.ReadFIT(data)
		if err == nil && len(got.IMU.Time) != len(l.IMU.Time) {
			b.Fatal(len(got.IMU.Time))
		}
		return err
	})
	// Drops the IMU's samples.
	run("tormoder-no-imu", func() error {
		_, err := tormoder.Decode(bytes.NewReader(data))
		return err
	})
}

// BenchmarkGPX reads two hours at 10 Hz, 72,000 points.
func BenchmarkGPX(b *testing.B) {
	l := sessionLog(false, 10)
	var w bytes.Buffer
	if err := write.GPX(&w, l); err != nil {
		b.Fatal(err)
	}
	data := w.Bytes()
	run := func(name string, read func() error) {
		b.Run(name, func(b *testing.B) {
			b.SetBytes(int64(len(data)))
			b.ReportAllocs()
			for b.Loop() {
				if err := read(); err != nil {
					b.Fatal(err)
				}
			}
			report(b, len(l.GPS.Time))
		})
	}
	run("evenfoot", func() error {
		got, err := ingest.ReadGPX(data)
		if err == nil && len(got.GPS.Time) != len(l.GPS.Time) {
			b.Fatal(len(got.GPS.Time))
		}
		return err
	})
	// Tokens alone, no value read.
	run("xmltokenizer-tokens", func() error {
		t := xmltokenizer.New(bytes.NewReader(data))
		for {
			if _, err := t.Token(); err == io.EOF {
				return nil
			} else if err != nil {
				return err
			}
		}
	})
	run("encoding-xml-tokens", func() error {
		d := xml.NewDecoder(bytes.NewReader(data))
		for {
			if _, err := d.RawToken(); err == io.EOF {
				return nil
			} else if err != nil {
				return err
			}
		}
	})
	run("gpxgo", func() error {
		_, err := gpx.ParseBytes(data)
		return err
	})
}

// BenchmarkWriteFIT and BenchmarkWriteGPX write the same sessions.
func BenchmarkWriteFIT(b *testing.B) {
	l := sessionLog(true, 1)
	for b.Loop() {
		if err := write.FIT(io.Discard, l); err != nil {
			b.Fatal(err)
		}
	}
	report(b, 2*len(l.IMU.Time))
}

func BenchmarkWriteGPX(b *testing.B) {
	l := sessionLog(false, 10)
	for b.Loop() {
		if err := write.GPX(io.Discard, l); err != nil {
			b.Fatal(err)
		}
	}
	report(b, len(l.GPS.Time))
}
