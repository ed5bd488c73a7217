#!/usr/bin/env bash
# Install system packages when what they bring is missing and we may; say plainly what to do when we may not.
#   tools/system_packages.sh python3-venv | chromium | gcc libsimavr-dev gcc-avr avr-libc | abcmidi
set -euo pipefail

present() {
  case "$1" in
    python3-venv) "${PYTHON:-python3}" -c 'import ensurepip, venv' 2>/dev/null ;;
    chromium) command -v chromium >/dev/null ;;
    gcc) echo '#include <math.h>' | cc -E - >/dev/null 2>&1 ;;
    libsimavr-dev) echo '#include <simavr/sim_avr.h>' | cc -E - >/dev/null 2>&1 ;;
    gcc-avr) command -v avr-gcc >/dev/null ;;
    avr-libc) echo '#include <avr/io.h>' | avr-gcc -mmcu=atmega328p -E - >/dev/null 2>&1 ;;
    abcmidi) command -v abc2midi >/dev/null ;;
    *) echo "unknown package: $1" >&2; exit 2 ;;
  esac
}

missing=()
for package in "$@"; do present "$package" || missing+=("$package"); done
[ ${#missing[@]} = 0 ] && exit 0
[ "${missing[0]}" != gcc ] || missing+=(libc6-dev)
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
  echo "installing ${missing[*]}"
  apt-get update -qq >/dev/null &&
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq "${missing[@]}" >/dev/null && exit 0
fi
echo "missing: ${missing[*]}. Install with: sudo apt-get install ${missing[*]}" >&2
exit 1
