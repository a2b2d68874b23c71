package raw

import (
	"bufio"
	"io"
)

// A Window is a sliding view of a stream: a reader looks at the bytes ahead in
// place and drops what it has used, so a file is never held whole.
type Window struct {
	*bufio.Reader
	Pos int64 // offset in the stream of the next byte
	Err error // what ended the stream; io.EOF when it just ended
}

// NewWindow looks at r through a buffer of at least size bytes.
func NewWindow(r io.Reader, size int) *Window {
	return &Window{Reader: bufio.NewReaderSize(r, size)}
}

// Peek returns the next n bytes, fewer only where the stream ends or the buffer
// does. They stay valid until the next peek.
func (w *Window) Peek(n int) []byte {
	b, err := w.Reader.Peek(n)
	if err != nil && err != bufio.ErrBufferFull && w.Err == nil {
		w.Err = err
	}
	return b
}

// Skip drops the next n bytes, which must have been peeked at.
func (w *Window) Skip(n int) {
	_, _ = w.Discard(n) // they are there
	w.Pos += int64(n)
}

// Broken returns the error that ended the stream early, nil for a plain end.
func (w *Window) Broken() error {
	if w.Err == io.EOF {
		return nil
	}
	return w.Err
}

// Ahead returns all that is read and not yet used; empty only at the end.
func (w *Window) Ahead() []byte { return w.Peek(max(1, w.Buffered())) }

// More returns what Ahead does, and at least a byte more; false at the end.
func (w *Window) More() ([]byte, bool) {
	n := w.Buffered()
	w.Peek(n + 1)
	return w.Peek(w.Buffered()), w.Buffered() > n
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
