package setup

// flexMean is the fuselage's bending where the setup does not say, rad/N:
// between stiff carbon and a solid aluminium bar of 25 mm (4.8e-5).
const flexMean = 2e-5

// Keys is every key of a setup, in the order of the template. The priors are
// common practice, none is measured: sizes are read off a maker's page, feet
// and angles off a tape and a gauge.
var Keys = []Key{
	{Name: "title", Example: "First outing", place: func(s *Setup, _ int) any { return &s.Title }},

	{Name: "rider.name", Example: "", Rider: "name", place: func(s *Setup, _ int) any { return &s.Rider.Name }},
	{Name: "rider.mass_kg", Label: "Rider, dressed, rig in hand", Help: "dressed to ride, rig in hand included", Required: true, Example: 80.0,
		Rider: "mass", Limits: &Limits{15, 35, 150, 400}, place: func(s *Setup, _ int) any { return &s.Rider.Mass }},
	{Name: "rider.height_cm", Lasts: true, Label: "Height", Default: 175.0,
		Rider: "height", Limits: &Limits{80, 130, 210, 250}, place: func(s *Setup, _ int) any { return &s.Rider.Height }},
	{Name: "rider.level", Label: "Level", Default: "intermediate", Words: []string{"beginner", "intermediate", "advanced"},
		Rider: "level", place: func(s *Setup, _ int) any { return &s.Rider.Level }},

	{Name: "stance.front_cm", Label: "Front foot from the mast (+ forward)", Required: true, Example: 33.0,
		Rider: "front", Limits: &Limits{-150, -20, 90, 200}, Unknown: "front foot", Prior: Prior{Given: 15 * mm},
		place: func(s *Setup, _ int) any { return &s.Stance.Front }},
	{Name: "stance.back_cm", Label: "Back foot from the mast", Required: true, Example: -20.0,
		Rider: "back", Limits: &Limits{-200, -80, 30, 150}, Unknown: "back foot", Prior: Prior{Given: 15 * mm},
		place: func(s *Setup, _ int) any { return &s.Stance.Back }},
	{Name: "stance.fixed", Label: "Feet", Help: "true with straps or hooks", Default: false, place: func(s *Setup, _ int) any { return &s.Stance.Fixed }},
	{Name: "stance.front_foot", Help: "for logs of foot forces", Example: "left", Words: []string{"left", "right"},
		place: func(s *Setup, _ int) any { return &s.Stance.FrontFoot }},

	{Name: "board.mass_kg", Lasts: true, Label: "Board and foil", Help: "board and foil together", Default: 10.0,
		Limits: &Limits{0.5, 3, 25, 100}, place: func(s *Setup, _ int) any { return &s.Board.Mass }},
	{Name: "board.cg_cm", Lasts: true, Label: "Their centre of gravity from the mast", Help: "where board and foil balance", Default: 10.0,
		Limits: &Limits{-150, -40, 60, 150}, Unknown: "board balance point", Prior: Prior{Given: 80 * mm, Default: 100 * mm},
		place: func(s *Setup, _ int) any { return &s.Board.CG }},
	{Name: "board.deck_height_cm", Lasts: true, Label: "Deck above the mast's top", Help: "from the underside of the board to the soles of the feet", Default: 10.0,
		Limits: &Limits{0, 2, 25, 60}, place: func(s *Setup, _ int) any { return &s.Board.DeckHeight }},
	{Name: "board.track_cm", Label: "Mast can still slide", Help: "how far the mast can still slide: aft, forward", Default: [2]float64{-5, 5},
		place: func(s *Setup, _ int) any { return &s.Board.Track }},

	{Name: "rig.kind", Label: "Rig", Default: "wing", Words: Rigs(), place: func(s *Setup, _ int) any { return &s.Rig.Kind }},
	{Name: "rig.lift_fraction", Lasts: true, Label: "Share of the rider's weight that the rig carries", Help: "share of the rider's weight that the rig carries",
		Limits: &Limits{-0.2, 0, 0.5, 0.9}, Unknown: "rig's lift", place: func(s *Setup, _ int) any { return &s.Rig.LiftFraction }},
	{Name: "rig.mast_foot_cm", Lasts: true, Help: "a sail's mast foot, ahead of the foil's mast; sail only", Default: 95.0,
		Limits: &Limits{-50, 30, 150, 300}, place: func(s *Setup, _ int) any { return &s.Rig.MastFoot }},

	{Name: "foil.mast_cm", Label: "Mast", Required: true, Example: 85.0,
		Limits: &Limits{15, 40, 125, 250}, place: func(s *Setup, _ int) any { return &s.Foil.Mast }},
	{Name: "foil.depth_cm", Lasts: true, Label: "Mast under water while riding", Help: "immersed length in flight; half the mast if left out", Example: 42.5,
		Limits: &Limits{1, 10, 100, 250}, place: func(s *Setup, _ int) any { return &s.Foil.Depth }},
	{Name: "foil.mast_chord_mm", Lasts: true, Default: 130.0,
		Limits: &Limits{20, 80, 200, 500}, place: func(s *Setup, _ int) any { return &s.Foil.MastChord }},
	{Name: "foil.mast_thickness_mm", Lasts: true, Default: 15.0,
		Limits: &Limits{2, 8, 25, 80}, place: func(s *Setup, _ int) any { return &s.Foil.MastThickness }},

	{Name: "foil.wing.area_cm2", Label: "Wing area", Help: "projected area", Required: true, Example: 1300.0,
		Limits: &Limits{50, 250, 3000, 10000}, place: func(s *Setup, _ int) any { return &s.Foil.Wing.Area }},
	{Name: "foil.wing.span_cm", Label: "Wing span", Required: true, Example: 95.0,
		Limits: &Limits{10, 40, 180, 400}, place: func(s *Setup, _ int) any { return &s.Foil.Wing.Span }},
	{Name: "foil.wing.ahead_cm", Lasts: true, Label: "Wing ahead of the mast", Help: "its quarter chord, ahead of the mast's centreline", Default: 10.0,
		Limits: &Limits{-100, -10, 40, 150}, Unknown: "wing position", Prior: Prior{Given: 15 * mm, Default: 30 * mm},
		place: func(s *Setup, _ int) any { return &s.Foil.Wing.Ahead }},
	{Name: "foil.wing.camber_percent", Lasts: true, Label: "Wing camber (curve of the profile)", Default: 3.0, percent: true,
		Limits: &Limits{-5, 0, 6, 12}, Unknown: "wing camber", Prior: Prior{Given: 1, Default: 1.2},
		place: func(s *Setup, _ int) any { return &s.Foil.Wing.CamberPercent }},
	{Name: "foil.wing.thickness_percent", Lasts: true, Label: "Wing thickness", Default: 12.0,
		Limits: &Limits{2, 6, 18, 35}, place: func(s *Setup, _ int) any { return &s.Foil.Wing.ThicknessRatio }},
	{Name: "foil.wing.incidence_deg", Lasts: true, Label: "Wing angle to the deck (incidence)", Help: "chord line to deck, + leading edge up", Default: 1.0,
		Limits: &Limits{-20, -3, 5, 20}, Unknown: "wing incidence", Prior: Prior{Given: 0.7 * degree, Default: 1.0 * degree},
		place: func(s *Setup, _ int) any { return &s.Foil.Wing.Incidence }},

	{Name: "foil.stabilizer.area_cm2", Label: "Stabilizer area", Required: true, Example: 220.0,
		Limits: &Limits{10, 60, 700, 5000}, Unknown: "stabilizer area", Prior: Prior{Given: 0.05, Relative: true},
		place: func(s *Setup, _ int) any { return &s.Foil.Stabilizer.Area }},
	{Name: "foil.stabilizer.span_cm", Label: "Stabilizer span", Required: true, Example: 40.0,
		Limits: &Limits{5, 20, 70, 200}, place: func(s *Setup, _ int) any { return &s.Foil.Stabilizer.Span }},
	{Name: "foil.stabilizer.behind_wing_cm", Label: "Stabilizer behind the wing", Help: "quarter chord to quarter chord", Required: true, Example: 70.0,
		Limits: &Limits{5, 35, 120, 300}, Unknown: "stabilizer arm", Prior: Prior{Given: 15 * mm},
		place: func(s *Setup, _ int) any { return &s.Foil.Stabilizer.BehindWing }},
	{Name: "foil.stabilizer.thickness_percent", Lasts: true, Default: 10.0,
		Limits: &Limits{2, 5, 15, 35}, place: func(s *Setup, _ int) any { return &s.Foil.Stabilizer.ThicknessRatio }},
	{Name: "foil.stabilizer.incidence_deg", Lasts: true, Label: "Stabilizer angle to the wing, without shims (+ leading edge up)",
		Help: "to the wing's chord line, + leading edge up, without shims", Default: -1.5,
		Limits: &Limits{-20, -5, 3, 20}, Unknown: "stabilizer incidence", Prior: Prior{Given: 0.4 * degree, Default: 1.0 * degree},
		place: func(s *Setup, _ int) any { return &s.Foil.Stabilizer.Incidence }},
	{Name: "foil.stabilizer.zero_lift_deg", Lasts: true, Label: "Stabilizer's own zero-lift angle", Help: "0 for a symmetric section", Default: 0.0,
		Limits: &Limits{-10, -4, 4, 10}, Unknown: "stabilizer zero-lift angle", Prior: Prior{Given: 0.7 * degree, Default: 0.8 * degree},
		place: func(s *Setup, _ int) any { return &s.Foil.Stabilizer.ZeroLift }},
	{Name: "foil.stabilizer.mount", Lasts: true, Label: "Stabilizer sits", Help: "side of the fuselage", Default: "top", Words: []string{"top", "bottom"},
		place: func(s *Setup, _ int) any { return &s.Foil.Stabilizer.Mount }},
	{Name: "foil.stabilizer.shim_span_mm", Lasts: true, Label: "From the shim to the opposite contact", Help: "from the shim to the opposite contact", Default: 50.0,
		Limits: &Limits{5, 15, 120, 400}, place: func(s *Setup, _ int) any { return &s.Foil.Stabilizer.ShimSpan }},
	{Name: "foil.stabilizer.shim_mm", Label: "Shim fitted in this session", Help: "fitted in this session; + raises the leading edge", Default: 0.0,
		// Payment cards, 0.76 ± 0.08 mm as a 90 % interval (ISO/IEC 7810 ID-1).
		Limits: &Limits{-10, -2.5, 2.5, 10}, Unknown: "thickness of the fitted shim", Prior: Prior{Given: 0.08 / 1.645 / 0.76, Relative: true},
		place: func(s *Setup, _ int) any { return &s.Foil.Stabilizer.Shim }},

	{Name: "foil.fuselage.flex_deg_per_100n", Lasts: true, Help: "bending of the fuselage under the stabilizer's load", Default: flexMean / degree * 100,
		Limits: &Limits{0, 0, 0.6, 5}, Unknown: "fuselage flex", Prior: Prior{Given: 0.5e-5, Default: 2e-5},
		place: func(s *Setup, _ int) any { return &s.Foil.Flex }},

	{Name: "foil.finish.grit", Label: "Last paper used", Help: "last paper used, FEPA P number", Example: 400,
		Limits: &Limits{12, 40, 5000, 10000}, place: func(s *Setup, _ int) any { return &s.Foil.Finish.Grit }},
	{Name: "foil.finish.surface", Label: "Surface", Help: "in place of grit", Example: "satin", Words: []string{"satin", "gloss", "rough"},
		place: func(s *Setup, _ int) any { return &s.Foil.Finish.Surface }},
	{Name: "foil.finish.trailing_edge_mm", Label: "Trailing edge", Help: "its thickness", Example: 0.8,
		Limits: &Limits{0, 0, 3, 20}, place: func(s *Setup, _ int) any { return &s.Foil.Finish.TrailingEdge }},

	{Name: "water.kind", Label: "Water", Default: "sea", Words: []string{"sea", "fresh"}, place: func(s *Setup, _ int) any { return &s.Water.Kind }},
	{Name: "water.temperature_c", Label: "Water temperature", Default: 15.0,
		Limits: &Limits{-2, 2, 32, 45}, place: func(s *Setup, _ int) any { return &s.Water.Temperature }},
	{Name: "water.current_kn", Help: "leave out to have it estimated", Example: 0.5,
		Limits: &Limits{0, 0, 4, 15}, place: func(s *Setup, _ int) any { return &s.Water.Current }},
	{Name: "water.current_to_deg", Help: "where it flows to, true", Example: 270.0,
		Limits: &Limits{-360, -360, 360, 360}, place: func(s *Setup, _ int) any { return &s.Water.CurrentTo }},

	{Name: "sensor.pitch_zero_deg", Help: "the pitch that the logger shows with the deck level, if you measured it", Example: 0.0,
		Limits: &Limits{-180, -180, 180, 180}, place: func(s *Setup, _ int) any { return &s.Sensor.PitchZero }},

	{Name: "feel.speed_kn", Example: 14.0, place: func(s *Setup, i int) any { return &s.Feel[i].Speed }},
	{Name: "feel.speed_kmh", other: true, place: func(s *Setup, i int) any { return &s.Feel[i].Speed }},
	{Name: "feel.speed_mph", other: true, place: func(s *Setup, i int) any { return &s.Feel[i].Speed }},
	{Name: "feel.speed_mps", other: true, place: func(s *Setup, i int) any { return &s.Feel[i].Speed }},
	{Name: "feel.front", Help: feelHelp, Example: "even",
		place: func(s *Setup, i int) any {
			f := &s.Feel[i]
			return sense(func(x Sense) { f.Share, f.SD, f.Said = x.Share, x.SD, x.Said })
		}},

	{Name: "marks.means", Help: "what a lap press, knock, waypoint or mark column meant; or \"nothing\", or \"glide\"", Example: "even",
		place: func(s *Setup, _ int) any { return markSense(func(x Sense) { s.Marks.Means = x }) }},
	{Name: "mark.at", Help: "UTC, as the report shows it", Example: "14:05:10", place: func(s *Setup, i int) any { return clock(&s.Mark[i].At) }},
	{Name: "mark.front", Example: "front", place: func(s *Setup, i int) any { return markSense(func(x Sense) { s.Mark[i].Front = x }) }},

	{Name: "change.at", Help: "UTC, as the report shows it", Example: "11:20", place: func(s *Setup, i int) any { return clock(&s.Change[i].At) }},
	{Name: "change.foil_cm", Help: "the foil moved, + towards the nose", Example: -2.5,
		Limits: &Limits{-60, -10, 10, 60}, place: func(s *Setup, i int) any { return &s.Change[i].Foil }},
	{Name: "change.shim_mm", Help: "a shim added, + raises the leading edge", Example: 0.76,
		Limits: &Limits{-10, -2.5, 2.5, 10}, place: func(s *Setup, i int) any { return &s.Change[i].Shim }},
	{Name: "change.front_cm", Help: "the front foot moved", Example: 2.0,
		Limits: &Limits{-60, -15, 15, 60}, place: func(s *Setup, i int) any { return &s.Change[i].Front }},
	{Name: "change.back_cm", Help: "the back foot moved", Example: 2.0,
		Limits: &Limits{-60, -15, 15, 60}, place: func(s *Setup, i int) any { return &s.Change[i].Back }},

	{Name: "glide.from", Help: "the rig pulled nothing; UTC", Example: "11:42:05", place: func(s *Setup, i int) any { return clock(&s.Glide[i].From) }},
	{Name: "glide.to", Example: "11:42:16", place: func(s *Setup, i int) any { return clock(&s.Glide[i].To) }},
}
