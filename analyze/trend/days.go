package trend

import "time"

// Days is what is kept of one quantity, in a form that outlives a restart.
type Days struct {
	Of
	Days []Day `json:"days"` // in order
}

// Of names whose quantity it is: a circuit's or a compressor's.
type Of struct {
	Group      string `json:"group"`
	Circuit    string `json:"circuit,omitempty"`
	Compressor string `json:"compressor,omitempty"`
	Quantity   string `json:"quantity"` // word for machines; the unit is the quantity's
}

// Day is the value of one day.
type Day struct {
	Date  string  `json:"date"` // UTC, as 2026-03-02
	Value float64 `json:"value"`
	Of    float64 `json:"of,omitempty"` // of a day that is not over: how many values make it up
}

// Days returns what is kept of each quantity that has any.
func (g *Group) Days() []Days {
	var all []Days
	g.each(func(s *series, q Quantity, of Of) {
		if days := s.days(); len(days) > 0 {
			all = append(all, Days{of, days})
		}
	})
	return all
}

// TakeUp continues what an earlier run kept, up to now (ns): a day after that
// was written under a clock that ran ahead. What is not this group's, and what
// has days already, is left alone.
func (g *Group) TakeUp(all []Days, now int64) {
	kept := map[Of][]Day{}
	for _, d := range all {
		kept[d.Of] = d.Days
	}
	g.each(func(s *series, q Quantity, of Of) {
		if s.n == 0 && s.count == 0 {
			s.takeUp(kept[of], float64(now/dayNS))
		}
	})
	g.takenUp = true
}

func (s *series) days() []Day {
	var days []Day
	for i := range s.n {
		days = append(days, Day{Date: date(s.day[i]), Value: s.value[i]})
	}
	if s.count > 0 {
		days = append(days, Day{Date: date(s.today), Value: s.folded, Of: s.count})
	}
	return days
}

func (s *series) takeUp(days []Day, now float64) {
	last := -1.0
	for _, d := range days {
		day, ok := dayOf(d.Date)
		if !ok || day > now || day <= last {
			continue
		}
		if s.count > 0 {
			s.keep()
		}
		last, s.today, s.folded, s.count = day, day, d.Value, max(d.Of, 1)
		if d.Of == 0 {
			s.keep()
		}
	}
}

func date(day float64) string {
	return time.Unix(0, int64(day)*dayNS).UTC().Format(time.DateOnly)
}

func dayOf(date string) (day float64, ok bool) {
	t, err := time.Parse(time.DateOnly, date)
	return float64(t.Unix() / (24 * 3600)), err == nil
}
