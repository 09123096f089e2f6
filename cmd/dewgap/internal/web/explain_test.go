package web

import (
	"encoding/json"
	"net/url"
	"strings"
	"testing"

	"dewgap/cmd/dewgap/internal/explain"
	"dewgap/cmd/dewgap/internal/snapshot/snaptest"
)

func TestExplain(t *testing.T) {
	s := snaptest.EveryState()
	ev := s.Recent[0]
	for _, e := range s.Open {
		if e.Kind == "floodback" {
			ev = e
		}
	}
	h := handlerOf(boardOf(s), fixedEvents{ev})
	path := "/api/v1/events/" + url.PathEscape(ev.ID) + "/explain"
	code, body, _ := get(t, h, path)
	var got explain.Explanation
	if err := json.Unmarshal([]byte(body), &got); code != 200 || err != nil || got.ID != ev.ID || len(got.Course) == 0 {
		t.Errorf("%s: %d %s, %v", path, code, body, err)
	}
	if code, body, head := get(t, h, path+"?format=text&units=us"); code != 200 || !strings.HasPrefix(head.Get("Content-Type"), "text/plain") || !strings.Contains(body, "°F") {
		t.Errorf("as text: %d %s", code, body)
	}
	for path, want := range map[string]string{
		"/api/v1/events/none/explain": "/api/v1/events",
		path + "?units=metric":        "si or us",
		path + "?format=pdf":          "json or text",
	} {
		if code, body, _ := get(t, h, path); code < 400 || !strings.Contains(body, want) {
			t.Errorf("%s: %d %s", path, code, body)
		}
	}
}
