#!/bin/sh
# Makes a Debian package: build.sh BINARY VERSION ARCHITECTURE MANUAL COMPLETION NOTICES OUT.deb
# The same input gives the same bytes: set SOURCE_DATE_EPOCH, the time that files get.
set -eu
binary=$1 version=$2 arch=$3 manual=$4 completion=$5 notices=$6 out=$7
: "${SOURCE_DATE_EPOCH:?set it to the time of the release, seconds since 1970}"
here=$(dirname "$0")
umask 022
tree=$(mktemp -d)
trap 'rm -rf "$tree"' EXIT
chmod 755 "$tree"

put() { install -D -m "$1" "$2" "$tree/$3"; }
put 755 "$binary" usr/bin/strokewise
put 644 "$here/../strokewise.service" usr/lib/systemd/system/strokewise.service
put 644 "$manual" usr/share/man/man1/strokewise.1
put 644 "$completion" usr/share/bash-completion/completions/strokewise
put 644 "$here/../strokewise.example.yaml" usr/share/doc/strokewise/examples/strokewise.example.yaml
for file in prometheus.rules.yaml prometheus.stations.rules.yaml prometheus.recording.rules.yaml grafana/plant.json grafana/station.json grafana/program.json; do
	put 644 "$here/../$file" "usr/share/doc/strokewise/examples/$file"
done
put 644 "$here/../../CHANGELOG.md" usr/share/doc/strokewise/changelog
put 644 "$here/../../LICENSE" usr/share/doc/strokewise/copyright
put 644 "$notices" usr/share/doc/strokewise/third-party-notices
gzip -9n "$tree/usr/share/man/man1/strokewise.1" "$tree/usr/share/doc/strokewise/changelog" "$tree/usr/share/doc/strokewise/third-party-notices"
install -d -m 755 "$tree/etc/strokewise"
install -d -m 700 "$tree/etc/strokewise/secrets"

install -d -m 755 "$tree/DEBIAN"
for script in postinst prerm postrm; do
	install -m 755 "$here/$script" "$tree/DEBIAN/$script"
done
size=$(find "$tree" -path "$tree/DEBIAN" -prune -o -type f -printf '%s\n' | awk '{ n += int(($1 + 1023) / 1024) } END { print n }')
# a version begins with a digit, and what sorts before a release stands behind a tilde
version=$(printf '%s' "$version" | sed -e 's/^v//' -e 's/-/~/g')
sed -e "s/@VERSION@/$version/" -e "s/@ARCH@/$arch/" -e "s/@SIZE@/$size/" "$here/control" >"$tree/DEBIAN/control"
# gzip: xz may cut its blocks by the number of processors
dpkg-deb --root-owner-group -Zgzip -z9 --build "$tree" "$out" >/dev/null
