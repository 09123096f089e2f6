package main

import (
	"fmt"

	"dewgap/cmd/dewgap/internal/access"
	"dewgap/config"
)

// policyOf returns who may reach a page that listens on address. Beyond this
// machine it asks for authentication, or for the key that does without.
func policyOf(d *config.Daemon, address string) (*access.Policy, error) {
	policy := &access.Policy{}
	if d.WebConfig == "" && len(d.Operators) > 0 {
		return nil, fmt.Errorf("daemon.operators: %q is no user: there are none without daemon.web_config", d.Operators[0])
	}
	if d.WebConfig != "" {
		var err error
		if policy, err = access.Load(d.WebConfig, d.Operators); err != nil {
			return nil, err
		}
	}
	if !config.Loopback(address) && !policy.Authenticates() && !d.Unprotected {
		return nil, fmt.Errorf("listen on %s: everybody on that network could read the page: name users or client certificates in daemon.web_config, listen on 127.0.0.1, or accept it by daemon.unprotected = true", address)
	}
	return policy, nil
}
