#!/bin/sh
# House rules as a program: the direction of includes, the doors to libraries, banned functions, file sizes, words that do not belong.
# Prints each finding as FILE:LINE: rule, and ends 1 when there is one.
set -u
cd "$(dirname "$0")/../.." || exit 2
found=$(mktemp) || exit 2
trap 'rm -f "$found"' EXIT
say() { echo "$1" >> "$found"; }

# ---- include arrows: room -> rooms it may include from ----
may() {
    case $1 in
    ground)  echo ground ;;
    trade)   echo trade ground ;;
    model|store|wire|charts) echo "$1 trade ground" ;;
    live)    echo live store model trade ground ;;
    actions) echo actions live store model wire charts trade ground ;;
    http)    echo http actions wire trade ground ;;
    verbs)   echo verbs http actions live store model wire charts trade ground ;;
    esac
}
for room in ground trade model store wire charts live actions http verbs; do
    allowed=" $(may $room) "
    for f in server/$room/*.[ch]; do
        [ -e "$f" ] || continue
        grep -n '^#include "' "$f" | while IFS=: read -r line text; do
            inc=$(printf '%s' "$text" | sed 's/.*"\(.*\)".*/\1/')
            case $inc in
            ../*/*) to=$(printf '%s' "$inc" | cut -d/ -f2) ;;
            */*)    to=$(printf '%s' "$inc" | cut -d/ -f1) ;;
            *)      to=$room ;;
            esac
            case $allowed in *" $to "*) ;; *) say "$f:$line: $room may not include from $to" ;; esac
        done
    done
done

# ---- one door a library ----
door() { # header, room
    grep -nE "#include <(.*/)?$1>" server/*/*.[ch] | grep -v "^server/$2/" | while IFS= read -r hit; do say "$hit: only $2/ includes $1"; done
}
door microhttpd.h http; door jansson.h wire; door sqlite3.h store; door cholmod.h model; door nlopt.h model; door lapacke.h model; door sodium.h ground
grep -nE '"[^"]*\b(SELECT|INSERT INTO|DELETE FROM|CREATE TABLE|PRAGMA)\b' server/*/*.[ch] | grep -v '^server/store/' |
    while IFS= read -r hit; do say "$(printf '%s' "$hit" | cut -d: -f1-2): SQL outside store/"; done

# ---- banned functions ----
grep -nE '\b(strcpy|strcat|sprintf|vsprintf|gets|strtok|atoi|atof|atol|system|popen|tmpnam|mktemp|alloca|setjmp|longjmp|asctime|ctime|gmtime|localtime)[[:space:]]*\(' server/*/*.[ch] server/main.c |
    while IFS= read -r hit; do say "$(printf '%s' "$hit" | cut -d: -f1-2): banned function"; done
grep -nE '(^|[^_a-z>.])(malloc|calloc|realloc|free|strdup|strndup)[[:space:]]*\(' server/*/*.[ch] |
    grep -vE '^server/ground/memory\.c|^server/[a-z]+/[a-z_]+\.[ch]:[0-9]+:[[:space:]]*(\*|/\*)' |
    while IFS= read -r hit; do say "$(printf '%s' "$hit" | cut -d: -f1-2): the heap has one door, ground/memory.h"; done

# ---- sizes, licence line, tabs ----
for f in server/*/*.[ch] server/main.c tests/*/*.[ch] seed-data/*.[ch]; do
    [ -e "$f" ] || continue
    n=$(wc -l < "$f")
    case $f in server/*) [ "$n" -le 520 ] || say "$f:$n: longer than 520 lines: is there a second idea in it?" ;; esac
    head -1 "$f" | grep -q 'SPDX-License-Identifier: GPL-3.0-or-later' || say "$f:1: no licence line"
    grep -nP '\t' "$f" | head -1 | while IFS=: read -r line _; do say "$f:$line: a tab"; done
done

# ---- the project speaks of itself alone ----
# A letter of each word in brackets, so that this line does not find itself.
git ls-files -co --exclude-standard | grep -vE 'package-lock.json$|^\.gitignore$|\.(png|jpg|ndjson)$' | while IFS= read -r f; do
    [ -f "$f" ] || continue
    grep -nIiE '[t]ranscript|[s]eed document|\b[T]ODO\b|\b[F]IXME\b|\b[X]XX\b|(^|[^a-z_./])/([w]ork|[f]arm|[r]oot)/|[r]egistry\.npmjs|[d]eb\.debian\.org' "$f" | head -3 |
        while IFS= read -r hit; do say "$f:$hit: does not belong in the project"; done
done
extra=$(git ls-files -co --exclude-standard | cut -d/ -f1 | sort -u | grep -vE '^(\..*|README\.md|DEVELOPERS\.md|Makefile|server|schema|static|tests|seed-data|docs)$')
[ -z "$extra" ] || say "$extra: not in the layout"

# ---- formatting, where the tool is there ----
if command -v clang-format >/dev/null 2>&1 && [ "${FORMAT:-1}" = 1 ]; then
    git ls-files 'server/*.[ch]' 'tests/*.[ch]' 'seed-data/*.[ch]' | xargs -r clang-format --dry-run 2>&1 | grep -oE '^[^:]+:[0-9]+' | sort -u -t: -k1,1 |
        while IFS= read -r hit; do say "$hit: not formatted (make format)"; done
fi

if [ -s "$found" ]; then
    sort -u "$found"
    echo "lint: $(sort -u "$found" | wc -l) findings"
    exit 1
fi
echo "lint: nothing found"
