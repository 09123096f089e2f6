#!/bin/sh
# After files are gone. Journal and exposure are evidence for an inspection:
# they stay even when the package is purged, and so does the user who owns them.
set -e
case "${1:-}" in
remove | purge | 0)
	if [ -d /run/systemd/system ]; then
		systemctl daemon-reload
	fi
	if [ "$1" = purge ]; then
		rm -rf /etc/systemd/system/dewgap.service.d
	fi
	if [ -d /var/lib/dewgap ]; then
		echo "dewgap: journal, exposure and recordings stay in /var/lib/dewgap; delete them when no inspection needs them."
	fi
	;;
esac
