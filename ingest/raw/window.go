package raw

import (
	"io"
)

// A Window is a sliding view of a stream: a reader looks at the bytes ahead in
// place and drops what it has used, so a file is never held whole.
type Window struct {
	r      io.Reader
	buf    []byte
	lo, hi int   // buf[lo:hi] is read and not yet used
	Pos    int64 // offset in the stream of buf[lo]
	Err    error // what ended the stream; io.EOF when it just ended
}

func NewWindow(r io.Reader, size int) *Window {
	return &Window{r: r, buf: make([]byte, size)}
}

// Peek returns the next n bytes, fewer only where the stream ends. They stay
// valid until the next peek.
func (w *Window) Peek(n int) []byte {
	if w.hi-w.lo < n {
		w.fill(n)
	}
	return w.buf[w.lo:min(w.lo+n, w.hi)]
}

// fill reads until n bytes are ahead or the stream ends.
func (w *Window) fill(n int) {
	if w.lo > 0 { // what is left over is short
		w.hi = copy(w.buf, w.buf[w.lo:w.hi])
		w.lo = 0
	}
	if n > len(w.buf) {
		w.buf = append(w.buf[:w.hi:w.hi], make([]byte, max(n, 2*len(w.buf))-w.hi)...)
	}
	for idle := 0; w.hi-w.lo < n && w.Err == nil; {
		k, err := w.r.Read(w.buf[w.hi:])
		w.hi += k
		w.Err = err
		if k > 0 {
			idle = 0
		} else if idle++; idle > 100 && err == nil {
			w.Err = io.ErrNoProgress
		}
	}
}

// Skip drops the next n bytes, which must have been peeked at.
func (w *Window) Skip(n int) {
	w.lo += n
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
func (w *Window) Ahead() []byte {
	if w.lo == w.hi {
		w.fill(1)
	}
	return w.buf[w.lo:w.hi]
}

// More returns what ahead does, and at least a byte more; false at the end.
func (w *Window) More() ([]byte, bool) {
	n := w.hi - w.lo
	w.fill(n + 1)
	return w.buf[w.lo:w.hi], w.hi-w.lo > n
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

// Regrow moves s to a new array of capacity c.
func Regrow[T any](s []T, c int) []T {
	return append(make([]T, 0, c), s...)
}
