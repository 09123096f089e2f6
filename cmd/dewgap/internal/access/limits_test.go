package access

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"runtime"
	"strings"
	"sync/atomic"
	"testing"
	"time"
)

// serve answers with n bytes on a server of lim; inside reports how many
// requests are being answered.
func serve(t *testing.T, lim Limits, n int) (address string, most *atomic.Int64) {
	t.Helper()
	var inside, highest atomic.Int64
	h := lim.Handler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		now := inside.Add(1)
		defer inside.Add(-1)
		for {
			old := highest.Load()
			if now <= old || highest.CompareAndSwap(old, now) {
				break
			}
		}
		chunk := make([]byte, 4096)
		for sent := 0; sent < n; sent += len(chunk) {
			if _, err := w.Write(chunk); err != nil {
				return
			}
		}
	}))
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := &http.Server{Handler: h, WriteTimeout: 30 * time.Second}
	ended := make(chan struct{})
	go func() { defer close(ended); server.Serve(lim.Listener(l)) }()
	t.Cleanup(func() { server.Close(); <-ended })
	return l.Addr().String(), &highest
}

// Trap 51: 2,000 clients ask for an answer of 2 MB and do not read it. Memory
// stays within the bound, and a client that reads is answered.
func TestTrap51ClientsThatDoNotRead(t *testing.T) {
	const clients, answerBytes = 2000, 2 << 20
	lim := Default
	address, most := serve(t, lim, answerBytes)
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	var open []net.Conn
	defer func() {
		for _, c := range open {
			c.Close()
		}
	}()
	for range clients {
		c, err := net.Dial("tcp", address)
		if err != nil {
			t.Fatal(err)
		}
		open = append(open, c)
		fmt.Fprintf(c, "GET / HTTP/1.1\r\nHost: %s\r\n\r\n", address) // one that was refused may fail here
	}
	// The first line of whatever answer comes to the last connections that were
	// let in: by then all the earlier ones have theirs in memory or are refused.
	for _, c := range open[:lim.Connections] {
		c.SetReadDeadline(time.Now().Add(20 * time.Second))
		if _, err := bufio.NewReader(c).ReadString('\n'); err != nil {
			t.Fatalf("a client that was let in has no answer: %v", err)
		}
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	held := int64(after.HeapInuse) - int64(before.HeapInuse)
	t.Logf("%d clients hold %.1f MB", clients, float64(held)/(1<<20))
	if held > lim.Bytes+16<<20 {
		t.Errorf("%d bytes in use for clients that do not read", held)
	}
	if n := most.Load(); n > int64(lim.Answers) {
		t.Errorf("%d answers were made at once, want at most %d", n, lim.Answers)
	}
	for _, c := range open[:lim.Connections] {
		c.Close()
	}
	// Their places come free as the server notices.
	for range 1000 {
		response, err := http.Get("http://" + address)
		if err != nil {
			continue
		}
		n, err := io.Copy(io.Discard, response.Body)
		response.Body.Close()
		if response.StatusCode == 200 && n == answerBytes && err == nil {
			return
		}
	}
	t.Error("a client that reads is not answered")
}

// The bytes of answers are bounded; who comes on top is told to ask again, and
// what was held comes back.
func TestAnswersBeyondTheBudget(t *testing.T) {
	lim := Limits{Answers: 1, Bytes: 64 << 10, Body: 10, Reading: time.Minute}
	size := 64 << 10
	h := lim.Handler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("X-Of-The-Answer", "yes")
		w.WriteHeader(http.StatusAccepted)
		io.WriteString(w, strings.Repeat("x", size))
	}))
	get := func() *httptest.ResponseRecorder {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest("GET", "/", nil))
		return w
	}
	for range 3 {
		if w := get(); w.Code != 202 || w.Body.Len() != size || w.Header().Get("X-Of-The-Answer") != "yes" {
			t.Fatalf("%d with %d bytes", w.Code, w.Body.Len())
		}
	}
	size++
	for range 3 {
		if w := get(); w.Code != 503 || w.Header().Get("Retry-After") != "1" || w.Header().Get("X-Of-The-Answer") != "" {
			t.Fatalf("%d %v", w.Code, w.Header())
		}
	}
	size--
	if w := get(); w.Code != 202 {
		t.Errorf("%d after one that was too large", w.Code)
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("POST", "/", strings.NewReader("eleven byte")))
	if w.Code != 400 {
		t.Errorf("%d for a body that is too large", w.Code)
	}
}

// A handler that panics gives its place and its bytes back.
func TestPanicGivesItsPlaceBack(t *testing.T) {
	lim := Limits{Answers: 1, Bytes: blockSize, Body: 1, Reading: time.Minute}
	fails := true
	h := lim.Handler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		io.WriteString(w, "x")
		if fails {
			panic(http.ErrAbortHandler)
		}
	}))
	func() {
		defer func() {
			if recover() == nil {
				t.Error("the panic was hidden from the server")
			}
		}()
		h.ServeHTTP(httptest.NewRecorder(), httptest.NewRequest("GET", "/", nil))
	}()
	fails = false
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("GET", "/", nil))
	if w.Code != 200 || w.Body.String() != "x" {
		t.Errorf("%d %q", w.Code, w.Body)
	}
}

// pipeListener accepts connections that come from stated addresses.
type pipeListener struct {
	from    chan string
	refused int
}

type fromConn struct {
	net.Conn
	from string
	l    *pipeListener
}

func (c *fromConn) RemoteAddr() net.Addr {
	return &net.TCPAddr{IP: net.ParseIP(c.from), Port: 1}
}

func (c *fromConn) Close() error { c.l.refused++; return nil }

func (l *pipeListener) Accept() (net.Conn, error) {
	from, ok := <-l.from
	if !ok {
		return nil, net.ErrClosed
	}
	return &fromConn{from: from, l: l}, nil
}
func (l *pipeListener) Close() error   { return nil }
func (l *pipeListener) Addr() net.Addr { return &net.TCPAddr{} }

func TestOneAddressDoesNotTakeAllConnections(t *testing.T) {
	under := &pipeListener{from: make(chan string, 100)}
	l := Limits{Connections: 6, PerAddress: 2}.Listener(under)
	for _, from := range []string{"192.0.2.1", "192.0.2.1", "192.0.2.1", "192.0.2.2", "127.0.0.1", "127.0.0.1", "127.0.0.1", "192.0.2.3"} {
		under.from <- from
	}
	close(under.from)
	var open []net.Conn
	for {
		c, err := l.Accept()
		if err != nil {
			break
		}
		open = append(open, c)
	}
	// The third of one address, and the one beyond six; this machine's own three
	// are let in.
	if len(open) != 6 || under.refused != 2 {
		t.Errorf("%d let in, %d refused; want 6 and 2", len(open), under.refused)
	}
	for _, c := range open {
		c.Close()
		c.Close() // twice counts once
	}
	if got := l.(*listener); got.total != 0 || len(got.open) != 0 {
		t.Errorf("%d connections, %v after all were closed", got.total, got.open)
	}
}
