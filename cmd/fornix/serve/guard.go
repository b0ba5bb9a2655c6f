package serve

import (
	"crypto/subtle"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"runtime/debug"
	"slices"
	"strings"
)

// policy is what pages may load and do: scripts, styles and pictures of this server and nothing else;
// no script or style inside a page, no frame from or in another site, no form sent elsewhere.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; " +
	"frame-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// keyCookie holds the key of a browser that was let in; tokenHeader what every change carries.
const (
	keyCookie   = "fornix-key"
	tokenHeader = "X-Fornix-Token"
)

// hosts are the names by which the app may be called. A page of another site whose name was
// turned to this address (DNS rebinding) calls by its own name and is refused.
type hosts struct {
	own      string // the address for a browser on this machine
	port     string
	loopback bool // only this machine can connect
	exact    netip.Addr
}

func hostsOf(a net.Addr) (hosts, error) {
	t, ok := a.(*net.TCPAddr)
	if !ok {
		return hosts{}, errors.New("serve: not a TCP address")
	}
	ip := t.AddrPort().Addr().Unmap()
	h := hosts{port: fmt.Sprint(t.Port), loopback: ip.IsLoopback(), exact: ip}
	name := "127.0.0.1"
	if !ip.IsUnspecified() {
		name = ip.String()
	}
	h.own = net.JoinHostPort(name, h.port)
	return h, nil
}

// allows reports whether a request's Host may be answered: localhost or an address in numbers, which
// no other site can take for itself, that this server listens on, with its port.
func (h hosts) allows(host string) bool {
	name, port, err := net.SplitHostPort(host)
	if err != nil {
		name, port = strings.Trim(host, "[]"), "80"
	}
	if port != h.port {
		return false
	}
	if strings.EqualFold(name, "localhost") {
		return h.loopback || h.exact.IsUnspecified()
	}
	ip, err := netip.ParseAddr(name)
	if err != nil || ip.Zone() != "" {
		return false
	}
	return h.exact.IsUnspecified() || ip.Unmap() == h.exact
}

// guard stands before every page: it says what browsers may do with the answers, refuses calls by
// another name, without the key, by another site, and changes without the token, and ends what fails
// inside without ending the program.
func (s *Server) guard(next http.Handler) http.Handler {
	cross := http.NewCrossOriginProtection()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			p := recover()
			if p == nil {
				return
			}
			if p == http.ErrAbortHandler {
				panic(p)
			}
			s.opt.Log.Printf("serve: %s: %v\n%s", r.URL.Path, p, debug.Stack())
			fault(w, http.StatusInternalServerError, "fornix failed on this page, which is a fault of fornix. Nothing was changed by halves.")
		}()
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=()")
		h.Set("Cache-Control", "no-store")
		switch {
		case !s.hosts.allows(r.Host):
			fault(w, http.StatusMisdirectedRequest, "fornix is not called by this name. Use the address that fornix serve printed.")
		case !slices.Contains([]string{http.MethodGet, http.MethodHead, http.MethodPost}, r.Method):
			fault(w, http.StatusMethodNotAllowed, "There is nothing to do so here.")
		case foreign(r):
			fault(w, http.StatusForbidden, "Another site may not ask for this.")
		case r.URL.Path == "/enter" && r.Method == http.MethodGet:
			s.enter(w, r)
		case !s.knows(r):
			fault(w, http.StatusForbidden, "A key is needed. Open the whole address that fornix serve printed.")
		case r.Method == http.MethodPost && (cross.Check(r) != nil || !same(r.Header.Get(tokenHeader), s.post)):
			fault(w, http.StatusForbidden, "Only fornix's own pages may change something. Load the page again.")
		default:
			next.ServeHTTP(w, r)
		}
	})
}

// foreign reports whether a page of another site asks for something to put into itself. Following a
// link to a page is allowed. Browsers say so since 2020 to 2023; for older ones the headers above
// stand alone.
func foreign(r *http.Request) bool {
	site := r.Header.Get("Sec-Fetch-Site")
	if site == "" || site == "same-origin" || site == "none" {
		return false
	}
	return r.Method == http.MethodPost || r.Header.Get("Sec-Fetch-Mode") != "navigate" || r.Header.Get("Sec-Fetch-Dest") != "document"
}

// enter lets a browser in that brings the key, and takes the key out of its address line.
func (s *Server) enter(w http.ResponseWriter, r *http.Request) {
	if s.opt.Key != "" {
		if !same(r.URL.Query().Get("key"), s.opt.Key) {
			fault(w, http.StatusForbidden, "This key does not fit. Open the whole address that fornix serve printed.")
			return
		}
		http.SetCookie(w, &http.Cookie{Name: keyCookie, Value: s.opt.Key, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
	}
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// knows reports whether a request brings the key, where one is asked for.
func (s *Server) knows(r *http.Request) bool {
	if s.opt.Key == "" {
		return true
	}
	c, err := r.Cookie(keyCookie)
	return err == nil && same(c.Value, s.opt.Key)
}

// same compares secrets in a time that tells nothing of them.
func same(got, want string) bool { return subtle.ConstantTimeCompare([]byte(got), []byte(want)) == 1 }
