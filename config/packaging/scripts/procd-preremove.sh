#!/bin/sh
# Before files go. opkg also runs it on an upgrade, where the daemon keeps
# watching until its successor takes over.
[ -z "$IPKG_INSTROOT" ] || exit 0
[ "$PKG_UPGRADE" != 1 ] || exit 0
/etc/init.d/dewgap disable
/etc/init.d/dewgap stop
exit 0
