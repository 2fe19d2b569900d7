# SPDX-License-Identifier: GPL-2.0-or-later
# make demo | make check do everything on a fresh Debian machine. BUILD=release|asan|ubsan|tsan picks a variant.
VERSION   = 0.1.0
SOVERSION = 0
BUILD    ?= release
PREFIX   ?= /usr/local
DESTDIR  ?=
CC       ?= cc
B         = build/$(BUILD)

# What Debian calls the things that the program, its tests and its demo need.
PACKAGES_BUILD = gcc make pkg-config libc6-dev libsndfile1-dev libfftw3-dev libsoxr-dev libjansson-dev nettle-dev
PACKAGES_DEMO  = espeak-ng python3-numpy python3-scipy python3-soundfile
PACKAGES_CHECK = libcmocka-dev libebur128-dev mandoc ffmpeg asterisk-core-sounds-en-g722 asterisk-core-sounds-fr-g722
LIBRARIES = sndfile fftw3f soxr jansson nettle

WARN     = -Wall -Wextra -Wpedantic -Wshadow -Wstrict-prototypes -Werror
CFLAGS_release = -O3 -g
CFLAGS_asan    = -O1 -g -fsanitize=address,undefined -fno-sanitize-recover=undefined -fno-omit-frame-pointer
CFLAGS_ubsan   = -O1 -g -fsanitize=undefined -fno-sanitize-recover=undefined
CFLAGS_tsan    = -O1 -g -fsanitize=thread
CPPFLAGS += -Isrc -Iinclude -D_DEFAULT_SOURCE -D_POSIX_C_SOURCE=200809L -D_FILE_OFFSET_BITS=64 -DTIDYTAKE_VERSION='"$(VERSION)"'
CFLAGS   += -std=c17 $(WARN) -ffp-contract=off -fPIC -fvisibility=hidden -pthread $(CFLAGS_$(BUILD))
LIBS      = $$(pkg-config --libs $(LIBRARIES)) -lm -pthread
# Asked for only when something is compiled, since `make deps` has to run before pkg-config is there.
PKG_CFLAGS = $$(pkg-config --cflags $(LIBRARIES))

LIB_SOURCES  = $(filter-out $(wildcard src/cli/*.c),$(wildcard src/*/*.c))
CLI_SOURCES  = $(wildcard src/cli/*.c)
TEST_SOURCES = $(wildcard tests/*/test_*.c)
TEST_SUPPORT = $(wildcard tests/support/*.c)
LIB_OBJECTS  = $(LIB_SOURCES:%.c=$B/%.o)
CLI_OBJECTS  = $(CLI_SOURCES:%.c=$B/%.o)
SUPPORT_OBJECTS = $(TEST_SUPPORT:%.c=$B/%.o)
TESTS        = $(TEST_SOURCES:tests/%.c=$B/tests/%)

.PHONY: all deps demo check check-long test lint format bench install uninstall clean
.SECONDARY:

all: $B/tidytake $B/libtidytake.so.$(SOVERSION)

$B/%.o: %.c
	@mkdir -p $(@D)
	$(CC) $(CPPFLAGS) $(CFLAGS) $(PKG_CFLAGS) -MMD -MP -c -o $@ $<

$B/libtidytake.a: $(LIB_OBJECTS)
	rm -f $@ && $(AR) rcs $@ $^

$B/libtidytake.so.$(SOVERSION): $(LIB_OBJECTS)
	$(CC) $(CFLAGS) $(LDFLAGS) -shared -Wl,-soname,$(@F) -o $@ $^ $(LIBS)

$B/tidytake: $(CLI_OBJECTS) $B/libtidytake.a
	$(CC) $(CFLAGS) $(LDFLAGS) -o $@ $^ $(LIBS)

$B/tests/%: $B/tests/%.o $(SUPPORT_OBJECTS) $B/libtidytake.a
	$(CC) $(CFLAGS) $(LDFLAGS) -o $@ $^ $$(pkg-config --libs cmocka libebur128) $(LIBS)

-include $(shell find build -name '*.d' 2>/dev/null)
