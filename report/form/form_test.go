package form

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"evenfoot/analysis/setup"
)

// TestRoundTrip: what a template or a full setup says comes back the same through
// the form.
func TestRoundTrip(t *testing.T) {
	full := `title = "A \"quoted\" day, 1"
[rider]
mass_kg = 80.5
level = "advanced"
[stance]
front_cm = 33
back_cm = -20
fixed = true
[board]
track_cm = [-4, 5.5]
[foil]
mast_cm = 85
[foil.wing]
area_cm2 = 1300
span_cm = 95
[foil.stabilizer]
area_cm2 = 220
span_cm = 40
behind_wing_cm = 70
shim_mm = 0.76
[foil.finish]
grit = 400
[[feel]]
speed_kn = 14
front = "even"
[[feel]]
speed_kmh = 35
front = 60
[marks]
means = "even"
[[change]]
at = "11:20"
foil_cm = -2.5
`
	kite, err := setup.Template("kite")
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{"full": full, "kite": kite} {
		f, err := Read([]byte(text))
		if err != nil {
			t.Fatal(err)
		}
		out, err := f.TOML()
		if err != nil {
			t.Fatal(err)
		}
		g, err := Read([]byte(out))
		if err != nil || !maps.Equal(f, g) {
			t.Errorf("%s: %v\nin  %v\nout %v\n%s", name, err, f, g, out)
		}
		if _, _, err := setup.Parse("setup", []byte(out)); err != nil {
			t.Errorf("%s: %v\n%s", name, err, out)
		}
		page := f.HTML(Look{})
		for n := range f {
			if !strings.Contains(page, `name="`+n+`"`) {
				t.Errorf("%s: the form has no field %s", name, n)
			}
		}
	}
}

// TestEveryKeyHasAField but the other ways to write a speed.
func TestEveryKeyHasAField(t *testing.T) {
	page := Fields{}.HTML(Look{})
	for i := range setup.Keys {
		k := &setup.Keys[i]
		if strings.HasPrefix(k.Name, "feel.speed_") && k.Name != "feel.speed_kn" {
			continue
		}
		if n := k.Entry(0); !strings.Contains(page, `name="`+n+`"`) && !strings.Contains(page, `name="`+n+`.1"`) {
			t.Errorf("no field for %s", k.Name)
		}
	}
	if strings.Contains(Fields{"title": `"><script>`}.HTML(Look{}), "<script>") {
		t.Error("markup got through")
	}
}

// TestTyped: what a rider types on a phone.
func TestTyped(t *testing.T) {
	out, err := Fields{"rider.mass_kg": "80,5", "stance.back_cm": "−20", "feel.0.front": "60", "feel.2.front": "even", "foil.mast_cm": "eighty"}.TOML()
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"mass_kg = 80.5", "back_cm = -20", "front = 60", "front = \"even\"", "mast_cm = \"eighty\""} {
		if !strings.Contains(out, want) {
			t.Errorf("no %s in\n%s", want, out)
		}
	}
	if n := strings.Count(out, "[[feel]]"); n != 2 {
		t.Errorf("%d notes, want 2:\n%s", n, out)
	}
}

// TestUnsound: what is no list, no number or half a pair is told in words, and
// no form grows without bounds.
func TestUnsound(t *testing.T) {
	for _, text := range []string{"[feel.20000000]\nspeed_kn = 14\n", "[feel]\nspeed_kn = 14\n", strings.Repeat("[[mark]]\nat = \"11:20\"\n", maxEntries+1)} {
		if f, err := Read([]byte(text)); err == nil {
			t.Errorf("%.40q: %d fields", text, len(f))
		}
	}
	huge := Fields{"feel.20000000.speed_kn": "14"}
	if out, err := huge.TOML(); err == nil || !strings.Contains(err.Error(), "[[feel]]") {
		t.Errorf("%v, %d bytes", err, len(out))
	}
	if n := len(huge.HTML(Look{})); n > 1e6 {
		t.Errorf("a form of %d bytes", n)
	}
	template, err := setup.Template("wing")
	if err != nil {
		t.Fatal(err)
	}
	for name, typed := range map[string]string{"board.track_cm.1": "5", "rider.mass_kg": "inf"} {
		f, err := Read([]byte(template))
		if err != nil {
			t.Fatal(err)
		}
		delete(f, "board.track_cm.0")
		delete(f, "board.track_cm.1")
		f[name] = typed
		out, err := f.TOML()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		_, _, err = setup.Parse("", []byte(out))
		if key, _ := strings.CutSuffix(name, ".1"); err == nil || !strings.Contains(err.Error(), key) {
			t.Errorf("%s: %v\n%s", name, err, out)
		} else {
			t.Log(err)
		}
	}
}

// TestCheck: each fault stands with its own field, by the form's own numbers of
// entries, and nothing is told twice.
func TestCheck(t *testing.T) {
	template, err := setup.Template("wing")
	if err != nil {
		t.Fatal(err)
	}
	f, err := Read([]byte(template))
	if err != nil {
		t.Fatal(err)
	}
	if _, wrong, _ := f.Check(); len(wrong) > 0 {
		t.Fatalf("the template: %v", wrong)
	}
	for k, v := range map[string]string{
		"rider.mass_kg": "", "foil.mast_cm": "eighty", "foil.wing.span_cm": "9500", "board.track_cm.0": "x", "board.track_cm.1": "5",
		"feel.1.speed_kn": "14", "feel.1.front": "sideways", "mark.2.at": "25:00", "mark.2.front": "even", "change.3.shim_mm": "99", "change.3.at": "11:20",
	} {
		f[k] = v
	}
	_, wrong, _ := f.Check()
	for field, says := range map[string]string{
		"rider.mass_kg": "needed", "foil.mast_cm": "“eighty”", "foil.wing.span_cm": "9500 is impossible here", "board.track_cm.0": "“x”",
		"feel.1.front": "sideways", "mark.2.at": "time of day", "change.3.shim_mm": "99 is impossible",
	} {
		n := 0
		for _, p := range wrong {
			if p.Field == field && strings.Contains(p.Text, says) {
				n++
			}
		}
		if n != 1 {
			t.Errorf("%s: %d problems say %q in %v", field, n, says, wrong)
		}
		if page := f.HTML(Look{Wrong: wrong}); !strings.Contains(page, `id="`+idOf(field)+`-e"`) {
			t.Errorf("%s: nothing stands beside the field", field)
		}
	}
	if len(wrong) != 7 {
		t.Errorf("%d problems: %v", len(wrong), wrong)
	}
	if _, wrong, _ := (Fields{"feel.20000000.speed_kn": "14"}).Check(); len(wrong) != 1 || wrong[0].Field != "" {
		t.Errorf("a form without bounds: %v", wrong)
	}
}

// TestNext: what was felt, marked and changed is of one outing.
func TestNext(t *testing.T) {
	f := Fields{"title": "a", "rider.mass_kg": "80", "feel.0.front": "even", "marks.means": "even", "mark.0.at": "11:20", "change.0.at": "11:30", "glide.0.from": "11:40", "foil.stabilizer.shim_mm": "0.76"}
	if got, want := f.Next(), (Fields{"rider.mass_kg": "80", "foil.stabilizer.shim_mm": "0.76"}); !maps.Equal(got, want) || len(f) != 8 {
		t.Errorf("%v", got)
	}
}

// TestRemembered: a note of feel and the meaning of a moment go into the setup,
// are replaced and taken away again, and what cannot be is told.
func TestRemembered(t *testing.T) {
	text, err := setup.Template("wing")
	if err != nil {
		t.Fatal(err)
	}
	had, _, err := setup.Parse("", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	if text, err = Felt([]byte(text), "30,5", "kmh", "strong front"); err != nil {
		t.Fatal(err)
	}
	for _, front := range []string{"back", "even", ""} {
		if text, err = Say([]byte(text), "14:05:10", front); err != nil {
			t.Fatal(err)
		}
		s, _, err := setup.Parse("", []byte(text))
		if err != nil {
			t.Fatal(err)
		}
		if last := s.Feel[len(s.Feel)-1]; len(s.Feel) != len(had.Feel)+1 || last.Said != "strong front" || last.Speed < 30.4/3.6 || last.Speed > 30.6/3.6 {
			t.Errorf("the notes are %+v", s.Feel)
		}
		if front == "" && len(s.Mark) > 0 || front != "" && (len(s.Mark) != 1 || s.Mark[0].Front.Said != front) {
			t.Errorf("%q: the marks are %+v", front, s.Mark)
		}
	}
	// A mark within a second is the same one, whoever wrote it down to a part of one.
	again, err := Say([]byte(text+"\n[[mark]]\nat = \"14:05:10.6\"\nfront = \"front\"\n"), "14:05:10", "back")
	if s, _, perr := setup.Parse("", []byte(again)); err != nil || perr != nil || len(s.Mark) != 1 || s.Mark[0].Front.Said != "back" {
		t.Errorf("what was said to a part of a second is not replaced (%v, %v):\n%s", err, perr, again)
	}
	for _, bad := range [][3]string{{"fast", "kn", "even"}, {"14", "kn", "sideways"}, {"14", "furlongs", "even"}, {"900", "kn", "even"}} {
		if _, err := Felt([]byte(text), bad[0], bad[1], bad[2]); err == nil {
			t.Errorf("%q is taken", bad)
		}
	}
	if _, err := Say([]byte(text), "noon", "even"); err == nil {
		t.Error("noon is taken")
	}
}

// TestChoices: a value that is not among a field's choices is shown, sent back and
// refused, and does not turn into another.
func TestChoices(t *testing.T) {
	f, err := Read([]byte("[rider]\nlevel = \"wizard\"\n[stance]\nfixed = \"maybe\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	page := f.HTML(Look{})
	_, wrong, _ := f.Check()
	for field, v := range map[string]string{"rider.level": "wizard", "stance.fixed": "maybe"} {
		if !strings.Contains(page, `<option value="`+v+`" selected>`+v+`<`) || !slices.ContainsFunc(wrong, func(p Problem) bool { return p.Field == field }) {
			t.Errorf("%s = %s is lost; wrong are %v", field, v, wrong)
		}
	}
}

// TestLost: what no field is for is told, with its line where the reader of setups
// says so; what is merely wrong in a field is not lost.
func TestLost(t *testing.T) {
	for text, want := range map[string]string{
		"[rider]\nmass_kg = 80\nlevel = \"wizard\"\n":        "",
		"[rider]\nmass_kg = 80\nwieght = 3\n":                "f:3: ",
		"[[feel]]\nspeed_kn = 12\nspeeed = 3\n":              "f:3: ",
		"[wing]\narea_cm2 = 3\n":                             "f:1: ",
		"[board]\ntrack_cm = [1, 2, 3]\n[rider]\nx = \"\"\n": "f:2: ",
	} {
		err := Lost("f", []byte(text))
		if (want == "") != (err == nil) || err != nil && !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}
