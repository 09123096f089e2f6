package commissioning

import (
	"fmt"
	"math"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/superheat"
)

// maxRows bounds what is kept of a recording: a week of one-second rows of
// ten compressors.
const maxRows = 6_048_000 // compressor-rows, some 40 bytes each

// maxGap is the longest time between two rows that still counts as watched. Common practice: a
// poll a minute is the slowest that still shows a dip.
const maxGap = 60 * time.Second

// budgetEvery is how often it is asked where the uncertainty comes from.
const budgetEvery = 10 * time.Minute

// Track is what a recording showed, row by row.
type Track struct {
	site     analyze.Site
	at       []int64 // ns, of each row
	machines []machineTrack
	circuits []circuitTrack
	groups   []groupTrack

	budgeted      int64 // ns at which budgets were asked for last
	circuitStates []analyze.CircuitState
	machineStates []analyze.Machine
}

// machineTrack is one compressor; NaN where a value is not known.
type machineTrack struct {
	group int
	name  string

	superheat, floor, uncertainty, dew, pipe []float32
	sumpOver                                 []float32 // sump − dew
	shortfall                                []float32 // of discharge below dry gas; −Inf while the machine is not learned
	phase                                    []frame.Phase
	quality                                  []reading.Quality
	budget                                   superheat.Budget // the newest of steady running, else of any
}

type circuitTrack struct {
	group     int
	name      string
	kind      frame.DefrostKind
	coil, air []float32
	cycles    []span
}

// groupTrack is what the check of a standing system needs.
type groupTrack struct {
	suction, discharge int       // points; −1 where there is none
	apart              []float32 // discharge − suction, Pa
}

// span is one defrost as analysis followed it.
type span struct {
	frame.DefrostRun
	row int // at which it was first seen
}

// NewTrack returns an empty track of site.
func NewTrack(site analyze.Site) *Track {
	t := &Track{site: site}
	for i, g := range site.Groups {
		for _, c := range g.Compressors {
			t.machines = append(t.machines, machineTrack{group: i, name: c.Name})
		}
		for _, c := range g.Circuits {
			t.circuits = append(t.circuits, circuitTrack{group: i, name: c.Name, kind: c.Defrost})
		}
		gt := groupTrack{suction: -1, discharge: -1}
		for p, point := range site.Points {
			if point.Group != g.Name {
				continue
			}
			switch point.Role {
			case reading.SuctionPressure:
				gt.suction = p
			case reading.DischargePressure:
				gt.discharge = p
			}
		}
		t.groups = append(t.groups, gt)
	}
	return t
}

// Source is the analysis after it has taken a row.
type Source interface {
	Circuits([]analyze.CircuitState) []analyze.CircuitState
	Machines([]analyze.Machine) []analyze.Machine
	Budgets() []superheat.Budget
}

// Add takes one row's result. It fails when the recording is longer than a
// record is made for.
func (t *Track) Add(r analyze.Result, s Source) error {
	if len(t.at)*max(1, len(t.machines)) >= maxRows {
		return fmt.Errorf("the recording is too long for a commissioning record: at %s it holds %d rows of %d compressors; give the days of the commissioning only",
			r.Time.Format(time.RFC3339), len(t.at), len(t.machines))
	}
	t.at = append(t.at, r.Time.UnixNano())
	t.machineStates = s.Machines(t.machineStates[:0])
	for i := range t.machines {
		t.machines[i].add(&r.States[i], &t.machineStates[i])
	}
	if at := r.Time.UnixNano(); at-t.budgeted >= int64(budgetEvery) {
		t.budgeted = at
		for i, b := range s.Budgets() {
			if m := &t.machines[i]; len(b.Parts) > 0 && (r.States[i].Phase == frame.Steady || len(m.budget.Parts) == 0) {
				m.budget = b
			}
		}
	}
	t.circuitStates = s.Circuits(t.circuitStates[:0])
	for i := range t.circuits {
		t.circuits[i].add(len(t.at)-1, &t.circuitStates[i])
	}
	for i := range t.groups {
		t.groups[i].add(r.Inputs)
	}
	return nil
}

func (m *machineTrack) add(st *analyze.State, x *analyze.Machine) {
	m.superheat = append(m.superheat, float32(st.Superheat))
	m.floor = append(m.floor, float32(st.Floor))
	m.uncertainty = append(m.uncertainty, float32(st.Uncertainty))
	m.dew = append(m.dew, float32(st.Dew))
	m.pipe = append(m.pipe, float32(st.SuctionTemperature))
	m.sumpOver = append(m.sumpOver, float32(x.Sump-st.Dew))
	shortfall := float32(x.Shortfall)
	if !x.DischargeLearned {
		shortfall = float32(math.Inf(-1))
	}
	m.shortfall = append(m.shortfall, shortfall)
	m.phase = append(m.phase, st.Phase)
	m.quality = append(m.quality, st.Quality)
}

func (c *circuitTrack) add(row int, st *analyze.CircuitState) {
	c.coil = append(c.coil, float32(st.CoilOutlet))
	c.air = append(c.air, float32(st.Air))
	if st.Last.Began == 0 {
		return
	}
	n := len(c.cycles)
	if n == 0 || c.cycles[n-1].Began != st.Last.Began {
		c.cycles = append(c.cycles, span{st.Last, row})
		return
	}
	c.cycles[n-1].DefrostRun = st.Last
}

func (g *groupTrack) add(inputs []analyze.Input) {
	value := func(point int) float64 {
		if point < 0 {
			return math.NaN()
		}
		return inputs[point].Value
	}
	g.apart = append(g.apart, float32(value(g.discharge)-value(g.suction)))
}

// lasts returns for how long row i stands, in s: until the next row, and
// nothing at the end or where a gap follows.
func (t *Track) lasts(i int) float64 {
	if i+1 >= len(t.at) {
		return 0
	}
	d := t.at[i+1] - t.at[i]
	if d > int64(maxGap) {
		return 0
	}
	return float64(d) / 1e9
}

// rowAt returns the index of the first row at ns or later.
func (t *Track) rowAt(ns int64) int {
	low, high := 0, len(t.at)
	for low < high {
		mid := (low + high) / 2
		if t.at[mid] < ns {
			low = mid + 1
		} else {
			high = mid
		}
	}
	return low
}

// widest returns the longest time between two rows of [from, to] and where it
// begins.
func (t *Track) widest(from, to int) (time.Duration, int) {
	var most int64
	where := from
	for i := from; i < to && i+1 < len(t.at); i++ {
		if d := t.at[i+1] - t.at[i]; d > most {
			most, where = d, i
		}
	}
	return time.Duration(most), where
}

func instant(ns int64) time.Time { return time.Unix(0, ns).UTC() }

func instantOr(ns int64) *time.Time {
	if ns == 0 {
		return nil
	}
	at := instant(ns)
	return &at
}

// figure rounds x for a record; nil when it is not known.
func figure(x, perUnit float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	r := math.Round(x*perUnit)/perUnit + 0
	return &r
}

func known(x float32) bool { return x-x == 0 }
