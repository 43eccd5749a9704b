#!/bin/sh
# Installs the Debian packages named where we are root; elsewhere says what is missing. Never fails:
# tests that want a missing one skip and say so.
missing=""
for package in "$@"; do
  dpkg -s "$package" >/dev/null 2>&1 || missing="$missing $package"
done
[ -z "$missing" ] && exit 0
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
  echo "installing:$missing"
  apt-get update -qq >/dev/null && \
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing >/dev/null && exit 0
fi
echo "missing system packages:$missing (tests that want them will skip)"
