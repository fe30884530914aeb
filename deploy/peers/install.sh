#!/bin/sh
# Installs the Debian packages that the tests run against, or says which to install.
set -eu
PATH=$PATH:/usr/sbin

missing=
need() { command -v "$1" >/dev/null 2>&1 || missing="$missing $2"; }
need mosquitto mosquitto
need mosquitto_pub mosquitto-clients
need prometheus prometheus
need promtool prometheus
need chromium chromium
missing=$(printf '%s\n' $missing | sort -u | tr '\n' ' ')
missing=${missing% }
[ -n "$missing" ] || exit 0

if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
	echo "installing: $missing"
	export DEBIAN_FRONTEND=noninteractive
	# the packages' own services are not wanted: the tests start plain processes
	apt-get update -qq && RUNLEVEL=1 apt-get install -y -qq --no-install-recommends $missing
	exit 0
fi
echo "some tests need programs that are not installed; they are skipped. To install them:"
echo "  sudo apt-get install $missing"
[ "${STROKEWISE_REQUIRE_PEERS:-}" != 1 ]
