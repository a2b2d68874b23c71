package raw

import (
	"bufio"
	"io"
)

// A Window is a sliding view of a stream: a reader looks at the bytes ahead in
// place and drops what it has used, so a file is never held whole.
type Window struct {
	Passed func(b []byte) // where set, is shown what was used, many bytes at once
	r      *bufio.Reader
	b      []byte // what was read and has not passed
	used   int    // bytes of it
	pos    int64  // of its first byte in the stream
	err    error  // what ended the stream; io.EOF when it just ended
}

// NewWindow looks at r through a buffer of at least size bytes.
func NewWindow(r io.Reader, size int) *Window {
	return &Window{r: bufio.NewReaderSize(r, size)}
}

// Peek returns the next n bytes, fewer only where the stream ends or the buffer
// does. They stay valid until the next peek.
func (w *Window) Peek(n int) []byte {
	if len(w.b)-w.used < n {
		w.Settle()
		_, err := w.r.Peek(n)
		if err != nil && err != bufio.ErrBufferFull && w.err == nil {
			w.err = err
		}
		w.b, _ = w.r.Peek(w.r.Buffered())
	}
	return w.b[w.used:min(w.used+n, len(w.b))]
}

// Skip uses the next n bytes, which must have been peeked at.
func (w *Window) Skip(n int) { w.used += n }

// Settle lets pass what was used.
func (w *Window) Settle() {
	if w.Passed != nil {
		w.Passed(w.b[:w.used])
	}
	_, _ = w.r.Discard(w.used) // they are there
	w.pos += int64(w.used)
	w.b, w.used = w.b[w.used:], 0
}

// Pos is where the next byte stands in the stream.
func (w *Window) Pos() int64 { return w.pos + int64(w.used) }

// Broken returns the error that ended the stream early, nil for a plain end.
func (w *Window) Broken() error {
	if w.err == io.EOF {
		return nil
	}
	return w.err
}

// Ahead returns all that is read and not yet used; fewer than n bytes only at the
// end.
func (w *Window) Ahead(n int) []byte {
	w.Peek(n)
	return w.b[w.used:]
}

// growFrom is how many bytes must be read before a guess is made at the rest.
const growFrom = 64 << 10

// GrowTo says how many samples to make room for when want are needed at byte
// used of a file of size bytes: as many as it will hold if it goes on as so
// far. Room that is never touched costs nothing; copying does. A sample takes
// at least least bytes, so the room is in proportion to the file.
func GrowTo(want, least int, size, used int64) int {
	if size <= used || used < growFrom {
		return 2*want + 64
	}
	est := float64(want)*float64(size)/float64(used+1)*1.02 + 64
	est = min(est, float64(want)+float64(size-used)/float64(least)+64)
	return max(int(est), want+want/4)
}
