#!/bin/sh
# Runs the container's root folder without an engine: in a chroot, as the container's user, with an embedded broker, until it is ready.
# Needs root. make container-check
set -eu
dir=$(mktemp -d)
pid=
trap '[ -z "$pid" ] || kill "$pid" 2>/dev/null || :; rm -rf "$dir"' EXIT
sh deploy/container/root.sh "$dir/root" v0.1.0-check
cat >"$dir/root/etc/strokewise/strokewise.yaml" <<END
version: 1
data: /var/lib/strokewise
http: { listen: "127.0.0.1:18420" }
mqtt: { broker: embedded, topics: [{ match: "boost/{site}/{station}/{channel}" }] }
sites: [{ id: northdock, zone: Europe/Lisbon }]
stations: [{ id: press-4, site: northdock }]
END
chown -R 65532:65532 "$dir/root"
mkdir -p "$dir/root/dev" && mknod -m 666 "$dir/root/dev/null" c 1 3
chroot --userspec=65532:65532 "$dir/root" /usr/bin/strokewise --version
chroot --userspec=65532:65532 "$dir/root" /usr/bin/strokewise run --config /etc/strokewise/strokewise.yaml &
pid=$!
n=0
until [ "$(curl -s -o /dev/null -w '%{http_code}' http://127.0.0.1:18420/readyz)" = 200 ]; do
	n=$((n + 1))
	[ $n -lt 120 ] || { echo "not ready after 60 s"; exit 1; }
	sleep 0.5
done
kill -TERM "$pid"
wait "$pid"
pid=
echo "ready in a root folder of its own, without libc, as user 65532; ended by SIGTERM with 0"
