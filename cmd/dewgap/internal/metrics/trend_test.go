package metrics

import (
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil"

	"dewgap/analyze/trend"
	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/cmd/dewgap/internal/snapshot/snaptest"
)

func TestTrendIsAMetricWhileItLasts(t *testing.T) {
	s := snaptest.EveryState()
	board := snapshot.NewBoard(func() time.Time { return snaptest.Noon })
	board.Publish(s)
	if n := testutil.CollectAndCount(NewCollector(board, Build{}), "dewgap_trend_limit_seconds"); n != 0 {
		t.Errorf("%d series without a notice", n)
	}
	s.Notices = []trend.Notice{{Group: "mt", Circuit: "case-1", Quantity: "air_over_dew", Days: 3}}
	board.Publish(s)
	want := `# HELP dewgap_trend_limit_seconds Time until a slow trend of a circuit or compressor reaches its limit, if it goes on; 0 when it has; absent when none does within a week.
# TYPE dewgap_trend_limit_seconds gauge
dewgap_trend_limit_seconds{group="mt",member="case-1",quantity="air_over_dew",site="orchard-hall"} 259200
`
	if err := testutil.CollectAndCompare(NewCollector(board, Build{}), strings.NewReader(want), "dewgap_trend_limit_seconds"); err != nil {
		t.Error(err)
	}
}
