# ---- fuzz: libFuzzer on everything that reads bytes of strangers; `make check` only replays tests/fuzz/corpus ----
BELOW_fuzz   := $(BELOW_server)
FUZZ_TARGETS := $(patsubst tests/fuzz/fuzz_%.c,%,$(wildcard tests/fuzz/fuzz_*.c))
FUZZ_BUILD   := build/fuzz
FUZZ_SECONDS ?= 60
FUZZ_TIMEOUT ?= 10
$(BUILD)/fuzz_entry_%.o: tests/fuzz/entry.c $(BUILD)/flags
	$(Q)mkdir -p $(@D) && $(CC) $(ALL_CFLAGS) -DFUZZ_TARGET=fuzz_$* -MMD -MP -c -o $@ $<
$(BUILD)/fuzz_%: $(BUILD)/fuzz_entry_%.o $(BUILD)/tests/fuzz/fuzz_%.o $(BUILD)/tests/fuzz/club.o $(call LIB,$(BELOW_fuzz)) $(EMBED)
	$(call say,LINK,$@)
	$(Q)$(CC) $(ALL_LDFLAGS) -fsanitize=fuzzer -o $@ $(filter %.o,$^) -Wl,--start-group $(filter %.a,$^) -Wl,--end-group $(LIBS)
fuzz-programs: $(addprefix $(BUILD)/fuzz_,$(FUZZ_TARGETS))
fuzz: deps-check ## look for bytes that break a reader: FUZZ_SECONDS=3600 for each of FUZZ_TARGETS="json csv …"; findings go to build/fuzz
	$(Q)$(MAKE) --no-print-directory BUILD=$(FUZZ_BUILD) CC=clang OPT='-O1 -g' SAN=fuzzer-no-link,address,undefined fuzz-programs
	$(Q)for t in $(FUZZ_TARGETS); do echo "== $$t"; mkdir -p $(FUZZ_BUILD)/corpus/$$t; \
	  $(FUZZ_BUILD)/fuzz_$$t -max_total_time=$(FUZZ_SECONDS) -max_len=8192 -timeout=$(FUZZ_TIMEOUT) -verbosity=0 -print_final_stats=1 \
	    -artifact_prefix=$(FUZZ_BUILD)/$$t- $(FUZZ_BUILD)/corpus/$$t tests/fuzz/corpus/$$t || exit 1; done

.PHONY: fuzz fuzz-programs
.PRECIOUS: $(BUILD)/fuzz_entry_%.o
