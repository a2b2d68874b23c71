package filter

import (
	"runtime"
	"sync"
)

// InParts calls f for parts of 0..n, one a processor, at the same time, and
// returns when all are done. The answer must not depend on how n is divided.
func InParts(n int, f func(from, to int)) {
	parts := min(runtime.GOMAXPROCS(0), n)
	var wg sync.WaitGroup
	for k := range parts {
		wg.Go(func() { f(n*k/parts, n*(k+1)/parts) })
	}
	wg.Wait()
}
