// Package scenarios holds ready-made plants as data: TOML files that say what
// there is and what goes wrong. FORMAT.md beside them lists every key.
//
// It may import the standard library, the TOML library and plant.
package scenarios
