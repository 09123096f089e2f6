package config

import (
	"time"

	"dewgap/analyze/setting"
	"dewgap/collector/modbus"
	"dewgap/collector/mqtt"
)

const (
	fastestPeriod = 100 * time.Millisecond
	slowestPeriod = time.Hour
)

// modbusRows are the keys of [[modbus]].
var modbusRows = []setting.Row[modbus.Settings]{
	{
		Key: "name", Field: setting.ByHand[modbus.Settings]("text", "", nameRange), Needed: "always",
		Meaning: "Name of the bus, by which inputs refer to it.", Example: `"rack-io"`,
	},
	{
		Key: "address", Field: setting.ByHand[modbus.Settings]("text", "", "host:port"), Needed: "unless serial is given",
		Meaning: "Device or gateway on the network.", Example: `"192.0.2.10:502"`,
	},
	{
		Key: "framing", Field: setting.OneOf(func(s *modbus.Settings) *modbus.Transport { return &s.Transport }, modbus.TCP, "", framings),
		Meaning: "With address: Modbus TCP, or RTU frames that a serial server passes on.", Example: `"tcp"`,
	},
	{
		Key: "serial", Field: setting.ByHand[modbus.Settings]("text", "", "a device of this machine"), Needed: "unless address is given",
		Meaning: "Serial line of this machine, for Modbus RTU.", Example: `"/dev/ttyUSB0"`,
	},
	{
		Key: "timeout", Field: setting.Within(func(s *modbus.Settings) *time.Duration { return &s.Timeout }, time.Second, 10*time.Millisecond, time.Minute),
		Meaning: "Longest wait for an answer.", Example: `"800 ms"`, Source: practice,
	},
	{
		Key: "period", Field: setting.Within(func(s *modbus.Settings) *time.Duration { return &s.Period }, 5*time.Second, fastestPeriod, slowestPeriod),
		Meaning: "Time from one reading of an input to the next, where the input states none.", Example: `"2 s"`, Source: practice,
	},
	{
		Key: "gap", Field: setting.Within(func(s *modbus.Settings) *int { return &s.Gap }, 8, 0, 120),
		Meaning: "Most unneeded registers that are read to join two inputs into one request.", Example: "8", Source: practice,
	},
}

var framings = []setting.Word[modbus.Transport]{{Name: "tcp", Value: modbus.TCP}, {Name: "rtu", Value: modbus.RTUOverTCP}}

// serialRows are the keys of a [[modbus]] that has a serial line.
var serialRows = []setting.Row[modbus.Serial]{
	{
		Key: "baud", Field: setting.ByHand[modbus.Serial]("whole number", "", "1200, 2400, 4800, 9600, 19200, 38400, 57600 or 115200"), Needed: "with serial",
		Meaning: "Speed that all devices on the serial line are set to.", Example: "19200",
	},
	{
		Key: "parity", Field: setting.OneOf(func(s *modbus.Serial) *string { return &s.Parity }, "", "", parities), Needed: "with serial",
		Meaning: "Parity that all devices on the serial line are set to.", Example: `"even"`,
	},
	{
		Key: "stop_bits", Field: setting.Within(func(s *modbus.Serial) *int { return &s.StopBits }, 1, 1, 2),
		Meaning: "Stop bits that all devices on the serial line are set to.", Example: "1", Source: practice,
	},
	{
		Key: "rs485", Field: setting.Plain(func(s *modbus.Serial) *bool { return &s.RS485 }, false),
		Meaning: "Whether the machine's serial driver switches an RS-485 transceiver between sending and receiving.", Example: "true",
	},
	{Key: "data_bits", Field: setting.Fixed(func(s *modbus.Serial) *int { return &s.DataBits }, 8), Meaning: "Data bits of Modbus RTU.", Source: "Modbus over serial line V1.02, 2.5.1"},
}

var parities = []setting.Word[string]{{Name: "none", Value: "none"}, {Name: "even", Value: "even"}, {Name: "odd", Value: "odd"}}

// forbiddenRows are the keys of [[modbus.forbidden]].
var forbiddenRows = []setting.Row[modbus.Span]{
	{
		Key: "unit_id", Field: setting.ByHand[modbus.Span]("whole number", "", "1 to 247, or 255"), Needed: "always",
		Meaning: "Device whose addresses are never read, not even to join two inputs.", Example: "1",
	},
	{Key: "input", Field: setting.ByHand[modbus.Span]("text", "none", "0 to 65535"), Meaning: "Input registers that are never read.", Example: `"100-119"`},
	{Key: "holding", Field: setting.ByHand[modbus.Span]("text", "none", "0 to 65535"), Meaning: "Holding registers that are never read.", Example: `"40"`},
	{Key: "coil", Field: setting.ByHand[modbus.Span]("text", "none", "0 to 65535"), Meaning: "Coils that are never read.", Example: `"0-7"`},
	{Key: "discrete", Field: setting.ByHand[modbus.Span]("text", "none", "0 to 65535"), Meaning: "Discrete inputs that are never read.", Example: `"0-7"`},
}

// mqttRows are the keys of [[mqtt]].
var mqttRows = []setting.Row[mqtt.Settings]{
	{
		Key: "name", Field: setting.ByHand[mqtt.Settings]("text", "", nameRange), Needed: "always",
		Meaning: "Name of the broker, by which inputs refer to it.", Example: `"cases"`,
	},
	{
		Key: "url", Field: setting.ByHand[mqtt.Settings]("text", "", "tcp, ssl, ws or wss, host and port"), Needed: "always",
		Meaning: "Address of the broker; ssl and wss are encrypted.", Example: `"tcp://192.0.2.20:1883"`,
	},
	{
		Key: "client_id", Field: setting.ByHand[mqtt.Settings]("text", "dewgap-SITE-NAME", ""),
		Meaning: "Name of this client at the broker; two clients of one name disconnect each other.", Example: `"dewgap-demo"`,
	},
	{
		Key: "username", Field: setting.Plain(func(s *mqtt.Settings) *string { return &s.Username }, ""),
		Meaning: "User name at the broker.", Example: `"dewgap"`,
	},
	{
		Key: "password_file", Field: setting.ByHand[mqtt.Settings]("text", "none", "a file"),
		Meaning: "File whose first line is the password; a relative path starts at the configuration.", Example: `"mqtt.password"`,
	},
	{
		Key: "password_env", Field: setting.ByHand[mqtt.Settings]("text", "none", "a variable of the daemon's environment"),
		Meaning: "Environment variable that holds the password, in place of a file.", Example: `"DEWGAP_MQTT_PASSWORD"`,
	},
	{
		Key: "password", Field: setting.ByHand[mqtt.Settings]("text", "none", ""),
		Meaning: "The password itself; everybody who reads the configuration reads it, so a file is better.", Example: `"change-me"`,
	},
	{
		Key: "ca_file", Field: setting.ByHand[mqtt.Settings]("text", "the machine's authorities", "a PEM file"),
		Meaning: "Certificate authority of an encrypted broker.", Example: `"ca.pem"`,
	},
	{
		Key: "cert_file", Field: setting.ByHand[mqtt.Settings]("text", "none", "a PEM file"), Needed: "with key_file",
		Meaning: "Certificate by which this client proves who it is.", Example: `"dewgap.pem"`,
	},
	{
		Key: "key_file", Field: setting.ByHand[mqtt.Settings]("text", "none", "a PEM file"), Needed: "with cert_file",
		Meaning: "Private key of cert_file.", Example: `"dewgap.key"`,
	},
	{
		Key: "qos", Field: setting.Within(func(s *mqtt.Settings) *byte { return &s.QoS }, 1, 0, 2),
		Meaning: "Quality of service: 0 delivers at most once, 1 at least once, 2 exactly once.", Example: "1", Source: practice,
	},
	{
		Key: "max_skew", Field: setting.Within(func(s *mqtt.Settings) *time.Duration { return &s.MaxSkew }, time.Minute, time.Second, 24*time.Hour),
		Meaning: "How far a message's time stamp may lie from now.", Example: `"30 s"`, Source: practice,
	},
	{
		Key: "silence", Field: setting.Within(func(s *mqtt.Settings) *time.Duration { return &s.Silence }, time.Minute, time.Second, 24*time.Hour),
		Meaning: "After this long without a message the broker counts as delivering nothing.", Example: `"2 min"`, Source: practice,
	},
	{Key: "max_payload", Field: setting.Fixed(func(s *mqtt.Settings) *int { return &s.MaxPayload }, 64<<10), Meaning: "Longest message in bytes.", Source: practice},
}

// makersTable is a refrigerant of a maker's table.
type makersTable struct{}

// refrigerantRows are the keys of [[refrigerant]].
var refrigerantRows = []setting.Row[makersTable]{
	{
		Key: "name", Field: setting.ByHand[makersTable]("text", "", "a name that dewgap does not have"), Needed: "always",
		Meaning: "Name of the refrigerant, by which groups refer to it.", Example: `"maker-blend-1"`,
	},
	{
		Key: "table", Field: setting.ByHand[makersTable]("text", "", "a CSV file"), Needed: "always",
		Meaning: "The maker's saturation table: a head temperature:degC,dew:barg,bubble:barg and a row for each temperature, rising.", Example: `"maker-blend-1.csv"`,
	},
}
