#!/bin/sh
# Installs the programs that the tests run against, or says which to install: Debian
# packages, and InfluxDB, which Debian does not have, built into a cache folder.
set -eu
PATH=$PATH:/usr/sbin
ok=1

missing=
need() { command -v "$1" >/dev/null 2>&1 || missing="$missing $2"; }
need mosquitto mosquitto
need mosquitto_pub mosquitto-clients
need prometheus prometheus
need promtool prometheus
need chromium chromium
need victoria-metrics victoria-metrics
need nginx nginx-light
need prometheus-alertmanager prometheus-alertmanager
/usr/bin/python3 -c 'import scipy' >/dev/null 2>&1 || missing="$missing python3-scipy"
missing=$(printf '%s\n' $missing | sort -u | tr '\n' ' ')
missing=${missing% }

if [ -z "$missing" ]; then
	:
elif [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
	echo "installing: $missing"
	export DEBIAN_FRONTEND=noninteractive
	# the packages' own services are not wanted: the tests start plain processes
	apt-get update -qq && RUNLEVEL=1 apt-get install -y -qq --no-install-recommends $missing
else
	echo "some tests need programs that are not installed; they are skipped. To install them:"
	echo "  sudo apt-get install $missing"
	ok=0
fi

# The last InfluxDB that builds with Go alone; some minutes, once a machine.
influx=github.com/influxdata/influxdb/cmd/influxd@v1.8.10
bin=${XDG_CACHE_HOME:-$HOME/.cache}/strokewise/bin
if [ ! -x "$bin/influxd" ] && ! command -v influxd >/dev/null 2>&1; then
	echo "building: influxd"
	mkdir -p "$bin"
	if ! (cd / && GOBIN=$bin GOFLAGS= "${GO:-go}" install "$influx" >"$bin/influxd.log" 2>&1); then
		tail -n 5 "$bin/influxd.log"
		echo "cannot build InfluxDB; its tests are skipped. To build it: GOBIN=$bin go install $influx"
		ok=0
	fi
fi
[ "$ok" = 1 ] || [ "${STROKEWISE_REQUIRE_PEERS:-}" != 1 ]
