package setting

import (
	"testing"
	"time"
)

type limits struct {
	hold  time.Duration
	share float64
	lag   time.Duration
	kind  int
	on    bool
}

var rows = []Row[limits]{
	{Key: "hold", Field: Within(func(l *limits) *time.Duration { return &l.hold }, time.Minute, 0, time.Hour)},
	{Key: "share", Field: Fixed(func(l *limits) *float64 { return &l.share }, 0.5)},
	{Key: "lag", Field: Assumed(func(l *limits) *time.Duration { return &l.lag }, 20*time.Second, 0, time.Hour)},
	{Key: "kind", Field: OneOf(func(l *limits) *int { return &l.kind }, 1, "", []Word[int]{{"one", 1}, {"two", 2}})},
	{Key: "on", Field: Plain(func(l *limits) *bool { return &l.on }, true)},
	{Key: "file", Field: ByHand[limits]("text", "none", "")},
}

func TestDefaultsAndFill(t *testing.T) {
	want := limits{hold: time.Minute, share: 0.5, kind: 1, on: true}
	if got := Defaults(rows); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	got := limits{hold: time.Second, share: -1}
	Fill(rows, &got)
	if want := (limits{hold: time.Second, share: 0.5}); got != want {
		t.Errorf("filled %+v, want %+v", got, want)
	}
}

func TestFieldsDescribeThemselves(t *testing.T) {
	if f := rows[0].Field; f.Default != time.Minute || f.Min != time.Duration(0) || f.Max != time.Hour || f.Fixed {
		t.Errorf("limits of hold: %+v", f)
	}
	if f := rows[1].Field; !f.Fixed || f.Default != 0.5 {
		t.Errorf("fixed share: %+v", f)
	}
	if f := rows[2].Field; !f.Assumed || f.Default != 20*time.Second {
		t.Errorf("assumed lag: %+v", f)
	}
	f, l := rows[3].Field, limits{}
	if f.Choose(&l, "two"); l.kind != 2 || f.Shown != "one" || len(f.Words) != 2 {
		t.Errorf("kind %d, %+v", l.kind, f)
	}
}
