package main

import (
	"fmt"
	"runtime"
	"runtime/debug"
)

// version is set by the linker for a release: -ldflags "-X main.version=1.2.3".
var version = "dev"

type versionCmd struct{}

func (versionCmd) Run(con console) error {
	_, err := fmt.Fprintf(con.Out, "dewgap %s (%s)\n", buildVersion(), runtime.Version())
	return err
}

// buildVersion is the linker's version, or else the revision that the
// toolchain stamped into the binary.
func buildVersion() string {
	if version != "dev" {
		return version
	}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return version
	}
	for _, setting := range info.Settings {
		if setting.Key == "vcs.revision" && len(setting.Value) >= 12 {
			return version + "-" + setting.Value[:12]
		}
	}
	return version
}
