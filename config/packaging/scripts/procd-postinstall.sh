#!/bin/sh
# After an installation or an upgrade on the device itself. An image builder
# sets IPKG_INSTROOT; the init script then makes the user at the first start.
[ -z "$IPKG_INSTROOT" ] || exit 0
# A daemon that runs takes up its journal, open events and exposure again.
if /etc/init.d/dewgap running 2>/dev/null; then
	/etc/init.d/dewgap restart
fi
exit 0
