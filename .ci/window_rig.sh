#!/usr/bin/env bash
# The window on a virtual display, played by keys that xdotool presses and heard through jackd's dummy driver: the
# first frame, the pitch of a key, its end, repeats, the time from key to sample; and pictures of it.
# Run it from anywhere: .ci/window_rig.sh. TARGET=DIR builds elsewhere, PICTURES=DIR keeps the pictures.
set -euo pipefail
cd "$(dirname "$0")/.."

. .ci/rig.sh "xvfb xdotool imagemagick jackd2 jack-tools libjack-jackd2-dev" Xvfb xdotool import jackd jack_lsp jack_rec jack_connect
needs_jack
target=${TARGET:-target}
rate=48000
key=y # A4 where the demo set's keys begin
held_s=3
pictures=${PICTURES:-$work}
mkdir -p "$pictures"

# The test needs the program, so that this builds both.
cargo test --locked --features jack --target-dir "$target" --test rigs --no-run
# The one test of that name; a name that fits nothing would pass too.
rig() {
  cargo test --locked --features jack --target-dir "$target" --test rigs -- --ignored --nocapture "window::$1" |
    tee "$work/rig.log" && grep -q '^test result: ok\. 1 passed' "$work/rig.log"
}
ullage="$target/debug/ullage"

export XDG_CONFIG_HOME="$work/config" # nobody's own settings
display=":$((90 + $$ % 400))"
# Without -noreset the server begins anew when its last window closes, and may turn the next one away.
Xvfb "$display" -screen 0 1600x1000x24 -nolisten tcp -noreset >"$work/xvfb.log" 2>&1 &
pids+=("$!")
export DISPLAY="$display"
within 100 xdotool getdisplaygeometry || fail "no display"
export JACK_DEFAULT_SERVER="ullage$$"
jackd -R -P 60 -n "$JACK_DEFAULT_SERVER" -d dummy -r "$rate" -p 256 >"$work/jackd.log" 2>&1 &
pids+=("$!")
within 50 jack_lsp || fail "jackd does not answer"
port() { jack_lsp 2>/dev/null | grep -m1 -E "$1"; }

# $1 and $2 are the size; opens the window and gives it the keys.
open_window() {
  "$ullage" play presets/quay/set.toml --host jack --dry --measure 2>"$work/ullage.log" &
  player=$!
  pids+=("$player")
  within 200 xdotool search --onlyvisible --name ' ullage$' || fail "no window"
  window=$(xdotool search --onlyvisible --name ' ullage$' | head -1)
  within 200 grep -q '^first frame' "$work/ullage.log" || fail "no frame"
  xdotool windowmove "$window" 0 0 windowsize "$window" "$1" "$2"
  within 50 xdotool windowfocus "$window" || fail "the window takes no keys"
  sleep 1
}

echo "=== first frame"
open_window 1600 1000
grep '^first frame' "$work/ullage.log"
within 100 port '^cpal_client_.*out_0$' || fail "no output of ullage in the graph"
out=$(port '^cpal_client_.*out_0$')

echo "=== a key that is held for $held_s s"
jack_rec -f "$work/key.wav" -d 8 -b 16 "$out" "${out%0}1" >"$work/rec.log" 2>&1 &
recorder=$!
sleep 1
xdotool keydown "$key"
sleep "$held_s"
xdotool keyup "$key"
wait "$recorder" || fail "nothing was recorded"
hz=$("$ullage" predict presets/quay/set.toml --json | tr -d '\n ' | grep -oE '"hz":4[34][0-9]\.[0-9]+' | head -1 | cut -d: -f2)
[ -n "$hz" ] || fail "the demo set predicts nothing near 440 Hz"
RIG_WAV="$work/key.wav" RIG_HZ="$hz" RIG_HELD_S="$held_s" rig a_held_key || fail "the note"

echo "=== from key to sample"
RIG_OUT="$out" RIG_KEY="$key" rig time_from_the_keyboard || fail "the delay"

echo "=== pictures"
xdotool keydown "$key" keydown e
sleep 1
import -window root "$pictures/playing.png"
xdotool keyup "$key" keyup e
for look in light dark; do
  for size in "800 600" "1600 1000"; do
    stop "$player"
    mkdir -p "$XDG_CONFIG_HOME/ullage"
    echo "looks = \"$look\"" >"$XDG_CONFIG_HOME/ullage/window.toml"
    # shellcheck disable=SC2086
    open_window $size
    set -- $size
    import -window root -crop "$1x$2+0+0" "$pictures/$look-$1.png"
    [ "$(identify -format '%k' "$pictures/$look-$1.png")" -gt 40 ] || fail "an empty picture"
    echo "$look-$1.png"
  done
done

echo "=== the end"
xdotool keydown "$key"
sleep 1.5
xdotool keyup "$key"
xdotool key ctrl+q
code=0
wait "$player" || code=$?
[ "$code" = 0 ] || fail "the window ended with $code"
grep '^keys played' "$work/ullage.log" || fail "no count"
played=$(grep -oE 'keys played [0-9]+' "$work/ullage.log" | grep -oE '[0-9]+')
repeats=$(grep -oE 'passed over [0-9]+' "$work/ullage.log" | grep -oE '[0-9]+')
[ "$played" = 1 ] || fail "one key held is $played keys played"
[ "$repeats" -gt 5 ] || fail "only $repeats repeats came: nothing was tested"
