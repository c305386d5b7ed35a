# biasbook: `make help` lists what can be asked.
#
# Variables
#   BUILD    where objects go                       (build)
#   CC       the compiler: gcc or clang             (cc)
#   OPT      optimisation                           (-O2 -g)
#   SAN      sanitizers, e.g. address,undefined     (none)
#   WERROR   1 = warnings are errors (`make check`) (empty)
#   V        1 = show each command                  (empty)
#   DESTDIR, PREFIX   for install                   (/usr/local)
#   PORT     where `make run` listens               (8460)
BUILD  ?= build
OPT    ?= -O2 -g
SAN    ?=
WERROR ?=
V      ?=
PREFIX ?= /usr/local
PORT   ?= 8460
VERSION := 0.1.0

Q := $(if $(V),,@)
say = $(if $(V),,@printf '  %-7s %s\n' $(1) $(2))

WARN := -Wall -Wextra -Wshadow -Wconversion -Wmissing-prototypes -Wwrite-strings $(if $(WERROR),-Werror)
SANFLAGS := $(if $(SAN),-fsanitize=$(SAN) -fno-omit-frame-pointer -fno-sanitize-recover=all)
PACKAGES := libmicrohttpd sqlite3 jansson nlopt libsodium
ALL_CFLAGS = -std=c11 -D_GNU_SOURCE -DBIASBOOK_VERSION='"$(VERSION)"' $(OPT) $(WARN) $(SANFLAGS) -fstack-protector-strong -fPIE \
             -Iserver -I/usr/include/suitesparse $(shell pkg-config --cflags $(PACKAGES) 2>/dev/null) $(CFLAGS)
# The OpenBLAS that is built for threads, told to use one (model/factor.c): Debian's serial build keeps its work space without a lock, so that two threads in
# LAPACK at once spoil each other's numbers.
OPENBLAS := $(firstword $(wildcard /usr/lib/*/openblas-pthread/libopenblas.so))
LIBS = $(shell pkg-config --libs $(PACKAGES) 2>/dev/null) -lcholmod -lamd -lcolamd -lcamd -lccolamd -lsuitesparseconfig \
       -llapacke $(OPENBLAS) -lpthread -lm
ALL_LDFLAGS = $(SANFLAGS) -pie -Wl,-z,relro,-z,now $(LDFLAGS)

# ---- the rooms, from the ground up ----
ROOMS := ground trade model store wire charts live actions http verbs
room_src = $(wildcard server/$(1)/*.c)
objs = $(patsubst %.c,$(BUILD)/%.o,$(1))
$(foreach r,$(ROOMS),$(eval OBJ_$(r) := $(call objs,$(call room_src,$(r)))))
LIB = $(patsubst %,$(BUILD)/lib%.a,$(1))
EMBED := $(patsubst %,$(BUILD)/embedded_%.o,schema static demo openapi)

all: $(BUILD)/biasbook ## build the daemon (build/biasbook)

$(BUILD)/biasbook: $(BUILD)/server/main.o $(call LIB,$(ROOMS)) $(EMBED)
	$(call say,LINK,$@)
	$(Q)$(CC) $(ALL_LDFLAGS) -o $@ $< -Wl,--start-group $(call LIB,$(ROOMS)) -Wl,--end-group $(EMBED) $(LIBS)

define room_rule
$(BUILD)/lib$(1).a: $(OBJ_$(1))
	$$(call say,AR,$$@)
	$$(Q)rm -f $$@ && ar rcs $$@ $$^
endef
$(foreach r,$(ROOMS),$(eval $(call room_rule,$(r))))

# rebuild when flags change
FLAGS_NOW := $(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS)
$(BUILD)/flags: force
	$(Q)mkdir -p $(BUILD); echo '$(subst ','\'',$(FLAGS_NOW))' | cmp -s - $@ || echo '$(subst ','\'',$(FLAGS_NOW))' > $@

$(BUILD)/%.o: %.c $(BUILD)/flags
	$(call say,CC,$<)
	$(Q)mkdir -p $(@D) && $(CC) $(ALL_CFLAGS) -MMD -MP -c -o $@ $<

SCHEMA := $(sort $(wildcard schema/*.sql))
STATIC := $(sort $(filter-out static/README.md,$(wildcard static/*)))
DEMO   := $(sort $(wildcard seed-data/*.ndjson))
$(BUILD)/embedded_schema.c: $(SCHEMA) server/embed.sh | $(BUILD)/flags
	$(Q)server/embed.sh schema $@ $(SCHEMA)
$(BUILD)/embedded_static.c: $(STATIC) server/embed.sh | $(BUILD)/flags
	$(Q)server/embed.sh static $@ $(STATIC)
$(BUILD)/embedded_demo.c: $(DEMO) server/embed.sh | $(BUILD)/flags
	$(Q)server/embed.sh demo $@ $(DEMO)
$(BUILD)/embedded_openapi.c: server/actions/openapi.json server/embed.sh | $(BUILD)/flags
	$(Q)server/embed.sh openapi $@ $<
$(BUILD)/embedded_%.o: $(BUILD)/embedded_%.c
	$(Q)$(CC) $(ALL_CFLAGS) -c -o $@ $<

# ---- tests: tests/ROOM/test_*.c is one program a source file, linked with its room and those below ----
BELOW_ground  := ground
BELOW_trade   := trade ground
BELOW_model   := model trade ground
BELOW_store   := store trade ground
BELOW_wire    := wire trade ground
BELOW_charts  := charts trade ground
BELOW_live    := live store model trade ground
BELOW_actions := actions live store model wire charts trade ground
BELOW_http    := http actions live store model wire charts trade ground
BELOW_server  := verbs http actions live store model wire charts trade ground
TEST_SRC := $(sort $(wildcard tests/*/test_*.c))
TEST_BIN := $(patsubst tests/%.c,$(BUILD)/tests/%,$(TEST_SRC))
test_room = $(firstword $(subst /, ,$(1)))
TEST_LIBS = -lcmocka $(shell pkg-config --libs libcurl 2>/dev/null)
.SECONDEXPANSION:
# helpers of a test folder: tests/ROOM/*.c that is not test_*.c ; tests/common/*.c are for all
TEST_COMMON := $(call objs,$(wildcard tests/common/*.c))
$(TEST_BIN): $(BUILD)/tests/%: $(BUILD)/tests/%.o $$(call LIB,$$(BELOW_$$(call test_room,$$*))) $(EMBED) $(TEST_COMMON) \
             $$(call objs,$$(filter-out $$(wildcard tests/$$(call test_room,$$*)/test_*.c),$$(wildcard tests/$$(call test_room,$$*)/*.c)))
	$(call say,LINK,$@)
	$(Q)$(CC) $(ALL_LDFLAGS) -o $@ $(filter %.o,$^) -Wl,--start-group $(filter %.a,$^) -Wl,--end-group $(LIBS) $(TEST_LIBS)

tests: $(TEST_BIN) ## build all test programs
# a bare % there would be taken for the stem
percent := %
test-%: $$(filter $(BUILD)/tests/$$*/$$(percent),$(TEST_BIN)) ## run the tests of one room: make test-wire
	$(Q)for t in $^; do echo "== $$t"; $$t || exit 1; done

include $(wildcard tests/checks.mk)

# ---- house ----
lint: ## include arrows, banned functions, file sizes, words that do not belong
	$(Q)tests/lint/lint.sh
	$(Q)tests/lint/paths.sh
format: ## clang-format all C sources
	$(Q)clang-format -i $$(git ls-files 'server/*.[ch]' 'tests/*.[ch]' 'seed-data/*.[ch]')

DEPS_RUN   := gcc make pkg-config libmicrohttpd-dev libsqlite3-dev libjansson-dev libsuitesparse-dev liblapacke-dev \
              libopenblas-pthread-dev libnlopt-dev libsodium-dev
DEPS_CHECK := openssl libcurl4-openssl-dev libcmocka-dev clang lld libclang-rt-14-dev clang-format chromium sqlite3 libxml2-utils strace git \
              curl jq python3
# Node.js and npm may have come from elsewhere than Debian's packages, which then refuse to be installed beside them.
DEPS_CHECK += $(if $(shell command -v node && command -v npm),,nodejs npm)
missing = $(shell for p in $(1); do dpkg-query -W -f '$${Status}' $$p 2>/dev/null | grep -q 'ok installed' || echo $$p; done)
define install_missing
	$(Q)need='$(call missing,$(1))'; [ -z "$$need" ] || { echo "installing: $$need"; \
	  S=; [ "$$(id -u)" = 0 ] || S=sudo; export DEBIAN_FRONTEND=noninteractive; $$S apt-get update -qq && $$S apt-get install -y -qq $$need; }
endef
deps: ## install what a Debian machine lacks to build and run
	$(call install_missing,$(DEPS_RUN))
deps-check: deps ## install what the tests need as well
	$(call install_missing,$(DEPS_CHECK))

run: deps ## install what lacks, build, serve the demo club, print its address
	$(Q)$(MAKE) --no-print-directory all
	$(Q)exec $(BUILD)/biasbook demo --listen 127.0.0.1:$(PORT)

install: all ## install to $(DESTDIR)$(PREFIX)
	install -Dm755 $(BUILD)/biasbook $(DESTDIR)$(PREFIX)/bin/biasbook
	install -Dm644 README.md $(DESTDIR)$(PREFIX)/share/doc/biasbook/README.md
	install -Dm644 -t $(DESTDIR)$(PREFIX)/share/doc/biasbook docs/*.md
	install -Dm644 docs/biasbook.1 $(DESTDIR)$(PREFIX)/share/man/man1/biasbook.1

DEPS_DEB := dpkg-dev lintian fakeroot man-db
deb: deps ## a Debian package in $(BUILD)
	$(call install_missing,dpkg-dev)
	$(Q)$(MAKE) --no-print-directory all
	$(Q)server/package/deb.sh $(BUILD)/biasbook $(VERSION) $(BUILD)

clean: ## remove everything built
	rm -rf build build-*
help: ## this list
	$(Q)grep -hE '^[a-z%-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 14

force:
.PHONY: all tests lint format deps deps-check run install deb clean help force
-include $(shell [ -d $(BUILD) ] && find $(BUILD) -name '*.d' 2>/dev/null)
