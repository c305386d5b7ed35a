#!/bin/sh
# Runs every test program (the sanitized build's, but for those of tests/simulate, which are heavy numbers, and of tests/faults, which interpose the heap: the plain build's), the whole-server scripts and
# the browser tests, TEST_JOBS (2) at a time, the longest first, and closes with one line of counts.
#   run.sh SANITIZED_BUILD PLAIN_BUILD
# TEST_EXCEPT: patterns of names that are left out. TEST_WRAP: what each test program is run by (valgrind …).
# Every program's whole output is left in SANITIZED_BUILD/logs, its seconds in SANITIZED_BUILD/logs/seconds.
set -u

# One program: --one KIND NAME COMMAND...; KIND is cmocka or script (whose own exit status is one test, unless it prints lines of its own that count).
if [ "$1" = --one ]; then
    kind=$2; name=$3; shift 3
    log=$TEST_LOGS/$(echo "$name" | tr / .).log
    start=$(date +%s)
    if "$@" > "$log" 2>&1 < /dev/null; then ok=1; else ok=0; fi
    seconds=$(($(date +%s) - start))
    sum() { grep -oE "$1" "$log" | grep -oE '[0-9]+' | paste -sd+ - | sed 's/^$/0/'; }
    if [ "$kind" = cmocka ]; then
        passed=$(($(sum '\[  PASSED  \] [0-9]+ test'))); failed=$(($(sum '\[  FAILED  \] [0-9]+ test')))
        skipped=$(grep -cE '^\[  SKIPPED \] [a-z_]+' "$log")
        [ $ok = 1 ] || [ $failed -gt 0 ] || failed=1
    else
        passed=0; failed=0; skipped=0
        if [ $ok = 1 ]; then passed=$(grep -cE '^ok |^# pass ' "$log" | sed 's/^0$/1/'); else failed=1; fi
    fi
    { # what several programs say at once is not mixed
        flock 9
        echo "$passed $failed $skipped $seconds $name" >> "$TEST_LOGS/seconds"
        if [ $ok = 1 ]; then echo "ok     $name"; else
            echo "$name" >> "$TEST_LOGS/broken"
            echo "FAILED $name"; grep -vE '^\[ +(RUN|OK) +\]' "$log" | tail -60
        fi
    } 9>> "$TEST_LOGS/lock"
    exit 0
fi

cd "$(dirname "$0")/.." || exit 2
san=$1; plain=$2
TEST_LOGS=$san/logs; export TEST_LOGS
rm -rf "$TEST_LOGS"; mkdir -p "$TEST_LOGS"
export ASAN_OPTIONS=detect_leaks=1:abort_on_error=0 UBSAN_OPTIONS=print_stacktrace=1

programs() {
    for t in $(find "$san/tests" -type f -name 'test_*' ! -name '*.*' | sort); do
        name=${t#"$san"/tests/}
        case $name in simulate/* | faults/*) t=$plain/tests/$name ;; esac
        echo "cmocka $name ${TEST_WRAP:-} $t"
    done
    for t in tests/server/*.sh; do [ -e "$t" ] && echo "script $t $t $san/biasbook"; done
    [ -x tests/openapi/run.sh ] && echo "script tests/openapi tests/openapi/run.sh $plain/biasbook"
    [ -x tests/browser/run.sh ] && echo "script tests/browser tests/browser/run.sh $plain/biasbook"
}
# The longest go first, so that none is left over at the end with a core idle. A name that is missing here runs after these.
longest="tests/browser faults/test_verbs faults/test_files store/test_out_of_memory tests/openapi server/test_keep simulate/test_accuracy server/test_two_clubs server/test_many_at_once server/test_knowledge server/test_command_line
         model/test_memory model/test_threads model/test_fit model/test_club_properties tests/server/serve.sh http/test_reaper simulate/test_changes simulate/test_club"
except() {
    set -f
    while read -r kind name rest; do
        for pattern in ${TEST_EXCEPT:-}; do case $name in $pattern) continue 2 ;; esac; done
        echo "$kind $name $rest"
    done
}
ordered() {
    programs | except > "$TEST_LOGS/programs"
    for name in $longest; do grep -E "^[a-z]+ $name " "$TEST_LOGS/programs"; done
    for name in $longest; do echo " $name "; done | grep -vFf - "$TEST_LOGS/programs"
}
ordered | xargs -P "${TEST_JOBS:-2}" -L 1 tests/run.sh --one

lost=$(($(wc -l < "$TEST_LOGS/programs") - $(wc -l < "$TEST_LOGS/seconds")))
[ "$lost" = 0 ] || echo "$lost programs gave no result" | tee -a "$TEST_LOGS/broken"
[ ! -e "$TEST_LOGS/broken" ] || echo "failed: $(paste -sd' ' "$TEST_LOGS/broken")"
awk -v lost="$lost" '{ p += $1; f += $2; s += $3 } END { f += lost; printf "%d passed, %d failed, %d skipped\n", p, f, s; exit f > 0 || p == 0 }' "$TEST_LOGS/seconds"
