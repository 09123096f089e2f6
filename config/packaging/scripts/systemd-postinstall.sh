#!/bin/sh
# After files are in place, on an installation or an upgrade. A unit is never
# enabled here: a site without configuration has nothing to start.
set -e

# dpkg also runs this to undo a failed step; rpm passes a count.
case "${1:-}" in
abort-*) exit 0 ;;
esac

if ! getent passwd dewgap >/dev/null; then
	if command -v systemd-sysusers >/dev/null; then
		systemd-sysusers /usr/lib/sysusers.d/dewgap.conf
	else
		useradd --system --user-group --no-create-home --home-dir /var/lib/dewgap --shell /usr/sbin/nologin dewgap
	fi
fi

# The configuration may hold addresses of a site: readable by its daemon alone,
# once there is one.
if [ -f /etc/dewgap/site.toml ]; then
	chgrp dewgap /etc/dewgap/site.toml
fi

if [ -d /run/systemd/system ]; then
	systemctl daemon-reload
	# A daemon that runs takes up its journal, open events and exposure again;
	# one that was stopped stays so.
	systemctl try-restart dewgap.service
fi

if [ ! -e /etc/dewgap/site.toml ]; then
	cat <<'END'
dewgap watches nothing yet. Try it:   dewgap demo
A site: cp /usr/share/doc/dewgap/examples/site.toml /etc/dewgap/site.toml, edit it,
        dewgap check --config /etc/dewgap/site.toml && systemctl enable --now dewgap
END
fi
