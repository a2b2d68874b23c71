package gpx

import (
	"syscall/js"

	"golang.org/x/text/encoding"
	"golang.org/x/text/transform"
)

// encodingNamed is the character set of an XML declaration, nil for one that is
// not known. A browser has the tables of them all, so the program need not
// bring them.
func encodingNamed(label string) (enc encoding.Encoding) {
	defer func() {
		if recover() != nil { // it throws where it does not know the name
			enc = nil
		}
	}()
	js.Global().Get("TextDecoder").New(label)
	return browserEncoding(label)
}

type browserEncoding string

func (b browserEncoding) NewDecoder() *encoding.Decoder {
	return &encoding.Decoder{Transformer: &browserDecoder{js: js.Global().Get("TextDecoder").New(string(b))}}
}

func (browserEncoding) NewEncoder() *encoding.Encoder { return encoding.Replacement.NewEncoder() }

// A browserDecoder hands bytes to the browser and gives its text on. What it
// does not know becomes U+FFFD, as in golang.org/x/text.
type browserDecoder struct {
	transform.NopResetter
	js    js.Value
	ready []byte // text that had no room yet
}

func (d *browserDecoder) Transform(dst, src []byte, atEOF bool) (nDst, nSrc int, err error) {
	if len(d.ready) == 0 && (len(src) > 0 || atEOF) {
		in := js.Global().Get("Uint8Array").New(len(src))
		js.CopyBytesToJS(in, src)
		d.ready = []byte(d.js.Call("decode", in, map[string]any{"stream": !atEOF}).String())
		nSrc = len(src)
	}
	nDst = copy(dst, d.ready)
	if d.ready = d.ready[nDst:]; len(d.ready) > 0 {
		err = transform.ErrShortDst
	}
	return nDst, nSrc, err
}
