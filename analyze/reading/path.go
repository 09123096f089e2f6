package reading

import (
	"fmt"
	"strings"
)

// Home is the level of a site at which a role may stand.
type Home uint8

// Homes of roles; a role may have several, or'ed together.
const (
	AtGroup Home = 1 << iota
	AtCompressor
	AtCircuit
)

// roles holds name, kind and homes of every role, by Role.
var roles = [...]struct {
	name string
	kind Kind
	home Home
}{
	SuctionPressure:       {"suction_pressure", Pressure, AtGroup | AtCompressor},
	DischargePressure:     {"discharge_pressure", Pressure, AtGroup},
	SuctionTemperature:    {"suction_temperature", Temperature, AtCompressor},
	Running:               {"running", Switch, AtCompressor},
	DischargeTemperature:  {"discharge_temperature", Temperature, AtCompressor},
	SumpTemperature:       {"sump_temperature", Temperature, AtCompressor},
	Defrost:               {"defrost", Switch, AtCircuit},
	CoilOutletTemperature: {"coil_outlet_temperature", Temperature, AtCircuit},
	AirTemperature:        {"air_temperature", Temperature, AtCircuit},
	Speed:                 {"speed", Share, AtCompressor},
	CoilInletTemperature:  {"coil_inlet_temperature", Temperature, AtCircuit},
	AmbientTemperature:    {"ambient_temperature", Temperature, AtGroup},
}

// String returns the role as it stands in a path.
func (r Role) String() string {
	if r == NoRole || int(r) >= len(roles) {
		return "none"
	}
	return roles[r].name
}

// Kind returns the kind of quantity that r carries; 0 for no role.
func (r Role) Kind() Kind {
	if int(r) >= len(roles) {
		return 0
	}
	return roles[r].kind
}

// Home returns where r may stand: at a group, a compressor or a circuit.
func (r Role) Home() Home {
	if int(r) >= len(roles) {
		return 0
	}
	return roles[r].home
}

// Roles returns all roles that may stand at home, in the contract's order.
func Roles(home Home) []Role {
	var rs []Role
	for r := range roles {
		if roles[r].home&home != 0 {
			rs = append(rs, Role(r))
		}
	}
	return rs
}

// ParseRole returns the role of that name.
func ParseRole(name string) (Role, bool) {
	for r := range roles {
		if r != int(NoRole) && roles[r].name == name {
			return Role(r), true
		}
	}
	return NoRole, false
}

// String names k for a message.
func (k Kind) String() string {
	switch k {
	case Pressure:
		return "pressure"
	case Temperature:
		return "temperature"
	case Switch:
		return "switch"
	case Share:
		return "share"
	}
	return "nothing"
}

// ParsePath splits GROUP.role or GROUP.MEMBER.role. Whether the group and the
// member exist, and are a compressor or a circuit, the site must say. The
// error describes what would be right.
func ParsePath(path string) (Point, error) {
	parts := strings.Split(path, ".")
	if len(parts) != 2 && len(parts) != 3 {
		return Point{}, fmt.Errorf("path %q: want GROUP.role, GROUP.COMPRESSOR.role or GROUP.CIRCUIT.role", path)
	}
	p := Point{Path: path, Group: parts[0]}
	home, where := AtGroup, "a group"
	if len(parts) == 3 {
		p.Member = parts[1]
		home, where = AtCompressor|AtCircuit, "a compressor or circuit"
	}
	for _, name := range parts[:len(parts)-1] {
		if !ValidName(name) {
			return Point{}, fmt.Errorf("path %q: %q is not a name; a name starts with a letter and has lower-case letters, digits, - and _ only", path, name)
		}
	}
	role, ok := ParseRole(parts[len(parts)-1])
	if !ok || role.Home()&home == 0 {
		return Point{}, fmt.Errorf("path %q: %s has no %q; it has %s", path, where, parts[len(parts)-1], roleNames(home))
	}
	p.Role = role
	return p, nil
}

func roleNames(home Home) string {
	var names []string
	for _, r := range Roles(home) {
		names = append(names, r.String())
	}
	return strings.Join(names, ", ")
}

// ValidName reports whether name may stand in a path: lower-case letters, digits,
// - and _, starting with a letter.
func ValidName(name string) bool {
	for i := range len(name) {
		c := name[i]
		switch {
		case c >= 'a' && c <= 'z':
		case i > 0 && (c >= '0' && c <= '9' || c == '-' || c == '_'):
		default:
			return false
		}
	}
	return name != ""
}
