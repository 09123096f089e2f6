package units

import "testing"

// TestPressureIn: a pressure in the unit of the site's own transmitters. Factors
// as in NIST SP 811, appendix B.
func TestPressureIn(t *testing.T) {
	for _, c := range []struct {
		system   System
		unit     string
		p        Pascal
		rendered string
	}{
		{SI, "barg", 283325, "1.82 barg"},
		{SI, "bara", 283325, "2.83 bara"},
		{SI, "kPag", 283325, "182 kPag"},
		{SI, "kPaa", 283325, "283 kPaa"},
		{SI, "MPag", 283325, "0.182 MPag"},
		{SI, "psig", 283325, "26.4 psig"},
		{SI, "psig", 71325, "-4.4 psig"},
		{US, "psig", 283325, "26.4 psig"},
		{US, "psig", 71325, "8.9 inHg vacuum"},
		{US, "psia", 283325, "41.1 psia"},
		{US, "kPag", 283325, "182 kPag"},
		{SI, "inHg vacuum", 71325, "-0.30 barg"},
		{SI, "degC", 283325, "1.82 barg"},
		{US, "", 283325, "26.4 psig"},
	} {
		u, _ := ParseUnit(c.unit)
		if got := c.system.PressureIn(u, c.p, StandardAtmosphere); got != c.rendered {
			t.Errorf("%s, %q: %g Pa is %q, want %q", c.system, c.unit, float64(c.p), got, c.rendered)
		}
	}
}
