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
		// What is said elsewhere.
		"say": u.Say, "part": u.Tell, "tell": func(kind string) string { return u.Tell(kind, nil) }, "here": u.here, "conflict": u.Conflict,
		"reason": Reason, "observation": u.Observation, "bend": Bend, "leftOut": LeftOut, "missing": Missing, "choice": ChoiceName,
		"verdict": VerdictHead, "whatChanged": whatChanged, "dragChange": u.DragChange, "screwCare": screwCare, "row": u.Row, "changed": u.Changed, "keys": keys,
		"unstopped": func(why analysis.Finding) string { return strings.TrimSuffix(u.Say(why), ".") },
		"lost": func(why analysis.Finding) string {
			_, s, _ := strings.Cut(becameBook.say(u, fmt.Sprint(why), nil), ": ")
			return s
		},
		// Words.
		"clean": Clean, "cleanTo": CleanTo, "sentence": Sentence, "upper": UpperFirst, "lower": LowerFirst, "plural": Plural, "a": a,
		"listed": Listed, "join": strings.Join, "quotedNames": quotedNames, "units": unitsOf, "rider": u.RiderText, "level": levelOf, "limit": limit,
		"counted": func(n float64, one string) string { return Counted(int(n), one) },
		"last":    func(i int, of []float64) bool { return i == len(of)-1 },
		// Numbers.
		"float": num, "minus": func(a, b float64) float64 { return a - b }, "times": func(v any, k float64) float64 { return num(v) * k },
		"abs": math.Abs, "finite": func(v any) bool { return Finite(num(v)) }, "fixed": func(v any, digits int) string { return Fixed(num(v), digits) },
		"percent": func(v any) string { return Percent(num(v)) }, "about": about, "between": Between, "bySize": bySize,
		"percentOf": func(v any) string { return percentOf(num(v)) },
		"off":       func(v, from float64) string { return Percent(math.Abs(v/from - 1)) },
		"ahead":     func(s float64) string { return fmt.Sprintf("%+.1f", s) },
		"bytes":     func(n any) string { return humanize.IBytes(uint64(reflect.ValueOf(n).Int())) },
		"rate":      func(hz any) string { return Fixed(num(hz), Choose(math.Abs(num(hz)-math.Round(num(hz))) < 0.05, 0, 1)) },
		"exact":     func(i interval.Interval) interval.Interval { return interval.Exact(i.Value) },
		"halfWidth": func(i interval.Interval) float64 { return (i.High - i.Low) / 2 },
		"outside":   func(i interval.Interval) bool { return i.Low*i.High > 0 }, // of zero
		"least":     func(i interval.Interval) float64 { return min(math.Abs(i.Low), math.Abs(i.High)) },
		"most":      func(i interval.Interval) float64 { return max(math.Abs(i.Low), math.Abs(i.High)) },
		// Speeds and times.
		"speed": func(v any) string { return u.SpeedText(num(v)) }, "speedFine": func(v any) string { return u.SpeedFine(num(v)) },
		"speeds": u.speeds, "noted": u.speedNoted, "ofSpeed": u.SpeedValue, "best": u.BestSpeed, "knot": u.SpeedName,
		"clock": sinceStart, "lasting": lasting, "decimals": Decimals, "span": fromTo, "minutes": Minutes, "hours": func(s float64) string { return Fixed(s/3600, 0) },
		// Lengths, areas, weights and moves.
		"length": u.LengthText, "roughly": u.lengthRound, "distance": func(m any) string { return u.DistanceText(num(m)) }, "area": func(m2 float64) string { return Area(m2, u) },
		"mass": u.MassText, "weight": u.Weight, "thin": func(m float64) string { return u.Thin(math.Abs(m)) }, "cards": u.cards, "cardCount": CardCount,
		"way": u.way, "further": u.further, "foreAft": ForeAft, "places": u.places, "placeAt": placeAt, "track": u.track,
		"signed": func(mm interval.Interval) string { return signedRange(mm, u) },
		"moved":  func(m interval.Interval) string { return signedRange(m.Scale(1000), u) },
		"pressed": func(mm float64) string {
			return Choose(math.Abs(mm) < 1, "about where they do", u.further(mm/1000))
		},
		// Angles.
		"deg":     func(rad float64, digits int) string { return fmt.Sprintf("%.*f°", digits, rad*radian) },
		"turn":    func(rad float64) string { return fmt.Sprintf("%+.1f°", rad*radian) },
		"bearing": func(rad float64) string { return fmt.Sprintf("%03.0f°", rad*radian) },
		"raised":  raisedRange,
		"turned": func(rad interval.Interval) string {
			i := rad.Scale(radian)
			return Fixed(math.Abs(i.Value), 1) + "° " + Choose(i.Value > 0, "more bow-up", "less bow-up") + rangeOf(i, 1, "less", "more")
		},
		// The load.
		"heavy": heavy, "share": shareHeld, "even": even, "gain": u.Gains, "gainAbout": u.gainsAbout,
		"perSpeed": func(perKnot float64) string { return in(perKnot*u.perSpeed(), 1, "%") },
		// Values of the setup and of the model.
		"label": func(key string) string { return LowerFirst(keyNamed(key).Label) }, "unknown": u.unknown,
		"keyed": func(key string, v float64) string { return u.Keyed(keyNamed(key), v) },
		// What is judged by, and known.
		"surely": func() float64 { return advice.Surely }, "feltMove": func() float64 { return feltMove }, "leastReach": func() int { return pitchlaw.LeastReach },
		"nearRidden": func() float64 { return analysis.NearRidden }, "z90": func() float64 { return interval.Z90 }, "where": where,
	}
}
