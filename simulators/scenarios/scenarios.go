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
	text, err := Text(name)
	if err != nil {
		return plant.Description{}, err
	}
	return Decode(name+".toml", text)
}

// Text returns the file of a ready-made scenario.
func Text(name string) (string, error) {
	text, err := files.ReadFile(name + ".toml")
	if err != nil {
		return "", fmt.Errorf("no scenario %q: simulate --list names them; a file of your own ends in .toml", name)
	}
	return string(text), nil
}

func sorted(s []string) []string {
	slices.Sort(s)
	return s
}
