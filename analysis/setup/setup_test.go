package setup

import (
	"errors"
	"math"
	"os"
	"strings"
	"testing"
)

// filled is a setup in which every default of the template counts as given.
func filled(t testing.TB) string {
	t.Helper()
	s, err := Template("wing")
	if err != nil {
		t.Fatal(err)
	}
	s, _, _ = strings.Cut(s, "# what you noticed")
	for _, k := range Keys {
		if k.Default != nil {
			s = strings.Replace(s, "# "+k.last()+" = ", k.last()+" = ", 1)
		}
	}
	return s
}

func TestTemplateIsASetup(t *testing.T) {
	for _, rig := range Rigs() {
		text, err := Template(rig)
		if err != nil {
			t.Fatal(err)
		}
		s, warnings, err := Parse("setup.toml", []byte(text))
		if err != nil || len(warnings) > 0 {
			t.Fatalf("%s: %v, %v", rig, err, warnings)
		}
		if s.Rig.Kind != rig {
			t.Errorf("rig %q, want %q", s.Rig.Kind, rig)
		}
		for _, k := range Keys {
			if want := k.Required || k.Name == "rig.kind" && rig != "wing"; s.Given(k.Name) != want {
				t.Errorf("%s: %s is given: %v, want %v", rig, k.Name, !want, want)
			}
			if !k.other && !strings.Contains(text, k.last()+" = ") {
				t.Errorf("%s: the template lacks %s", rig, k.Name)
			}
		}
	}
	if _, err := Template("oars"); err == nil {
		t.Error("a rig called oars is accepted")
	}
}

// TestContractSetup reads every key of the contract's example and holds the SI
// values against the units in the key names.
func TestContractSetup(t *testing.T) {
	data, err := os.ReadFile("testdata/full.toml")
	if err != nil {
		t.Fatal(err)
	}
	s, _, err := Parse("full.toml", data)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"mass", s.Rider.Mass, 80}, {"height", s.Rider.Height, 1.78},
		{"front", s.Stance.Front, 0.33}, {"back", s.Stance.Back, -0.20},
		{"track aft", s.Board.Track[0], -0.04}, {"track forward", s.Board.Track[1], 0.05},
		{"mast", s.Foil.Mast, 0.85}, {"depth", s.Foil.Depth, 0.42}, {"mast chord", s.Foil.MastChord, 0.13},
		{"wing area", s.Foil.Wing.Area, 0.13}, {"span", s.Foil.Wing.Span, 0.95}, {"ahead", s.Foil.Wing.Ahead, 0.1},
		{"t/c", s.Foil.Wing.ThicknessRatio, 0.12}, {"i_w", s.Foil.Wing.Incidence, math.Pi / 180},
		{"stab", s.Foil.Stabilizer.Area, 0.022}, {"arm", s.Foil.Stabilizer.BehindWing, 0.7},
		{"i_s", s.Foil.Stabilizer.Incidence, -1.5 * math.Pi / 180}, {"shim span", s.Foil.Stabilizer.ShimSpan, 0.05},
		{"current", s.Water.Current, 0.5 * 0.514444444}, {"current to", s.Water.CurrentTo, 1.5 * math.Pi},
		{"feel speed", s.Feel[0].Speed, 14 * 0.514444444}, {"feel share", s.Feel[0].Share, 0.5}, {"feel sd", s.Feel[0].SD, 0.06},
		{"feel percent", s.Feel[1].Share, 0.7},
		{"flex", s.Foil.Flex, 1e-3 * math.Pi / 180}, {"mast foot", s.Rig.MastFoot, 0.95},
		{"marks", s.Marks.Means.Share, 0.25}, {"mark", s.Mark[0].At, 14*3600 + 5*60 + 10}, {"mark feel", s.Mark[0].Front.Share, 0.62},
		{"mark without quotes", s.Mark[1].At, 14*3600 + 6*60}, {"mark percent", s.Mark[1].Front.Share, 0.55},
		{"change", s.Change[0].At, 11*3600 + 20*60}, {"change foil", s.Change[0].Foil, -0.025}, {"change shim", s.Change[0].Shim, 0.00076},
		{"change feet", s.Change[1].Front, 0.02}, {"glide", s.Glide[0].To - s.Glide[0].From, 11},
	} {
		if math.Abs(c.got-c.want) > 1e-6 {
			t.Errorf("%s = %g, want %g", c.name, c.got, c.want)
		}
	}
	if s.Stance.FrontFoot != "right" {
		t.Errorf("front foot %q", s.Stance.FrontFoot)
	}
	if !s.Given("board.cg_cm") || s.Given("sensor.pitch_zero_deg") {
		t.Error("Given does not tell what was written")
	}
}

func TestBadSetups(t *testing.T) {
	good := filled(t)
	replace := func(old, new string) string {
		if !strings.Contains(good, old) {
			t.Fatalf("the template lacks %q", old)
		}
		return strings.Replace(good, old, new, 1)
	}
	for _, c := range []struct {
		name, text, key string
		says            []string
	}{
		{"no unit", replace("mass_kg = 80", "mass = 80"), "rider.mass", []string{"Did you mean rider.mass_kg?"}},
		{"unknown key", replace("height_cm = 175", "hieght_cm = 175"), "rider.hieght_cm", []string{"setup.toml:11", "rider.height_cm"}},
		{"unknown table", good + "\n[fuselage]\nlength_cm = 70\n", "fuselage", []string{"unknown table [fuselage]", "[foil.fuselage]"}},
		{"table misspelt", replace("[foil.stabilizer]", "[foil.stabiliser]"), "foil.stabiliser", []string{"setup.toml:45", "[foil.stabilizer]"}},
		{"table with a capital", replace("[rider]", "[Rider]"), "Rider", []string{"setup.toml:8", "[rider]"}},
		{"list as table", good + "\n[feel]\nspeed_kn = 14\n", "feel", []string{"write [[feel]]"}},
		{"table as list", replace("[board]", "[[board]]"), "board", []string{"write [board]"}},
		{"table as value", "rider = 3\n", "rider", []string{"setup.toml:1:", "is a table"}},
		{"quoted key", replace("mass_kg = 80", "mass_kg = 80\n\"height_cm.x\" = 3"), "rider.\"height_cm.x\"", []string{"unknown key"}},
		{"in line", "foil = {wing = {chord_cm = 3}}\n", "foil.wing.chord_cm", []string{"setup.toml:1:", "unknown key"}},
		{"list of values", good + "\n[[feel]]\nspeed_kn = 14\nfront = [1]\n", "feel.0.front", []string{"not known"}},
		{"mark without feel", good + "\n[[mark]]\nat = \"14:05\"\n", "mark.0", []string{"both at and front"}},
		{"mark at no time", good + "\n[[mark]]\nat = \"25:05\"\nfront = \"even\"\n", "mark.0.at", []string{"time of day"}},
		{"change of nothing", good + "\n[[change]]\nat = \"14:05\"\n", "change.0", []string{"what was changed"}},
		{"change of nothing again", good + "\n[[change]]\nat = \"14:05\"\nshim_mm = 0.76\n[[change]]\nat = \"14:25\"\n[[change]]\nat = \"14:45\"\n", "change.2", []string{"what was changed"}},
		{"change too far", good + "\n[[change]]\nat = \"14:05\"\nfoil_cm = 100\n", "change.0.foil_cm", []string{"between"}},
		{"glide without end", good + "\n[[glide]]\nfrom = \"14:05\"\n", "glide.0", []string{"from and to"}},
		{"glide backwards", good + "\n[[glide]]\nfrom = \"14:05:10\"\nto = \"14:05:02\"\n", "glide.0.to", []string{"to is before from"}},
		{"glide without end in sight", good + "\n[[glide]]\nfrom = \"14:05:10\"\nto = \"15:05:10\"\n", "glide.0.to", []string{"60 minutes"}},
		{"marks of no meaning", good + "\n[marks]\nmeans = \"so so\"\n", "marks.means", []string{"strong front"}},
		{"wrong table", replace("mast_cm = 85", "span_cm = 85"), "foil.span_cm", []string{"unknown key"}},
		{"negative area", replace("area_cm2 = 1300", "area_cm2 = -1300"), "foil.wing.area_cm2", []string{"-1300", "between"}},
		{"stabilizer ahead", replace("behind_wing_cm = 70", "behind_wing_cm = -70"), "foil.stabilizer.behind_wing_cm", []string{"ahead of the wing"}},
		{"not a number", replace("mass_kg = 80", "mass_kg = nan"), "rider.mass_kg", []string{"rider.mass_kg"}},
		{"missing", replace("mass_kg = 80", "#"), "rider.mass_kg", []string{"missing", "needed for advice"}},
		{"all that is missing", "title = \"x\"\n[rider]\nmass_kg = 80\n", "stance.front_cm", []string{"stance.front_cm", "foil.mast_cm", "behind_wing_cm", "are missing"}},
		{"feet", replace("front_cm = 33", "front_cm = -40"), "stance.front_cm", []string{"ahead of the back foot"}},
		{"depth", replace("# depth_cm = 42.5", "depth_cm = 90"), "foil.depth_cm", []string{"under water"}},
		{"mount", replace(`mount = "top"`, `mount = "side"`), "foil.stabilizer.mount", []string{"top, bottom"}},
		{"exchanged", replace("area_cm2 = 220", "area_cm2 = 1400"), "foil.stabilizer.area_cm2", []string{"exchanged"}},
		{"track", replace("track_cm = [-5, 5]", "track_cm = [5]"), "board.track_cm", []string{"two numbers"}},
		{"aspect", replace("span_cm = 95", "span_cm = 395"), "foil.wing.span_cm", []string{"aspect ratio"}},
		{"string for number", replace("mass_kg = 80", `mass_kg = "eighty"`), "rider.mass_kg", []string{"setup.toml:10"}},
		{"decimal comma", replace("mass_kg = 80", "mass_kg = 88,5"), "", []string{"setup.toml:10", "a point, not a comma: 88.5"}},
		{"bare word", replace(`kind = "wing"`, "kind = wing"), "", []string{"Text stands in quotes"}},
		{"no value", replace("mass_kg = 80", "mass_kg ="), "", []string{"no value"}},
		{"not TOML", "][", "", []string{"setup.toml:1"}},
		{"feel word", good + "\n[[feel]]\nspeed_kn = 14\nfront = \"a bit\"\n", "feel.0.front", []string{"strong front"}},
		{"feel as a fraction", good + "\n[[feel]]\nspeed_kn = 14\nfront = \"0.6\"\n", "feel.0.front", []string{"was 60 % meant"}},
		{"feel speed", good + "\n[[feel]]\nfront = \"even\"\n", "feel.0", []string{"speed_kn"}},
		{"feel nothing", good + "\n[[feel]]\nspeed_kn = 14\n", "feel.0", []string{"front"}},
		{"current half", replace("# current_kn = 0.5", "current_kn = 0.5"), "water.current_kn", []string{"current_to_deg"}},
	} {
		_, _, err := Parse("setup.toml", []byte(c.text))
		var e *Error
		if !errors.As(err, &e) {
			t.Errorf("%s: error %v", c.name, err)
			continue
		}
		if e.Key != c.key {
			t.Errorf("%s: key %q, want %q (%v)", c.name, e.Key, c.key, err)
		}
		for _, want := range c.says {
			if !strings.Contains(err.Error(), want) {
				t.Errorf("%s: %q does not say %q", c.name, err, want)
			}
		}
	}
}

// TestChangeBack: a change that moves nothing is back at the start, after one that did.
func TestChangeBack(t *testing.T) {
	s, _, err := Parse("setup.toml", []byte(filled(t)+"\n[[change]]\nat = \"14:05\"\nfoil_cm = 2\n[[change]]\nat = \"14:25\"\n"))
	if err != nil || len(s.Change) != 2 || s.Change[1].Foil != 0 || s.Change[1].At != 14*3600+25*60 {
		t.Errorf("%+v, %v", s, err)
	}
}

func TestOddSetupsWarn(t *testing.T) {
	good := filled(t)
	for _, c := range [][2]string{
		{"span_cm = 95", "span_cm = 180"}, // aspect ratio 25
		{"mass_kg = 80", "mass_kg = 300"}, // 300 kg rider
		{"temperature_c = 15", "temperature_c = 40"},
	} {
		_, warnings, err := Parse("s.toml", []byte(strings.Replace(good, c[0], c[1], 1)))
		if err != nil || len(warnings) == 0 {
			t.Errorf("%s: warnings %v, error %v", c[1], warnings, err)
		}
	}
}

func TestKeysAreComplete(t *testing.T) {
	data, _ := os.ReadFile("testdata/full.toml")
	s, _, err := Parse("full.toml", data)
	if err != nil {
		t.Fatal(err)
	}
	for k := range s.given {
		if KeyNamed(k) == nil {
			t.Errorf("Keys lacks %s", k)
		}
	}
}

func TestParseRider(t *testing.T) {
	base, _, err := Parse("s.toml", []byte(filled(t)))
	if err != nil {
		t.Fatal(err)
	}
	r, err := ParseRider("mass=92kg,height=190cm,level=advanced", base)
	if err != nil || r.Rider.Mass != 92 || math.Abs(r.Rider.Height-1.9) > 1e-12 || r.Rider.Level != "advanced" {
		t.Fatalf("%+v, %v", r, err)
	}
	if base.Rider.Mass != 80 {
		t.Error("the base was changed")
	}
	for _, bad := range []string{"", "mass", "mass=92", "mass=9kg", "weight=80kg", "level=pro", "front=-50cm"} {
		if _, err := ParseRider(bad, base); err == nil {
			t.Errorf("%q is accepted", bad)
		}
	}
	// The example is of the same key, not a length that nobody has.
	if _, err := ParseRider("height=6ft", base); err == nil || !strings.Contains(err.Error(), "height=175cm") || !strings.Contains(err.Error(), "in, m") {
		t.Errorf("height=6ft: %v", err)
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(filled(f)))
	full, err := os.ReadFile("testdata/full.toml")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(full)
	f.Add([]byte("[rider]\nmass_kg = inf\n"))
	f.Add([]byte("feel = 3\n[[feel]]"))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, _, err := Parse("fuzz.toml", data)
		if (s == nil) == (err == nil) {
			t.Fatalf("setup %v with error %v", s, err)
		}
		if s != nil && !(s.Foil.Wing.Area > 0 && s.Foil.Stabilizer.BehindWing > 0 && s.Stance.Front > s.Stance.Back) {
			t.Fatalf("impossible setup accepted: %+v", s)
		}
	})
}
