package scan

import (
	"bufio"
	"bytes"

	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// Text is a text in UTF-8 without a byte order mark, where it begins with one or
// like XML in UTF-16, and any other as it stands: same then.
func Text(r *bufio.Reader) (text *bufio.Reader, same bool) {
	head, _ := r.Peek(3)
	order := unicode.LittleEndian
	switch {
	case string(head) == "\xEF\xBB\xBF":
		_, _ = r.Discard(3) // they are there
		return r, true
	case bytes.HasPrefix(head, []byte("\xFE\xFF")), bytes.HasPrefix(head, []byte("\x00<")):
		order = unicode.BigEndian
	case !bytes.HasPrefix(head, []byte("\xFF\xFE")) && !bytes.HasPrefix(head, []byte("<\x00")):
		return r, true
	}
	return bufio.NewReaderSize(transform.NewReader(r, unicode.UTF16(order, unicode.UseBOM).NewDecoder()), r.Size()), false
}
