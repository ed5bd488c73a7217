#!/usr/bin/env bash
# Install a system package when what it brings is missing and we may; say plainly what to do when we may not.
#   tools/system_packages.sh python3-venv | chromium
set -euo pipefail

present() {
  case "$1" in
    python3-venv) "${PYTHON:-python3}" -c 'import ensurepip, venv' 2>/dev/null ;;
    chromium) command -v chromium >/dev/null ;;
    *) echo "unknown package: $1" >&2; exit 2 ;;
  esac
}

present "$1" && exit 0
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
  echo "installing $1"
  apt-get update -qq >/dev/null && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq "$1" >/dev/null && exit 0
fi
echo "$1 is missing. Install it with: sudo apt-get install $1" >&2
exit 1
