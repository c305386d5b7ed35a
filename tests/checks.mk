# What `make check` runs. Everything is built thrice: gcc plain, clang (warnings only), gcc with sanitizers.

SAN_BUILD   := build/san
CLANG_BUILD := build/clang
include $(wildcard seed-data/seed.mk)

check: deps-check ## install what the tests need, run them all
	$(Q)$(MAKE) --no-print-directory check-steps

CHECK_JOBS ?= 2
check-steps:
	$(Q)echo "== house rules"; $(MAKE) --no-print-directory lint
	$(Q)echo "== gcc, no warnings"; $(MAKE) --no-print-directory -j$(CHECK_JOBS) WERROR=1 BUILD=build CC=gcc all tests
	$(Q)echo "== clang, no warnings"; $(MAKE) --no-print-directory -j$(CHECK_JOBS) WERROR=1 BUILD=$(CLANG_BUILD) CC=clang OPT=-O0 all
	$(Q)echo "== gcc with address and undefined sanitizers"; $(MAKE) --no-print-directory -j$(CHECK_JOBS) WERROR=1 BUILD=$(SAN_BUILD) CC=gcc OPT='-O1 -g' SAN=address,undefined all tests
	$(Q)tests/run.sh $(SAN_BUILD) build

.PHONY: check check-steps
