# searun - see README.md. `make demo` and `make check` do everything; `make help` lists the rest.
VERSION := 0.1.0
PREFIX ?= /usr/local
DESTDIR ?=
CC ?= gcc
B ?= build/release
OPT ?= -O2 -g
SAN ?=
WARN := -Wall -Wextra -Wshadow -Wmissing-prototypes -Wstrict-prototypes -Wconversion -Wformat=2 -Wvla
PKGS_LOGGER := hdf5 libserialport inih libmd
PKGS_ANALYZE := hdf5 gsl libcjson inih libmd
PKGS_TEST := cmocka libcjson
pkg = $(shell pkg-config $(1) $(2) 2>/dev/null)
CFLAGS_ALL = -std=c11 -D_GNU_SOURCE $(OPT) $(WARN) $(WERROR) $(SAN) -DSEARUN_VERSION='"$(VERSION)"' \
	-Iinclude $(call pkg,--cflags-only-I,$(PKGS_LOGGER) $(PKGS_ANALYZE) $(PKGS_TEST)) $(CFLAGS)

RUN_SRC := $(wildcard logger/run/*.c)
LOGGER_SRC := $(filter-out logger/main.c,$(wildcard logger/*.c))
ANALYZE_SRC := $(filter-out analyze/main.c,$(wildcard analyze/*.c))
SIM_SRC := $(filter-out %_main.c,$(wildcard tests/simulated/*.c))
obj = $(patsubst %.c,$(B)/%.o,$(1))
UNIT := $(patsubst tests/unit/%.c,$(B)/tests/unit/%,$(wildcard tests/unit/test_*.c))
BENCH := $(patsubst tests/bench/%.c,$(B)/tests/bench/%,$(wildcard tests/bench/bench_*.c))
LDLIBS_LOGGER = $(call pkg,--libs,$(PKGS_LOGGER)) -lpthread -lm
LDLIBS_ANALYZE = $(call pkg,--libs,$(PKGS_ANALYZE)) -lm

.PHONY: all programs tests
all: programs
programs: $(B)/searun-logger $(B)/searun-analyze
$(B)/librun.a: $(call obj,$(RUN_SRC))
$(B)/liblogger.a: $(call obj,$(LOGGER_SRC))
$(B)/libanalyze.a: $(call obj,$(ANALYZE_SRC))
$(B)/libsim.a: $(call obj,$(SIM_SRC))
$(B)/%.a:
	@mkdir -p $(@D)
	@rm -f $@
	ar rcs $@ $^
$(B)/searun-logger: $(B)/logger/main.o $(B)/liblogger.a $(B)/librun.a
	$(CC) $(SAN) -o $@ $^ $(LDLIBS_LOGGER)
$(B)/searun-analyze: $(B)/analyze/main.o $(B)/libanalyze.a $(B)/librun.a
	$(CC) $(SAN) -o $@ $^ $(LDLIBS_ANALYZE)
$(B)/boat-model: $(B)/tests/simulated/boat_main.o $(B)/libsim.a $(B)/librun.a
	$(CC) $(SAN) -o $@ $^ $(LDLIBS_ANALYZE)
$(B)/%.o: %.c
	@mkdir -p $(@D)
	$(CC) $(CFLAGS_ALL) -MMD -MP -c -o $@ $<
tests: $(UNIT)
$(B)/tests/unit/test_%: $(B)/tests/unit/test_%.o $(B)/liblogger.a $(B)/libanalyze.a $(B)/libsim.a $(B)/librun.a
	$(CC) $(SAN) -o $@ $^ $(LDLIBS_ANALYZE) $(LDLIBS_LOGGER) $(call pkg,--libs,$(PKGS_TEST))
$(B)/tests/bench/bench_%: $(B)/tests/bench/bench_%.o $(B)/liblogger.a $(B)/libanalyze.a $(B)/libsim.a $(B)/librun.a
	$(CC) $(SAN) -o $@ $^ $(LDLIBS_ANALYZE) $(LDLIBS_LOGGER)
-include $(shell find $(B) -name '*.d' 2>/dev/null)
