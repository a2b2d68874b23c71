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

// An xmlScanner cuts XML into tags and text, no more: names lose their prefix,
// entities of a document type are never expanded, and nothing recurses or
// holds more than one tag. It is several times faster than encoding/xml (see
// BenchmarkGPX) and keeps line numbers.
type xmlScanner struct {
	w      *raw.Window
	line   int // of the next byte, from 1
	entity int // line of the first entity declaration, 0 if none

	name   []byte // local name of the tag just read
	attrs  []byte // what stands between the name and the end of a start tag
	open   bool   // start tag
	close  bool   // end tag; both for an empty element
	broken bool   // no '>' ends it: a quote is lost
	at     int    // line the tag starts on
}

// maxTag bounds one tag, in bytes.
const maxTag = 64 << 10

// newXMLScanner finds out the encoding. It may return the name of one that is
// not known, and read as UTF-8.
func newXMLScanner(r *bufio.Reader) (x *xmlScanner, unknown string) {
	r, same := scan.Text(r)
	w := raw.NewWindow(r, 64<<10)
	label := declaredEncoding(w.Peek(1024))
	plain := strings.NewReplacer("-", "", "_", "", "cp125", "windows125").Replace(label)
	if enc := encodings[plain]; enc != nil && same {
		w = raw.NewWindow(enc.NewDecoder().Reader(w.Reader), 64<<10)
	} else if same && label != "" && !strings.HasPrefix(plain, "utf") && plain != "usascii" {
		unknown = label // in what is declared as UTF-16 the declaration itself would not be ASCII
	}
	return &xmlScanner{w: w, line: 1}, unknown
}

// encodings are the character sets besides Unicode, without the strokes in their
// names, in which a track's names are read; in any other only what is ASCII, such
// as numbers, is.
var encodings = map[string]*charmap.Charmap{
	"iso88591": charmap.Windows1252, "latin1": charmap.Windows1252, "windows1252": charmap.Windows1252, "iso885915": charmap.ISO8859_15,
	"iso88592": charmap.ISO8859_2, "iso88595": charmap.ISO8859_5, "iso88597": charmap.ISO8859_7, "iso88599": charmap.ISO8859_9,
	"windows1250": charmap.Windows1250, "windows1251": charmap.Windows1251, "windows1253": charmap.Windows1253, "windows1254": charmap.Windows1254,
}

// declaredEncoding returns the encoding of an XML declaration, in lower case.
func declaredEncoding(head []byte) string {
	if !bytes.HasPrefix(head, []byte("<?xml")) {
		return ""
	}
	if i := bytes.Index(head, []byte("?>")); i >= 0 {
		head = head[:i]
	}
	return strings.ToLower(strings.TrimSpace(string(attr(head[5:], "encoding"))))
}

// attr returns the raw value of an attribute by local name, nil if there is
// none.
func attr(attrs []byte, name string) []byte {
	for b := attrs; ; {
		eq := bytes.IndexByte(b, '=')
		if eq < 0 {
			return nil
		}
		key := bytes.TrimSpace(b[:eq])
		if i := bytes.LastIndexByte(key, ':'); i >= 0 {
			key = key[i+1:]
		}
		b = bytes.TrimLeft(b[eq+1:], " \t\r\n")
		if len(b) == 0 || b[0] != '"' && b[0] != '\'' {
			return nil
		}
		end := bytes.IndexByte(b[1:], b[0])
		if end < 0 {
			return nil
		}
		if string(key) == name {
			return b[1 : 1+end]
		}
		b = b[end+2:]
	}
}

// next reads up to and with the next tag. Text before it, without markup, is
// appended to *text when that is not nil, up to its capacity. It returns
// io.EOF at the end and another error where it cannot go on.
func (x *xmlScanner) next(text *[]byte) error {
	for {
		x.text(text)
		b := x.w.Ahead()
		if len(b) == 0 {
			if err := x.w.Broken(); err != nil {
				return err
			}
			return io.EOF
		}
		if len(b) < 9 { // enough to tell what it is
			b = x.w.Peek(9)
		}
		x.at = x.line
		var err error
		switch {
		case bytes.HasPrefix(b, []byte("<!--")):
			err = x.until(4, "-->", nil)
		case bytes.HasPrefix(b, []byte("<![CDATA[")):
			err = x.until(9, "]]>", text)
		case bytes.HasPrefix(b, []byte("<!")):
			err = x.doctype()
		case bytes.HasPrefix(b, []byte("<?")):
			err = x.until(2, "?>", nil)
		default:
			return x.tag()
		}
		if err != nil {
			return err
		}
	}
}

// text skips to the next '<'.
func (x *xmlScanner) text(to *[]byte) {
	for {
		b := x.w.Ahead()
		if len(b) == 0 || b[0] == '<' {
			return
		}
		n := bytes.IndexByte(b, '<')
		if n < 0 {
			n = len(b)
		}
		x.use(n, to)
	}
}

// use skips n bytes that are ahead, counting lines and keeping them in *to.
func (x *xmlScanner) use(n int, to *[]byte) {
	b := x.w.Ahead()[:n]
	x.line += bytes.Count(b, []byte{'\n'})
	if to != nil {
		*to = append(*to, b[:min(n, cap(*to)-len(*to))]...)
	}
	x.w.Skip(n)
}

// until skips n bytes and then up to and with the string end.
func (x *xmlScanner) until(n int, end string, to *[]byte) error {
	x.w.Peek(n)
	x.use(n, nil)
	for {
		b := x.w.Peek(len(end))
		if len(b) < len(end) {
			return x.ended()
		}
		b = x.w.Ahead()
		if i := bytes.Index(b, []byte(end)); i >= 0 {
			x.use(i, to)
			x.use(len(end), nil)
			return nil
		}
		x.use(len(b)-len(end)+1, to)
	}
}

// ended is why the file ends inside markup: an error of reading, or just so.
func (x *xmlScanner) ended() error {
	if err := x.w.Broken(); err != nil {
		return err
	}
	return io.ErrUnexpectedEOF
}

// doctype skips a document type declaration, its entities unread.
func (x *xmlScanner) doctype() error {
	quote := byte(0)
	for depth := 0; ; {
		b := x.w.Peek(8)
		if len(b) == 0 {
			return x.ended()
		}
		switch c := b[0]; {
		case quote != 0:
			if c == quote {
				quote = 0
			}
		case c == '"' || c == '\'':
			quote = c
		case bytes.HasPrefix(b, []byte("<!--")):
			if err := x.until(4, "-->", nil); err != nil {
				return err
			}
			continue
		case c == '<':
			if x.entity == 0 && bytes.HasPrefix(b, []byte("<!ENTITY")) {
				x.entity = x.line
			}
			depth++
		case c == '>':
			if depth--; depth == 0 {
				x.use(1, nil)
				return nil
			}
		}
		x.use(1, nil)
	}
}

// tag reads the start or end tag ahead. One in which a quote is lost, so that
// no '>' ends it, ends before the next '<', which cannot stand inside a tag.
func (x *xmlScanner) tag() error {
	b := x.w.Ahead()
	quote := byte(0)
	for i := 1; ; i++ {
		if i == len(b) {
			var ok bool
			if len(b) >= maxTag {
				return fmt.Errorf("a tag is longer than %d bytes", maxTag)
			}
			if b, ok = x.w.More(); !ok {
				return x.ended()
			}
		}
		switch c := b[i]; {
		case c == '<':
			x.end(b[:i], bytes.TrimSuffix(bytes.TrimRight(b[1:i], " \t\r\n"), []byte(">")), true)
			return nil
		case c == quote:
			quote = 0
		case quote != 0:
		case c == '"' || c == '\'':
			quote = c
		case c == '>':
			x.end(b[:i+1], b[1:i], false)
			return nil
		}
	}
}

// end takes apart what a tag holds and skips it.
func (x *xmlScanner) end(all, inside []byte, broken bool) {
	x.broken = broken
	x.parse(inside)
	x.line += bytes.Count(all, []byte{'\n'})
	x.w.Skip(len(all))
}

// parse takes apart what stands between '<' and '>'.
func (x *xmlScanner) parse(t []byte) {
	x.open, x.close = true, false
	if len(t) > 0 && t[0] == '/' {
		x.open, x.close = false, true
		t = t[1:]
	} else if len(t) > 0 && t[len(t)-1] == '/' {
		x.close = true
		t = t[:len(t)-1]
	}
	end := 0
	start := 0
	for end < len(t) && t[end] > ' ' {
		if t[end] == ':' {
			start = end + 1
		}
		end++
	}
	x.name, x.attrs = t[start:end], t[end:]
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
