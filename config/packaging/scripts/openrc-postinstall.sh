#!/bin/sh
# After an installation. The service is never added to a runlevel here.
getent group dewgap >/dev/null || addgroup -S dewgap
getent passwd dewgap >/dev/null || adduser -S -D -H -h /var/lib/dewgap -s /sbin/nologin -G dewgap -g dewgap dewgap
exit 0
