# quell: `make` builds build/quell; `make help` lists the rest.
CC = gcc
BUILD ?= build
PREFIX ?= /usr/local
PYTHON := $(shell for p in python3 /usr/bin/python3; do $$p -c 'import scipy' 2>/dev/null && echo $$p && break; done)
export PYTHON

PACKAGES := fftw3 gsl jansson inih sndfile zlib
WARNINGS := -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wsign-conversion -Wdouble-promotion -Wstrict-prototypes \
  -Wmissing-prototypes -Wcast-qual -Wwrite-strings -Wundef -Wvla -Wformat=2 -Wimplicit-fallthrough
ifneq (,$(findstring clang,$(CC)))
  WARNINGS += -Wno-double-promotion # clang counts the float macros NAN and INFINITY as promotions; gcc checks ours
endif
OPTIMISE ?= -O3 -g
SANITIZE ?=
CFLAGS += -std=c11 $(OPTIMISE) -ffp-contract=off -pthread $(WARNINGS) $(if $(CI),-Werror) $(SANITIZE)
CPPFLAGS += -Iinclude -Isrc -Itests/unit -Itests/study -D_POSIX_C_SOURCE=200809L -MMD -MP $(shell pkg-config --cflags $(PACKAGES))
LDLIBS += $(shell pkg-config --libs $(PACKAGES)) -lglpk -lm # GLPK brings no .pc file
LDFLAGS += -pthread $(SANITIZE)

LIBRARY := $(BUILD)/libquell.a
objects = $(patsubst %.c,$(BUILD)/%.o,$(1))
LIBRARY_OBJECTS := $(call objects,$(filter-out src/cli/%,$(wildcard src/*/*.c)))
CLI_OBJECTS := $(call objects,$(wildcard src/cli/*.c))
TEST_OBJECTS := $(call objects,$(wildcard tests/unit/*.c tests/property/*.c tests/external/*.c tests/study/study_*.c))
SOURCES := $(shell find include src tests -name '*.[ch]')

.PHONY: all unit check sanitize coverage fuzz replay faults lint format bench study install uninstall clean help
all: $(BUILD)/quell ## the program, build/quell

$(BUILD)/%.o: %.c
	@mkdir -p $(@D)
	$(CC) $(CPPFLAGS) $(CFLAGS) -c -o $@ $<

$(LIBRARY): $(LIBRARY_OBJECTS)
	@rm -f $@
	$(AR) rcs $@ $^

$(BUILD)/quell: $(CLI_OBJECTS) $(LIBRARY)
	$(CC) $(LDFLAGS) -o $@ $^ $(LDLIBS)

$(BUILD)/unit: $(TEST_OBJECTS) $(LIBRARY)
	$(CC) $(LDFLAGS) -o $@ $^ $(shell pkg-config --libs check) $(LDLIBS)

unit: $(BUILD)/unit ## the Check suites alone; CK_RUN_SUITE=name for one
	$(BUILD)/unit

check: ## every test, as CI runs them
	./scripts/check

sanitize: ## build/sanitize: with AddressSanitizer and UBSan
	$(MAKE) BUILD=build/sanitize OPTIMISE="-O1 -g" SANITIZE="-fsanitize=address,undefined -fno-sanitize-recover=all -DQUELL_NO_VECTORS" \
	  all build/sanitize/unit

coverage: ## build/coverage: lines run by the Check suites and the command-line cases (gcov)
	$(MAKE) BUILD=build/coverage OPTIMISE="-O0 -g" SANITIZE=--coverage all build/coverage/unit
	-build/coverage/unit
	-QUELL=$(CURDIR)/build/coverage/quell tests/cli/run
	find build/coverage/src -name '*.gcda' -exec gcov -n {} + 2>/dev/null | awk -F"'" '/^File .src/ { file = $$2 } \
	  /^Lines executed/ && file { sub(/Lines executed:/, ""); print $$0, file; file = "" }' | sort -n

# ------------------------------------------------------------ fuzzing: tests/fuzz
FUZZ_S ?= 60
FUZZ_NAMES := text uff sound machine plan saved proof
FUZZ_SHARED := $(call objects,$(addprefix tests/fuzz/fuzz_,setup.c recording.c properties.c))
FUZZ_RUNS := $(addprefix fuzz-,$(FUZZ_NAMES))
FUZZ_REPLAYS := $(addprefix $(BUILD)/replay-,$(FUZZ_NAMES))
.PHONY: $(FUZZ_RUNS)

$(FUZZ_REPLAYS): $(BUILD)/replay-%: $(BUILD)/tests/fuzz/fuzz_%.o $(BUILD)/tests/fuzz/replay.o $(FUZZ_SHARED) $(LIBRARY)
	$(CC) $(LDFLAGS) -o $@ $^ $(LDLIBS)

$(addprefix $(BUILD)/,$(FUZZ_RUNS)): $(BUILD)/fuzz-%: $(BUILD)/tests/fuzz/fuzz_%.o $(FUZZ_SHARED) $(LIBRARY)
	$(CC) $(LDFLAGS) -fsanitize=fuzzer -o $@ $^ $(LDLIBS)

fuzz: ## each target in turn for FUZZ_S seconds (60); fuzz-text, fuzz-uff, fuzz-sound, fuzz-machine, fuzz-plan, fuzz-saved, fuzz-proof for one
	for run in $(FUZZ_RUNS); do $(MAKE) $$run || exit; done

$(FUZZ_RUNS): fuzz-%: # what fails is kept in tests/fuzz/crashes, where it is replayed from then on
	$(MAKE) CC=clang BUILD=build/fuzz OPTIMISE="-O1 -g" \
	  SANITIZE="-fsanitize=fuzzer-no-link,address,undefined -fno-sanitize-recover=all" build/fuzz/fuzz-$*
	mkdir -p build/fuzz/corpus/$* tests/fuzz/crashes/$*
	build/fuzz/fuzz-$* -max_total_time=$(FUZZ_S) -timeout=10 -rss_limit_mb=1024 -max_len=16384 -print_final_stats=1 \
	  -dict=tests/fuzz/$*.dict -artifact_prefix=tests/fuzz/crashes/$*/ build/fuzz/corpus/$* tests/fuzz/corpus/$*

replay: $(FUZZ_REPLAYS) ## the fuzz corpus and all that ever failed, once each
	for name in $(FUZZ_NAMES); do \
	  $(BUILD)/replay-$$name 20 tests/fuzz/corpus/$$name $$(find tests/fuzz/crashes/$$name -type f 2>/dev/null) || exit; done

faults: $(BUILD)/quell ## streams of their full length that are too long, too dense or never end; scripts/check runs a fiftieth
	QUELL=$(BUILD)/quell $(PYTHON) tests/faults --full

lint: ## clang-tidy, cppcheck and the layer check
	./scripts/check-layers
	clang-tidy --quiet $(wildcard src/*/*.c) -- -std=c11 -Iinclude -Isrc -D_POSIX_C_SOURCE=200809L
	cppcheck --quiet --enable=warning,performance,portability --inline-suppr -Iinclude -Isrc src

format: ## clang-format on all sources
	clang-format -i $(SOURCES)

# ------------------------------------------------------------ studies: tests/study/<name>_study.c
STUDIES := $(patsubst tests/study/%.c,$(BUILD)/%,$(wildcard tests/study/*_study.c))

$(BUILD)/modes_study: $(call objects,$(wildcard tests/study/study_*.c))

$(STUDIES): $(BUILD)/%_study: $(BUILD)/tests/study/%_study.o $(LIBRARY)
	$(CC) $(LDFLAGS) -o $@ $(filter %.o,$^) $(LIBRARY) $(LDLIBS)

study: $(STUDIES) $(BUILD)/quell ## tables of Monte-Carlo figures beside the goals of the design
	for run in $(filter-out %/modes_study,$(STUDIES)); do $$run || exit; done
	$(PYTHON) tests/study/closed_loop.py $(BUILD)/quell
	$(BUILD)/modes_study --seed 2 --markdown tests/study/RESULTS.md # 1, which is told without, is for tuning

bench: $(BUILD)/quell $(BUILD)/bench/make_log ## wall time and memory of the main job and of reading, beside scipy scripts
	./scripts/install-deps bench
	$(PYTHON) tests/study/bench.py $(BUILD)/quell
	$(PYTHON) tests/study/bench_reading.py $(BUILD)/quell $(BUILD)/bench

$(BUILD)/bench/make_log: tests/study/make_log.c
	@mkdir -p $(@D)
	$(CC) -std=c11 -O2 $(WARNINGS) -o $@ $< -lm

install: all ## into PREFIX (/usr/local)
	install -D -m 755 $(BUILD)/quell $(DESTDIR)$(PREFIX)/bin/quell

uninstall: ## remove what install put there
	rm -f $(DESTDIR)$(PREFIX)/bin/quell

clean: ## remove build/
	rm -rf $(BUILD)

help: ## this list
	@grep -hE '^[a-z]+:.*##' Makefile | sed -E 's/:.*## /\t/' | expand -t 12

-include $(shell find $(BUILD) -name '*.d' 2>/dev/null)
