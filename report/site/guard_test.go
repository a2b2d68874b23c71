package site

import (
	"context"
	"net"
	"net/http"
	"net/url"
	"strings"
	"testing"
)

// TestGuard: neither a foreign name for this machine, nor another site's form
// or frame, nor a form without the token gets anywhere.
func TestGuard(t *testing.T) {
	d := open(t, Config{})
	ok := url.Values{"token": {d.site.token}, "speed": {"mph"}}.Encode()
	const typ = "application/x-www-form-urlencoded"
	for _, c := range []struct {
		name, method, path, body string
		head                     map[string]string
		status                   int
	}{
		{"as it should be", "POST", "/units", ok, map[string]string{"Sec-Fetch-Site": "same-origin"}, 303},
		{"a tool without a browser", "POST", "/units", ok, nil, 303},
		{"localhost", "GET", "/", "", map[string]string{"Host": "localhost:8417"}, 200},
		{"IPv6", "GET", "/", "", map[string]string{"Host": "[::1]:8417"}, 200},
		{"rebinding", "GET", "/", "", map[string]string{"Host": "attacker.example:8417"}, 421},
		{"rebinding by a look-alike", "GET", "/", "", map[string]string{"Host": "127.0.0.1.attacker.example"}, 421},
		{"another address", "GET", "/", "", map[string]string{"Host": "192.0.2.7:8417"}, 421},
		{"no host", "GET", "/", "", map[string]string{"Host": " "}, 421},
		{"foreign form", "POST", "/units", ok, map[string]string{"Sec-Fetch-Site": "cross-site"}, 403},
		{"neighbour's form", "POST", "/units", ok, map[string]string{"Sec-Fetch-Site": "same-site"}, 403},
		{"foreign origin", "POST", "/units", ok, map[string]string{"Origin": "http://attacker.example"}, 403},
		{"other port", "POST", "/units", ok, map[string]string{"Origin": "http://127.0.0.1:1"}, 403},
		{"opaque origin", "POST", "/units", ok, map[string]string{"Origin": "null"}, 403},
		{"no token", "POST", "/units", "speed=mph", nil, 403},
		{"wrong token", "POST", "/units", "speed=mph&token=" + strings.Repeat("0", 64), nil, 403},
		{"token in the address", "POST", "/units?token=" + d.site.token, "speed=mph", nil, 403},
		{"no token for deleting", "POST", "/session/1/delete", "", nil, 404},
		{"foreign picture of a page", "GET", "/", "", map[string]string{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors", "Sec-Fetch-Dest": "image"}, 403},
		{"foreign frame", "GET", "/", "", map[string]string{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "iframe"}, 403},
		{"foreign link", "GET", "/", "", map[string]string{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}, 200},
		{"unknown page", "GET", "/nothing", "", nil, 404},
		{"wrong method", "DELETE", "/session/1", "", nil, 404},
		{"climbing", "GET", "/session/..%2f..%2fetc/file/0", "", nil, 404},
		{"climbing in a file", "GET", "/session/1/file/..%2f..%2flibrary.db", "", nil, 404},
		{"huge number", "GET", "/session/99999999999999999999999", "", nil, 404},
	} {
		req := d.request(c.method, c.path, strings.NewReader(c.body))
		if c.body != "" {
			req.Header.Set("Content-Type", typ)
		}
		for k, v := range c.head {
			req.Header.Set(k, v)
		}
		req.Host = c.head["Host"]
		status, _, h := d.do(req)
		if status != c.status {
			t.Errorf("%s: status %d, want %d", c.name, status, c.status)
		}
		if h.Get("X-Content-Type-Options") != "nosniff" || !strings.Contains(h.Get("Content-Security-Policy"), "default-src 'none'") || h.Get("X-Frame-Options") != "DENY" {
			t.Errorf("%s: headers %v", c.name, h)
		}
	}
	if u := d.site.units().Speed; u != "mph" {
		t.Errorf("the setting is %q, want what the good form said", u)
	}
	// A form of another process writes nothing, not even in passing.
	body, kind := formOf(strings.Repeat("0", 64), outings()[0].pieces()...)
	req := d.request("POST", "/add", body)
	req.Header.Set("Content-Type", kind)
	if status, _, _ := d.do(req); status != 403 || fileCount(t, d.site.store.incoming()) != 0 {
		t.Errorf("upload with a stale token: status %d", status)
	}
	body, kind = formOf("", append([]piece{{"logs", "a.gpx", "x"}}, piece{"token", "", d.site.token})...)
	req = d.request("POST", "/add", body)
	req.Header.Set("Content-Type", kind)
	if status, _, _ := d.do(req); status != 403 {
		t.Errorf("upload with its token last: status %d", status)
	}

}

// TestKey: a locked library serves nothing without its key, which comes by the
// link, stays in a cookie that no script reads, outlives the process, and is
// shut out by a new one.
func TestKey(t *testing.T) {
	dir := t.TempDir()
	d := open(t, Config{Dir: dir, Locked: true, Hosts: []string{"boathouse.example"}})
	ask := func(method, path, host, key string) (int, http.Header) {
		t.Helper()
		req := d.request(method, path, nil)
		if req.Host = host; key != "" {
			req.AddCookie(&http.Cookie{Name: keyCookie(host), Value: key})
		}
		status, _, h := d.do(req)
		return status, h
	}
	key := d.site.Key()
	if len(key) < 26 {
		t.Fatalf("the key %q is short", key)
	}
	for _, path := range []string{"/", "/add", "/style.css", "/session/1", "/nothing", "/phone", "/beach/", "/key/", "/key/" + key[1:], "/key/" + key + "x", "/?key=" + key} {
		for _, sent := range []string{"", "x", key[:len(key)-1]} {
			if status, h := ask("GET", path, "192.0.2.7:8417", sent); status != 401 || h.Get("Set-Cookie") != "" {
				t.Errorf("%s with the key %q: status %d, cookie %q", path, sent, status, h.Get("Set-Cookie"))
			}
		}
	}
	if status, _ := ask("POST", "/add", "192.0.2.7:8417", ""); status != 401 {
		t.Errorf("an upload without the key: status %d", status)
	}
	for host, want := range map[string]int{"192.0.2.7:8417": 200, "[fd00::7]:8417": 200, "boathouse.example": 200, "attacker.example": 421} {
		if status, _ := ask("GET", "/", host, key); status != want {
			t.Errorf("%s with the key: status %d, want %d", host, status, want)
		}
	}
	if status, _ := ask("GET", "/key/"+key, "attacker.example", ""); status != 421 {
		t.Errorf("the key to a foreign name: status %d", status)
	}
	status, h := ask("GET", "/key/"+key, "192.0.2.7:8417", "")
	c := h.Get("Set-Cookie")
	if status != 303 || h.Get("Location") != "/" || !strings.Contains(c, "="+key+";") || !strings.Contains(c, "HttpOnly") || !strings.Contains(c, "SameSite=Lax") {
		t.Errorf("the link: status %d, cookie %q", status, c)
	}

	here, _, _ := strings.Cut(c, "=")
	_, h = ask("GET", "/key/"+key, "192.0.2.7:8418", "")
	if there, _, found := strings.Cut(h.Get("Set-Cookie"), "="); !found || there == here {
		t.Errorf("two ports of a host have the cookies %q and %q", here, there)
	}

	// Revoked: the old one is out, the browser that asked stays.
	req := d.request("POST", "/phone", strings.NewReader(url.Values{"token": {d.site.token}}.Encode()))
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	req.AddCookie(&http.Cookie{Name: keyCookie(req.Host), Value: key})
	status, _, h = d.do(req)
	next := d.site.Key()
	if status != 303 || next == key || !strings.Contains(h.Get("Set-Cookie"), next) {
		t.Errorf("a new key: status %d, %q after %q", status, next, key)
	}
	for sent, want := range map[string]int{key: 401, next: 200} {
		if status, _ := ask("GET", "/", "127.0.0.1", sent); status != want {
			t.Errorf("after that, %q: status %d, want %d", sent, status, want)
		}
	}
	d.site.Close(context.Background())
	if d = open(t, Config{Dir: dir, Locked: true}); d.site.Key() != next {
		t.Error("the key is another after a restart")
	}
	links := d.site.Links(&net.TCPAddr{IP: net.IPv4(192, 0, 2, 7), Port: 8417})
	if len(links) != 1 || links[0] != "http://192.0.2.7:8417/key/"+next {
		t.Errorf("the links are %q", links)
	}
	if code, err := QRText(links[0], false); err != nil || strings.Count(code, "\n") < 15 {
		t.Errorf("the code, %v:\n%s", err, code)
	}
}
