package config

import "embed"

// Examples holds files to begin with: site.toml and the unit files for
// systemd, in the directory examples.
//
//go:embed examples
var Examples embed.FS
