package web

import (
	"time"

	"dewgap/analyze/frame"
	"dewgap/cmd/dewgap/internal/snapshot"
)

// circuitState is one circuit in /api/v1/state; null is not known, or has not come
// to that.
type circuitState struct {
	Group   string        `json:"group"`
	Circuit string        `json:"circuit"`
	Defrost string        `json:"defrost_kind,omitempty"` // where it is stated
	Stage   string        `json:"stage"`
	Since   *time.Time    `json:"since"`
	Outlet  *float64      `json:"coil_outlet_c"`
	Over    *float64      `json:"coil_superheat_k"` // while it is fed and something draws
	Air     *float64      `json:"air_c"`
	AirOver *float64      `json:"air_over_dew_k"` // the same
	Last    *defrostState `json:"last_defrost"`   // null: none was seen
}

// defrostState is the newest defrost of a circuit.
type defrostState struct {
	Began   *time.Time `json:"began"`
	Ended   *time.Time `json:"heat_ended"`
	Resumed *time.Time `json:"refrigerating"`
	Over    *time.Time `json:"pulldown_over"`
	Heat    *float64   `json:"heat_s"`
	Peak    *float64   `json:"peak_c"`
	Plateau *float64   `json:"plateau_s"` // with the outlet measured
}

var defrostKinds = map[frame.DefrostKind]string{frame.OffCycle: "off_cycle", frame.Electric: "electric", frame.HotGas: "hot_gas"}

// circuitsOf returns the circuits; what they do is not known where the newest row
// is too old.
func circuitsOf(s *snapshot.Snapshot, current bool) []circuitState {
	out := []circuitState{}
	for i := range s.Circuits {
		c := &s.Circuits[i]
		x := circuitState{Group: c.Group, Circuit: c.Name, Defrost: defrostKinds[c.Kind], Stage: frame.StageUnknown.String(), Last: lastDefrost(&c.Last)}
		if current {
			x.Stage, x.Since = c.Stage.String(), nanoseconds(c.Since)
			x.Outlet, x.Air = number(float64(c.CoilOutlet)), number(float64(c.Air))
			if dew := dewOf(s, c.Group); dew != nil && (c.Stage == frame.Refrigerating || c.Stage == frame.PullingDown) {
				x.Over, x.AirOver = number(float64(c.CoilOutlet)-*dew), number(float64(c.Air)-*dew)
			}
		}
		out = append(out, x)
	}
	return out
}

// dewOf returns the dew of a group's suction while one of its compressors runs, °C;
// nil where that is not known or nothing draws.
func dewOf(s *snapshot.Snapshot, group string) *float64 {
	for i := range s.States {
		if st := &s.States[i]; st.Group == group && st.Running == frame.Yes && st.Quality.HasValue() {
			if dew := number(float64(st.Dew)); dew != nil {
				return dew
			}
		}
	}
	return nil
}

func lastDefrost(d *frame.DefrostRun) *defrostState {
	if d.Began == 0 && d.Ended == 0 {
		return nil
	}
	out := &defrostState{Began: nanoseconds(d.Began), Ended: nanoseconds(d.Ended), Resumed: nanoseconds(d.Resumed), Over: nanoseconds(d.Over), Heat: number(d.Length()), Peak: number(float64(d.Peak))}
	if out.Peak != nil {
		out.Plateau = number(d.Plateau)
	}
	return out
}

// nanoseconds is an instant that has not come where it is 0.
func nanoseconds(at int64) *time.Time {
	if at == 0 {
		return nil
	}
	return instant(time.Unix(0, at).UTC())
}
