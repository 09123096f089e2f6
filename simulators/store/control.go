package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strconv"
	"strings"
	"time"

	"dewgap/simulators/plant"
)

// ListenControl opens the control's socket, on this machine alone: whoever
// reaches it can break the plant.
func ListenControl(ctx context.Context, address string) (net.Listener, error) {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return nil, fmt.Errorf("control at %q: %w; write host and port, as 127.0.0.1:5080", address, err)
	}
	if !loopback(host) {
		return nil, fmt.Errorf("control at %q: it changes the plant, so it listens on this machine alone: 127.0.0.1, ::1 or localhost", address)
	}
	l, err := new(net.ListenConfig).Listen(ctx, "tcp", address)
	if err != nil {
		return nil, fmt.Errorf("control: %w", err)
	}
	if a, ok := l.Addr().(*net.TCPAddr); !ok || !a.IP.IsLoopback() { // a name that means something else here
		return nil, errors.Join(fmt.Errorf("control at %q: that is not this machine alone", address), l.Close())
	}
	return l, nil
}

func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// ServeControl answers on l until ctx ends.
func (s *Store) ServeControl(ctx context.Context, l net.Listener) error {
	server := &http.Server{Handler: s.Control(), ReadTimeout: 10 * time.Second, WriteTimeout: 10 * time.Second, MaxHeaderBytes: 16 << 10}
	defer context.AfterFunc(ctx, func() { _ = server.Close() })()
	if err := server.Serve(l); !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("control: %w", err)
	}
	return nil
}

// endpoint is one thing that the control does.
type endpoint struct {
	Method  string `json:"method"`
	Path    string `json:"path"`
	Body    string `json:"body,omitempty"`
	Meaning string `json:"meaning"`
	do      func(*Store, *http.Request) (any, error)
}

func endpoints() []endpoint {
	return []endpoint{
		{"GET", "/", "", "what can be done", (*Store).listEndpoints},
		{"GET", "/plant", "", "the plant's time, its circuits' and compressors' truth, the faults at work", (*Store).plantState},
		{"GET", "/kinds", "", "the kinds of fault: target, amount and its bounds, meaning", (*Store).kinds},
		{"GET", "/faults", "", "the faults at work or still to come", (*Store).faults},
		{"POST", "/faults", `{"kind":"low_airflow","target":"lt.room","amount":0.3,"for_min":20}`, "inject a fault now, for for_min minutes of the plant or until it is cleared", (*Store).inject},
		{"DELETE", "/faults/{id}", "", "clear a fault by the id that injecting it gave", (*Store).clear},
		{"POST", "/defrosts", `{"circuit":"lt.room"}`, "begin a defrost now", (*Store).defrost},
		{"POST", "/sensors", `{"input":"lt.c1.suction_temperature","fault":"open"}`, "fail a sensor: open, frozen, lost, loose, offset, drift, noise or gauge, with amount and for_min as in /kinds; clear it by its id", (*Store).sensor},
	}
}

// Control returns the handler. Every answer is JSON; a refusal is
// {"error":"…"} with a status of 400 and more.
func (s *Store) Control() http.Handler {
	mux := http.NewServeMux()
	for _, o := range endpoints() {
		path := o.Path
		if path == "/" {
			path = "/{$}"
		}
		mux.HandleFunc(o.Method+" "+path, func(w http.ResponseWriter, r *http.Request) {
			answer, err := o.do(s, r)
			if err != nil {
				refuse(w, err)
				return
			}
			status := http.StatusOK
			if r.Method == http.MethodPost {
				status = http.StatusCreated
			}
			reply(w, status, answer)
		})
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		host, _, err := net.SplitHostPort(r.Host)
		if err != nil {
			host = r.Host
		}
		_, pattern := mux.Handler(r)
		switch {
		case !loopback(strings.Trim(host, "[]")): // another site's name that was made to point here
			refuse(w, refusal{http.StatusForbidden, fmt.Sprintf("host %q: only 127.0.0.1, ::1 and localhost are answered", r.Host)})
		case r.Method == http.MethodPost && !strings.HasPrefix(r.Header.Get("Content-Type"), "application/json"): // no page of another site can send it unasked
			refuse(w, refusal{http.StatusUnsupportedMediaType, "send Content-Type: application/json"})
		case pattern == "":
			refuse(w, refusal{http.StatusNotFound, fmt.Sprintf("%s %s is nothing that can be done; GET / lists what can", r.Method, r.URL.Path)})
		default:
			mux.ServeHTTP(w, r)
		}
	})
}

// refusal is an error with its status.
type refusal struct {
	status int
	text   string
}

func (e refusal) Error() string { return e.text }

func refuse(w http.ResponseWriter, err error) {
	e := refusal{http.StatusBadRequest, err.Error()}
	errors.As(err, &e)
	reply(w, e.status, map[string]string{"error": e.text})
}

func reply(w http.ResponseWriter, status int, answer any) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	_ = e.Encode(answer) // the peer has gone, or it cannot fail
}

// body reads one strict JSON object.
func body(r *http.Request, into any) error {
	d := json.NewDecoder(http.MaxBytesReader(nil, r.Body, 64<<10))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		return fmt.Errorf("body: %w; GET / shows what it should be", err)
	}
	if _, err := d.Token(); err != io.EOF {
		return errors.New("body: one JSON object, and nothing after it")
	}
	return nil
}

func (s *Store) listEndpoints(*http.Request) (any, error) {
	d := s.plant.Description() // never changes
	return map[string]any{"scenario": d.Name, "title": d.Title, "speed": s.Speed, "orders": endpoints()}, nil
}

func (s *Store) kinds(*http.Request) (any, error) {
	type kind struct {
		Kind    string   `json:"kind"`
		Target  string   `json:"target"`
		Amount  string   `json:"amount,omitempty"`
		Low     *float64 `json:"low,omitempty"`
		High    *float64 `json:"high,omitempty"`
		Lasting bool     `json:"lasting"`
		Meaning string   `json:"meaning"`
	}
	var list []kind
	for _, k := range plant.FaultKinds() {
		entry := kind{Kind: k.Name, Target: k.Target, Lasting: !k.Momentary(), Meaning: k.Meaning}
		if k.High != 0 {
			entry.Amount, entry.Low, entry.High = k.Amount, &k.Low, &k.High
		}
		list = append(list, entry)
	}
	return list, nil
}

// fault is a fault on the wire.
type fault struct {
	ID     int     `json:"id"`
	Kind   string  `json:"kind"`
	Target string  `json:"target"`
	Amount float64 `json:"amount"`
	ForMin float64 `json:"for_min"`
	On     bool    `json:"on"`
}

func (s *Store) faults(*http.Request) (any, error) {
	list := []fault{}
	err := s.Change(func(p *plant.Plant) error {
		for _, f := range p.Faults() {
			list = append(list, fault{f.ID, f.Kind, f.Target, f.Amount, f.ForMin, f.On})
		}
		return nil
	})
	return list, err
}

func (s *Store) begin(f plant.Fault) (any, error) {
	var id int
	err := s.Change(func(p *plant.Plant) (err error) {
		id, err = p.Inject(f)
		return err
	})
	return fault{id, f.Kind, f.Target, f.Amount, f.ForMin, true}, err
}

func (s *Store) inject(r *http.Request) (any, error) {
	var f struct {
		Kind   string  `json:"kind"`
		Target string  `json:"target"`
		Amount float64 `json:"amount"`
		ForMin float64 `json:"for_min"`
	}
	if err := body(r, &f); err != nil {
		return nil, err
	}
	return s.begin(plant.Fault{Kind: f.Kind, Target: f.Target, Amount: f.Amount, ForMin: f.ForMin})
}

func (s *Store) clear(r *http.Request) (any, error) {
	id, err := strconv.Atoi(r.PathValue("id"))
	if err != nil {
		return nil, fmt.Errorf("id %q: a whole number, as GET /faults shows", r.PathValue("id"))
	}
	err = s.Change(func(p *plant.Plant) error { return p.Clear(id) })
	switch {
	case errors.Is(err, plant.ErrNoFault):
		return nil, refusal{http.StatusNotFound, fmt.Sprintf("fault %d: %v; GET /faults shows those that are", id, err)}
	case err != nil:
		return nil, refusal{http.StatusConflict, fmt.Sprintf("fault %d: %v", id, err)}
	}
	return map[string]int{"cleared": id}, nil
}

func (s *Store) defrost(r *http.Request) (any, error) {
	var d struct {
		Circuit string `json:"circuit"`
	}
	if err := body(r, &d); err != nil {
		return nil, err
	}
	return s.begin(plant.Fault{Kind: "force_defrost", Target: d.Circuit})
}

func (s *Store) sensor(r *http.Request) (any, error) {
	var f struct {
		Input  string  `json:"input"`
		Fault  string  `json:"fault"`
		Amount float64 `json:"amount"`
		ForMin float64 `json:"for_min"`
	}
	if err := body(r, &f); err != nil {
		return nil, err
	}
	return s.begin(plant.Fault{Kind: "sensor_" + f.Fault, Target: f.Input, Amount: f.Amount, ForMin: f.ForMin})
}

func (s *Store) plantState(r *http.Request) (any, error) {
	type compressor struct {
		Name      string  `json:"name"`
		Phase     string  `json:"phase"`
		Running   bool    `json:"running"`
		Superheat float64 `json:"superheat_k"`
		Liquid    float64 `json:"liquid_fraction"`
		Sump      float64 `json:"sump_above_dew_k"`
	}
	type circuit struct {
		Name  string  `json:"name"`
		Stage string  `json:"stage"`
		Ice   float64 `json:"ice_kg"`
		Air   float64 `json:"air_c"`
	}
	var answer struct {
		Time        time.Time    `json:"plant_time"`
		Compressors []compressor `json:"compressors"`
		Circuits    []circuit    `json:"circuits"`
		Faults      any          `json:"faults"`
	}
	err := s.Change(func(p *plant.Plant) error {
		answer.Time = p.Now()
		for _, t := range p.Truth() {
			answer.Compressors = append(answer.Compressors, compressor{t.Group + "." + t.Compressor, t.Phase, t.Running, t.SuperheatK, t.LiquidFraction, t.SumpAboveDewK})
		}
		for _, c := range p.Circuits() {
			answer.Circuits = append(answer.Circuits, circuit{c.Group + "." + c.Name, c.Stage, c.IceKg, c.AirC})
		}
		return nil
	})
	if err == nil {
		answer.Faults, err = s.faults(r)
	}
	return answer, err
}
