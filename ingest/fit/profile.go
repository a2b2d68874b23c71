package fit

import (
	"math"
	"slices"

	profile "github.com/tormoder/fit"

	"evenfoot/ingest/unit"
)

// Messages that are read and that the library's profile does not know.
const (
	hsaAccel profile.MesgNum = 302
	hsaGyro  profile.MesgNum = 376
)

// Slots of what records and sensors are read for. Of the other messages, whose
// fields have one use each, a slot is the field's place in the list.
const (
	lat = iota
	lon
	alt
	speed
	packed // speed and distance in three bytes
	course
	millis  // of the time stamp
	utc     // beside a stamp that counts from power-on
	offsets // ms after the time stamp, one a sample
	interval
	stamp // of every message
	firstAxis
)

// Slots of three axes from each of these on.
const (
	calibrated = firstAxis + 3*iota
	compressed
	counts
	devAcc
	devGyr
	slots // how many there are
)

// A message says how one kind of message is read.
type message struct {
	uses []use // the best first where several have one slot
	// read takes in a message. Kinds without are counted.
	read   func(f *reader, m *msg)
	sensor int  // of which it holds samples
	stamps bool // its time stamps must make sense
	side   bool // it tells of the activity, and its definition is kept
}

// semicircle is the unit of positions in FIT, in degrees.
const semicircle = 180.0 / (1 << 31)

// fitSI turns a sensor's calibrated unit in FIT (g, deg/s) to SI.
var fitSI = [2]float64{unit.Gravity, math.Pi / 180}

var (
	aside  = message{read: (*reader).activity, side: true}
	unread message
)

var messages = map[profile.MesgNum]*message{
	profile.MesgNumRecord: {read: (*reader).record, stamps: true, uses: slices.Concat(
		one(0, lat, semicircle), one(1, lon, semicircle), height(78), height(2),
		one(73, speed, 1e-3), one(6, speed, 1e-3), one(8, packed, 1))},
	profile.MesgNumGpsMetadata: {read: (*reader).record, stamps: true, uses: slices.Concat(
		one(0, millis, 1), one(1, lat, semicircle), one(2, lon, semicircle), height(3),
		one(4, speed, 1e-3), one(5, course, 1e-2), one(6, utc, 1))},
	profile.MesgNumAccelerometerData: {read: (*reader).motion, stamps: true, sensor: unit.Acc, uses: slices.Concat(
		one(0, millis, 1), one(1, offsets, 1), axes(2, counts, 1, "counts"),
		axes(5, calibrated, fitSI[unit.Acc], "g"), axes(8, compressed, fitSI[unit.Acc]/1000, "mG"))},
	profile.MesgNumGyroscopeData: {read: (*reader).motion, stamps: true, sensor: unit.Gyr, uses: slices.Concat(
		one(0, millis, 1), one(1, offsets, 1), axes(2, counts, 1, "counts"), axes(5, calibrated, fitSI[unit.Gyr], "deg/s"))},
	hsaAccel: {read: (*reader).motion, stamps: true, sensor: unit.Acc, uses: slices.Concat(
		one(0, millis, 1), one(1, interval, 1), axes(2, calibrated, fitSI[unit.Acc]/1024, "mG"))},
	hsaGyro: {read: (*reader).motion, stamps: true, sensor: unit.Gyr, uses: slices.Concat(
		one(0, millis, 1), one(1, interval, 1000./32768), axes(2, calibrated, fitSI[unit.Gyr]/28.57143, "deg/s"))},
	// fraction, system time, its fraction, ms, system ms
	profile.MesgNumTimestampCorrelation: {read: (*reader).correlation, uses: list(0, 1, 2, 4, 5)},
	// sensor, factor, divisor, level shift, offsets, orientation
	profile.MesgNumThreeDSensorCalibration: {read: (*reader).calibration, uses: list(0, 1, 2, 3, 4, 5)},
	// index, number, base type, name, scale, offset, units, native message and field
	profile.MesgNumFieldDescription: {read: (*reader).describe, uses: list(0, 1, 2, 3, 6, 7, 8, 14, 15)},
	profile.MesgNumDeveloperDataId:  {read: func(*reader, *msg) {}},
	profile.MesgNumFileId:           &aside,
	profile.MesgNumDeviceInfo:       &aside,
	profile.MesgNumSession:          &aside,
	profile.MesgNumLap:              &aside,
	profile.MesgNumEvent:            &aside,
}

func one(num uint8, slot int, gain float64) []use { return []use{{num: num, slot: slot, gain: gain}} }

// height is a field in fifths of a metre above -500 m.
func height(num uint8) []use { return []use{{num: num, slot: alt, gain: 1. / 5, zero: 5 * 500}} }

// axes are three fields from num on for three slots.
func axes(num uint8, slot int, gain float64, name string) (uses []use) {
	for k := range 3 {
		uses = append(uses, use{num: num + uint8(k), slot: slot + k, gain: gain, unit: name})
	}
	return uses
}

// list are fields of slots from 0 on.
func list(nums ...uint8) (uses []use) {
	for k, num := range nums {
		uses = append(uses, use{num: num, slot: k, gain: 1})
	}
	return uses
}
