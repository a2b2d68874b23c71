package ingest

import (
	"bufio"
	"bytes"
	"io"
	"slices"

	"evenfoot/ingest/fit"
	"evenfoot/ingest/gpx"
	"evenfoot/ingest/raw"
)

// ReadFIT and ReadGPX are the readers alone, their columns put into a Log as
// they come: what the tests outside the package compare.
func ReadFIT(data []byte) (*Log, error) { return readBare(fit.Read, bytes.NewReader(data), len(data)) }

func ReadGPX(data []byte) (*Log, error) { return readBare(gpx.Read, bytes.NewReader(data), len(data)) }

// ReadFITFrom and ReadGPXFrom read from any reader of unknown size.
func ReadFITFrom(r io.Reader) (*Log, error) { return readBare(fit.Read, r, -1) }

func ReadGPXFrom(r io.Reader) (*Log, error) { return readBare(gpx.Read, r, -1) }

type readFunc func(*bufio.Reader, string, int64) (*raw.Columns, error)

func readBare(read readFunc, r io.Reader, size int) (*Log, error) {
	out, err := read(bufio.NewReader(r), "test", int64(size))
	if err != nil {
		return nil, err
	}
	l := &Log{Start: out.Start, Warnings: out.Warnings, Files: []File{out.File}}
	l.IMU = IMU{Time: out.Acc.Time, Acc: out.Acc.V}
	l.GPS = GPS{Time: out.Gps.Time, Lat: out.Gps.Lat, Lon: out.Gps.Lon, Alt: out.Gps.Alt, Speed: out.Gps.Speed, Course: out.Gps.Course}
	l.IMU.Gyr = out.Gyr.V
	if !slices.Equal(out.Gyr.Time, out.Acc.Time) {
		l.IMU.Gyr = [3][]float32{}
	}
	return l, nil
}

// ReadFITMotion gives the sensors on their own times.
func ReadFITMotion(data []byte) (time [2][]float64, v [2][3][]float32, unit [2]string, l *Log, err error) {
	out, err := fit.Read(bufio.NewReader(bytes.NewReader(data)), "test", int64(len(data)))
	if err != nil {
		return
	}
	for k, s := range []raw.Series{out.Acc, out.Gyr} {
		time[k], v[k], unit[k] = s.Time, s.V, s.Unit
	}
	l = &Log{Start: out.Start, Warnings: out.Warnings, Files: []File{out.File}}
	l.GPS = GPS{Time: out.Gps.Time, Lat: out.Gps.Lat, Lon: out.Gps.Lon, Alt: out.Gps.Alt, Speed: out.Gps.Speed, Course: out.Gps.Course}
	return
}
