# quell: `make` builds build/quell; `make help` lists the rest.
CC ?= gcc
BUILD ?= build
PREFIX ?= /usr/local
PYTHON := $(shell for p in python3 /usr/bin/python3; do $$p -c 'import scipy' 2>/dev/null && echo $$p && break; done)

PACKAGES := fftw3 gsl jansson inih zlib
WARNINGS := -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wsign-conversion -Wdouble-promotion -Wstrict-prototypes \
  -Wmissing-prototypes -Wcast-qual -Wwrite-strings -Wundef -Wvla -Wformat=2 -Wimplicit-fallthrough
ifneq (,$(findstring clang,$(CC)))
  WARNINGS += -Wno-double-promotion # clang counts the float macros NAN and INFINITY as promotions; gcc checks ours
endif
OPTIMISE ?= -O2 -g
SANITIZE :=
CFLAGS += -std=c11 $(OPTIMISE) -ffp-contract=off $(WARNINGS) $(if $(CI),-Werror) $(SANITIZE)
CPPFLAGS += -Iinclude -Isrc -D_POSIX_C_SOURCE=200809L -MMD -MP $(shell pkg-config --cflags $(PACKAGES))
LDLIBS += $(shell pkg-config --libs $(PACKAGES)) -lm
LDFLAGS += $(SANITIZE)

LIBRARY_SOURCES := $(filter-out src/cli/%,$(wildcard src/*/*.c))
CLI_SOURCES := $(wildcard src/cli/*.c)
TEST_SOURCES := $(wildcard tests/unit/*.c tests/property/*.c tests/external/*.c)
objects = $(patsubst %.c,$(BUILD)/%.o,$(1))
LIBRARY := $(BUILD)/libquell.a
SOURCES := $(shell find include src tests -name '*.[ch]')

.PHONY: all check unit sanitize lint format bench install uninstall clean help
all: $(BUILD)/quell

$(BUILD)/%.o: %.c
	@mkdir -p $(@D)
	$(CC) $(CPPFLAGS) $(CFLAGS) -c -o $@ $<

$(LIBRARY): $(call objects,$(LIBRARY_SOURCES))
	@rm -f $@
	$(AR) rcs $@ $^

$(BUILD)/quell: $(call objects,$(CLI_SOURCES)) $(LIBRARY)
	$(CC) $(LDFLAGS) -o $@ $^ $(LDLIBS)

# The cli's own objects but main are linked in too: the tests reach the option table and the commands.
$(BUILD)/unit: $(call objects,$(TEST_SOURCES)) $(LIBRARY)
	$(CC) $(LDFLAGS) -o $@ $^ $(shell pkg-config --libs check) $(LDLIBS)

unit: $(BUILD)/unit ## the Check suites alone
	$(BUILD)/unit

help: ## this list
	@grep -hE '^[a-z]+:.*##' Makefile | sed -E 's/:.*## /\t/' | expand -t 12

clean: ## remove build/
	rm -rf $(BUILD)

-include $(shell find $(BUILD) -name '*.d' 2>/dev/null)
