// Package site is the local server: a library of sessions in a browser, with
// upload, riders, the sheets and their comparison. Everything stays on the
// machine; no page loads anything from elsewhere.
//
// It imports report and what lies below it, the standard library's net/http
// and html/template, a lock between processes, and SQLite for libraries of an
// earlier evenfoot.
package site

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"strconv"
	"sync"
	"time"

	"evenfoot/analysis"
)

// A Config says where the library lies and what the server may take.
type Config struct {
	Dir     string // the data folder; made when it does not exist
	Version string // of the program, shown on the pages
	// MaxUpload bounds one upload, bytes; 0 means 1 GiB.
	MaxUpload int64
	// Workers is how many logs are read or analysed at a time; 0 means one.
	Workers int
	// Locked is for a library that other machines reach: nothing is served
	// without the key, and requests may name the machine by any IP address, or by
	// one of Hosts. Otherwise only names of the loopback are answered.
	Locked bool
	Hosts  []string
	// Beach is a folder with the static page, served under /beach/; "" for none.
	Beach string
	// Warn, when not nil, is told of what the user of the terminal should know, by
	// several goroutines at a time.
	Warn func(format string, args ...any)
	// Log, when not nil, takes the server's own log: a line for each upload, page
	// made and request that failed, without places and keys.
	Log *slog.Logger
}

// A Site is a library and the pages over it.
type Site struct {
	cfg     Config
	store   *store
	queue   *queue
	pages   *recent[*kept]
	lights  *recent[*analysis.Result]
	laters  *recent[*analysis.Later]
	token   string   // proves that a form came from a page of this process
	at      net.Addr // where it is served
	handler http.Handler
	uploads chan struct{} // each that comes in holds one
	heldMu  sync.Mutex
	held    map[string]*upload // that wait for their user's word
	reading chan struct{}      // and while its logs are read, this
	wake    chan struct{}      // the library was changed
}

const defaultMaxUpload = 1 << 30

// Open opens the library, or makes one. Only one Site at a time can have it.
func Open(cfg Config) (*Site, error) {
	if cfg.MaxUpload <= 0 {
		cfg.MaxUpload = defaultMaxUpload
	}
	if cfg.Warn == nil {
		cfg.Warn = func(string, ...any) {}
	}
	if cfg.Log == nil {
		cfg.Log = slog.New(slog.DiscardHandler)
	}
	var secret [32]byte
	if _, err := rand.Read(secret[:]); err != nil {
		return nil, fmt.Errorf("no random numbers for the forms: %w", err)
	}
	st, err := openStore(cfg.Dir, cfg.Version, false, cfg.Warn)
	if err != nil {
		return nil, err
	}
	if st.readOnly != nil {
		cfg.Warn("the library %s can only be read: %v; sheets can be opened, and nothing can be added", st.dir, st.readOnly)
	}
	s := &Site{cfg: cfg, store: st, queue: newQueue(max(1, cfg.Workers)), token: hex.EncodeToString(secret[:]),
		pages: newRecent[*kept](pagesKept), lights: newRecent[*analysis.Result](lightsKept), laters: newRecent[*analysis.Later](latersKept),
		uploads: make(chan struct{}, uploadsMost), reading: make(chan struct{}, max(1, cfg.Workers)), wake: make(chan struct{}, 1), held: map[string]*upload{}}
	s.handler = s.logged(s.guard(s.routes()))
	if cfg.Locked && s.Key() == "" {
		if err := s.NewKey(); err != nil { // it opens this run all the same
			cfg.Warn("%v", err)
		}
	}
	s.queue.wait.Go(s.catchUp)
	return s, nil
}

// catchUp makes, one after the other, the lists' lines that a restart cut off,
// that another version made, or that rest on what was changed since: the newest
// first, at the start and whenever wake tells of a change; and then what
// comparisons will ask for.
func (s *Site) catchUp() {
	for {
		for _, ses := range s.store.sessions() {
			if s.queue.ctx.Err() != nil {
				return
			}
			_ = guarded(func() error { // its own page says what is wrong
				if ses.Summary == nil || s.stale(ses) != "" {
					if t := s.beginUsual(ses.ID); t != nil {
						<-t.done
					}
				}
				return nil
			})
		}
		if release, err := s.queue.slot(s.queue.ctx); err == nil {
			_ = guarded(func() error { s.foresee(); return nil }) // a comparison says what is wrong
			release()
		}
		select {
		case <-s.wake:
		case <-s.queue.ctx.Done():
			return
		}
	}
}

// changed tells catchUp that what the lists' lines rest on may be another.
func (s *Site) changed() {
	select {
	case s.wake <- struct{}{}:
	default: // it is told already
	}
}

// Handler answers the requests.
func (s *Site) Handler() http.Handler { return s.handler }

// Close waits for the work in hand until ctx ends, and closes the library.
// What was not finished is only left out of the kept pages.
func (s *Site) Close(ctx context.Context) error {
	return errors.Join(s.queue.stop(ctx), s.store.close())
}

func (s *Site) routes() http.Handler {
	mux := http.NewServeMux()
	for pattern, h := range map[string]handler{
		"GET /{$}":          s.library,
		"GET /riders":       s.riders,
		"GET /add":          s.addForm,
		"POST /add":         s.add,
		"GET /compare":      s.compare,
		"GET /compare.json": s.compare,
		"POST /outings":     s.form(s.addOutings),
		"GET /setup.toml":   s.template,
		"POST /setup.toml":  s.form(s.tomlOf),
		"POST /setup/check": s.form(s.checkSetup),
		"POST /units":       s.form(s.setUnits),
		"POST /refused":     s.form(s.clearRefused),
		"GET /phone":        s.phone,
		"POST /phone":       s.form(s.newKey),

		"GET /session/{id}":                 s.sheet,
		"GET /session/{id}/sheet.html":      s.sheet,
		"GET /session/{id}/result.json":     s.sheet,
		"GET /session/{id}/more":            s.more,
		"GET /session/{id}/file/{n}":        s.saveFile,
		"GET /session/{id}/setup":           s.setupForm,
		"POST /session/{id}/setup":          s.saveSetup,
		"POST /session/{id}/note":           s.form(s.takeNote),
		"POST /session/{id}/two":            s.form(s.areTwo),
		"GET /session/{id}/setup/{version}": s.oldSetup,
		"GET /session/{id}/delete":          s.deleteForm,
		"POST /session/{id}/delete":         s.form(s.delete),

		"/": func(http.ResponseWriter, *http.Request, *session) error { return notFound("there is no such page") },
	} {
		mux.HandleFunc(pattern, s.page(h))
	}
	for at, f := range statics {
		mux.HandleFunc("GET "+at, f.serve)
	}
	for at, says := range map[string]string{"GET /health": "ok", "GET /version": s.cfg.Version} {
		mux.HandleFunc(at, func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", plainText)
			fmt.Fprintln(w, says)
		})
	}
	if s.cfg.Beach != "" {
		mux.Handle("GET /beach/", beach(s.cfg.Beach))
	}
	return mux
}

// An answer is a response that remembers how it went.
type answer struct {
	http.ResponseWriter
	status int
	why    string
}

func (a *answer) WriteHeader(status int) {
	a.status = status
	a.ResponseWriter.WriteHeader(status)
}

// Unwrap is for http.ResponseController.
func (a *answer) Unwrap() http.ResponseWriter { return a.ResponseWriter }

// logged writes a line for each request that failed: by the pattern of its
// address, for the address itself may hold the key.
func (s *Site) logged(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		a := &answer{ResponseWriter: w}
		next.ServeHTTP(a, r)
		if a.status >= http.StatusBadRequest {
			s.cfg.Log.Warn("request failed", "method", r.Method, "page", r.Pattern, "status", a.status, "why", a.why)
		}
	})
}

// A handler answers a request, or says what is wrong with it. ses is the
// session that the address is of, nil where it is of none.
type handler func(w http.ResponseWriter, r *http.Request, ses *session) error

// errAnswered is for a handler whose request has its answer already.
var errAnswered = errors.New("answered")

// page finds the session of an address, and answers with an error page where
// the handler fails.
func (s *Site) page(h handler) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		var ses *session
		var err error
		if id := r.PathValue("id"); id != "" {
			n, _ := strconv.ParseInt(id, 10, 64) // 0 is no session
			ses, err = s.store.session(n)
		}
		if err == nil {
			err = h(w, r, ses)
		}
		if err != nil && err != errAnswered {
			s.fail(w, r, statusOf(err), err)
		}
	}
}

// A statusError is an error with the HTTP status that it is answered with.
type statusError struct {
	status int
	error
}

func (e statusError) Unwrap() error { return e.error }

func badRequest(err error) error { return statusError{http.StatusBadRequest, err} }

// refused is for what was sent and cannot be used.
func refused(format string, args ...any) error {
	return statusError{http.StatusUnprocessableEntity, fmt.Errorf(format, args...)}
}

func notFound(text string) error { return statusError{http.StatusNotFound, errors.New(text)} }

func statusOf(err error) int {
	var own statusError
	switch {
	case errors.As(err, &own):
		return own.status
	case errors.Is(err, errGone):
		return http.StatusNotFound
	case errors.Is(err, errToken):
		return http.StatusForbidden
	case errors.Is(err, errBusy), errors.Is(err, errClosing):
		return http.StatusServiceUnavailable
	}
	return http.StatusInternalServerError
}

// Serve answers on ln until ctx ends, then lets requests in hand finish.
func (s *Site) Serve(ctx context.Context, ln net.Listener) error {
	srv := &http.Server{
		Handler:           s.handler,
		ReadHeaderTimeout: 10 * time.Second,
		ReadTimeout:       readPatience, // an upload extends it as bytes arrive
		WriteTimeout:      writePatience,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    64 << 10,
	}
	s.at = ln.Addr()
	ended := make(chan error, 1)
	go func() { ended <- srv.Serve(ln) }()
	select {
	case err := <-ended:
		return fmt.Errorf("the server stopped: %w", err)
	case <-ctx.Done():
	}
	s.queue.end() // pages that wait for news of the work would hold Shutdown up
	grace, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	if err := srv.Shutdown(grace); err != nil {
		return errors.Join(srv.Close(), s.Close(grace))
	}
	return s.Close(grace)
}

// Patience with a slow peer.
const (
	readPatience  = 30 * time.Second
	writePatience = 10 * time.Minute // downloads of large logs
)
