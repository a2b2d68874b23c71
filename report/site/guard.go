package site

import (
	"crypto/subtle"
	"errors"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"

	"evenfoot/report/page"
)

// pagePolicy is for the pages of this package: they work without script, and have
// but the server's own, which asks only the server.
const pagePolicy = "default-src 'none'; script-src 'self'; connect-src 'self'; style-src 'self'; img-src 'self' data:; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// guard stands before every page: it answers only requests that name this
// machine as a user would, so that a foreign site can neither reach the
// library under a name of its own (DNS rebinding) nor send forms to it.
func (s *Site) guard(next http.Handler) http.Handler {
	origin := http.NewCrossOriginProtection()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", pagePolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		// same-origin, not no-referrer: with the latter browsers send "Origin: null".
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "geolocation=(), camera=(), microphone=()")
		h.Set("Cache-Control", "no-store")
		if !s.knownHost(r.Host) {
			http.Error(w, "This library answers only under its own address, for example http://127.0.0.1:8417/", http.StatusMisdirectedRequest)
			return
		}
		if s.unlock(w, r) {
			return
		}
		if err := origin.Check(r); err != nil || !ownOrigin(r) {
			http.Error(w, "This form came from another site. Nothing was changed.", http.StatusForbidden)
			return
		}
		if !ownFetch(r) {
			http.Error(w, "Another site asked for this page from within its own. It gets nothing.", http.StatusForbidden)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// beach serves the static page, which has scripts of its own and asks for the
// phone's place and motion.
func beach(dir string) http.Handler {
	files := http.StripPrefix("/beach/", http.FileServer(http.Dir(dir)))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Security-Policy", page.Policy())
		w.Header().Set("Permissions-Policy", "geolocation=(self), accelerometer=(self), gyroscope=(self), camera=(), microphone=()")
		files.ServeHTTP(w, r)
	})
}

// knownHost says whether a Host header is a name that the user gave this
// machine; the port may be another where it is forwarded.
func (s *Site) knownHost(host string) bool {
	name := host
	if h, _, err := net.SplitHostPort(host); err == nil {
		name = h
	}
	name = strings.ToLower(strings.Trim(name, "[]"))
	if name == "localhost" {
		return true
	}
	if ip, err := netip.ParseAddr(name); err == nil {
		return ip.IsLoopback() || s.cfg.Locked
	}
	return s.cfg.Locked && slices.ContainsFunc(s.cfg.Hosts, func(h string) bool { return strings.EqualFold(h, name) })
}

// ownOrigin checks the Origin of a request that changes something, where
// there is one: scheme, host and port must be ours.
func ownOrigin(r *http.Request) bool {
	o := r.Header.Get("Origin")
	return r.Method == http.MethodGet || r.Method == http.MethodHead || o == "" || o == "http://"+r.Host
}

// ownFetch lets other sites link here, but not load our pages into theirs.
func ownFetch(r *http.Request) bool {
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "same-origin", "none":
		return true
	}
	return r.Method == http.MethodGet && r.Header.Get("Sec-Fetch-Mode") == "navigate" && r.Header.Get("Sec-Fetch-Dest") == "document"
}

var errToken = errors.New("this form is from before the server was started anew; load the page again and repeat")

func (s *Site) goodToken(token string) bool {
	return subtle.ConstantTimeCompare([]byte(token), []byte(s.token)) == 1
}

// formBytes bounds a form without files.
const formBytes = 2 << 20

// form reads a small form and checks its token before h sees it.
func (s *Site) form(h handler) handler {
	return func(w http.ResponseWriter, r *http.Request, ses *session) error {
		r.Body = http.MaxBytesReader(w, r.Body, formBytes)
		if err := r.ParseForm(); err != nil {
			return badRequest(errors.New("the form could not be read; nothing was changed"))
		}
		if !s.goodToken(r.PostForm.Get("token")) {
			return errToken
		}
		return h(w, r, ses)
	}
}
