package words

import (
	"fmt"
	"math"

	"evenfoot/filter/align"
)

// bowless ends what is said where the bow cannot be told.
const bowless = " the bow cannot be told: pitch and heel are about the sensor's own axes, and relative."

// alignment says what package align found: of the clocks, the sensor's mount
// and the level zero.
func (u Units) alignment(f align.Finding) string {
	switch f.Kind {
	case align.IMUTooShort:
		return "The IMU log is too short to compare its motion with the GPS."
	case align.FewFixes:
		return fmt.Sprintf("The GPS log has %d usable fixes; at least %.0f are needed to compare its motion with the IMU.", f.Count, f.Needed)
	case align.HardlyMoves:
		return fmt.Sprintf("The GPS shows hardly any motion: it moves faster than %s for %d s; at least %.0f s are needed.", u.SpeedText(f.Speed), f.Count, f.Needed)
	case align.TooLong:
		return fmt.Sprintf("A log spans %.0f hours; give the files of one outing.", f.Until/3600)
	case align.NeverTogether:
		return fmt.Sprintf("Within %.0f s of each other's clock the logs never move together for %.0f s.", f.Offset, f.Needed)
	case align.MotionDiffers:
		return fmt.Sprintf("The motion in the two logs does not match at any offset (best correlation %.2f at %+.1f s).", f.Correlation, f.Offset)
	case align.SeveralOffsets:
		return fmt.Sprintf("The motion matches about as well at an offset of %+.1f s as at %+.1f s; it does not single out one.", f.Other, f.Offset)
	case align.FewTurns:
		if f.Other == 0 {
			return fmt.Sprintf("Near an offset of %+.1f s the motions match only roughly; too few turns and speed changes to tie the clocks to a fraction of a second.", f.Offset)
		}
		return fmt.Sprintf("The offset is near %+.1f s, but only to ±%.1f s; too few turns and speed changes to tie the clocks.", f.Offset, f.Other)
	case align.Disagree:
		return fmt.Sprintf("The motion in the two logs is most alike at an offset of %+.1f s, but does not match there (correlation of velocity changes %.2f; at least %.2f is needed).", f.Offset, f.Correlation, f.Needed)
	case align.LeftHanded:
		return "The sensor's axes are left-handed; this was corrected."
	case align.AccelerometerNeg:
		return "The accelerometer reports the opposite sign; this was corrected."
	case align.GyroscopeNeg:
		return "The gyroscope counts left-handed; this was corrected."
	}
	return mounting(f)
}

// mounting says how the sensor sits, or why that is not known.
func mounting(f align.Finding) string {
	switch f.Kind {
	case align.OffBoard:
		return "The sensor's motion does not match the GPS: it is not on the board, or its clock is off."
	case align.Loose:
		return fmt.Sprintf("The sensor is not fixed to the board: from %s on, in straight riding it swings by %.0f° in pitch, %.0f° in heel and %.0f° in heading.",
			sinceStart(f.At), inDegrees(f.Pitch), inDegrees(f.Heel), inDegrees(f.Heading))
	case align.Moved:
		return fmt.Sprintf("The sensor was moved on the board at %s: it turned by %.0f°.", sinceStart(f.At), inDegrees(f.Turn))
	case align.ShiftedOften:
		return fmt.Sprintf("The sensor is not fixed to the board: it shifted %d times, first at %s by %.0f°.", f.Count, sinceStart(f.At), inDegrees(f.Turn))
	case align.Shifted:
		return fmt.Sprintf("The sensor shifted by %.0f° at %s; the mount was found anew from there.", inDegrees(f.Turn), sinceStart(f.At))
	case align.PartRefused:
		return fmt.Sprintf("From %s the mount is refused: %s", sinceStart(f.At), mounting(*f.Of))
	case align.OneTack:
		return "All riding was on one tack: leeway and heel to windward could not be averaged out, so the sensor's heading and the heel's zero are less certain."
	case align.NoGPS:
		return "Without GPS" + bowless
	case align.NoMotion:
		return "Without motion in the GPS log" + bowless
	case align.NotInCommon:
		return "Without motion in common with the GPS" + bowless
	case align.LittleStraight:
		return fmt.Sprintf("With only %d s of straight riding", f.Count) + bowless
	}
	return level(f)
}

// level says where the level zero comes from, or why there is none.
func level(f align.Finding) string {
	switch f.Kind {
	case align.LevelSetup:
		return "setup"
	case align.LevelStill:
		s := fmt.Sprintf("still stretch at %s, level across within %.1f°, still within %.2f°", fromTo(f), inDegrees(f.Heel), inDegrees(f.Sway))
		if f.Count > 0 {
			s += fmt.Sprintf("; %d more agree within %.1f°", f.Count, inDegrees(f.Pitch))
		}
		return s
	case align.LevelDiffers:
		return fmt.Sprintf("%d still stretches, first at %s, that differ by %.1f° in pitch", f.Count, fromTo(f), inDegrees(f.Pitch))
	case align.LevelEqualPitch:
		return "equal pitch at equal speed with the part that has a " + level(*f.Of)
	case align.NoStill:
		return fmt.Sprintf("no still stretch of %.0f s was found; pitch is relative", f.Needed)
	case align.NotLevel:
		return fmt.Sprintf("the board lay still at %s, but heeled %.0f° and pitched %.0f° against flight: not level; pitch is relative",
			fromTo(f), inDegrees(f.Heel), inDegrees(f.Pitch))
	case align.BowUnknown:
		return "the bow is not known; pitch is relative"
	}
	return string(f.Kind)
}

func inDegrees(rad float64) float64 { return rad * 180 / math.Pi }

// fromTo is a stretch of time as 12 s–31 s (19 s).
func fromTo(f align.Finding) string {
	return fmt.Sprintf("%s–%s (%.0f s)", sinceStart(f.At), sinceStart(f.Until), f.Until-f.At)
}

// sinceStart prints seconds since the start as 42 s or 12:03.
func sinceStart(t float64) string {
	if math.Abs(t) < 100 {
		return fmt.Sprintf("%.0f s", math.Round(t)+0) // not "-0 s"
	}
	s := int(math.Round(t))
	sign := ""
	if s < 0 {
		sign, s = "-", -s
	}
	if s >= 3600 {
		return fmt.Sprintf("%s%d:%02d:%02d", sign, s/3600, s/60%60, s%60)
	}
	return fmt.Sprintf("%s%d:%02d", sign, s/60, s%60)
}
