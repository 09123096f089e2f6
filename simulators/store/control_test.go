package store

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"dewgap/simulators/plant"
	"dewgap/simulators/scenarios"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// opened puts a freezer behind its devices and its control, without letting time
// pass.
func opened(t *testing.T) (*Store, string) {
	t.Helper()
	d, err := scenarios.Load("freezer-room")
	if err != nil {
		t.Fatal(err)
	}
	d.WarmUpH = 0.1
	p, err := plant.New(d, 1)
	if err != nil {
		t.Fatal(err)
	}
	s, err := Open(p, Setting{Bus: "127.0.0.1:0", Broker: "127.0.0.1:0", Serial: true})
	if err != nil {
		t.Fatal(err)
	}
	l, err := ListenControl(t.Context(), "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- s.ServeControl(ctx, l) }()
	t.Cleanup(func() {
		cancel()
		if err := <-served; err != nil {
			t.Error(err)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		http.DefaultClient.CloseIdleConnections()
	})
	return s, "http://" + l.Addr().String()
}

// asked sends one order and returns the answer.
func asked(t *testing.T, method, url, body string, header ...string) (int, string) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, url, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if method == http.MethodPost {
		r.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
		if header[i] == "Host" {
			r.Host = header[i+1]
		}
	}
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	if !json.Valid(text) {
		t.Errorf("%s %s: no JSON: %s", method, url, text)
	}
	return answer.StatusCode, string(text)
}

func (s *Store) pass(t *testing.T, d time.Duration) {
	t.Helper()
	if err := s.Change(func(p *plant.Plant) error { p.Step(d); return nil }); err != nil {
		t.Fatal(err)
	}
}

// A fault begins, is listed, works, and is cleared.
func TestControlInjectsAndClears(t *testing.T) {
	s, url := opened(t)
	status, text := asked(t, "POST", url+"/faults", `{"kind":"sensor_open","target":"lt.c1.suction_temperature"}`)
	if status != 201 || !strings.Contains(text, `"id": 1`) {
		t.Fatalf("%d %s", status, text)
	}
	s.pass(t, time.Second)
	at := s.address[s.inputOf(t, "lt.c1.suction_temperature")].cell
	if word, ok := s.Read(at.unit, at.table, at.address); !ok || word != noValue {
		t.Errorf("register holds %#x, %v; want %#x while the sensor is open", word, ok, noValue)
	}
	if _, text := asked(t, "GET", url+"/faults", ""); !strings.Contains(text, `"kind": "sensor_open"`) || !strings.Contains(text, `"on": true`) {
		t.Error(text)
	}
	if status, text := asked(t, "DELETE", url+"/faults/1", ""); status != 200 {
		t.Errorf("%d %s", status, text)
	}
	s.pass(t, time.Second)
	if word, _ := s.Read(at.unit, at.table, at.address); word == noValue {
		t.Error("the sensor is still open after it was cleared")
	}
	if _, text := asked(t, "GET", url+"/faults", ""); text != "[]\n" {
		t.Error(text)
	}
}

func (s *Store) inputOf(t *testing.T, path string) int {
	t.Helper()
	for i, in := range s.inputs {
		if in.Path == path {
			return i
		}
	}
	t.Fatalf("no input %s", path)
	return 0
}

func TestControlForcesADefrostAndFailsASensor(t *testing.T) {
	s, url := opened(t)
	if status, text := asked(t, "POST", url+"/defrosts", `{"circuit":"lt.room"}`); status != 201 {
		t.Fatalf("%d %s", status, text)
	}
	if status, text := asked(t, "POST", url+"/sensors", `{"input":"lt.suction_pressure","fault":"offset","amount":0.4,"for_min":1}`); status != 201 {
		t.Fatalf("%d %s", status, text)
	}
	before, _ := s.plant.Value(s.inputOf(t, "lt.suction_pressure"))
	s.pass(t, 2*time.Second)
	after, _ := s.plant.Value(s.inputOf(t, "lt.suction_pressure"))
	if after-before < 0.2e5 {
		t.Errorf("suction pressure went from %.0f to %.0f Pa with an offset of 0.4 bar", before, after)
	}
	if _, text := asked(t, "GET", url+"/plant", ""); !strings.Contains(text, `"stage": "pump_down"`) || !strings.Contains(text, "sensor_offset") {
		t.Error(text)
	}
	s.pass(t, time.Minute)
	if _, text := asked(t, "GET", url+"/faults", ""); text != "[]\n" {
		t.Errorf("a minute later: %s", text)
	}
}

func TestControlTellsWhatCanBeDone(t *testing.T) {
	_, url := opened(t)
	_, menu := asked(t, "GET", url+"/", "")
	for _, o := range endpoints() {
		if !strings.Contains(menu, `"path": "`+o.Path+`"`) || !strings.Contains(menu, o.Meaning) {
			t.Errorf("GET / does not list %s %s", o.Method, o.Path)
		}
		// what it shows as a body must be taken
		if o.Body != "" {
			if status, text := asked(t, o.Method, url+o.Path, o.Body); status != 201 {
				t.Errorf("%s %s %s: %d %s", o.Method, o.Path, o.Body, status, text)
			}
		}
	}
	_, kinds := asked(t, "GET", url+"/kinds", "")
	for _, k := range plant.FaultKinds() {
		if !strings.Contains(kinds, `"kind": "`+k.Name+`"`) {
			t.Errorf("GET /kinds does not list %s", k.Name)
		}
	}
}

func TestControlRefuses(t *testing.T) {
	s, url := opened(t)
	asked(t, "POST", url+"/faults", `{"kind":"iced_coil","target":"lt.room","amount":3}`)
	s.pass(t, time.Second)
	for _, c := range []struct {
		method, path, body string
		header             []string
		status             int
		want               string
	}{
		{"POST", "/faults", `{"kind":"ghost","target":"lt.room"}`, nil, 400, `kind \"ghost\" is none of those listed`},
		{"POST", "/faults", `{"kind":"low_airflow","target":"lt.attic","amount":0.5}`, nil, 400, `there is no circuit \"lt.attic\"`},
		{"POST", "/faults", `{"kind":"low_airflow","target":"lt.room","amount":-1}`, nil, 400, "amount -1: 0 to 1"},
		{"POST", "/faults", `{"kind":"low_airflow","target":"lt.room","amount":0.5,"for_min":-1}`, nil, 400, "for_min -1: not below 0"},
		{"POST", "/faults", `{"kind":"low_airflow","target":"lt.room","ammount":0.5}`, nil, 400, `unknown field \"ammount\"`},
		{"POST", "/faults", `{"kind":"low_airflow"`, nil, 400, "unexpected EOF"},
		{"POST", "/faults", `{"kind":"low_airflow","target":"lt.room","amount":0.5} {}`, nil, 400, "one JSON object"},
		{"POST", "/faults", `{"kind":"` + strings.Repeat("x", 70000) + `"}`, nil, 400, "too large"},
		{"POST", "/defrosts", `{"circuit":"lt.attic"}`, nil, 400, `there is no circuit \"lt.attic\"`},
		{"POST", "/sensors", `{"input":"lt.c9.suction_temperature","fault":"open"}`, nil, 400, "there is no input"},
		{"POST", "/sensors", `{"input":"lt.c1.suction_temperature","fault":"tired"}`, nil, 400, "sensor_tired"},
		{"DELETE", "/faults/77", "", nil, 404, "fault 77: no such fault"},
		{"DELETE", "/faults/x", "", nil, 400, "a whole number"},
		{"DELETE", "/faults/1", "", nil, 409, "iced_coil happened at once and cannot be taken back"},
		{"GET", "/nothing", "", nil, 404, "GET / lists what can"},
		{"PUT", "/faults", "", nil, 404, "GET / lists what can"},
		{"POST", "/faults", `{}`, []string{"Content-Type", "text/plain"}, 415, "application/json"},
		{"GET", "/", "", []string{"Host", "plant.example"}, 403, "only 127.0.0.1"},
	} {
		if status, text := asked(t, c.method, url+c.path, c.body, c.header...); status != c.status || !strings.Contains(text, `"error"`) || !strings.Contains(text, c.want) {
			t.Errorf("%s %s %.60s: %d %s, want %d %s", c.method, c.path, c.body, status, text, c.status, c.want)
		}
	}
}

// Whoever reaches the control can break the plant: it listens on this machine
// alone.
func TestControlListensOnThisMachineAlone(t *testing.T) {
	for address, want := range map[string]string{
		"0.0.0.0:0": "this machine alone", ":0": "this machine alone", "[::]:0": "this machine alone",
		"192.0.2.1:80": "this machine alone", "store.example:80": "this machine alone", "nonsense": "write host and port",
	} {
		l, err := ListenControl(t.Context(), address)
		if err == nil {
			l.Close()
		}
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", address, err, want)
		}
	}
}
