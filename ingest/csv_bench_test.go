package ingest

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"
	"testing"

	"evenfoot/ingest/scan"
)

// benchCSV is n rows of a 100 Hz IMU, seven columns of usual precision.
func benchCSV(n int) []byte {
	var b bytes.Buffer
	b.WriteString(imuHeader)
	for i := range n {
		t := float64(i) / 100
		fmt.Fprintf(&b, "%.3f,%.5f,%.5f,%.5f,%.6f,%.6f,%.6f\n", t, math.Sin(t), math.Cos(3*t), 9.81+0.3*math.Sin(7*t),
			0.1*math.Sin(2*t), 0.2*math.Cos(t), 0.05*math.Sin(5*t))
	}
	return b.Bytes()
}

const benchRows = 200_000

// BenchmarkCSV reads a log to its end, mending included.
func BenchmarkCSV(b *testing.B) {
	data := benchCSV(benchRows)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		r, err := read(bytes.NewReader(data), "log.csv", int64(len(data)), Options{})
		if err != nil {
			b.Fatal(err)
		}
		l, err := build(r)
		if err != nil || len(l.IMU.Time) != benchRows {
			b.Fatal(err, len(l.IMU.Time))
		}
	}
	b.ReportMetric(benchRows*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
}

// BenchmarkCSVGzip is the same through gzip.
func BenchmarkCSVGzip(b *testing.B) {
	data := gz(b, benchCSV(benchRows))
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := read(bytes.NewReader(data), "log.csv", int64(len(data)), Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkEncodingCSV is the standard library's reader with strconv, rows
// reused, for comparison.
func BenchmarkEncodingCSV(b *testing.B) {
	data := benchCSV(benchRows)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		r := csv.NewReader(bytes.NewReader(data))
		r.ReuseRecord = true
		if _, err := r.Read(); err != nil {
			b.Fatal(err)
		}
		var cols [7][]float64
		for {
			rec, err := r.Read()
			if err == io.EOF {
				break
			}
			if err != nil {
				b.Fatal(err)
			}
			for k, s := range rec {
				v, err := strconv.ParseFloat(s, 64)
				if err != nil {
					b.Fatal(err)
				}
				cols[k] = append(cols[k], v)
			}
		}
		if len(cols[0]) != benchRows {
			b.Fatal(len(cols[0]))
		}
	}
}

func BenchmarkScanNumber(b *testing.B) {
	line := []byte("123.456,")
	for b.Loop() {
		scan.Number(line, 0, ',', '.')
	}
}

// BenchmarkMend mends a log with stamps cut to seconds, the dearest repair.
func BenchmarkMend(b *testing.B) {
	s := grid(0, 10, 72000)
	for i := range s {
		s[i] = math.Floor(s[i])
	}
	b.ReportAllocs()
	for b.Loop() {
		r := imuLog(s, s)
		if (&builder{r: r}).mend(r.Streams()[0]); !increasing(r.Acc.Time) {
			b.Fatal("times do not increase")
		}
	}
}
