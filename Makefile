# searun - see README.md. `make demo` and `make check` do everything; `make help` lists the rest.
VERSION := 0.1.0
PREFIX ?= /usr/local
DESTDIR ?=
UNITDIR ?= $(PREFIX)/lib/systemd/system
SYSUSERSDIR ?= $(PREFIX)/lib/sysusers.d
CC ?= gcc
CLANG ?= clang
B ?= build/release
OPT ?= -O2 -g
SAN ?=
WARN := -Wall -Wextra -Wshadow -Wmissing-prototypes -Wstrict-prototypes -Wconversion -Wformat=2 -Wvla

PKGS_LOGGER := hdf5 libserialport inih libmd libcjson
PKGS_ANALYZE := hdf5 gsl libcjson inih libmd pangocairo fontconfig librsvg-2.0
PKGS_TEST := cmocka libcjson
pkg = $(shell pkg-config $(1) $(2) 2>/dev/null)
LIBS_LOGGER = -lhdf5_hl $(call pkg,--libs,$(PKGS_LOGGER)) -lpthread -lm
LIBS_ANALYZE = -lhdf5_hl $(call pkg,--libs,$(PKGS_ANALYZE)) -lm
# One package at a time: one that is not needed here (cmocka for a demo) must not hide the others.
INCLUDES := -Iinclude $(sort $(foreach p,$(PKGS_LOGGER) $(PKGS_ANALYZE) $(PKGS_TEST),\
	$(call pkg,--cflags-only-I,$(p))))
CFLAGS_ALL = -std=c11 -D_GNU_SOURCE $(OPT) $(WARN) $(WERROR) $(SAN) \
	-DSEARUN_VERSION='"$(VERSION)"' $(INCLUDES) $(CFLAGS)

RUN_SRC := $(wildcard logger/run/*.c)
LOGGER_SRC := $(filter-out logger/main.c,$(wildcard logger/*.c))
ANALYZE_SRC := $(filter-out analyze/main.c,$(wildcard analyze/*.c))
SIM_SRC := $(filter-out %_main.c,$(wildcard tests/simulated/*.c))
obj = $(patsubst %.c,$(B)/%.o,$(1))
program = $(patsubst %.c,$(B)/%,$(1))
UNIT := $(call program,$(wildcard tests/unit/test_*.c))
WHOLE := $(call program,$(wildcard tests/whole/test_*.c tests/faults/test_*.c))
SHIMS := $(patsubst %.c,$(B)/%.so,$(wildcard tests/faults/shim_*.c))
BENCH := $(call program,$(wildcard tests/bench/bench_*.c))
FUZZ := $(patsubst tests/fuzz/fuzz_%.c,%,$(wildcard tests/fuzz/fuzz_*.c))
LIBS_OURS = $(B)/liblogger.a $(B)/libanalyze.a $(B)/libsim.a $(B)/librun.a

.PHONY: all programs tests bench-programs help
all: programs
programs: $(B)/searun-logger $(B)/searun-analyze
tests: programs $(B)/boat-model $(UNIT) $(WHOLE) $(SHIMS)
bench-programs: programs $(B)/boat-model $(BENCH)

help:
	@echo "make             build searun-logger and searun-analyze into build/release"
	@echo "make demo        install what is missing, build, record two sample runs, compare them, show seasons"
	@echo "make check       install what is missing, build, run all tests (some minutes)"
	@echo "make check-long  ... and the long ones: coverage, fuzzing, guest machines (an hour and more)"
	@echo "make coverage    how often the 95 % intervals hold the truth, by family of conditions"
	@echo "make bench       speeds, sizes and memory"
	@echo "make install     DESTDIR= PREFIX=/usr/local; make uninstall with the same takes it away"
	@echo "make clean"

# --- programs and libraries
$(B)/librun.a: $(call obj,$(RUN_SRC))
$(B)/liblogger.a: $(call obj,$(LOGGER_SRC))
$(B)/libanalyze.a: $(call obj,$(ANALYZE_SRC))
$(B)/libsim.a: $(call obj,$(SIM_SRC))
$(B)/%.a:
	@mkdir -p $(@D)
	@rm -f $@
	@echo "  AR    $@"
	@ar rcs $@ $^
$(B)/searun-logger: $(B)/logger/main.o $(B)/liblogger.a $(B)/librun.a
	@echo "  LINK  $@"
	@$(CC) $(SAN) -o $@ $^ $(LIBS_LOGGER)
$(B)/searun-analyze: $(B)/analyze/main.o $(B)/libanalyze.a $(B)/librun.a
	@echo "  LINK  $@"
	@$(CC) $(SAN) -o $@ $^ $(LIBS_ANALYZE)
$(B)/boat-model: $(B)/tests/simulated/boat_main.o $(B)/libsim.a $(B)/librun.a
	@echo "  LINK  $@"
	@$(CC) $(SAN) -o $@ $^ $(LIBS_ANALYZE)
$(B)/%.o: %.c
	@mkdir -p $(@D)
	@echo "  CC    $<"
	@$(CC) $(CFLAGS_ALL) -MMD -MP -c -o $@ $<
$(UNIT) $(WHOLE) $(BENCH): %: %.o $(LIBS_OURS)
	@echo "  LINK  $@"
	@$(CC) $(SAN) -o $@ $< $(LIBS_OURS) $(LIBS_ANALYZE) $(LIBS_LOGGER) $(call pkg,--libs,$(PKGS_TEST))
$(SHIMS): $(B)/%.so: %.c
	@mkdir -p $(@D)
	@echo "  LINK  $@"
	@$(CC) -std=c11 $(WARN) $(WERROR) -O1 -fPIC -shared -o $@ $< -ldl
.SECONDARY:
-include $(shell find $(B) -name '*.d' 2>/dev/null)

# --- what people call
.PHONY: demo check check-long coverage bench install uninstall clean fuzz-programs
J = -j$(shell nproc)

demo:
	@scripts/install-deps build
	@$(MAKE) --no-print-directory $(J) programs $(B)/boat-model
	@scripts/demo

# Tests run against programs built with the address and undefined-behaviour sanitizers; the programs
# people use are built too, without a warning, by gcc and by clang.
ASAN_FLAGS := B=build/asan OPT='-O1 -g -fno-omit-frame-pointer' \
	SAN='-fsanitize=address,undefined -fno-sanitize-recover=undefined' WERROR=-Werror
TEST_ENV = SEARUN_LOGGER=build/asan/searun-logger SEARUN_ANALYZE=build/asan/searun-analyze \
	SEARUN_BOAT_MODEL=build/asan/boat-model UBSAN_OPTIONS=print_stacktrace=1 \
	LSAN_OPTIONS="suppressions=$(CURDIR)/tests/lsan-suppressions:print_suppressions=0"

# Tests of whole programs that do not mind what runs beside them: the analyzer waits for nothing.
CALM := $(foreach t,paper analyze seasons service sheets crosscheck_r crosscheck_gls_r,$(B)/tests/whole/test_$(t))

check:
	@scripts/install-deps check
	@$(MAKE) --no-print-directory $(J) WERROR=-Werror tests bench-programs
	@$(MAKE) --no-print-directory $(J) B=build/clang CC=$(CLANG) WERROR=-Werror programs
	@$(MAKE) --no-print-directory $(J) $(ASAN_FLAGS) tests
	@$(MAKE) --no-print-directory $(J) fuzz-programs
	@$(TEST_ENV) scripts/run-tests --together "layers=scripts/check-layers" \
		$(patsubst $(B)/%,build/asan/%,$(CALM) $(UNIT)) \
		$(foreach f,$(FUZZ),"fuzz-$(f)=scripts/fuzz-sample build/fuzz/fuzz_$(f) tests/fuzz/corpus/$(f) 5") \
		-- $(patsubst $(B)/%,build/asan/%,$(filter-out $(CALM),$(WHOLE)))

# Tests and benches without a warning by clang, and the logger and the tests of what its threads share once more
# under the thread sanitizer.
THREADED := $(addprefix build/tsan/tests/unit/test_,ring writer rebuild) build/tsan/searun-logger \
	build/tsan/tests/faults/shim_storage.so
check-long: check
	@scripts/install-deps long
	@$(MAKE) --no-print-directory $(J) B=build/clang CC=$(CLANG) WERROR=-Werror tests bench-programs
	@$(MAKE) --no-print-directory $(J) B=build/tsan OPT='-O1 -g' SAN='-fsanitize=thread' $(THREADED)
	@scripts/check-long

coverage:
	@scripts/install-deps build
	@$(MAKE) --no-print-directory $(J) bench-programs
	@build/release/tests/bench/bench_coverage --pairs 1000 --jobs $(shell nproc)

bench:
	@scripts/install-deps check
	@$(MAKE) --no-print-directory $(J) bench-programs
	@scripts/bench

# Fuzz targets link with libFuzzer. Each is one file that includes nothing but our own headers.
FUZZ_SAN := -fsanitize=fuzzer-no-link,address,undefined
fuzz-programs:
	@$(MAKE) --no-print-directory B=build/fuzz CC=$(CLANG) OPT='-O1 -g' SAN='$(FUZZ_SAN)' \
		$(foreach f,$(FUZZ),build/fuzz/fuzz_$(f))
$(B)/fuzz_%: $(B)/tests/fuzz/fuzz_%.o $(B)/liblogger.a $(B)/libanalyze.a $(B)/librun.a
	@echo "  LINK  $@"
	@$(CC) -fsanitize=fuzzer,address,undefined -o $@ $^ $(LIBS_ANALYZE) $(LIBS_LOGGER)

# What README.md names stands beside it under the same names.
DOCS := README.md DEVELOPERS.md LICENSE logger/example.ini logger/example-sheet.csv \
	logger/searun-adapters.rules logger/searun-can.network logger/searun-buffers.conf \
	sample-runs/chart.png
install: programs
	install -d $(DESTDIR)$(PREFIX)/bin $(DESTDIR)$(PREFIX)/share/man/man1
	install -m 755 $(B)/searun-logger $(B)/searun-analyze $(DESTDIR)$(PREFIX)/bin/
	install -m 644 logger/searun-logger.1 analyze/searun-analyze.1 \
		$(DESTDIR)$(PREFIX)/share/man/man1/
	for file in $(DOCS); do \
		install -D -m 644 $$file $(DESTDIR)$(PREFIX)/share/doc/searun/$$file || exit; done
	install -d $(DESTDIR)$(UNITDIR) $(DESTDIR)$(SYSUSERSDIR)
	sed 's|/usr/local/bin/|$(PREFIX)/bin/|' logger/searun-logger.service \
		>$(DESTDIR)$(UNITDIR)/searun-logger.service
	chmod 644 $(DESTDIR)$(UNITDIR)/searun-logger.service
	install -m 644 logger/searun-sysusers.conf $(DESTDIR)$(SYSUSERSDIR)/searun.conf

uninstall:
	rm -f $(addprefix $(DESTDIR)$(PREFIX)/bin/,searun-logger searun-analyze) \
		$(addprefix $(DESTDIR)$(PREFIX)/share/man/man1/,searun-logger.1 searun-analyze.1)
	rm -f $(DESTDIR)$(UNITDIR)/searun-logger.service $(DESTDIR)$(SYSUSERSDIR)/searun.conf
	rm -rf $(DESTDIR)$(PREFIX)/share/doc/searun

clean:
	rm -rf build demo
