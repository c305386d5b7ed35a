#!/bin/sh
# readme.sh BINARY: see readme.py
exec python3 tests/server/readme.py "$@"
