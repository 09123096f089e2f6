package scenarios

import (
	"fmt"
	"strings"

	"dewgap/simulators/plant"
)

// SiteConfig returns the part of a site's configuration that analysis needs,
// for replaying what the plant of d recorded.
func SiteConfig(d plant.Description) string {
	var b strings.Builder
	fmt.Fprintf(&b, "# matches the scenario %s\n[site]\nname = %q\naltitude = \"0 m\"\nsimulated = true\n", d.Name, d.Site)
	for _, g := range d.Groups {
		fmt.Fprintf(&b, "\n[[suction_group]]\nname = %q\nrefrigerant = %q\n", g.Name, g.Refrigerant)
		for _, c := range g.Compressors {
			fmt.Fprintf(&b, "\n  [[suction_group.compressor]]\n  name = %q\n  kind = %q\n", c.Name, c.Kind)
		}
		for _, c := range g.Circuits {
			fmt.Fprintf(&b, "\n  [[suction_group.circuit]]\n  name = %q\n  defrost_kind = %q\n", c.Name, c.Defrost.Kind)
		}
	}
	return b.String()
}
