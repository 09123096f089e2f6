package config

import "embed"

// Examples holds files to begin with: site.toml, alerts.yml for Prometheus and
// dewgap.service for systemd, in the directory examples.
//
//go:embed examples
var Examples embed.FS
