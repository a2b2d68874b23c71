package chart

// Text is measured in Liberation Sans, whose widths are those of Arial, and
// aligned by the SVG, so that another font does no harm. Sizes are shares of
// the font's, from its OpenType tables.
const (
	fontAscent  = 1854.0 / unitsPerEm
	fontDescent = 434.0 / unitsPerEm
	unitsPerEm  = 2048
	digitWidth  = 1139
)

// asciiWidth are the advance widths from the blank to the tilde, font units.
var asciiWidth = [...]uint16{
	569, 569, 727, 1139, 1139, 1821, 1366, 391, 682, 682, 797, 1196, 569, 682, 569, 569,
	1139, 1139, 1139, 1139, 1139, 1139, 1139, 1139, 1139, 1139, 569, 569, 1196, 1196, 1196, 1139,
	2079, 1366, 1366, 1479, 1479, 1366, 1251, 1593, 1479, 569, 1024, 1366, 1139, 1706, 1479, 1593,
	1366, 1593, 1479, 1366, 1251, 1479, 1366, 1933, 1366, 1366, 1251, 569, 569, 569, 961, 1139,
	682, 1139, 1139, 1024, 1139, 1139, 569, 1139, 1139, 455, 455, 1024, 455, 1706, 1139, 1139,
	1139, 1139, 682, 1024, 569, 1139, 1024, 1479, 1024, 1024, 1024, 684, 532, 684, 1196,
}

// signWidth are those of signs; other letters are taken to be as wide as a digit.
var signWidth = map[rune]uint16{'−': 1196, '×': 1196, '±': 1124, '°': 819, '²': 682, '³': 682, '·': 682, '…': 2048, '—': 2048, '→': 2048, '←': 2048}

// textWidth is how wide a line of text is, px.
func textWidth(s string, size float64) float64 {
	units := 0
	for _, r := range s {
		w := uint16(digitWidth)
		if i := int(r - ' '); i >= 0 && i < len(asciiWidth) {
			w = asciiWidth[i]
		} else if known, ok := signWidth[r]; ok {
			w = known
		}
		units += int(w)
	}
	return float64(units) / unitsPerEm * size
}

// lineHeight is how high a line of text is, px, and rise how far its baseline
// lies above its foot: a twelfth of the size lower than the font says, for most of
// what is written are digits, which have no descenders.
func lineHeight(size float64) float64 { return (fontAscent + fontDescent) * size }
func rise(size float64) float64       { return (0.92 - fontAscent + fontDescent) * size }
