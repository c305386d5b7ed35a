# The invented clubs: build/make_club writes one; `make seed` writes the demo's anew, always the same bytes.
# Objects and library of this folder are also what tests/simulate judges the estimator with.
OBJ_seed := $(call objs,$(filter-out seed-data/make_club.c,$(wildcard seed-data/*.c)))
$(OBJ_seed) $(BUILD)/seed-data/make_club.o: CFLAGS += -Iseed-data
$(BUILD)/libseed.a: $(OBJ_seed)
	$(call say,AR,$@)
	$(Q)rm -f $@ && ar rcs $@ $^
$(BUILD)/make_club: $(BUILD)/seed-data/make_club.o $(BUILD)/libseed.a $(call LIB,trade ground)
	$(call say,LINK,$@)
	$(Q)$(CC) $(ALL_LDFLAGS) -o $@ $< -Wl,--start-group $(filter %.a,$^) -Wl,--end-group $(LIBS)

seed: $(BUILD)/make_club ## write the demo's club anew (seed-data/club.ndjson)
	$(Q)$(BUILD)/make_club > $(BUILD)/club.ndjson && mv $(BUILD)/club.ndjson seed-data/club.ndjson
seed-same: $(BUILD)/make_club ## tell whether the demo's club is what its program writes
	$(Q)$(BUILD)/make_club | cmp - seed-data/club.ndjson
.PHONY: seed seed-same

# Tests of the invented clubs, and of the estimator on them (tests/simulate).
BELOW_simulate := seed model wire trade ground
$(BUILD)/tests/simulate/%.o: CFLAGS += -Iseed-data
$(BUILD)/tests/simulate/program/%.o: CFLAGS += -Iseed-data
$(BUILD)/accuracy: $(BUILD)/tests/simulate/program/accuracy.o $(call objs,$(filter-out $(wildcard tests/simulate/test_*.c),$(wildcard tests/simulate/*.c))) \
                   $(call LIB,seed model trade ground)
	$(call say,LINK,$@)
	$(Q)$(CC) $(ALL_LDFLAGS) -o $@ $(filter %.o,$^) -Wl,--start-group $(filter %.a,$^) -Wl,--end-group $(LIBS)
accuracy: $(BUILD)/accuracy ## how good suggestions are on clubs never seen, beside plain means
	$(Q)$(BUILD)/accuracy
.PHONY: accuracy
