package access

import (
	"bytes"
	"errors"
	"io"
	"net"
	"net/http"
	"sync"
	"time"
)

// Limits bound what clients cost, however many there are.
type Limits struct {
	Connections int   // at once
	PerAddress  int   // of them, from one address that is not this machine
	Answers     int   // being made at once
	Bytes       int64 // of answers that wait for their readers
	Body        int64 // of one request
	// Reading is how long a client may take to read its answer.
	Reading time.Duration
}

// Default is measured with MemoryMax=128M: the answers take an eighth of
// it, and a site has a Prometheus, a screen on the wall and a few people.
var Default = Limits{Connections: 128, PerAddress: 24, Answers: 4, Bytes: 16 << 20, Body: 64 << 10, Reading: 10 * time.Second}

// Listener returns l with no more connections at once than the limits allow.
// What comes on top is closed at once; it waits nowhere.
func (lim Limits) Listener(l net.Listener) net.Listener {
	return &listener{Listener: l, limits: lim, open: map[string]int{}}
}

type listener struct {
	net.Listener
	limits Limits

	mu    sync.Mutex
	total int
	open  map[string]int // by address
}

func (l *listener) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		from := address(c.RemoteAddr().String())
		if l.admit(from) {
			return &conn{Conn: c, release: sync.OnceFunc(func() { l.release(from) })}, nil
		}
		_ = c.Close() // refused: nobody waits for its result
	}
}

func (l *listener) admit(from string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	ip := net.ParseIP(from)
	if l.total >= l.limits.Connections || l.open[from] >= l.limits.PerAddress && (ip == nil || !ip.IsLoopback()) {
		return false
	}
	l.total++
	l.open[from]++
	return true
}

func (l *listener) release(from string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.total--
	if l.open[from]--; l.open[from] == 0 {
		delete(l.open, from)
	}
}

type conn struct {
	net.Conn
	release func()
}

func (c *conn) Close() error {
	c.release()
	return c.Conn.Close()
}

// Handler returns next with its answers made in memory, few at once and within
// a bound, and only then written: a client that does not read holds the bytes of
// its answer, and no more. Where the bound is reached the answer is 503.
func (lim Limits) Handler(next http.Handler) http.Handler {
	slots := make(chan struct{}, lim.Answers)
	budget := &budget{free: lim.Bytes}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if err := lim.readBody(w, r); err != nil {
			http.Error(w, "the body of the request: "+err.Error(), http.StatusBadRequest)
			return
		}
		select {
		case slots <- struct{}{}:
		case <-r.Context().Done():
			return // the client went away
		}
		a := &answer{header: http.Header{}, budget: budget}
		defer a.release()
		func() {
			defer func() { <-slots }()
			next.ServeHTTP(a, r)
		}()
		// A connection that cannot set a deadline keeps the server's own.
		_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(lim.Reading))
		if a.full {
			w.Header().Set("Retry-After", "1")
			http.Error(w, errBusy.Error(), http.StatusServiceUnavailable)
			return
		}
		for name, values := range a.header {
			w.Header()[name] = values
		}
		if a.status != 0 {
			w.WriteHeader(a.status)
		}
		for _, block := range a.blocks {
			if _, err := w.Write(block); err != nil {
				return // the client went away or does not read
			}
		}
	})
}

// readBody reads what a client sends before its answer takes a place: one that
// sends slowly holds up nobody.
func (lim Limits) readBody(w http.ResponseWriter, r *http.Request) error {
	if r.Body == nil || r.Body == http.NoBody {
		return nil
	}
	text, err := io.ReadAll(http.MaxBytesReader(w, r.Body, lim.Body))
	r.Body = io.NopCloser(bytes.NewReader(text))
	return err
}

// errBusy is why an answer is not made.
var errBusy = errors.New("too many answers at once: ask again in a second")

// budget is what is left of the bytes that answers may hold.
type budget struct {
	mu   sync.Mutex
	free int64
}

func (b *budget) take(n int64) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	if n > b.free {
		return false
	}
	b.free -= n
	return true
}

func (b *budget) give(n int64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.free += n
}

// blockSize is what an answer grows by.
const blockSize = 16 << 10

// answer is an answer that is being made.
type answer struct {
	header http.Header
	status int
	blocks [][]byte
	budget *budget
	taken  int64
	full   bool // the budget did not suffice: the answer is not whole
}

func (a *answer) Header() http.Header { return a.header }

func (a *answer) WriteHeader(status int) {
	if a.status == 0 {
		a.status = status
	}
}

func (a *answer) Write(p []byte) (int, error) {
	a.WriteHeader(http.StatusOK)
	n := len(p)
	for len(p) > 0 {
		if a.full {
			return n - len(p), errBusy
		}
		last := len(a.blocks) - 1
		if last < 0 || len(a.blocks[last]) == cap(a.blocks[last]) {
			if !a.budget.take(blockSize) {
				a.full = true
				continue
			}
			a.taken += blockSize
			a.blocks = append(a.blocks, make([]byte, 0, blockSize))
			last++
		}
		room := min(len(p), cap(a.blocks[last])-len(a.blocks[last]))
		a.blocks[last] = append(a.blocks[last], p[:room]...)
		p = p[room:]
	}
	return n, nil
}

func (a *answer) release() {
	a.blocks = nil
	a.budget.give(a.taken)
}
