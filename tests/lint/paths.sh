#!/bin/sh
# Every file of the project that a document names is there. Prints those that are not.
set -u
cd "$(dirname "$0")/../.." || exit 2
status=0
for d in README.md DEVELOPERS.md docs/*.md; do
    for p in $(grep -v NNNN "$d" | grep -oE '`(tests|server|static|docs|schema|seed-data)/[A-Za-z0-9_./-]+`' | tr -d '`' | sort -u); do
        [ -e "$p" ] || { echo "$d: $p is not there"; status=1; }
    done
done
exit $status
