package plant

import "time"

// Description is the design of a plant. Its tags are the scenario format: the
// key in the file, the default, the unit and what it means. A number that is
// marked "derived" when 0 is worked out from the others in New.
type Description struct {
	Name     string    `toml:"name" doc:"name of the scenario; letters, digits, '-'"`
	Title    string    `toml:"title" doc:"one line for the list"`
	Expect   string    `toml:"expect" doc:"what should happen, for a person"`
	Site     string    `toml:"site" default:"invented store" doc:"name of the site in the matching configuration"`
	Start    time.Time `toml:"start" doc:"first instant of the plant, with zone; default 2026-03-02T04:00:00Z"`
	WarmUpH  float64   `toml:"warm_up_h" unit:"h" default:"3" doc:"hours the plant runs before start, so that it starts in its routine; faults before start are given as negative minutes"`
	HoursFor float64   `toml:"hours" unit:"h" default:"6" doc:"length of a recording if --for is not given"`
	Omit     []string  `toml:"omit" doc:"inputs that the site does not have: paths, with * for any run of letters between dots"`

	Store   Store   `toml:"store" doc:"air around the plant"`
	Sensors Sensors `toml:"sensors" doc:"how inputs are measured, unless a sensor says otherwise"`
	Groups  []Group `toml:"suction_group" doc:"a suction group"`
	Faults  []Fault `toml:"fault" doc:"what goes wrong, and when"`
}

// Store is the air around the plant.
type Store struct {
	StoreC    float64 `toml:"store_c" unit:"°C" default:"22" doc:"air of the sales floor"`
	Humidity  float64 `toml:"store_humidity" most:"1" unit:"1" default:"0.5" doc:"relative humidity of the sales floor (common practice: 0.4–0.6)"`
	RoomC     float64 `toml:"machine_room_c" unit:"°C" default:"24" doc:"air around header, compressors and sensors"`
	OutdoorC  float64 `toml:"outdoor_c" unit:"°C" default:"15" doc:"mean outdoor air"`
	SwingK    float64 `toml:"outdoor_swing_k" unit:"K" default:"4" doc:"half the daily swing of the outdoor air; warmest at 15:00 UTC"`
	LoadNoise float64 `toml:"load_noise" unit:"1" default:"0.08" doc:"standard deviation of the slow random share of infiltration (customers, doors)"`
}

// Sensors describes how inputs are measured.
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

// Group is a suction group.
type Group struct {
	Name        string  `toml:"name" doc:"name in the input's path"`
	Refrigerant string  `toml:"refrigerant" doc:"designation: R448A"`
	DewC        float64 `toml:"dew_c" unit:"°C" default:"-10" doc:"dew temperature at the header that the rack control holds; design point of coils and valves"`
	CondenseC   float64 `toml:"condensing_c" unit:"°C" default:"35" doc:"design condensing temperature at an outdoor air 10 K below it"`
	MinimumC    float64 `toml:"minimum_condensing_c" unit:"°C" default:"25" doc:"condensing temperature below which the condenser's fans slow down"`
	SubcoolK    float64 `toml:"subcooling_k" unit:"K" default:"4" doc:"subcooling of the liquid at the valves"`
	Critical    bool    `toml:"critically_charged" default:"false" doc:"no receiver: spare charge floods the condenser and raises its pressure"`
	ChargeKg    float64 `toml:"charge_kg" unit:"kg" default:"0" doc:"charge beyond what the low side holds at the start; 0: derived, 3 kg a kW of load with a receiver, the just right one when critically charged"`

	HeaderBoil    float64 `toml:"header_contact" most:"1" unit:"1" default:"0.25" doc:"share of the gas's superheat that liquid takes up while both pass one section of the header"`
	HeaderSplit   float64 `toml:"header_take" unit:"1" default:"4" doc:"how much more readily liquid than gas turns into the take-off it passes (take-offs at the bottom)"`
	HeaderVolumeL float64 `toml:"low_side_volume_l" unit:"l" default:"0" doc:"gas space of coils, lines and header; 0: derived, 4 l a kW of load"`

	Accumulator Accumulator  `toml:"accumulator" doc:"vessel before the compressors"`
	Control     Control      `toml:"control" doc:"how compressors are started and stopped"`
	Compressors []Compressor `toml:"compressor" doc:"a compressor; their order is the order along the header"`
	Circuits    []Circuit    `toml:"circuit" doc:"a circuit"`
}

// Accumulator is a vessel that keeps liquid back before the compressors.
type Accumulator struct {
	VolumeL  float64 `toml:"volume_l" unit:"l" default:"0" doc:"0: there is none; common practice: room for half of the charge"`
	HoleMM   float64 `toml:"hole_mm" unit:"mm" default:"1.0" doc:"bore of the oil return hole (common practice: 0.8–1.6)"`
	HeightMM float64 `toml:"height_mm" unit:"mm" default:"400" doc:"inner height"`
	HeatWK   float64 `toml:"heat_w_k" unit:"W/K" default:"2" doc:"heat from the machine room, for each K"`
	StartKg  float64 `toml:"liquid_kg" unit:"kg" default:"0" doc:"liquid in it at the start of the warm-up"`
}

// Control starts and stops compressors.
type Control struct {
	Mode        string  `toml:"mode" default:"suction" doc:"\"suction\": stages by suction pressure; \"thermostat\": the one compressor follows the one circuit's thermostat, valve open; \"pump_down\": by a low-pressure switch, from above the band to the cut-out; thermostats shut the liquid valves"`
	BandK       float64 `toml:"band_k" unit:"K" default:"2" doc:"half width of the dead band, in dew temperature"`
	UpS         float64 `toml:"up_delay_s" unit:"s" default:"45" doc:"above the band for this long: one stage more"`
	DownS       float64 `toml:"down_delay_s" unit:"s" default:"30" doc:"below the band for this long: one stage less"`
	MinimumOffS float64 `toml:"minimum_off_s" unit:"s" default:"180" doc:"shortest stop of a compressor"`
	MinimumOnS  float64 `toml:"minimum_on_s" unit:"s" default:"120" doc:"shortest run of a compressor"`
	CutOutK     float64 `toml:"cut_out_k" unit:"K" default:"12" doc:"dew this far below the set point stops all at once"`
	HighCutOutC float64 `toml:"high_cut_out_c" unit:"°C" default:"62" doc:"condensing temperature that stops all at once, until it is 15 K lower"`
}

// Compressor draws gas from its tap on the header.
type Compressor struct {
	Name         string  `toml:"name" doc:"name in the input's path"`
	Kind         string  `toml:"kind" default:"scroll" doc:"\"scroll\", \"air_cooled_semi_hermetic\", \"refrigerant_cooled_semi_hermetic\""`
	CapacityKW   float64 `toml:"capacity_kw" unit:"kW" default:"8" doc:"cooling capacity at the design point"`
	MinimumSpeed float64 `toml:"minimum_speed" most:"1" unit:"1" default:"1" doc:"lowest speed as a share of full; below 1 the compressor has a drive and trims"`
	Isentropic   float64 `toml:"isentropic_efficiency" most:"1" unit:"1" default:"0.65" doc:"at the best pressure ratio, about 3 (common practice: 0.6–0.72)"`
	Clearance    float64 `toml:"clearance" unit:"1" default:"0" doc:"fall of volumetric efficiency for each unit of pressure ratio above 1; 0: derived, 0.015 scroll, 0.03 piston (common practice)"`
	MotorLoss    float64 `toml:"motor_loss" most:"0.5" unit:"1" default:"0.1" doc:"share of the electric power that the motor turns into heat; reaches the suction gas unless air cooled"`
	OilKg        float64 `toml:"oil_kg" unit:"kg" default:"2.5" doc:"oil in the sump"`
	HeaterW      float64 `toml:"crankcase_heater_w" unit:"W" default:"70" doc:"on while stopped (common practice: 50–120 W)"`
	InletWK      float64 `toml:"inlet_heat_w_k" unit:"W/K" default:"0.3" doc:"heat from the machine room into its suction drop"`
}

// Circuit is one evaporator with its valve, defrost and suction line.
type Circuit struct {
	Name     string  `toml:"name" doc:"name in the input's path"`
	LoadKW   float64 `toml:"load_kw" unit:"kW" default:"4" doc:"cooling at design: walls, infiltration with its moisture, fans and lights"`
	AirC     float64 `toml:"air_c" unit:"°C" default:"2" doc:"air of the case at design"`
	Position int     `toml:"tap" default:"1" doc:"compressor whose tap on the header this branch enters at, counted from 1"`

	Infiltration float64 `toml:"infiltration" most:"1" unit:"1" default:"0.5" doc:"share of the load that is outside air (common practice: reach-in 0.3, open case 0.6)"`
	Internal     float64 `toml:"internal" most:"1" unit:"1" default:"0.2" doc:"share of the load that is fans and lights"`
	ProductKJK   float64 `toml:"product_kj_k" unit:"kJ/K" default:"0" doc:"heat capacity of the goods; 0: derived, 600 kJ/K a kW of load (about 200 kg of food)"`
	ThermostatK  float64 `toml:"thermostat_k" unit:"K" default:"0" doc:"band of a thermostat at air_c that shuts the liquid valve; 0: none, the circuit always cools"`

	Coil    Coil    `toml:"coil" doc:"evaporator"`
	Valve   Valve   `toml:"valve" doc:"expansion device"`
	Line    Line    `toml:"line" doc:"suction line from coil to header"`
	Defrost Defrost `toml:"defrost" doc:"defrost"`
}

// Coil is an evaporator.
type Coil struct {
	Capacity    float64 `toml:"capacity" unit:"1" default:"1.15" doc:"clean coil's duty at design over the load"`
	AirShare    float64 `toml:"air_resistance" most:"1" unit:"1" default:"0.7" doc:"share of the air side in the resistance to heat (common practice)"`
	MetalKJK    float64 `toml:"metal_kj_k" unit:"kJ/K" default:"0" doc:"metal of coil and pan; 0: derived, 3 kJ/K a kW (about 5 kg of copper and aluminium)"`
	HoldS       float64 `toml:"hold_s" unit:"s" default:"40" doc:"time that liquid takes through the coil at design (common practice: 20–60)"`
	InnerL      float64 `toml:"inner_volume_l" unit:"l" default:"0" doc:"0: derived, 1 l a kW"`
	FrostHalfKg float64 `toml:"frost_half_kg" unit:"kg" default:"0" doc:"frost at which the fans move half of the air; 0: derived, 2.5 kg a kW"`
	FrostKg     float64 `toml:"frost_kg" unit:"kg" default:"0" doc:"ice at the start of the warm-up beyond what the coil has gathered since its last defrost"`
	StillAir    float64 `toml:"still_air" most:"1" unit:"1" default:"0.08" doc:"air-side conductance with fans off over that with fans on (common practice)"`
}

// Valve is an expansion device.
type Valve struct {
	Kind       string  `toml:"kind" default:"thermostatic" doc:"\"thermostatic\", \"electronic\", \"capillary\""`
	Size       float64 `toml:"size" unit:"1" default:"1.5" doc:"flow when fully open over the design flow (common practice: 1.2–2)"`
	StaticK    float64 `toml:"static_superheat_k" unit:"K" default:"5" doc:"superheat at which it begins to open"`
	RangeK     float64 `toml:"opening_superheat_k" unit:"K" default:"4" doc:"superheat from there to fully open, at the design dew temperature"`
	BulbLagS   float64 `toml:"bulb_lag_s" unit:"s" default:"25" doc:"time constant of the bulb on its pipe (common practice: 15–40)"`
	MopC       float64 `toml:"mop_c" unit:"°C" default:"40" doc:"dew temperature above which the charge of the bulb has all boiled and the valve closes; 40: none"`
	Friction   float64 `toml:"friction" unit:"1" default:"0.04" doc:"change of force, as a share of the stroke, before the valve moves"`
	Leak       float64 `toml:"leak" unit:"1" default:"0" doc:"flow when shut, as a share of the design flow; the liquid valve in front stops it unless it leaks too"`
	Gain       float64 `toml:"gain" unit:"1/K" default:"0.012" doc:"electronic: change of opening for each K, and K in 60 s, off the set point"`
	SetK       float64 `toml:"set_superheat_k" unit:"K" default:"6" doc:"electronic: superheat held at the coil outlet"`
	StrokeS    float64 `toml:"stroke_s" unit:"s" default:"30" doc:"electronic: time from shut to open"`
	SolenoidLk float64 `toml:"liquid_valve_leak" unit:"1" default:"0" doc:"flow through the shut liquid valve, as a share of the design flow"`
}

// Line is the suction line of a circuit.
type Line struct {
	LengthM float64 `toml:"length_m" unit:"m" default:"30" doc:"length"`
	HeatWMK float64 `toml:"heat_w_m_k" unit:"W/(m K)" default:"0.25" doc:"heat from outside through the insulation, for each m and K (common practice: 0.15–0.4)"`
	WallJMK float64 `toml:"wall_j_m_k" unit:"J/(m K)" default:"260" doc:"copper, for each m; 260 is 28 mm pipe"`
	HoldS   float64 `toml:"hold_s" unit:"s" default:"0" doc:"time that liquid takes through it at design; 0: derived, 1 s a metre"`
	DropK   float64 `toml:"pressure_drop_k" unit:"K" default:"1.2" doc:"pressure lost from coil to header at design, in dew temperature (common practice: 1–2)"`
}

// Defrost of a circuit.
type Defrost struct {
	Kind         string  `toml:"kind" default:"electric" doc:"\"off_cycle\", \"electric\", \"hot_gas\""`
	EveryH       float64 `toml:"every_h" unit:"h" default:"6" doc:"0: never by itself"`
	FirstMin     float64 `toml:"first_min" signed:"yes" unit:"min" default:"60" doc:"first one after start; those of the warm-up are counted back from it"`
	PumpDownS    float64 `toml:"pump_down_s" unit:"s" default:"90" doc:"liquid valve shut, fans on, before heat"`
	HeatKW       float64 `toml:"heat_kw" unit:"kW" default:"0" doc:"electric heaters; 0: derived, 0.5 kW a kW of load"`
	HotGasKW     float64 `toml:"hot_gas_kw" unit:"kW" default:"0" doc:"most heat that the hot gas can bring; 0: derived, 1.1 kW a kW"`
	Drain        float64 `toml:"drain" most:"1" unit:"1" default:"0.97" doc:"hot gas: share of the condensate that is driven back to the liquid header"`
	BleedS       float64 `toml:"bleed_s" unit:"s" default:"60" doc:"hot gas: time constant in which the coil's pressure is let down into the suction line"`
	TerminationC float64 `toml:"termination_c" unit:"°C" default:"10" doc:"coil temperature that ends the heat"`
	LimitMin     float64 `toml:"limit_min" unit:"min" default:"45" doc:"longest heat"`
	DripS        float64 `toml:"drip_s" unit:"s" default:"180" doc:"everything off, water drips (common practice: 120–300)"`
	FanC         float64 `toml:"fan_c" unit:"°C" default:"-4" doc:"coil temperature at which the fans start"`
	FanMaxS      float64 `toml:"fan_max_s" unit:"s" default:"300" doc:"longest fan delay; 0: none"`
	SignalDrip   bool    `toml:"signal_covers_drip" default:"false" doc:"the defrost input stays on while dripping"`
}

// Fault is something that goes wrong, or just happens.
type Fault struct {
	Kind   string  `toml:"kind" doc:"see the list of kinds"`
	Target string  `toml:"target" doc:"GROUP, GROUP.CIRCUIT, GROUP.COMPRESSOR or an input's path"`
	AtMin  float64 `toml:"at_min" signed:"yes" unit:"min" default:"-10000" doc:"from start; the default is the beginning of the warm-up"`
	ForMin float64 `toml:"for_min" unit:"min" default:"0" doc:"how long; 0: for good"`
	Amount float64 `toml:"amount" signed:"yes" default:"0" doc:"how much, by kind"`
}
