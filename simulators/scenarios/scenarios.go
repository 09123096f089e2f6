package scenarios

import (
	"embed"
	"fmt"
	"slices"
	"strings"

	"dewgap/simulators/plant"
)

//go:embed *.toml
var files embed.FS

// Names lists the ready-made scenarios in order of their names.
func Names() []string {
	entries, _ := files.ReadDir(".") // an embedded directory is always readable
	var names []string
	for _, e := range entries {
		names = append(names, strings.TrimSuffix(e.Name(), ".toml"))
	}
	return sorted(names)
}

// Load returns a ready-made scenario by its name.
func Load(name string) (plant.Description, error) {
	text, err := files.ReadFile(name + ".toml")
	if err != nil {
		return plant.Description{}, fmt.Errorf("no scenario %q: see the list, or give a file that ends in .toml", name)
	}
	return Decode(name+".toml", string(text))
}

func sorted(s []string) []string {
	slices.Sort(s)
	return s
}
