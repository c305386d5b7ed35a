#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# The OpenAPI document against a built daemon: run.sh BIASBOOK. Installs the pinned packages when they are not there yet.
set -eu
BIASBOOK=$(realpath "${1:?run.sh BIASBOOK}")
export BIASBOOK
cd "$(dirname "$0")"
if ! cmp -s package-lock.json node_modules/.installed; then
    npm ci --no-audit --no-fund --prefer-offline
    cp package-lock.json node_modules/.installed
fi
exec node --test --test-reporter=tap --test-concurrency=1
