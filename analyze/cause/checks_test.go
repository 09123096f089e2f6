package cause

import (
	"slices"
	"strings"
	"testing"

	"dewgap/analyze/evidence"
	"dewgap/analyze/units"
)

// TestChecks: each search begins with whether the reading is true, each check is
// complete in both systems, and none gives an order that can hurt: to turn a
// valve, or that a machine is safe.
func TestChecks(t *testing.T) {
	for _, name := range append(slices.Clone(causeNames), "no such cause") {
		list := Checks(name)
		if len(list) < 3 || list[0].Do.Code != evidence.CheckReadingBelievable || list[1].Do.Code != evidence.CheckClamp {
			t.Errorf("%s: the search does not begin with whether the reading is true", name)
		}
		for _, c := range list {
			for _, i := range []evidence.Item{c.Do, c.Confirms, c.Clears, c.Caution} {
				if err := evidence.Check(i); err != nil && !i.IsZero() {
					t.Errorf("%s: %v", name, err)
				}
			}
			for _, system := range []units.System{units.SI, units.US} {
				text := c.In(evidence.Renderer{System: system})
				all := strings.ToLower(text.Do + text.Confirms + text.Clears)
				for _, never := range []string{"turn the", "compressor is safe", "close the valve"} {
					if strings.Contains(all, never) {
						t.Errorf("%s: %q in %s", name, never, text.Do)
					}
				}
			}
		}
	}
}

// TestChecksConvert: quantities in checks are shown in the reader's units.
func TestChecksConvert(t *testing.T) {
	for _, c := range []struct {
		cause  string
		code   evidence.Code
		si, us string
	}{
		{"sensor_misplaced", evidence.CheckInsulationLifted, "by more than 1 K:", "by more than 2 °F:"},
		{"defrost_incomplete", evidence.CheckDefrostEnd, "past 0 °C,", "past 32 °F,"},
	} {
		for _, check := range Checks(c.cause) {
			if check.Do.Code != c.code {
				continue
			}
			if got := check.In(evidence.Renderer{}).Confirms; !strings.Contains(got, c.si) {
				t.Errorf("SI: %s", got)
			}
			if got := check.In(evidence.Renderer{System: units.US}).Confirms; !strings.Contains(got, c.us) {
				t.Errorf("US: %s", got)
			}
		}
	}
}

// TestTouchingAndOpeningCarryCautions: gauges, live terminals and fans can hurt.
func TestTouchingAndOpeningCarryCautions(t *testing.T) {
	for cause, want := range map[string][]evidence.Code{
		"iced_coil": {evidence.CautionFans}, "defrost_incomplete": {evidence.CautionLiveTerminals}, "overcharge": {evidence.CautionGauges},
		"valve_stuck_open": {evidence.CautionTouch, evidence.CautionGauges}, "low_airflow": {evidence.CautionFans, evidence.CautionLiveTerminals},
	} {
		for _, code := range want {
			if !slices.ContainsFunc(Checks(cause)[BeforeAnyCause:], func(c Check) bool { return c.Caution.Code == code }) {
				t.Errorf("%s: no %s", cause, code)
			}
		}
	}
}
