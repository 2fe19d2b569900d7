/* SPDX-License-Identifier: GPL-2.0-or-later */
#define TT_CAMERA_LIBRARY_ITSELF
#include "audio/camera_library.h"

#include <dlfcn.h>
#include <pthread.h>
#include <stddef.h>

#define NAME_OF(stem, version) NAME_AS_WRITTEN(stem, version)
#define NAME_AS_WRITTEN(stem, version) stem ".so." #version

enum library { UTIL, RESAMPLE, CODEC, FORMAT, LIBRARIES };
static const char *const names[LIBRARIES] = {
    [UTIL] = NAME_OF("libavutil", LIBAVUTIL_VERSION_MAJOR),
    [RESAMPLE] = NAME_OF("libswresample", LIBSWRESAMPLE_VERSION_MAJOR),
    [CODEC] = NAME_OF("libavcodec", LIBAVCODEC_VERSION_MAJOR),
    [FORMAT] = NAME_OF("libavformat", LIBAVFORMAT_VERSION_MAJOR),
};

struct tt_camera_calls tt_camera_calls;
static pthread_once_t once = PTHREAD_ONCE_INIT;
static const char *missing; /* NULL: all is there */

/* A function's address comes as that of an object: the copy is what POSIX asks for. */
static void find(void *library, const char *name, void *pointer)
{
    void *address = library ? dlsym(library, name) : NULL;
    if (!address && !missing)
        missing = name;
    *(void **)pointer = address;
}

static void load(void)
{
    void *libraries[LIBRARIES];
    for (int i = 0; i < LIBRARIES; i++) {
        libraries[i] = missing ? NULL : dlopen(names[i], RTLD_NOW | RTLD_LOCAL);
        if (!libraries[i] && !missing)
            missing = names[i];
    }
#define FIND(library, function) find(libraries[library], #function, &tt_camera_calls.function);
    TT_CAMERA_CALLS(FIND)
}

bool tt_camera_library_load(const char *path, struct tt_error *err)
{
    pthread_once(&once, load);
    return !missing ||
           tt_fail(
               err, TT_ERROR_INPUT,
               "%s: %s is not there, with which the sound of camera files is read: install it (Debian: libavformat%d), "
               "or make a WAV of it: ffmpeg -i FILE -vn -c:a pcm_s24le TAKE.wav",
               path, missing, LIBAVFORMAT_VERSION_MAJOR);
}
