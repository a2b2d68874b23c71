package site

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"sync"
	"sync/atomic"
	"time"
)

// A queue bounds the work: so many tasks at a time, and each kind once.
type queue struct {
	slots chan struct{}
	ctx   context.Context // ends when the site closes
	end   context.CancelFunc
	wait  sync.WaitGroup

	mu     sync.Mutex
	tasks  map[string]*task
	failed map[string]failure
}

// A task is one page being made.
type task struct {
	done  chan struct{} // closed at the end
	stage atomic.Value  // string: what is being done
}

type failure struct {
	err  error
	when time.Time
}

const (
	waitingMost = 64 // tasks that may wait
	// failureKept is how long a failure is shown before the task is tried anew.
	failureKept = 20 * time.Second
)

var (
	errBusy    = errors.New("too many sessions wait to be analysed; try again in a minute")
	errClosing = errors.New("the server is being stopped")
)

func newQueue(workers int) *queue {
	q := &queue{slots: make(chan struct{}, workers), tasks: map[string]*task{}, failed: map[string]failure{}}
	q.ctx, q.end = context.WithCancel(context.Background())
	return q
}

// start puts work in the queue unless the same work, by its key, is there. Of what
// work gives back as its rest nobody waits for the end.
// The error is that of the last try, when it is fresh, or that of a full queue.
func (q *queue) start(key string, work func(stage func(string)) (rest func(), err error)) (*task, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if t := q.tasks[key]; t != nil {
		return t, nil
	}
	maps.DeleteFunc(q.failed, func(_ string, f failure) bool { return time.Since(f.when) > failureKept })
	if f, ok := q.failed[key]; ok {
		return nil, f.err
	}
	if q.ctx.Err() != nil {
		return nil, errClosing
	}
	if len(q.tasks) >= waitingMost {
		return nil, errBusy
	}
	t := &task{done: make(chan struct{})}
	t.say("waiting for its turn")
	q.tasks[key] = t
	q.wait.Add(1)
	go func() {
		defer q.wait.Done()
		var rest func()
		release, err := q.slot(q.ctx)
		if err != nil {
			err = errClosing
		} else {
			defer release()
			err = guarded(func() (err error) {
				rest, err = work(t.say)
				return err
			})
		}
		q.mu.Lock()
		delete(q.tasks, key)
		if err != nil {
			q.failed[key] = failure{err, time.Now()}
		}
		q.mu.Unlock()
		close(t.done)
		if rest != nil && q.ctx.Err() == nil {
			_ = guarded(func() error { rest(); return nil })
		}
	}()
	return t, nil
}

// guarded turns a fault of the program into an error: one bad log must not
// take the server and other people's uploads with it.
func guarded(work func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("evenfoot has a fault that this session brought to light: %v", p)
		}
	}()
	return work()
}

// slot waits for a free worker.
func (q *queue) slot(ctx context.Context) (release func(), err error) {
	select {
	case q.slots <- struct{}{}:
		return func() { <-q.slots }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

func (t *task) say(stage string) { t.stage.Store(stage) }

func (t *task) at() string { return t.stage.Load().(string) }

// size is how many tasks wait or run.
func (q *queue) size() int {
	q.mu.Lock()
	defer q.mu.Unlock()
	return len(q.tasks)
}

// stop takes no more work, and waits for what runs until ctx ends.
func (q *queue) stop(ctx context.Context) error {
	q.mu.Lock()
	q.end()
	q.mu.Unlock()
	done := make(chan struct{})
	go func() {
		q.wait.Wait()
		close(done)
	}()
	select {
	case <-done:
		return nil
	case <-ctx.Done():
		return errors.New("an analysis was cut short; it will be made again when its page is opened")
	}
}
