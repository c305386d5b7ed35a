#!/bin/sh
# Writes a C file that carries files inside the binary: embed.sh NAME OUT FILE...
# The table is `const struct embedded embedded_NAME[]`, closed by an entry without a name (server/ground/embedded.h).
set -eu
name=$1; out=$2; shift 2
tmp=$out.tmp
{
    echo '#include "ground/embedded.h"'
    n=0
    for f in "$@"; do
        p=$(realpath "$f")
        printf '__asm__(".section .rodata\\n.balign 16\\n.global embedded_%s_%d\\nembedded_%s_%d:\\n.incbin \\"%s\\"\\n.global embedded_%s_%d_end\\nembedded_%s_%d_end:\\n.byte 0\\n.previous\\n");\n' \
            "$name" $n "$name" $n "$p" "$name" $n "$name" $n
        printf 'extern const unsigned char embedded_%s_%d[], embedded_%s_%d_end[];\n' "$name" $n "$name" $n
        n=$((n + 1))
    done
    echo "const struct embedded embedded_$name[] = {"
    n=0
    for f in "$@"; do
        printf '    {"%s", embedded_%s_%d, embedded_%s_%d_end},\n' "$(basename "$f")" "$name" $n "$name" $n
        n=$((n + 1))
    done
    echo '    {0, 0, 0},'
    echo '};'
} > "$tmp"
mv "$tmp" "$out"
