package plant

// Sensors says how inputs are measured.
type Sensors struct {
	TemperatureLagS float64 `toml:"temperature_lag_s" unit:"s" default:"20" doc:"time constant of a clamp-on sensor (common practice: 5–15 bare, 20–60 insulated)"`
	ContactError    float64 `toml:"contact_error" unit:"1" default:"0.03" doc:"share of (room − pipe) that a sensor reads high (common practice: insulated clip 0.02–0.05, bare 0.1–0.25)"`
	TemperatureK    float64 `toml:"temperature_noise_k" unit:"K" default:"0.05" doc:"standard deviation"`
	TemperatureStep float64 `toml:"temperature_step_k" unit:"K" default:"0.1" doc:"what the converter can tell apart"`
	TemperatureOffK float64 `toml:"temperature_offset_k" unit:"K" default:"0.2" doc:"standard deviation, over sensors, of a constant error"`
	PressureBar     float64 `toml:"pressure_noise_bar" unit:"bar" default:"0.025" doc:"standard deviation of the jitter of suction pressure; four times as much for discharge pressure"`
	PressureStep    float64 `toml:"pressure_step_bar" unit:"bar" default:"0.005" doc:"what the converter can tell apart; four times as much for discharge pressure"`
	PressureOffBar  float64 `toml:"pressure_offset_bar" unit:"bar" default:"0.01" doc:"standard deviation, over sensors, of a constant error"`
	PressureLagS    float64 `toml:"pressure_lag_s" unit:"s" default:"0.3" doc:"time constant of transmitter and its line"`
	SpikeBar        float64 `toml:"spike_bar" unit:"bar" default:"0.5" doc:"height of single false readings of suction pressure, up or down"`
	SpikesPerHour   float64 `toml:"spikes_per_hour" unit:"1/h" default:"3" doc:"how many"`
	LostPerHour     float64 `toml:"lost_per_hour" unit:"1/h" default:"1" doc:"single readings that are not delivered, for each input"`
}
