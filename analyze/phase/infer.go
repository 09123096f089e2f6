package phase

// inference is what is remembered while guessing a circuit's stage without a
// defrost signal.
type inference struct{}

// guess moves without a defrost signal.
func (c *Circuit) guess(at int64, x CircuitSample, dew, dt float64, s *limits) {
	if c.stage != StageUnknown {
		c.enter(StageUnknown, at)
	}
}
