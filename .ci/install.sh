#!/bin/sh
# Installs what rimwright needs on Debian 12: the packages of packages.txt, and Node.js where there is none (its npm
# builds the report page). As root, or through sudo. Does nothing where all is there.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
packages=$(sed -e 's/#.*//' "$here/packages.txt" | tr -s ' \n' ' ')
command -v node >/dev/null 2>&1 && command -v npm >/dev/null 2>&1 || packages="$packages nodejs npm"
missing=
for package in $packages; do
  dpkg-query -W -f='${Status}' "$package" 2>/dev/null | grep -q '^install ok installed' || missing="$missing $package"
done
[ -n "$missing" ] || exit 0
if [ "$(id -u)" -eq 0 ]; then sudo=; elif command -v sudo >/dev/null 2>&1; then sudo=sudo; else
  echo "These packages are missing and need root to install:$missing" >&2
  exit 2
fi
echo "Installing:$missing" >&2
$sudo apt-get update -qq
# shellcheck disable=SC2086
$sudo env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing >/dev/null
