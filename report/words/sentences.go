package words

import (
	"embed"
	"fmt"
	"math"
	"reflect"
	"strings"
	"sync"
	"text/template"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/pitchlaw"

	"github.com/dustin/go-humanize"
)

// The sentences stand in files of their own, an entry for each kind of finding:
// the kind, a colon, and the sentence as a template, which goes on in the lines
// that a tab begins. [book.say] fills it in.
//
//go:embed sentences
var sentences embed.FS

// A book is the sentences of one package's findings by their kind, each parsed
// when it is first said, once for each set of units.
type book struct {
	says   map[string]string
	parsed *sync.Map // of *template.Template by [inUnits]
}

// What parts the sentences of a letter, and a step from what helps with it, are
// ¶ and | in the books; said, they are control characters, which no cleaned text
// from outside holds.
const partMark, helpMark = "\x1e", "\x1f"

var inBook = strings.NewReplacer("¶", partMark, "|", helpMark)

type inUnits struct {
	Units
	kind string
}

func newBook(names ...string) book {
	b := book{map[string]string{}, &sync.Map{}}
	for _, name := range names {
		text, _ := sentences.ReadFile("sentences/" + name + ".txt") // a missing one is found by every test
		last := ""
		for line := range strings.Lines(inBook.Replace(string(text))) {
			if strings.HasPrefix(line, "\t") {
				b.says[last] += line
			} else if kind, says, ok := strings.Cut(strings.TrimSpace(line)+" ", ": "); ok && line[0] != '#' {
				last, b.says[kind] = kind, strings.TrimSpace(says)+"\n"
			}
		}
	}
	return b
}

// say is the sentence of a kind about x in the reader's units; "" where the book
// has none.
func (b book) say(u Units, kind string, x any) string {
	if b.says[kind] == "" {
		return ""
	}
	t, ok := b.parsed.Load(inUnits{u, kind})
	if !ok {
		read, err := template.New(kind).Funcs(u.can()).Parse(b.says[kind])
		if err != nil {
			return err.Error() // a test says every sentence
		}
		b.parsed.Store(inUnits{u, kind}, read)
		t = read
	}
	var s strings.Builder
	if err := t.(*template.Template).Execute(&s, x); err != nil {
		return err.Error()
	}
	blank := func(r rune) bool { return r == ' ' || r == '\n' || r == '\t' }
	return strings.Join(strings.FieldsFunc(s.String(), blank), " ")
}

var sheetBook = newBook("sheet", "answer", "figures", "facts")

// A Fact is a name and what it is.
type Fact struct{ Name, Value string }

// Facts are the parts of a letter that say something, with their labels.
func (u Units) Facts(kind string, x any) (out []Fact) {
	for _, part := range u.TellAll(kind, x) {
		if label, text, _ := strings.Cut(part, ": "); text != "" {
			out = append(out, Fact{label, text})
		}
	}
	return out
}

// Letter is the same, by label.
func (u Units) Letter(kind string, x any) map[string]string {
	parts := map[string]string{}
	for _, f := range u.Facts(kind, x) {
		parts[f.Name] = f.Value
	}
	return parts
}

// Tell is a sentence of the sheet about x.
func (u Units) Tell(kind string, x any) string { return sheetBook.say(u, kind, x) }

// TellAll is several, which a ¶ parts; none that is empty.
func (u Units) TellAll(kind string, x any) []string {
	var out []string
	for s := range strings.SplitSeq(u.Tell(kind, x), partMark) {
		if s = strings.TrimSpace(s); s != "" {
			out = append(out, s)
		}
	}
	return out
}

// num is a number of whatever type.
func num(v any) float64 { return reflect.ValueOf(v).Float() }

// can is what the sentences of all books may call, in the reader's units.
func (u Units) can() template.FuncMap {
	return template.FuncMap{
		"say": u.Say, "part": u.Tell, "here": u.here, "conflict": u.Conflict, "reason": Reason, "observation": u.Observation,
		"clean": Clean, "listed": Listed, "quotedNames": quotedNames, "plural": Plural, "upper": UpperFirst, "lower": LowerFirst,
		"fine": u.SpeedFine, "speeds": u.speeds, "knot": u.SpeedName, "length": u.LengthText, "roughly": u.lengthRound,
		"way": u.way, "further": u.further, "foreAft": ForeAft, "places": u.places, "placeAt": placeAt, "percent": Percent, "about": about,
		"noted": u.speedNoted, "clock": sinceStart, "span": fromTo, "minutes": Minutes, "level": levelOf, "limit": limit,
		"cards": u.cards, "cardCount": CardCount, "heavy": heavy, "screwCare": screwCare, "whatChanged": whatChanged,
		"gain": u.Gains, "gainAbout": u.gainsAbout, "raised": raisedRange, "exact": func(i interval.Interval) interval.Interval { return interval.Exact(i.Value) },
		"signed":   func(mm interval.Interval) string { return signedRange(mm, u) },
		"minus":    func(a, b float64) float64 { return a - b },
		"abs":      math.Abs,
		"float":    num,
		"distance": func(m any) string { return u.DistanceText(num(m)) },
		"a":        a, "units": unitsOf, "counted": func(n float64, one string) string { return Counted(int(n), one) },
		"bytes":     func(n int) string { return humanize.IBytes(uint64(n)) },
		"rate":      func(hz any) string { return Fixed(num(hz), Choose(math.Abs(num(hz)-math.Round(num(hz))) < 0.05, 0, 1)) },
		"ofSpeed":   u.SpeedValue,
		"gradient":  func(perKnot float64) float64 { return u.Gradient(interval.Exact(perKnot)).Value },
		"halfWidth": func(i interval.Interval) float64 { return (i.High - i.Low) / 2 },
		"best":      u.BestSpeed,
		"nbsp":      func() string { return NBSP },
		"join":      func(s []string) string { return strings.Join(s, ", ") },
		"rider":     u.RiderText, "sentence": Sentence, "cleanTo": CleanTo, "leftOut": LeftOut, "missing": Missing, "choice": ChoiceName, "bySize": bySize, "verdict": VerdictHead, "dragChange": u.DragChange,
		"weight":    u.Weight,
		"bend":      Bend,
		"surely":    func() float64 { return advice.Surely },
		"last":      func(i int, of []float64) bool { return i == len(of)-1 },
		"number":    func(v any) bool { return reflect.ValueOf(v).Kind() == reflect.Float64 },
		"speed":     func(v any) string { return u.SpeedText(num(v)) },
		"speedFine": func(v any) string { return u.SpeedFine(num(v)) },
		"fixed":     func(v any, digits int) string { return Fixed(num(v), digits) },
		"finite":    func(v any) bool { return Finite(num(v)) },
		"percentOf": func(v any) string { return percentOf(num(v)) },
		"per":       func(v any) string { return Percent(num(v)) },
		"between":   Between, "newtons": newtons, "newton": func(v float64) string { return Fixed(v, 0) + NBSP + "N" },
		"inPercentOf": func(i interval.Interval) string { return Between(i, 1, 0) + NBSP + "%" },
		"mass":        u.MassText, "thin": func(m float64) string { return u.Thin(math.Abs(m)) },
		"speedBetween": func(i interval.Interval) string {
			return Between(i, u.SpeedValue(1), 1) + NBSP + u.SpeedName()
		},
		"add":        func(a, b float64) float64 { return a + b },
		"outside":    func(i interval.Interval) bool { return i.Low*i.High > 0 }, // of zero
		"least":      func(i interval.Interval) float64 { return min(math.Abs(i.Low), math.Abs(i.High)) },
		"most":       func(i interval.Interval) float64 { return max(math.Abs(i.Low), math.Abs(i.High)) },
		"thousandth": func(v float64) float64 { return v / 1000 },
		"pressed": func(mm float64) string {
			return Choose(math.Abs(mm) < 1, "about where they do", u.further(mm/1000))
		},
		"tell":        func(kind string) string { return u.Tell(kind, nil) },
		"half":        func(v interval.Number) string { return fmt.Sprintf("%.2f", float64(v)/2) },
		"millimetres": func(m float64) string { return fmt.Sprintf("%.1f", m*1000) },
		"even":        even,
		"feltMove":    func() float64 { return feltMove },
		"leastReach":  func() int { return pitchlaw.LeastReach },
		"deg":         func(rad float64, digits int) string { return fmt.Sprintf("%.*f°", digits, rad*radian) },
		"size":        func(rad float64) string { return fmt.Sprintf("%.1f°", math.Abs(rad)*radian) },
		"turn":        func(rad float64) string { return fmt.Sprintf("%+.1f°", rad*radian) },
		"bearing":     func(rad float64) string { return fmt.Sprintf("%03.0f°", rad*radian) },
		"round":       func(v float64) string { return fmt.Sprintf("%.0f", v) },
		"ahead":       func(s float64) string { return fmt.Sprintf("%+.1f", s) },
		"hours":       func(s float64) string { return fmt.Sprintf("%.0f", s/3600) },
		"hundred":     func(share float64) float64 { return 100 * share },
		"off":         func(v, from float64) string { return Percent(math.Abs(v/from - 1)) },
		"within":      func(sd float64) string { return fmt.Sprintf("%.0f", 100*interval.Z90*sd) },
		"inPercent":   func(share *interval.Interval) string { return Between(*share, 100, 0) },
		"gains":       func(g *interval.Interval) string { return u.Gains(*g) },
		"perSpeed":    func(perKnot float64) string { return in(perKnot*u.perSpeed(), 1, "%") },
		"area":        func(m2 float64) string { return Area(m2, u) },
		"keys":        keys,
		"row":         func(c *advice.Comparison) string { return u.Row(*c) },
		"changed":     func(all []advice.Difference) string { return strings.Join(u.Changed(all), "; ") },
		"track":       func(r *analysis.Result) string { return u.track(r.Setup) },
		"unstopped":   func(why analysis.Finding) string { return strings.TrimSuffix(u.Say(why), ".") },
		"lost": func(why analysis.Finding) string {
			_, s, _ := strings.Cut(becameBook.say(u, fmt.Sprint(why), nil), ": ")
			return s
		},
		"moved": func(m *interval.Interval) string { return signedRange(m.Scale(1000), u) },
		"turned": func(rad *interval.Interval) string {
			i := rad.Scale(radian)
			return Fixed(math.Abs(i.Value), 1) + "° " + Choose(i.Value > 0, "more bow-up", "less bow-up") + rangeOf(i, 1, "less", "more")
		},
		"noteCount": func(n int) string { return UpperFirst(Plural(n, "note")) + " of feel" },
		"either":    func(s []string) string { return strings.Join(s, " or ") },
	}
}
