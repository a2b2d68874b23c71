package ingest

import (
	"bufio"
	"bytes"
	"io"
	"slices"
)

// ReadFIT and ReadGPX are the readers alone, their columns put into a Log as
// they come: what the tests outside the package compare.
func ReadFIT(data []byte) (*Log, error) { return readBare(readFIT, bytes.NewReader(data), len(data)) }
func ReadGPX(data []byte) (*Log, error) { return readBare(readGPX, bytes.NewReader(data), len(data)) }

// ReadFITFrom and ReadGPXFrom read from any reader of unknown size.
func ReadFITFrom(r io.Reader) (*Log, error) { return readBare(readFIT, r, -1) }
func ReadGPXFrom(r io.Reader) (*Log, error) { return readBare(readGPX, r, -1) }

type readFunc func(*bufio.Reader, string, int64, Options) (*raw, error)

func readBare(read readFunc, r io.Reader, size int) (*Log, error) {
	out, err := read(bufio.NewReader(r), "test", int64(size), Options{})
	if err != nil {
		return nil, err
	}
	l := &Log{Start: out.start, Warnings: out.warnings, Files: []File{out.file}}
	l.IMU = IMU{Time: out.acc.time, Acc: out.acc.v}
	l.GPS = GPS{Time: out.gps.time, Lat: out.gps.lat, Lon: out.gps.lon, Alt: out.gps.alt, Speed: out.gps.speed, Course: out.gps.course}
	l.IMU.Gyr = out.gyr.v
	if !slices.Equal(out.gyr.time, out.acc.time) {
		l.IMU.Gyr = [3][]float32{}
	}
	return l, nil
}

// ReadFITMotion gives the three sensors on their own times.
func ReadFITMotion(data []byte) (time [3][]float64, v [3][3][]float32, unit [3]string, l *Log, err error) {
	out, err := readFIT(bufio.NewReader(bytes.NewReader(data)), "test", int64(len(data)), Options{})
	if err != nil {
		return
	}
	for k, s := range []series{out.acc, out.gyr, out.mag} {
		time[k], v[k], unit[k] = s.time, s.v, s.unit
	}
	l = &Log{Start: out.start, Warnings: out.warnings, Files: []File{out.file}}
	l.GPS = GPS{Time: out.gps.time, Lat: out.gps.lat, Lon: out.gps.lon, Alt: out.gps.alt, Speed: out.gps.speed, Course: out.gps.course}
	return
}

// AddFITCRC is the checksum.
var AddFITCRC = addFITCRC
