package cause

import "testing"

// TestVerdict: how much is said depends on how much is known.
func TestVerdict(t *testing.T) {
	for _, c := range []struct {
		names  []string
		scores []float64
		want   string
	}{
		{nil, nil, ""},
		{[]string{"overcharge"}, []float64{0.4}, "too much refrigerant (40 %)"},
		{[]string{"iced_coil", "low_airflow"}, []float64{0.8, 0.1}, "iced coil (80 %)"},
		{[]string{"iced_coil", "low_airflow"}, []float64{0.79, 0.1}, "iced coil (79 %) or too little air over the coil (10 %)"},
		{[]string{"valve_hunting", "iced_coil", "overcharge"}, []float64{0.4, 0.3, 0.2}, "expansion valve hunts (40 %) or iced coil (30 %)"},
		{[]string{"valve_hunting", "iced_coil", "overcharge"}, []float64{0.4, 0.29, 0.2}, "what feeds the coil, valve or charge (60 %); which member is not clear"},
		{[]string{"accumulator_full", "valve_hunting", "overcharge", "valve_oversized"}, []float64{0.3, 0.25, 0.2, 0.16}, "what feeds the coil, valve or charge (61 %); which member is not clear"},
		{[]string{"valve_hunting", "iced_coil", "overcharge"}, []float64{0.35, 0.29, 0.2}, "not clear: expansion valve hunts (35 %), iced coil (29 %), too much refrigerant (20 %)"},
		{[]string{"valve_hunting", "iced_coil"}, []float64{0.35, 0.29}, "not clear: expansion valve hunts (35 %), iced coil (29 %)"},
	} {
		if got := Verdict(c.names, c.scores); got != c.want {
			t.Errorf("%v %v: %q, want %q", c.names, c.scores, got, c.want)
		}
	}
	for _, name := range causeNames {
		if FamilyOf(name) == NoFamily && name != "unknown" || familyWords[FamilyOf(name)] == "" {
			t.Errorf("%s has no family, or that no words", name)
		}
	}
}

// TestChecksInTurn: readings first and once, then each cause in turn.
func TestChecksInTurn(t *testing.T) {
	got := ChecksInTurn("valve_hunting", "unknown", "iced_coil")
	want := append([]CheckFor{}, CheckFor{"", Checks("unknown")[0]}, CheckFor{"", Checks("unknown")[1]})
	hunting, ice := Checks("valve_hunting")[BeforeAnyCause:], Checks("iced_coil")[BeforeAnyCause:]
	want = append(want, CheckFor{"valve_hunting", hunting[0]}, CheckFor{"unknown", Checks("unknown")[2]}, CheckFor{"iced_coil", ice[0]})
	for k := 1; k < 4; k++ {
		want = append(want, CheckFor{"valve_hunting", hunting[k]}, CheckFor{"iced_coil", ice[k]})
	}
	if len(got) != len(want) {
		t.Fatalf("%d checks, want %d", len(got), len(want))
	}
	for i := range got {
		if got[i].Cause != want[i].Cause || got[i].Do.Code != want[i].Do.Code {
			t.Errorf("check %d: %s of %q, want %s of %q", i, got[i].Do.Code, got[i].Cause, want[i].Do.Code, want[i].Cause)
		}
	}
}
