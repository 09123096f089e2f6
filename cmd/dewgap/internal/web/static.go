package web

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"strings"
	"sync"
)

// static is a page that never changes while the program runs, with its compressed
// copy made at start.
type static struct {
	plain, packed []byte
	policy        string
	tag           string
}

func newStatic(text, policy string) *static {
	return &static{plain: []byte(text), packed: pack([]byte(text)), policy: policy, tag: tagOf([]byte(text))}
}

func (p *static) serve(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Security-Policy", p.policy)
	send(w, r, p.tag, p.plain, func() []byte { return p.packed })
}

// tagOf names a body by what is in it.
func tagOf(body []byte) string {
	sum := sha256.Sum256(body)
	return `W/"` + hex.EncodeToString(sum[:8]) + `"` // weak: the compressed copy has the same
}

// send sends a body, compressed where the asker takes that, or says that it has
// not changed since the asker had it.
func send(w http.ResponseWriter, r *http.Request, tag string, plain []byte, packed func() []byte) {
	h := w.Header()
	h.Set("Cache-Control", "no-cache") // kept, but asked about each time
	h.Set("ETag", tag)
	h.Add("Vary", "Accept-Encoding")
	for _, known := range strings.Split(r.Header.Get("If-None-Match"), ",") {
		if known = strings.TrimSpace(known); known == tag || known == "*" {
			h.Del("Content-Type")
			w.WriteHeader(http.StatusNotModified)
			return
		}
	}
	if takesGzip(r) {
		h.Set("Content-Encoding", "gzip")
		plain = packed()
	}
	_, _ = w.Write(plain) // the reader may have closed the connection
}

// takesGzip reports whether the asker takes gzip (RFC 9110, section 12.5.3).
func takesGzip(r *http.Request) bool {
	for _, one := range strings.Split(r.Header.Get("Accept-Encoding"), ",") {
		name, weight, _ := strings.Cut(one, ";")
		if strings.EqualFold(strings.TrimSpace(name), "gzip") {
			weight = strings.ReplaceAll(weight, " ", "")
			return weight == "" || strings.Trim(strings.TrimPrefix(weight, "q="), "0.") != ""
		}
	}
	return false
}

// packers are reused: each takes most of a megabyte.
var packers = sync.Pool{New: func() any {
	z, err := gzip.NewWriterLevel(nil, gzip.BestSpeed)
	if err != nil {
		panic(err) // a constant of ours
	}
	return z
}}

func pack(plain []byte) []byte {
	var out bytes.Buffer
	z := packers.Get().(*gzip.Writer)
	defer packers.Put(z)
	z.Reset(&out)
	_, _ = z.Write(plain) // a buffer takes everything
	_ = z.Close()
	return out.Bytes()
}

// worthPacking is the least size of a body that is compressed: one packet holds less.
const worthPacking = 1200

// compressed answers with what next writes, compressed and tagged. What is no success
// goes out as it is.
func compressed(next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		k := &keeper{ResponseWriter: w, code: http.StatusOK}
		next(k, r)
		body := k.body.Bytes()
		if k.code != http.StatusOK || len(body) < worthPacking {
			w.WriteHeader(k.code)
			_, _ = w.Write(body)
			return
		}
		send(w, r, tagOf(body), body, func() []byte { return pack(body) })
	}
}

// keeper keeps an answer until it is whole.
type keeper struct {
	http.ResponseWriter
	code int
	body bytes.Buffer
}

func (k *keeper) WriteHeader(code int)        { k.code = code }
func (k *keeper) Write(p []byte) (int, error) { return k.body.Write(p) }
