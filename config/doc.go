// Package config turns the TOML description of a site into one checked value
// that never changes: what analysis needs, what each source reads, and how the
// daemon runs.
//
// A file is decoded strictly and checked whole: all faults are reported together,
// each with file, line, key, what is wrong and what would be right. What is
// allowed but probably not meant is a warning. Ready-made files for operators
// (alert rules, a service unit, an example site) are embedded here too.
//
// It may import analyze and its sub-packages, the settings types of the
// collector's packages, and a TOML library. It opens nothing but the files that
// the configuration names; it must never import the program or the simulators.
package config
