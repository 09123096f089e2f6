package web

import (
	"strings"
	"testing"

	"dewgap/analyze/evidence"
	"dewgap/analyze/trend"
	"dewgap/cmd/dewgap/internal/snapshot/snaptest"
)

func TestStateShowsTrends(t *testing.T) {
	s := snaptest.EveryState()
	if _, body, _ := get(t, handlerOf(boardOf(s), fixedEvents{}), "/api/v1/state"); !strings.Contains(body, `"notices":[]`) {
		t.Errorf("no empty list of notices: %s", body)
	}
	s.Notices = []trend.Notice{{Group: "mt", Circuit: "case-1", Quantity: "air_over_dew", Days: 3, Found: evidence.Item{Code: evidence.Sentence, Text: "air over dew rises"}}}
	if _, body, _ := get(t, handlerOf(boardOf(s), fixedEvents{}), "/api/v1/state"); !strings.Contains(body, `"text":"air over dew rises"`) {
		t.Errorf("notice not shown: %s", body)
	}
}
