# Faults: a machine that fails (tests/faults), clients that mean no good and a day in one run (tests/endurance).
BELOW_faults := $(BELOW_server)
FAULT_BIN := $(filter $(BUILD)/tests/faults/%,$(TEST_BIN))
$(FAULT_BIN): $(BUILD)/tests/server/daemon.o

# tests/endurance: one program a file
$(BUILD)/hostile $(BUILD)/soak: $(BUILD)/%: $(BUILD)/tests/endurance/%.o $(BUILD)/tests/server/daemon.o $(call LIB,$(BELOW_server)) $(EMBED)
	$(call say,LINK,$@)
	$(Q)$(CC) $(ALL_LDFLAGS) -o $@ $(filter %.o,$^) -Wl,--start-group $(filter %.a,$^) -Wl,--end-group $(LIBS) $(TEST_LIBS)
HOSTILE_SECONDS     ?= 4
HOSTILE_CONNECTIONS ?= 10000
hostile: deps-check ## clients that mean no good, and how long an honest one waits meanwhile (HOSTILE_SECONDS of each, HOSTILE_CONNECTIONS, HOSTILE_ONLY=a word of its name, BAR_MS)
	$(Q)$(MAKE) --no-print-directory $(BUILD)/hostile
	$(Q)$(BUILD)/hostile $(HOSTILE_SECONDS) $(HOSTILE_CONNECTIONS) $(HOSTILE_ONLY)
SOAK_HOURS ?= 24
soak: deps-check ## a day in one run, time sped up: members, imports, copies, kills; memory and the log stay flat (SOAK_HOURS=24)
	$(Q)$(MAKE) --no-print-directory $(BUILD)/soak
	$(Q)$(BUILD)/soak $(SOAK_HOURS) 2>$(BUILD)/soak.log || { tail -40 $(BUILD)/soak.log; exit 1; }
KILL_POINTS ?= 1000
POWER_SEEDS ?= 10000
check-faults: ## each allocation, each call for a file, 1,000 kills, 10,000 losses of power
	$(Q)$(MAKE) --no-print-directory $(FAULT_BIN) $(BUILD)/tests/store/test_disk
	$(Q)for t in $(FAULT_BIN); do echo "== $$t"; BIASBOOK_LONG=1 KILL_POINTS=$(KILL_POINTS) $$t 2>$(BUILD)/faults.log || { tail -40 $(BUILD)/faults.log; exit 1; }; done
	$(Q)POWER_SEEDS=$(POWER_SEEDS) $(BUILD)/tests/store/test_disk
.PHONY: check-faults hostile soak
