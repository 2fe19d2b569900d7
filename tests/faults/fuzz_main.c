/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Runs a fuzz target without libFuzzer: first over every file of a folder, then over changed copies of them, for some
 * seconds by the clock. No coverage guides it, so it only says that nothing obvious broke; `make fuzz` looks longer and
 * better. usage: PROGRAM FOLDER SECONDS [NUMBER] */
#include <dirent.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

enum { MOST_FILES = 512, MOST_BYTES = 1 << 20, ADDED_BYTES = 64 };

struct sample {
    uint8_t *data;
    size_t size;
};

static uint64_t dice_state;

/* splitmix64: from memory, common practice. */
static uint64_t dice(uint64_t below)
{
    uint64_t z = (dice_state += UINT64_C(0x9E3779B97F4A7C15));
    z = (z ^ (z >> 30)) * UINT64_C(0xBF58476D1CE4E5B9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94D049BB133111EB);
    return (z ^ (z >> 31)) % below;
}

/* In the order of their names: the same NUMBER does the same anywhere. */
static size_t read_samples(const char *path, struct sample *samples)
{
    struct dirent **entries = NULL;
    int entry_count = scandir(path, &entries, NULL, alphasort);
    size_t count = 0;
    for (int i = 0; i < entry_count && count < MOST_FILES; i++) {
        char name[4096];
        snprintf(name, sizeof name, "%s/%s", path, entries[i]->d_name);
        FILE *file = entries[i]->d_name[0] == '.' ? NULL : fopen(name, "rb");
        uint8_t *data = file ? malloc(MOST_BYTES) : NULL;
        if (data)
            samples[count++] = (struct sample){data, fread(data, 1, MOST_BYTES, file)};
        if (file)
            fclose(file);
        free(entries[i]);
    }
    free(entries);
    return count;
}

/* One change: bytes struck, swapped for odd ones, doubled, taken out, or the end cut off. */
static size_t change(uint8_t *data, size_t size, const struct sample *other)
{
    static const uint8_t odd[] = {0, 1, 127, 128, 255, '\n', '"', ';', '=', '<', '-', '9'};
    size_t at = size ? dice(size) : 0, count = size ? dice(size - at < 16 ? size - at : 16) + 1 : 0;
    switch (dice(6)) {
    case 0:
        if (size)
            data[at] = (uint8_t)(data[at] ^ (1u << dice(8)));
        return size;
    case 1:
        if (size)
            memset(data + at, odd[dice(sizeof odd)], count);
        return size;
    case 2:
        if (size + count > MOST_BYTES)
            return size;
        memmove(data + at + count, data + at, size - at);
        return size + count;
    case 3:
        memmove(data + at, data + at + count, size - at - count);
        return size - count;
    case 4:
        if (other->size && at + count <= size && count <= other->size)
            memcpy(data + at, other->data + dice(other->size - count + 1), count);
        return size;
    default:
        return dice(8) ? size : at;
    }
}

static double now_s(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec / 1e9;
}

int main(int argument_count, char **arguments)
{
    static struct sample samples[MOST_FILES];
    size_t count = argument_count > 2 ? read_samples(arguments[1], samples) : 0;
    if (count == 0) {
        fprintf(stderr, "usage: %s FOLDER SECONDS [NUMBER]\n", arguments[0]);
        return 2;
    }
    dice_state = argument_count > 3 ? strtoull(arguments[3], NULL, 10) : 1;
    long runs = 0;
    for (size_t i = 0; i < count; i++, runs++)
        LLVMFuzzerTestOneInput(samples[i].data, samples[i].size);
    uint8_t *data = malloc(MOST_BYTES + ADDED_BYTES);
    const double end_s = now_s() + atof(arguments[2]);
    for (; data && now_s() < end_s; runs++) {
        const struct sample *start = &samples[dice(count)];
        size_t size = start->size;
        memcpy(data, start->data, size);
        for (uint64_t left = dice(8) + 1; left > 0; left--)
            size = change(data, size, &samples[dice(count)]);
        LLVMFuzzerTestOneInput(data, size);
    }
    free(data);
    for (size_t i = 0; i < count; i++)
        free(samples[i].data);
    printf("%ld inputs\n", runs);
    return 0;
}
