# SPDX-License-Identifier: GPL-2.0-or-later
# make demo | make check do everything on a fresh Debian machine. BUILD=release|asan|ubsan|tsan picks a variant.
VERSION   = 0.1.0
SOVERSION = 0
BUILD    ?= release
PREFIX   ?= /usr/local
DESTDIR  ?=
CC       ?= cc
B         = build/$(BUILD)
# make V=1 shows the commands.
Q         = $(if $(V),,@)

# What Debian calls the things that the program, its tests and its demo need.
PACKAGES_BUILD = gcc make pkg-config libc6-dev libsndfile1-dev libfftw3-dev libsoxr-dev libjansson-dev nettle-dev libpng-dev
# Optional: with them the sound of camera and phone files is read. Found when the program is built (make CAMERA= leaves
# it out).
PACKAGES_CAMERA = libavformat-dev libavcodec-dev libswresample-dev
PACKAGES_DEMO  = espeak-ng python3-numpy python3-scipy python3-soundfile
# By command: who has a node of another make has its npm, too, which Debian's would not go with.
PACKAGES_BROWSER = $(foreach p,chromium:chromium node:nodejs npm:npm,$(if $(shell command -v $(word 1,$(subst :, ,$p)) 2>/dev/null),,$(word 2,$(subst :, ,$p))))
PACKAGES_CHECK = parallel libcmocka-dev libebur128-dev libspeexdsp-dev mandoc ffmpeg asterisk-core-sounds-en-g722 asterisk-core-sounds-fr-g722
PACKAGES_EVAL_NOISE = g++ libwebrtc-audio-processing-dev
ifeq ($(origin CAMERA),undefined)
CAMERA := $(shell pkg-config --exists 'libavformat >= 59.16' libavcodec libswresample libavutil 2>/dev/null && \
  echo libavformat libavcodec libswresample libavutil)
endif
LIBRARIES = sndfile fftw3f soxr jansson nettle libpng

WARN     = -Wall -Wextra -Wpedantic -Wshadow -Wstrict-prototypes -Werror
# Without traps and errno, gcc makes vectors of what chooses between values; no result changes.
CFLAGS_release = -O3 -g -fno-math-errno -fno-trapping-math
CFLAGS_clang   = $(CFLAGS_release)
CFLAGS_narrow  = $(CFLAGS_release) -DTT_NARROW
CFLAGS_halfwide = $(CFLAGS_release) -DTT_HALF_WIDE
CFLAGS_asan    = -O1 -g -fsanitize=address,undefined -fno-sanitize-recover=undefined -fno-omit-frame-pointer
CFLAGS_ubsan   = -O1 -g -fsanitize=undefined -fno-sanitize-recover=undefined
CFLAGS_tsan    = -O1 -g -fsanitize=thread
CFLAGS_fuzz    = -O1 -g -DTT_GUIDED_FUZZING -fsanitize=address,undefined,fuzzer-no-link -fno-sanitize-recover=undefined -fno-omit-frame-pointer
# gcc 12 for arm64 breaks off over loops that look for the largest of floats with fmax (an internal error), unless it is
# left a call.
MACHINE := $(shell $(CC) -dumpmachine 2>/dev/null)
CFLAGS_machine = $(if $(filter aarch64-%,$(MACHINE)),-fno-builtin-fmax -fno-builtin-fmin)
CPPFLAGS += -Isrc -Iinclude -Itests -Itests/support -D_DEFAULT_SOURCE -D_POSIX_C_SOURCE=200809L -D_FILE_OFFSET_BITS=64 \
  -DTIDYTAKE_VERSION='"$(VERSION)"'
CFLAGS   += -std=c17 $(WARN) -ffp-contract=off -fPIC -fvisibility=hidden -pthread $(CFLAGS_$(BUILD)) $(CFLAGS_machine)
LIBS      = $$(pkg-config --libs $(LIBRARIES)) -lm -pthread -ldl
# Asked for only when something is compiled, since `make deps` has to run before pkg-config is there.
PKG_CFLAGS = $$(pkg-config --cflags $(LIBRARIES) $(CAMERA))

LEFT_OUT     = $(if $(CAMERA),src/audio/camera_absent.c,src/audio/camera.c src/audio/camera_library.c)
LIB_SOURCES  = $(filter-out $(wildcard src/cli/*.c) $(LEFT_OUT),$(wildcard src/*/*.c))
PAGE_FILES   = $(wildcard src/report/page/*.css src/report/page/*.js)
CLI_SOURCES  = $(wildcard src/cli/*.c)
TEST_SOURCES = $(wildcard tests/*/test_*.c)
TEST_SUPPORT = $(wildcard tests/support/*.c)
LIB_OBJECTS  = $(LIB_SOURCES:%.c=$B/%.o) $B/page_files.o
CLI_OBJECTS  = $(CLI_SOURCES:%.c=$B/%.o)
SUPPORT_OBJECTS = $(TEST_SUPPORT:%.c=$B/%.o)
TESTS        = $(TEST_SOURCES:tests/%.c=$B/tests/%)

ifeq ($(MAKELEVEL),0)
MAKEFLAGS += -j$(shell nproc 2>/dev/null || echo 2)
endif

.PHONY: all deps deps-demo man lint-man demo check check-browser picture check-long check-paths check-clang \
  check-faults check-threads faults fuzz fuzz-short fuzz-long test test-install lint format bench eval-loudness \
  eval-misreads eval-edits eval-noise install uninstall dist clean
.SECONDARY:

all: $B/tidytake $B/libtidytake.so.$(SOVERSION)

$B/%.o: %.c
	@mkdir -p $(@D)
	@echo '  CC $<'
	$Q$(CC) $(CPPFLAGS) $(CFLAGS) $(PKG_CFLAGS) -MMD -MP -c -o $@ $<

# Which way arithmetic went tells libFuzzer nothing of use, and telling it took six tenths of the time: signal blocks
# are watched for faults alone.
build/fuzz/src/dsp/%.o: CFLAGS += -O2 -fno-sanitize=fuzzer-no-link

# Style and scripts of the pages, as C.
$B/page_files.c: src/report/page/embed.awk $(PAGE_FILES)
	@mkdir -p $(@D)
	$Qawk -f src/report/page/embed.awk $(PAGE_FILES) > $@.part && mv $@.part $@
$B/page_files.o: $B/page_files.c
	@echo '  CC $<'
	$Q$(CC) $(CPPFLAGS) $(CFLAGS) $(PKG_CFLAGS) -MMD -MP -c -o $@ $<

$B/libtidytake.a: $(LIB_OBJECTS)
	@echo '  AR $@'
	$Qrm -f $@ && $(AR) rcs $@ $^

$B/libtidytake.so.$(SOVERSION): $(LIB_OBJECTS) src/libtidytake.symbols
	@echo '  LD $@'
	$Q$(CC) $(CFLAGS) $(LDFLAGS) -shared -Wl,-soname,$(@F) -Wl,--version-script=src/libtidytake.symbols -o $@ $(LIB_OBJECTS) $(LIBS)

$B/tidytake: $(CLI_OBJECTS) $B/libtidytake.a
	@echo '  LD $@'
	$Q$(CC) $(CFLAGS) $(LDFLAGS) -o $@ $^ $(LIBS)

$B/tests/%: $B/tests/%.o $(SUPPORT_OBJECTS) $B/libtidytake.a
	@echo '  LD $@'
	$Q$(CC) $(CFLAGS) $(LDFLAGS) -o $@ $^ $$(pkg-config --libs cmocka libebur128 speexdsp) $(LIBS)

# The program with calls that can be made to fail: tests/faults/inject.c.
FAULT_CALLS = malloc calloc realloc aligned_alloc strdup fftwf_alloc_real fftwf_alloc_complex fftwf_plan_dft_r2c_1d \
  fftwf_plan_dft_c2r_1d fftwf_plan_dft_1d fftwf_plan_guru_split_dft sf_open_virtual sf_readf_float sf_writef_int \
  json_object json_array json_string json_stringn json_integer json_real json_loadb json_object_set_new \
  json_array_append_new json_object_update json_dumps soxr_create read pread64 pwrite64 fsync rename link unlink \
  mkdir opendir readdir64 mmap64 flock pthread_create open64
$B/tests/faults/tidytake: $B/tests/faults/inject.o $(CLI_OBJECTS) $B/libtidytake.a
	@echo '  LD $@'
	$Q$(CC) $(CFLAGS) $(LDFLAGS) $(FAULT_CALLS:%=-Wl,--wrap=%) -o $@ $^ $(LIBS)

# Any bytes as what the program reads. Two ways to run a target: a driver of our own (short, any compiler), and
# libFuzzer (BUILD=fuzz, clang).
FUZZERS = $(patsubst tests/%.c,$B/tests/%,$(filter-out tests/faults/%,$(wildcard tests/*/fuzz_*.c)))
FUZZ_MAIN = $(if $(filter fuzz,$(BUILD)),,$B/tests/faults/fuzz_main.o)
$(FUZZERS): $B/tests/%: $B/tests/%.o $(FUZZ_MAIN) $B/libtidytake.a
	@echo '  LD $@'
	$Q$(CC) $(CFLAGS) $(LDFLAGS) $(if $(FUZZ_MAIN),,-fsanitize=fuzzer) -o $@ $^ $(LIBS)

# ---- machine ----

PYTHON   ?= /usr/bin/python3
# Installs what is missing, as root or by sudo; names it where neither is to be had. Where packages are not Debian's,
# what is missing shows when it is built.
define need
	@command -v dpkg-query >/dev/null 2>&1 || exit 0; missing=; for p in $(1); do dpkg-query -W -f '$${Status}' $$p 2>/dev/null | grep -q 'ok installed' || missing="$$missing $$p"; done; \
	if [ -n "$$missing" ]; then \
	  if [ "$$(id -u)" = 0 ]; then asroot=; elif sudo -n true 2>/dev/null || { [ -t 0 ] && sudo -v; }; then asroot=sudo; \
	  else echo "please have installed:$$missing" >&2; exit 1; fi; \
	  $$asroot apt-get update -qq && DEBIAN_FRONTEND=noninteractive $$asroot apt-get install -y -qq --no-install-recommends $$missing; \
	fi
endef

deps:
	$(call need,$(PACKAGES_BUILD) $(PACKAGES_CAMERA) $(PACKAGES_DEMO) $(PACKAGES_CHECK))
deps-demo:
	$(call need,$(PACKAGES_BUILD) $(PACKAGES_CAMERA) $(PACKAGES_DEMO))

# ---- demo ----

demo: deps-demo
	@$(MAKE) --no-print-directory all
	@$(PYTHON) fixtures/make_demo.py demo
	@for language in en fr; do \
	  echo && echo "== demo/$$language" && $B/tidytake clean demo/$$language || exit 1; done
	@echo && echo "== where the picture must hold" && $B/tidytake lengths demo/en demo/fr
	@echo
	@echo "The voice of this demo is synthetic. Hear and see what was done to it:"
	@echo "    xdg-open demo/en.tidy/index.html      (or demo/fr.tidy/index.html)"
	@echo "Then take a decision back: in demo/en.tidy/sheets/ change one 'cut' of the"
	@echo "column action to 'keep', save, and run"
	@echo "    $B/tidytake clean demo/en"
	@echo "Your own recordings:  $B/tidytake clean FOLDER"

# ---- tests ----

test: all $(TESTS)
	@tests/run $B $(TESTS)

check: deps
	@tests/lint
	@$(MAKE) --no-print-directory BUILD=release test
	@$(MAKE) --no-print-directory BUILD=asan test
	@$(MAKE) --no-print-directory BUILD=release faults FAULT_SECONDS=10
	@$(MAKE) --no-print-directory BUILD=asan faults FAULT_SECONDS=5
	@$(MAKE) --no-print-directory BUILD=asan fuzz-short
	@$(MAKE) --no-print-directory lint-man
	@$(MAKE) --no-print-directory BUILD=release test-install

# Calls of each kind fail, and 500 runs are killed: two hours. Then half an hour of processor time under libFuzzer for
# each target (make fuzz FUZZ_SECONDS=60: less).
check-faults: deps
	@$(MAKE) --no-print-directory BUILD=release faults
	@$(MAKE) --no-print-directory fuzz
# What threads do to each other, as the sanitizer for it sees it: tests that run whole sessions.
THREAD_TESTS = base/test_crew base/test_relay base/test_turns session/test_jobs pipeline/test_unit_row \
  stages/test_rereads_between session/test_clean session/test_watch session/test_part session/test_bad_input \
  session/test_delivered pipeline/test_hear pipeline/test_render
check-threads: deps
	@$(MAKE) --no-print-directory BUILD=tsan test TESTS="$(THREAD_TESTS:%=build/tsan/tests/%)"

FAULT_SECONDS ?=
faults: all $B/tests/faults/tidytake
	@TIDYTAKE_FIXTURES=$(CURDIR)/fixtures $(PYTHON) tests/faults/faults.py $B $(if $(FAULT_SECONDS),--seconds $(FAULT_SECONDS))
FUZZ_SECONDS ?= 1800
fuzz-short: $(FUZZERS)
	@tests/faults/fuzz own 3 $(FUZZERS)
# FUZZ='heard order' for some of them. clang and its run-time library are needed for it alone.
FUZZ = $(patsubst fuzz_%,%,$(notdir $(FUZZERS)))
fuzz: deps
	$(call need,clang libclang-rt-dev)
	@$(MAKE) --no-print-directory BUILD=fuzz CC="$(if $(findstring clang,$(CC)),$(CC),clang)" fuzz-long
fuzz-long: $(FUZZERS)
	@tests/faults/fuzz libfuzzer $(FUZZ_SECONDS) $(foreach f,$(FUZZ),$(filter %/fuzz_$f,$(FUZZERS)))

check-long: deps
	@$(MAKE) --no-print-directory check
	@TIDYTAKE_LONG_TESTS=1 $(MAKE) --no-print-directory BUILD=release test TESTS=build/release/tests/audio/test_writer
	@MAKE="$(MAKE)" tests/install/without_camera
	@$(MAKE) --no-print-directory check-paths
	@$(MAKE) --no-print-directory check-clang

# The other compiler: its warnings, and all tests.
check-clang: deps
	$(call need,clang)
	@$(MAKE) --no-print-directory BUILD=clang CC=clang test

# Loops as wide as the processor, half as wide, and not wide: the same decisions, the same voices but for rounding
# (src/base/wide.h).
check-paths: deps
	@$(MAKE) --no-print-directory BUILD=release all build/release/tests/bench/bench
	@$(MAKE) --no-print-directory BUILD=halfwide build/halfwide/tidytake
	@$(MAKE) --no-print-directory BUILD=narrow build/narrow/tidytake
	@$(PYTHON) tests/paths/paths.py build/release/tests/bench/bench build/release build/halfwide build/narrow

# The pages in a real browser. Not part of check: npm needs the network once.
check-browser: deps
	$(call need,$(PACKAGES_BROWSER))
	@$(MAKE) --no-print-directory BUILD=release all
	@mkdir -p build/browser && cp tests/browser/package.json build/browser/
	@cd build/browser && { [ -d node_modules/playwright-core ] && [ -d node_modules/axe-core ] || npm install --silent --no-audit --no-fund; }
	@node tests/browser/pages.mjs build/release/tidytake fixtures build/browser
# The README's picture of a page, of the demo as it is now; behind check-browser, which fetches what drives the browser.
picture: demo
	@node tests/browser/picture.mjs demo/en.tidy 003 man/page.png build/browser

$B/man/%: man/% $B/tidytake
	@mkdir -p $(@D)
	@$B/tidytake settings --mdoc > $B/settings.mdoc
	@sed -e '/^\.\\" SETTINGS$$/{r $B/settings.mdoc' -e 'd}' $< > $@

MAN_PAGES = $(wildcard man/*.[15])
man: $(MAN_PAGES:man/%=$B/man/%)
lint-man: man
	@cd $B/man && mandoc -T lint -W warning $(notdir $(MAN_PAGES)) && echo "manual pages: clean"

# ---- time ----

BENCH_SOURCES = $(wildcard tests/bench/*.c)
$B/tests/bench/bench: $(BENCH_SOURCES:%.c=$B/%.o)
	@echo '  LD $@'
	$Q$(CC) $(CFLAGS) $(LDFLAGS) -o $@ $^ $$(pkg-config --libs libebur128) $(LIBS)

eval-loudness: deps
	@$(MAKE) --no-print-directory all
	@tests/eval/run_loudness $B $(PYTHON)

# How well misreads are found on labelled sessions of recorded voices. make eval-misreads EVAL_MINUTES=30 EVAL_SEED=2
# for a longer look at others.
EVAL_MINUTES ?= 5
EVAL_SEED    ?= 1
eval-misreads: deps
	@$(MAKE) --no-print-directory BUILD=release all
	@mkdir -p build/eval
	@$(PYTHON) tests/eval/misreads_eval.py --program build/release/tidytake --work build/eval --minutes $(EVAL_MINUTES) --seed $(EVAL_SEED)

# How well the room is taken out, beside two libraries: some five minutes at first, two when only the program has
# changed. FULL=1 looks at longer takes and a second seed; EVAL_NOISE="--voice fr --room pink --ours" at a part.
EVAL_NOISE ?=
NOISE_LIBRARIES = build/release/tests/eval/noise_libraries
$(NOISE_LIBRARIES): tests/eval/noise_libraries.cc
	@mkdir -p $(@D)
	@echo '  CXX $@'
	$Q$(CXX) -std=c++17 -O2 -Wall $$(pkg-config --cflags webrtc-audio-processing speexdsp) -o $@ $< $$(pkg-config --libs webrtc-audio-processing speexdsp)

eval-noise: deps
	$(call need,$(PACKAGES_EVAL_NOISE))
	@$(MAKE) --no-print-directory BUILD=release all $(NOISE_LIBRARIES)
	@OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 $(PYTHON) tests/eval/noise_eval.py --program build/release/tidytake --libraries $(NOISE_LIBRARIES) \
	  --work build/eval $(if $(FULL),--full) $(EVAL_NOISE)

# How good the edits are: words, pauses, breaths, joins, against the goals. Some four minutes; FULL=1 takes six times as
# many sessions.
eval-edits: deps
	@$(MAKE) --no-print-directory BUILD=release all
	@mkdir -p build/eval
	@$(PYTHON) tests/eval/edits_eval.py --program build/release/tidytake --work build/eval --seed $(EVAL_SEED) $(if $(FULL),--full)

# Some five minutes; TIDYTAKE_LONG_BENCH=1 adds ten hours of sound, and 96 kHz in stereo. BENCH="hour many": these parts
# alone (tests/bench/bench.c).
BENCH ?=
bench: deps
	@$(MAKE) --no-print-directory BUILD=release all build/release/tests/bench/bench
	@build/release/tests/bench/bench build/release/tidytake $(BENCH)

lint: deps
	@tests/lint
format:
	clang-format -i $$(git ls-files '*.[ch]')

# ---- installing ----

INSTALL = install
# Where things go, below DESTDIR. Only names of ours are ever removed again.
BINDIR     = $(PREFIX)/bin
LIBDIR     = $(PREFIX)/lib
INCLUDEDIR = $(PREFIX)/include/tidytake
MANDIR     = $(PREFIX)/share/man
BASH_DIR   = $(PREFIX)/share/bash-completion/completions
UNIT_DIR   = $(PREFIX)/lib/systemd/user
ZSH_DIR    = $(PREFIX)/share/zsh/site-functions
FISH_DIR   = $(PREFIX)/share/fish/vendor_completions.d

define PC
prefix=$(PREFIX)
libdir=$${prefix}/lib
includedir=$${prefix}/include

Name: tidytake
Description: turns a folder of raw narration takes into a clean voice track
Version: $(VERSION)
Requires.private: $(LIBRARIES)
Libs: -L$${libdir} -ltidytake
Libs.private: -lm -pthread -ldl
Cflags: -I$${includedir}
endef
export PC

install: all man
	$(INSTALL) -d $(addprefix $(DESTDIR),$(BINDIR) $(LIBDIR)/pkgconfig $(INCLUDEDIR) $(MANDIR)/man1 $(MANDIR)/man5 $(BASH_DIR) $(ZSH_DIR) $(FISH_DIR) $(UNIT_DIR))
	$(INSTALL) -m 755 $B/tidytake $(DESTDIR)$(BINDIR)/
	$(INSTALL) -m 644 $B/libtidytake.a $(DESTDIR)$(LIBDIR)/
	$(INSTALL) -m 755 $B/libtidytake.so.$(SOVERSION) $(DESTDIR)$(LIBDIR)/
	ln -sf libtidytake.so.$(SOVERSION) $(DESTDIR)$(LIBDIR)/libtidytake.so
	printf '%s\n' "$$PC" > $(DESTDIR)$(LIBDIR)/pkgconfig/tidytake.pc
	$(INSTALL) -m 644 $(wildcard include/tidytake/*.h) $(DESTDIR)$(INCLUDEDIR)/
	$(INSTALL) -m 644 $(filter %.1,$(MAN_PAGES:man/%=$B/man/%)) $(DESTDIR)$(MANDIR)/man1/
	$(INSTALL) -m 644 $(filter %.5,$(MAN_PAGES:man/%=$B/man/%)) $(DESTDIR)$(MANDIR)/man5/
	sed 's|@BINDIR@|$(BINDIR)|' man/tidytake-watch@.service > $(DESTDIR)$(UNIT_DIR)/tidytake-watch@.service
	$B/tidytake --completions bash > $(DESTDIR)$(BASH_DIR)/tidytake
	$B/tidytake --completions zsh > $(DESTDIR)$(ZSH_DIR)/_tidytake
	$B/tidytake --completions fish > $(DESTDIR)$(FISH_DIR)/tidytake.fish

uninstall:
	rm -f $(addprefix $(DESTDIR),$(BINDIR)/tidytake $(LIBDIR)/libtidytake.a $(LIBDIR)/libtidytake.so $(LIBDIR)/libtidytake.so.$(SOVERSION) \
	  $(LIBDIR)/pkgconfig/tidytake.pc $(UNIT_DIR)/tidytake-watch@.service $(BASH_DIR)/tidytake $(ZSH_DIR)/_tidytake $(FISH_DIR)/tidytake.fish)
	rm -f $(patsubst man/%,$(DESTDIR)$(MANDIR)/man1/%,$(filter %.1,$(MAN_PAGES))) $(patsubst man/%,$(DESTDIR)$(MANDIR)/man5/%,$(filter %.5,$(MAN_PAGES)))
	rm -rf $(DESTDIR)$(INCLUDEDIR)

test-install: all man
	@tests/install/run $B "$(CC)"
	@PYTHON=$(PYTHON) tests/install/manual $B

# The same bytes from the same commit, wherever it is made: names in order, times and owners of the commit.
dist:
	@mkdir -p build
	@git archive --format=tar --prefix=tidytake-$(VERSION)/ HEAD | gzip -n -9 > build/tidytake-$(VERSION).tar.gz
	@echo build/tidytake-$(VERSION).tar.gz

clean:
	rm -rf build demo

-include $(shell find build -name '*.d' 2>/dev/null)
