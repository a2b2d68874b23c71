package site

import (
	"crypto/rand"
	"crypto/subtle"
	"fmt"
	"html/template"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"

	"rsc.io/qr"
)

// A library that other machines reach has a key: who has it, has everything. It
// comes with the address that the code on the terminal holds, and stays in a
// cookie. A new key shuts out whoever has the old one.

const (
	keySetting = "key"
	keyPath    = "/key/"
	keyDays    = 400 // what browsers keep a cookie for at most
)

// keyCookie names the cookie at an address. A browser sends the cookies of a host
// to all its ports: the port in the name keeps two libraries of one host apart.
func keyCookie(host string) string {
	if _, port, err := net.SplitHostPort(host); err == nil {
		return "evenfoot-" + port
	}
	return "evenfoot"
}

// Key is what requests must bring, "" where everybody on this machine may.
func (s *Site) Key() string {
	if !s.cfg.Locked {
		return ""
	}
	return s.store.setting(keySetting)
}

// NewKey makes another key: the old one opens nothing any more, also where the
// new one cannot be kept.
func (s *Site) NewKey() error {
	if err := s.store.set(keySetting, rand.Text()); err != nil { // 130 bits
		return fmt.Errorf("the new key could not be kept: %w", err)
	}
	return nil
}

func (s *Site) isKey(text string) bool {
	return text != "" && subtle.ConstantTimeCompare([]byte(text), []byte(s.Key())) == 1
}

// unlock answers a request that must not go on: it has no key, or brings it.
func (s *Site) unlock(w http.ResponseWriter, r *http.Request) (answered bool) {
	if !s.cfg.Locked {
		return false
	}
	if key, ok := strings.CutPrefix(r.URL.Path, keyPath); ok && s.isKey(key) {
		s.giveKey(w, r)
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return true
	}
	for _, c := range r.CookiesNamed(keyCookie(r.Host)) {
		if s.isKey(c.Value) {
			return false
		}
	}
	http.Error(w, "This library is locked. Scan the code, or open the link, that the machine with the library shows.", http.StatusUnauthorized)
	return true
}

func (s *Site) giveKey(w http.ResponseWriter, r *http.Request) {
	http.SetCookie(w, &http.Cookie{Name: keyCookie(r.Host), Value: s.Key(), Path: "/", MaxAge: keyDays * 24 * 3600, HttpOnly: true, SameSite: http.SameSiteLaxMode})
}

// phone shows the way in for another phone, and takes it back from all others.
func (s *Site) phone(w http.ResponseWriter, r *http.Request, _ *session) error {
	if !s.cfg.Locked {
		return notFound("there is no such page")
	}
	v := &view{Title: "Another phone", Link: "http://" + r.Host + keyPath + s.Key()}
	if links := s.Links(s.at); len(links) > 0 {
		v.Link = links[0]
	}
	var err error
	if v.Picture, err = qrSVG(v.Link); err != nil {
		return err
	}
	return s.show(w, r, http.StatusOK, "phone", v)
}

func (s *Site) newKey(w http.ResponseWriter, r *http.Request, _ *session) error {
	if !s.cfg.Locked {
		return notFound("there is no such page")
	}
	err := s.NewKey()
	s.giveKey(w, r)
	if err != nil {
		return err
	}
	return see(w, r, "/phone")
}

// Links are the addresses that let a phone in to what listens on an address, by
// all of this machine's own that it covers, the likeliest first.
func (s *Site) Links(on net.Addr) (links []string) {
	listens, ok := on.(*net.TCPAddr)
	if !ok {
		return nil
	}
	at := listens.AddrPort()
	ips := []netip.Addr{at.Addr().Unmap()}
	if at.Addr().IsUnspecified() {
		ips = ownAddresses()
	}
	for _, ip := range ips {
		links = append(links, "http://"+netip.AddrPortFrom(ip, at.Port()).String()+keyPath+s.Key())
	}
	return links
}

// ownAddresses are those of this machine's networks: the short ones of IPv4
// before those of IPv6, private ones first.
func ownAddresses() (out []netip.Addr) {
	all, err := net.InterfaceAddrs()
	if err != nil {
		return nil
	}
	for _, a := range all {
		p, err := netip.ParsePrefix(a.String())
		if err == nil && p.Addr().IsGlobalUnicast() {
			out = append(out, p.Addr())
		}
	}
	rank := func(a netip.Addr) (n int) {
		if a.Is6() {
			n = 2
		}
		if !a.IsPrivate() {
			n++
		}
		return n
	}
	slices.SortStableFunc(out, func(a, b netip.Addr) int { return rank(a) - rank(b) })
	return out
}

// qrQuiet is the white rim that a reader of the code needs, modules.
const qrQuiet = 4

// QRText draws a link as a QR code of half blocks, for a terminal: its light
// parts are drawn, so that it can be read on a dark one, and black on white
// where the terminal knows colours.
func QRText(link string, color bool) (string, error) {
	c, err := qr.Encode(link, qr.L)
	if err != nil {
		return "", fmt.Errorf("the link cannot be drawn as a code: %w", err)
	}
	var b strings.Builder
	for y := -qrQuiet / 2; y < c.Size+qrQuiet/2; y += 2 {
		if color {
			b.WriteString("\x1b[97;40m")
		}
		for x := -qrQuiet / 2; x < c.Size+qrQuiet/2; x++ {
			b.WriteString([]string{"█", "▄", "▀", " "}[btoi(c.Black(x, y))+2*btoi(c.Black(x, y+1))])
		}
		if color {
			b.WriteString("\x1b[0m")
		}
		b.WriteByte('\n')
	}
	return b.String(), nil
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

// qrSVG draws a link as a QR code for a page.
func qrSVG(link string) (template.HTML, error) {
	c, err := qr.Encode(link, qr.M)
	if err != nil {
		return "", fmt.Errorf("the link cannot be drawn as a code: %w", err)
	}
	var b strings.Builder
	n := c.Size + 2*qrQuiet
	fmt.Fprintf(&b, `<svg class="code" viewBox="0 0 %d %d" role="img" aria-label="the link below as a QR code"><path fill="#fff" d="M0 0h%dv%dH0z"/><path fill="#000" d="`, n, n, n, n)
	for y := range c.Size {
		for x := range c.Size {
			if c.Black(x, y) {
				fmt.Fprintf(&b, "M%d %dh1v1h-1z", x+qrQuiet, y+qrQuiet)
			}
		}
	}
	b.WriteString(`"/></svg>`)
	return template.HTML(b.String()), nil // numbers alone went in
}
