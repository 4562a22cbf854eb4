#!/usr/bin/env bash
# Fuzzes everything that reads what others wrote, and everything that writes what others typed.
#   .ci/fuzz.sh                      each target for ten minutes
#   .ci/fuzz.sh SECONDS [TARGET]...  so long, these only; SECONDS=0 builds them and reads their seeds
# It needs cargo-fuzz, and takes the nightly compiler or, where there is none or STABLE=1 says so, the usual one. What is found goes
# to tests/data/broken/ with a test that reads it; a seed that reaches something new may go to fuzz/seeds/, few of them and small.
set -euo pipefail
cd "$(dirname "$0")/../fuzz"

if ! cargo fuzz --version >/dev/null 2>&1; then
  echo "skipped: it takes cargo-fuzz (cargo install cargo-fuzz --locked)"
  exit 0
fi
if [ "${STABLE:-0}" != 1 ] && cargo +nightly --version >/dev/null 2>&1; then
  fuzz() { cargo +nightly fuzz "$@"; }
else
  # What instruments the code are options that a stable compiler takes only where it is told to. It is told so for what is fuzzed
  # alone: nothing else may come to need it.
  fuzz() { RUSTC_BOOTSTRAP=1 cargo fuzz "$@"; }
fi
seconds=${1:-600}
shift || true
targets=("$@")
if [ "${#targets[@]}" = 0 ]; then mapfile -t targets < <(fuzz list); fi

for target in "${targets[@]}"; do fuzz build "$target"; done
broken=()
for target in "${targets[@]}"; do
  mkdir -p "corpus/$target"
  folders=("corpus/$target")
  if [ -d "seeds/$target" ]; then folders+=("seeds/$target"); fi
  case $target in
  # A page is rendered, which takes its time.
  page) options=(-timeout=20 -malloc_limit_mb=256 -rss_limit_mb=1500) ;;
  # A picture of as many points as are taken, four numbers of two bytes each, is 416 MB before it is shrunk.
  photo) options=(-timeout=20 -malloc_limit_mb=512 -rss_limit_mb=2000) ;;
  *) options=(-timeout=1 -malloc_limit_mb=256 -rss_limit_mb=1500) ;;
  esac
  if [ -e "$target.dict" ]; then options+=("-dict=$target.dict"); fi
  if [ "$seconds" = 0 ]; then options+=(-runs=0); else options+=("-max_total_time=$seconds"); fi
  echo "=== $target"
  if fuzz run "$target" "${folders[@]}" -- "${options[@]}" >"corpus/$target.log" 2>&1; then
    tail -n 1 "corpus/$target.log"
  else
    tail -n 30 "corpus/$target.log"
    broken+=("$target")
  fi
done
if [ "${#broken[@]}" -gt 0 ]; then
  echo "error: found in ${broken[*]}; what was read is in fuzz/artifacts/" >&2
  exit 1
fi
echo "${#targets[@]} targets, nothing found"
