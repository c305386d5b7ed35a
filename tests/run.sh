#!/bin/sh
# Runs every test program (the sanitized build's, but for those of tests/simulate, which are heavy numbers: the plain build's), then the
# whole-server scripts and the browser tests, and closes with one line of counts. run.sh SANITIZED_BUILD PLAIN_BUILD
set -u
san=$1; plain=$2
cd "$(dirname "$0")/.." || exit 2
passed=0; failed=0; skipped=0; broken=
export ASAN_OPTIONS=detect_leaks=1:abort_on_error=0 UBSAN_OPTIONS=print_stacktrace=1
log=$(mktemp); trap 'rm -f "$log"' EXIT

count() { # cmocka's closing lines
    p=$(grep -oE '\[  PASSED  \] [0-9]+ test' "$log" | grep -oE '[0-9]+' | paste -sd+ - | sed 's/^$/0/'); passed=$((passed + ${p:-0}))
    s=$(grep -cE '^\[  SKIPPED \] [a-z_]+' "$log"); skipped=$((skipped + s))
    f=$(grep -oE '\[  FAILED  \] [0-9]+ test' "$log" | grep -oE '[0-9]+' | paste -sd+ - | sed 's/^$/0/'); failed=$((failed + ${f:-0}))
}
run() { # name, command...
    name=$1; shift
    if "$@" > "$log" 2>&1; then ok=1; else ok=0; fi
    before=$failed
    count
    if [ $ok = 0 ]; then
        [ "$failed" -gt "$before" ] || failed=$((failed + 1))
        broken="$broken $name"
        echo "FAILED $name"; grep -vE '^\[ +(RUN|OK) +\]' "$log" | tail -60
    else
        echo "ok     $name"
    fi
}
script() { # a script's own exit status is one test, unless it prints cmocka-like lines
    name=$1; shift
    if "$@" > "$log" 2>&1; then passed=$((passed + $(grep -cE '^ok |^# pass ' "$log" | sed 's/^0$/1/'))); echo "ok     $name"
    else failed=$((failed + 1)); broken="$broken $name"; echo "FAILED $name"; tail -60 "$log"; fi
}

for t in $(find "$san/tests" -type f -name 'test_*' ! -name '*.o' ! -name '*.d' | sort); do
    case $t in */simulate/*) run "${t#"$san"/tests/}" "$plain/tests/${t#"$san"/tests/}" ;; *) run "${t#"$san"/tests/}" "$t" ;; esac
done
for t in tests/server/*.sh; do [ -e "$t" ] && script "$t" "$t" "$san/biasbook"; done
[ -x tests/openapi/run.sh ] && script tests/openapi tests/openapi/run.sh "$plain/biasbook"
[ -x tests/browser/run.sh ] && script tests/browser tests/browser/run.sh "$plain/biasbook"

[ -z "$broken" ] || echo "failed:$broken"
echo "$passed passed, $failed failed, $skipped skipped"
[ "$failed" = 0 ]
