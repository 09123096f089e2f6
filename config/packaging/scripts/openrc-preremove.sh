#!/bin/sh
# Before files go; apk runs it on removal only.
rc-service --ifstarted dewgap stop
rc-update -q delete dewgap 2>/dev/null
exit 0
