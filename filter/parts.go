package filter

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// InParts calls f for parts of 0..n, one a processor, at the same time, and
// returns when all are done. The answer must not depend on how n is divided.
func InParts(n int, f func(from, to int)) {
	if n == 1 { // asking for the processors takes a lock
		f(0, n)
		return
	}
	parts := min(runtime.GOMAXPROCS(0), n)
	Each(parts, func(k int) { f(n*k/parts, n*(k+1)/parts) })
}

// Each calls do(0) to do(n-1) on all cores, as they come free. What they write
// must be apart. A panic of one goes on in the caller, which may recover.
func Each(n int, do func(i int)) {
	var next atomic.Int64
	var fault atomic.Pointer[any]
	var wait sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), n) {
		wait.Go(func() {
			defer func() {
				if p := recover(); p != nil {
					fault.Store(&p)
				}
			}()
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				do(i)
			}
		})
	}
	wait.Wait()
	if p := fault.Load(); p != nil {
		panic(*p)
	}
}
