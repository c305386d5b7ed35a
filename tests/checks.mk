# What `make check` runs. Everything is read thrice: by gcc plain, by clang (warnings only), by gcc with sanitizers.

SAN_BUILD   := build/san
include $(wildcard seed-data/seed.mk)
include $(wildcard tests/fuzz/fuzz.mk)
include $(wildcard tests/faults/faults.mk)
include tests/deep.mk

check: deps-check ## install what the tests need, run them all
	$(Q)$(MAKE) --no-print-directory check-steps

CHECK_JOBS ?= 2
# The linker is a third of the work of some hundred test programs that each hold most of the daemon: lld takes a third of the time of the usual one.
# Plain programs are what is run or served; of the tests only tests/simulate, heavy numbers that sanitizers would slow tenfold, and tests/faults, which interposes the heap.
CHECK_MAKE = $(MAKE) --no-print-directory -j$(CHECK_JOBS) WERROR=1 CC=gcc LDFLAGS=-fuse-ld=lld
check-steps:
	$(Q)echo "== house rules"; $(MAKE) --no-print-directory lint
	$(Q)echo "== gcc, no warnings"; $(CHECK_MAKE) BUILD=build all tests-plain
	$(Q)echo "== clang, no warnings"; $(MAKE) --no-print-directory clang-warnings
	$(Q)echo "== gcc with address and undefined sanitizers"; $(CHECK_MAKE) BUILD=$(SAN_BUILD) OPT='-O1 -g1' SAN=address,undefined all tests
	$(Q)tests/run.sh $(SAN_BUILD) build
tests-plain: $(filter $(BUILD)/tests/simulate/% $(BUILD)/tests/faults/%,$(TEST_BIN))
# clang judges every source, and makes nothing of it
clang-warnings: ## every source through clang, warnings are errors
	$(Q)git ls-files 'server/*.c' 'tests/*.c' 'seed-data/*.c' | xargs -P $(CHECK_JOBS) -n 40 clang $(filter-out -fstack-protector-strong,$(ALL_CFLAGS)) -Iseed-data -Werror -fsyntax-only

check-package: deps-check ## the Debian package: lintian, the unit's exposure, installed, updated and purged in a scratch root
	$(call install_missing,$(DEPS_DEB))
	$(Q)$(MAKE) --no-print-directory all
	$(Q)tests/package/deb.sh $(BUILD)/biasbook
LONG_TESTS := $(addprefix $(BUILD)/tests/,server/test_two_clubs trade/test_next_move trade/test_trend)
check-long: check check-package analyse check-thread check-valgrind check-faults hostile soak ## all that takes longer as well: hours (fuzz, coverage and bench are asked for by themselves)
	$(Q)$(MAKE) --no-print-directory $(LONG_TESTS)
	$(Q)for t in $(LONG_TESTS); do echo "== $$t"; BIASBOOK_LONG=1 BIASBOOK_ROWS=10000 $$t || exit 1; done

# ---- bench: ratios within one run; docs/performance.md tells what they mean ----
BENCH_OBJ := $(call objs,$(filter-out tests/bench/fit_bench.c,$(wildcard tests/bench/*.c)) tests/server/daemon.c)
$(BUILD)/bench: $(BENCH_OBJ) $(call LIB,$(BELOW_server)) $(EMBED)
	$(call say,LINK,$@)
	$(Q)$(CC) $(ALL_LDFLAGS) -o $@ $(filter %.o,$^) -Wl,--start-group $(filter %.a,$^) -Wl,--end-group $(LIBS) $(TEST_LIBS)
$(BUILD)/fit_bench: $(call objs,tests/bench/fit_bench.c) $(call LIB,wire model trade ground)
	$(call say,LINK,$@)
	$(Q)$(CC) $(ALL_LDFLAGS) -o $@ $(filter %.o,$^) -Wl,--start-group $(filter %.a,$^) -Wl,--end-group $(LIBS)
BENCH_ROWS ?= 4000
bench-fit: ## the estimator's speed, beside the reference package and alone
	$(call install_missing,r-base-core r-cran-lme4)
	$(Q)$(MAKE) --no-print-directory $(BUILD)/fit_bench $(BUILD)/make_club $(BUILD)/biasbook
	$(Q)tests/bench/fit_bench.sh $(BUILD)/biasbook
	$(Q)$(BUILD)/fit_bench $(BUILD)/make_club 4000 100000
# nginx is only measured against; its service is not to be started by its installation
bench-speed: deps-check ## replies, logging, files, memory as ratios in one run (BENCH_ROWS="1000 100000 1000000" takes half an hour)
	$(Q)export RUNLEVEL=1; $(MAKE) --no-print-directory bench-deps
	$(Q)$(MAKE) --no-print-directory $(BUILD)/bench $(BUILD)/make_club
	$(Q)$(BUILD)/bench $(BUILD)/make_club $(BENCH_ROWS)
bench-deps:
	$(call install_missing,nginx-light)
bench: bench-speed bench-fit ## all of speed and accuracy
	$(Q)$(MAKE) --no-print-directory $(BUILD)/accuracy
	-$(Q)$(BUILD)/accuracy

.PHONY: check check-steps tests-plain clang-warnings check-package check-long bench bench-deps bench-fit bench-speed
