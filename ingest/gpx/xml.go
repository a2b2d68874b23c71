package gpx

import (
	"bufio"
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"strings"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/scan"

	"golang.org/x/text/encoding/charmap"
)

// A scanner cuts XML into tags and text, no more: names lose their prefix,
// entities of a document type are never expanded, and nothing recurses or
// holds more than one tag. It is several times faster than encoding/xml (see
// BenchmarkGPX) and keeps line numbers.
type scanner struct {
	w      *raw.Window
	line   int    // of the next byte, from 1
	entity int    // line of the first entity declaration, 0 if none
	keep   bool   // the text is kept
	text   []byte // without markup, up to its capacity

	// The tag just read.
	name   []byte // without its prefix
	attrs  []byte // what stands between the name and the end of a start tag
	open   bool   // start tag
	close  bool   // end tag; both for an empty element
	broken bool   // no '>' ends it: a quote is lost
	at     int    // line it starts on
}

// maxTag bounds one tag, in bytes.
const maxTag = 64 << 10

// newScanner finds out the encoding. It may return the name of one that is not
// known, and read as UTF-8.
func newScanner(r *bufio.Reader) (x *scanner, unknown string) {
	x = &scanner{line: 1, text: make([]byte, 0, maxValue)}
	text, same := scan.Text(r)
	head, _ := text.Peek(1024)
	label := ""
	if inside, _, ok := bytes.Cut(head, []byte("?>")); ok && same && bytes.HasPrefix(head, []byte("<?xml")) {
		label = strings.ToLower(strings.TrimSpace(string(attr(inside[5:], "encoding"))))
	}
	plain := strings.NewReplacer("-", "", "_", "", "cp125", "windows125", "latin1", "iso88591").Replace(label)
	if enc := encodings[plain]; enc != nil {
		x.w = raw.NewWindow(enc.NewDecoder().Reader(text), 64<<10)
		return x, ""
	}
	x.w = raw.NewWindow(text, 64<<10)
	if strings.HasPrefix(plain, "utf") || plain == "usascii" { // of UTF-16 the declaration itself would not be ASCII
		label = ""
	}
	return x, label
}

// encodings are the character sets besides Unicode, without the strokes in their
// names, in which a track's names are read; in any other only what is ASCII, such
// as numbers, is.
var encodings = map[string]*charmap.Charmap{
	"iso88591": charmap.Windows1252, "iso88592": charmap.ISO8859_2, "iso88595": charmap.ISO8859_5,
	"iso88597": charmap.ISO8859_7, "iso88599": charmap.ISO8859_9, "iso885915": charmap.ISO8859_15,
	"windows1250": charmap.Windows1250, "windows1251": charmap.Windows1251, "windows1252": charmap.Windows1252,
	"windows1253": charmap.Windows1253, "windows1254": charmap.Windows1254,
}

// attr returns the raw value of an attribute by local name, nil if there is none.
func attr(attrs []byte, name string) []byte {
	for {
		key, rest, ok := bytes.Cut(attrs, []byte("="))
		rest = bytes.TrimLeft(rest, " \t\r\n")
		if !ok || len(rest) == 0 || rest[0] != '"' && rest[0] != '\'' {
			return nil
		}
		end := bytes.IndexByte(rest[1:], rest[0])
		if end < 0 {
			return nil
		}
		key = bytes.TrimSpace(key)
		if string(key[bytes.LastIndexByte(key, ':')+1:]) == name {
			return rest[1 : 1+end]
		}
		attrs = rest[end+2:]
	}
}

// next reads up to and with the next tag; text before it is appended to x.text
// when it is to be kept. It returns io.EOF at the end, and another error where
// it cannot go on.
func (x *scanner) next() error {
	for {
		if err := x.until("<", x.keep); err != nil {
			return err
		}
		x.at = x.line
		open, end := "", ""
		if b := x.w.Peek(len("<![CDATA[")); len(b) > 1 && (b[1] == '!' || b[1] == '?') {
			switch {
			case bytes.HasPrefix(b, []byte("<!--")):
				open, end = "<!--", "-->"
			case bytes.HasPrefix(b, []byte("<![CDATA[")):
				open, end = "<![CDATA[", "]]>"
			case b[1] == '?':
				open, end = "<?", "?>"
			}
		}
		if end == "" {
			if err := x.tag(); err != nil || x.open || x.close {
				return err
			}
			continue
		}
		x.use(len(open), false)
		if err := x.until(end, x.keep && end == "]]>"); err != nil {
			return x.ended(io.ErrUnexpectedEOF)
		}
		x.use(len(end), false)
	}
}

// until uses what stands before the string end; an error when none comes.
func (x *scanner) until(end string, keep bool) error {
	for {
		b := x.w.Ahead(len(end))
		if i := bytes.Index(b, []byte(end)); i >= 0 {
			x.use(i, keep)
			return nil
		}
		if len(b) < len(end) {
			x.use(len(b), keep)
			return x.ended(io.EOF)
		}
		x.use(len(b)-len(end)+1, keep)
	}
}

// use skips n bytes that are ahead, counting lines and keeping them where asked.
func (x *scanner) use(n int, keep bool) {
	if n == 0 {
		return
	}
	b := x.w.Peek(n)
	x.line += bytes.Count(b, []byte{'\n'})
	if keep {
		x.text = append(x.text, b[:min(n, cap(x.text)-len(x.text))]...)
	}
	x.w.Skip(n)
}

// ended is why the stream ends: an error of reading, or just so.
func (x *scanner) ended(plain error) error {
	if err := x.w.Broken(); err != nil {
		return err
	}
	return plain
}

// tag reads the tag ahead. One in which a quote is lost, so that no '>' ends it,
// ends before the next '<', which cannot stand inside a tag. A declaration is
// neither a start nor an end tag; one of a document type holds others, and ends
// likewise.
func (x *scanner) tag() error {
	b := x.w.Ahead(2)
	quote := byte(0)
	i := 1
	for ; ; i++ {
		if i == len(b) {
			if len(b) >= maxTag {
				return fmt.Errorf("a tag is longer than %d bytes", maxTag)
			}
			if b = x.w.Ahead(i + 1); i == len(b) {
				return x.ended(io.ErrUnexpectedEOF)
			}
		}
		c := b[i]
		if c == '<' || c == '>' && quote == 0 {
			break
		}
		if c == quote {
			quote = 0
		} else if quote == 0 && (c == '"' || c == '\'') {
			quote = c
		}
	}
	x.broken = b[i] == '<'
	x.parse(b[1:i])
	if !x.broken {
		i++
	}
	x.use(i, false)
	return nil
}

// parse takes apart what stands between '<' and '>'.
func (x *scanner) parse(t []byte) {
	if x.broken {
		t = bytes.TrimSuffix(bytes.TrimRight(t, " \t\r\n"), []byte(">"))
	}
	x.open, x.close = true, false
	switch {
	case bytes.HasPrefix(t, []byte("!")):
		x.open = false
		if x.entity == 0 && bytes.HasPrefix(t, []byte("!ENTITY")) {
			x.entity = x.at
		}
	case bytes.HasPrefix(t, []byte("/")):
		x.open, x.close = false, true
		t = t[1:]
	case bytes.HasSuffix(t, []byte("/")):
		x.close = true
		t = t[:len(t)-1]
	}
	end := 0
	for end < len(t) && t[end] > ' ' {
		end++
	}
	x.name, x.attrs = t[:end], t[end:]
	x.name = x.name[bytes.LastIndexByte(x.name, ':')+1:]
}

// unescape replaces the references that XML itself defines; false when there
// is any other.
func unescape(b []byte) ([]byte, bool) {
	if bytes.IndexByte(b, '&') < 0 {
		return b, true
	}
	var plain string
	err := xml.Unmarshal(fmt.Appendf(nil, "<t>%s</t>", bytes.ToValidUTF8(b, nil)), &plain)
	return []byte(plain), err == nil
}
