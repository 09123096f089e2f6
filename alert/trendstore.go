package alert

import (
	"path/filepath"
	"time"

	"dewgap/analyze/trend"
)

// TrendsFile is the name of the store of trends inside the data directory.
const TrendsFile = "trends.daybook"

// trendsPeriod is how often it is written: a power cut loses no more of a day.
const trendsPeriod = 10 * time.Minute

// TrendStore keeps the days that slow trends stand on, so that a restart does not
// blind them for another week. It is not safe for concurrent use.
type TrendStore struct{ stateFile }

type trendsContent struct {
	At   time.Time    `json:"at"`
	Days []trend.Days `json:"days"`
}

// OpenTrendStore reads the days that an earlier run left in dir. What it cannot
// read it reports in the error, and goes on with the file before or with none.
func OpenTrendStore(dir string) (*TrendStore, []trend.Days, error) {
	s := &TrendStore{stateFile{files: disk{}, what: "days of slow trends", path: filepath.Join(dir, TrendsFile), period: trendsPeriod}}
	var text trendsContent
	err := s.read(&text)
	return s, text.Days, err
}

// Save writes the days when ten minutes have passed by the rows' time, when
// time went back, or when now is set.
func (s *TrendStore) Save(at time.Time, days func() []trend.Days, now bool) error {
	_, err := s.save(at, func() any { return trendsContent{At: at.UTC(), Days: days()} }, now)
	return err
}

// Fault returns why the last write failed; empty when it did not.
func (s *TrendStore) Fault() string { return s.fault }
