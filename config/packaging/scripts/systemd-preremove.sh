#!/bin/sh
# Before files go. On an upgrade the daemon keeps watching until its successor
# takes over. dpkg passes "remove" or "upgrade", rpm passes 0 or 1.
set -e
case "${1:-}" in
remove | 0)
	if [ -d /run/systemd/system ]; then
		systemctl disable --now dewgap.service
	fi
	;;
esac
