package alert

import (
	"path/filepath"
	"time"

	"dewgap/analyze/trend"
)

// DayBookFile is the day book's name inside the data directory.
const DayBookFile = "trends.daybook"

// dayBookPeriod is how often it is written: a power cut loses no more of a day.
const dayBookPeriod = 10 * time.Minute

// DayBook keeps the days that slow trends stand on, so that a restart does not
// blind them for another week. It is not safe for concurrent use.
type DayBook struct{ kept }

type dayBookText struct {
	At   time.Time    `json:"at"`
	Days []trend.Days `json:"days"`
}

// OpenDayBook reads the days that an earlier run left in dir. What it cannot
// read it reports in the error, and goes on with the file before or with none.
func OpenDayBook(dir string) (*DayBook, []trend.Days, error) {
	b := &DayBook{kept{what: "day book of trends", path: filepath.Join(dir, DayBookFile), period: dayBookPeriod}}
	var text dayBookText
	err := b.read(&text)
	return b, text.Days, err
}

// Keep writes the days when ten minutes have passed by the rows' time, when
// time went back, or when now says that it must not wait.
func (b *DayBook) Keep(at time.Time, days func() []trend.Days, now bool) error {
	return b.keep(at, func() any { return dayBookText{At: at.UTC(), Days: days()} }, now)
}

// Fault returns why the last write failed; empty when it did not.
func (b *DayBook) Fault() string { return b.fault }
