// Package par runs tasks that are numbered, so that results can be gathered by
// number and do not depend on who came first.
package par

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// Each calls task(0) to task(n-1) on that many goroutines, 0 or less: as many as
// there are processors. It returns when all are done.
func Each(n, workers int, task func(i int)) {
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(workers, n) {
		wg.Go(func() {
			for i := next.Add(1) - 1; int(i) < n; i = next.Add(1) - 1 {
				task(int(i))
			}
		})
	}
	wg.Wait()
}
