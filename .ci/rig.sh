# What every rig begins with; sourced from the project's folder: `. .ci/rig.sh "WHAT IT NEEDS, as Debian calls it" TOOL…`
# A missing tool ends the rig, and it says so. Leaves $work, $pids, stop, fail and within.

packages=$1
shift
for tool in "$@"; do
  if ! command -v "$tool" >/dev/null; then
    echo "skipped: no $tool (Debian: $packages)"
    exit 0
  fi
done

work=$(mktemp -d)
pids=()
stop() { for pid in "$@"; do kill "$pid" 2>/dev/null || true; wait "$pid" 2>/dev/null || true; done; }
trap 'stop "${pids[@]}"; rm -rf "$work"' EXIT
fail() {
  echo "error: $*" >&2
  tail -n 20 "$work"/*.log "$work"/*.json >&2 2>/dev/null || true
  exit 1
}
# $1 tries a tenth of a second apart until the rest succeeds.
within() {
  local tries=$1
  shift
  for _ in $(seq "$tries"); do if "$@" >/dev/null 2>&1; then return 0; fi; sleep 0.1; done
  return 1
}
# Ends the rig where ALSA has no way to PulseAudio.
needs_pulse() {
  if ! ls /usr/lib/*/alsa-lib/libasound_module_pcm_pulse.so >/dev/null 2>&1; then
    echo "skipped: no way from ALSA to PulseAudio (Debian: libasound2-plugins)"
    exit 0
  fi
}
# Ends the rig where JACK cannot be built against.
needs_jack() {
  if ! pkg-config --exists jack; then
    echo "skipped: no headers of JACK (Debian: libjack-jackd2-dev)"
    exit 0
  fi
}
