# What looks deeper than `make check` and takes longer: races, memory, static analysis, coverage. `make check-long` runs the first three.
DEPS_DEEP := valgrind clang-tidy cppcheck gcovr
THREAD_BUILD   := build/thread
VALGRIND_BUILD := build/valgrind
COVERAGE_BUILD := build/coverage
deep-deps: deps-check
	$(call install_missing,$(DEPS_DEEP))

# The invented clubs are heavy numbers in one thread. What is not ours is in tests/thread.supp.
check-thread: deps-check ## all test programs and the whole-server scripts with the thread sanitizer
	$(Q)$(CHECK_MAKE) BUILD=$(THREAD_BUILD) OPT='-O1 -g1' SAN=thread all tests
	$(Q)TSAN_OPTIONS='suppressions=tests/thread.supp history_size=4' TEST_EXCEPT='simulate/* tests/browser tests/openapi' tests/run.sh $(THREAD_BUILD) build

# Too slow under valgrind, which counts each instruction: numbers on large clubs, and whole servers under load (the address sanitizer sees those).
VALGRIND_EXCEPT := simulate/* tests/* server/* faults/* model/test_fit model/test_club_properties model/test_threads model/test_memory model/test_breaks \
                   store/test_out_of_memory store/test_disk store/test_kill
check-valgrind: deep-deps ## test programs under valgrind's memcheck, but for the slow ones named in tests/deep.mk
	$(Q)$(CHECK_MAKE) BUILD=$(VALGRIND_BUILD) OPT='-O1 -g' tests
	$(Q)TEST_WRAP='valgrind --quiet --error-exitcode=99 --leak-check=full --errors-for-leak-kinds=definite --trace-children=no' \
	  TEST_EXCEPT='$(VALGRIND_EXCEPT)' tests/run.sh $(VALGRIND_BUILD) build

# Findings are mended, or suppressed where they stand with the reason; checks that are off altogether are named with theirs in .clang-tidy and here:
# varFuncNullUB: NULL ends log_line's pairs; POSIX has it a pointer. missingIncludeSystem: cppcheck needs no system header.
# The analyzers read one file at a time; BIASBOOK_ANALYSED tells them what a header promises (that fault_add is always false).
# Of the files in ANALYSER_NULLS it believes that an array may be NULL whose count is above nought; one comes with the other (slope_table_make).
ANALYSER_NULLS := server/trade/slope_table.c server/trade/slope_learner.c
ANALYSE_SRC = $(shell git ls-files 'server/*.c')
ANALYSE_FLAGS = $(filter-out -fstack-protector-strong -fPIE,$(ALL_CFLAGS))
analyse: deep-deps ## cppcheck, clang-tidy, gcc -fanalyzer over server/
	$(Q)echo "== cppcheck"; cppcheck --quiet --enable=warning,portability,performance --std=c11 --inline-suppr --error-exitcode=1 -j$(CHECK_JOBS) \
	  --suppress=missingIncludeSystem --suppress=varFuncNullUB --template='{file}:{line}: {id}: {message}' -Iserver server
	$(Q)echo "== gcc -fanalyzer"; printf '%s\n' $(ANALYSE_SRC) | xargs -P $(CHECK_JOBS) -n 4 sh -c 'for f; do \
	  case " $(ANALYSER_NULLS) " in *" $$f "*) off="-Wno-analyzer-null-dereference -Wno-analyzer-null-argument" ;; *) off= ;; esac; \
	  gcc $(ANALYSE_FLAGS) -O1 -fanalyzer -DBIASBOOK_ANALYSED -Wno-unused-value $$off -Werror -c -o /dev/null "$$f" || exit 255; done' gcc
	$(Q)echo "== clang-tidy"; printf '%s\n' $(ANALYSE_SRC) | xargs -P $(CHECK_JOBS) -n 8 sh -c 'clang-tidy --quiet "$$@" -- $(ANALYSE_FLAGS) -DBIASBOOK_ANALYSED -Wno-unused-value 2>/dev/null' clang-tidy
coverage: deep-deps ## lines and branches that the test programs and whole-server scripts reach, by room
	$(Q)find $(COVERAGE_BUILD) -name '*.gcda' -delete 2>/dev/null || true
	$(Q)$(CHECK_MAKE) WERROR= BUILD=$(COVERAGE_BUILD) OPT='-O0 -g1 --coverage -fprofile-update=atomic' LDFLAGS='-fuse-ld=lld --coverage' all tests
	-$(Q)BIASBOOK_LONG=1 TEST_EXCEPT='simulate/*' tests/run.sh $(COVERAGE_BUILD) $(COVERAGE_BUILD)
	$(Q)gcovr --root . --filter server/ --exclude-unreachable-branches --json-summary $(COVERAGE_BUILD)/summary.json --txt $(COVERAGE_BUILD)/files.txt $(COVERAGE_BUILD)
	$(Q)tests/coverage.py $(COVERAGE_BUILD)/summary.json

.PHONY: deep-deps check-thread check-valgrind analyse coverage
