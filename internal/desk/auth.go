package desk

import (
	"crypto/subtle"
	"net"
	"net/http"
	"strings"
)

// The desk answers only who has its token, and only on this machine:
//
//   - the Host must be a name of this machine, so that a name elsewhere that is made
//     to point here (DNS rebinding) gets nothing;
//   - the token comes once in the address and is then kept in a cookie that scripts
//     cannot read and other sites' requests do not carry (SameSite=Strict);
//   - what changes something must come from the desk's own page: an Origin or
//     Sec-Fetch-Site of another is refused (net/http.CrossOriginProtection), and a
//     header that a plain form cannot send must be there.

const (
	cookieName = "pochette"
	ownHeader  = "X-Pochette"
)

// policy is the Content-Security-Policy of every answer.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; font-src 'self'; frame-src 'self' blob:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

func (d *Desk) guarded(next http.Handler) http.Handler {
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		writeError(w, http.StatusForbidden, "another site may not act on the desk")
	}))
	inner := cross.Handler(next)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		if !localHost(r.Host) {
			writeError(w, http.StatusForbidden, "the desk answers on this machine only")
			return
		}
		if t := r.URL.Query().Get("t"); r.URL.Path == "/" && t != "" && r.Method == http.MethodGet {
			d.enter(w, r, t)
			return
		}
		if c, err := r.Cookie(d.cookie()); err != nil || !d.is(c.Value) {
			writeError(w, http.StatusForbidden, "open the desk by the address that pochette printed: it has the token")
			return
		}
		if r.Method != http.MethodGet && r.Method != http.MethodHead && r.Header.Get(ownHeader) != "1" {
			writeError(w, http.StatusForbidden, "the header "+ownHeader+": 1 is missing")
			return
		}
		inner.ServeHTTP(w, r)
	})
}

// enter takes the token from the address into a cookie.
func (d *Desk) enter(w http.ResponseWriter, r *http.Request, token string) {
	if !d.is(token) {
		writeError(w, http.StatusForbidden, "the token in the address is not that of this desk: it is made anew at each start")
		return
	}
	http.SetCookie(w, &http.Cookie{Name: d.cookie(), Value: token, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// cookie is a name for this desk alone: cookies don't know ports.
func (d *Desk) cookie() string { return cookieName + "-" + d.token[:8] }

func (d *Desk) is(token string) bool {
	return subtle.ConstantTimeCompare([]byte(token), []byte(d.token)) == 1
}

// localHost says that a Host header names this machine by a loopback name.
func localHost(host string) bool {
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	host = strings.Trim(host, "[]")
	if strings.EqualFold(host, "localhost") {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}
