# What `make check` runs. Everything is built thrice: gcc plain, clang (warnings only), gcc with sanitizers.

SAN_BUILD   := build/san
CLANG_BUILD := build/clang
include $(wildcard seed-data/seed.mk)
include $(wildcard tests/fuzz/fuzz.mk)

check: deps-check ## install what the tests need, run them all
	$(Q)$(MAKE) --no-print-directory check-steps

CHECK_JOBS ?= 2
check-steps:
	$(Q)echo "== house rules"; $(MAKE) --no-print-directory lint
	$(Q)echo "== gcc, no warnings"; $(MAKE) --no-print-directory -j$(CHECK_JOBS) WERROR=1 BUILD=build CC=gcc all tests
	$(Q)echo "== clang, no warnings"; $(MAKE) --no-print-directory -j$(CHECK_JOBS) WERROR=1 BUILD=$(CLANG_BUILD) CC=clang OPT=-O0 all
	$(Q)echo "== gcc with address and undefined sanitizers"; $(MAKE) --no-print-directory -j$(CHECK_JOBS) WERROR=1 BUILD=$(SAN_BUILD) CC=gcc OPT='-O1 -g' SAN=address,undefined all tests
	$(Q)tests/run.sh $(SAN_BUILD) build

check-package: deps-check ## the Debian package: lintian, the unit's exposure, installed, updated and purged in a scratch root
	$(call install_missing,$(DEPS_DEB))
	$(Q)$(MAKE) --no-print-directory all
	$(Q)tests/package/deb.sh $(BUILD)/biasbook
check-long: check check-package ## what takes longer as well
	$(Q)BIASBOOK_ROWS=10000 $(BUILD)/tests/server/test_two_clubs

# ---- bench: ratios within one run; docs/performance.md tells what they mean ----
BENCH_OBJ := $(call objs,tests/bench/bench.c tests/bench/load.c tests/server/daemon.c)
$(BUILD)/bench: $(BENCH_OBJ) $(call LIB,$(BELOW_server)) $(EMBED)
	$(call say,LINK,$@)
	$(Q)$(CC) $(ALL_LDFLAGS) -o $@ $(filter %.o,$^) -Wl,--start-group $(filter %.a,$^) -Wl,--end-group $(LIBS) $(TEST_LIBS)
$(BUILD)/fit_bench: $(call objs,tests/bench/fit_bench.c) $(call LIB,wire model trade ground)
	$(call say,LINK,$@)
	$(Q)$(CC) $(ALL_LDFLAGS) -o $@ $(filter %.o,$^) -Wl,--start-group $(filter %.a,$^) -Wl,--end-group $(LIBS)
BENCH_ROWS ?= 4000 100000
bench-fit: ## the estimator's speed, beside the reference package and alone
	$(call install_missing,r-base-core r-cran-lme4)
	$(Q)$(MAKE) --no-print-directory $(BUILD)/fit_bench $(BUILD)/make_club $(BUILD)/biasbook
	$(Q)tests/bench/fit_bench.sh $(BUILD)/biasbook
	$(Q)$(BUILD)/fit_bench $(BUILD)/make_club $(BENCH_ROWS)
bench: deps-check bench-fit ## speed and accuracy as ratios in one run (BENCH_ROWS="4000 100000")
	$(Q)$(MAKE) --no-print-directory $(BUILD)/bench $(BUILD)/make_club $(BUILD)/accuracy
	-$(Q)$(BUILD)/accuracy
	$(Q)$(BUILD)/bench $(BUILD)/make_club $(BENCH_ROWS)

.PHONY: check check-steps check-package check-long bench bench-fit
