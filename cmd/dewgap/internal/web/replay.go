package web

import (
	"context"
	"encoding/json"
	"fmt"
	"mime"
	"net"
	"net/http"
	"net/netip"
)

// Replay is the recording that is played; see package replay.
type Replay interface {
	Do(ctx context.Context, do string, speed float64) error
}

// controls answers POST /api/v1/replay with {"do":"pause"} and the like. They
// act on the replay alone. Another web page that is open in the same browser
// must not drive it: the request has to come from this page (or from no page
// at all, such as a command line), be JSON, and name this server by address,
// so that no foreign name can be made to point here.
func (s *Server) controls() http.Handler {
	return http.NewCrossOriginProtection().Handler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !namedByAddress(r.Host) {
			http.Error(w, fmt.Sprintf("host %q: call this server by its address or as localhost", r.Host), http.StatusForbidden)
			return
		}
		if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/json" {
			http.Error(w, `send JSON: {"do":"pause"} with Content-Type application/json`, http.StatusUnsupportedMediaType)
			return
		}
		var ask struct {
			Do    string  `json:"do"`
			Speed float64 `json:"speed"`
		}
		body := json.NewDecoder(http.MaxBytesReader(w, r.Body, 1024))
		body.DisallowUnknownFields()
		if err := body.Decode(&ask); err != nil {
			http.Error(w, fmt.Sprintf(`%v; send {"do":"pause"}, or {"do":"speed","speed":30}`, err), http.StatusBadRequest)
			return
		}
		if err := s.parts.Replay.Do(r.Context(), ask.Do, ask.Speed); err != nil {
			http.Error(w, err.Error(), http.StatusBadRequest)
			return
		}
		s.state(w, r)
	}))
}

// namedByAddress reports whether a Host header is an IP address or localhost.
func namedByAddress(host string) bool {
	name, _, err := net.SplitHostPort(host)
	if err != nil {
		name = host
	}
	if name == "localhost" {
		return true
	}
	_, err = netip.ParseAddr(name)
	return err == nil
}
