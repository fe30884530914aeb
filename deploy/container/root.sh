#!/bin/sh
# Writes the root folder of the container into a folder: root.sh FOLDER VERSION. The static binary, the authorities that it
# trusts, and the two folders that it writes to.
set -eu
out=$1 version=$2
mkdir -p "$out/usr/bin" "$out/etc/ssl/certs" "$out/etc/strokewise" "$out/var/lib/strokewise/users" "$out/tmp"
CGO_ENABLED=0 GOFLAGS= go build -trimpath -buildvcs=false -ldflags "-s -w -buildid= -X main.release=$version" -o "$out/usr/bin/strokewise" ./cmd/strokewise
cp /etc/ssl/certs/ca-certificates.crt "$out/etc/ssl/certs/"
chmod 0700 "$out/var/lib/strokewise" "$out/var/lib/strokewise/users"
chmod 1777 "$out/tmp"
