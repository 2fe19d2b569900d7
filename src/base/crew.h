/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Pieces of a long work that depend on nothing before them: several threads work on them at once, and the caller's
 * takes what is done, in the order in which it was added. What comes out does not depend on the number of threads. */
#ifndef TT_BASE_CREW_H
#define TT_BASE_CREW_H

#include <stdbool.h>
#include <stddef.h>

#include "base/fail.h"

struct tt_crew_plan {
    /* worker: below the number of threads, and no two threads at once have the same. */
    bool (*work)(void *context, size_t worker, void *piece, struct tt_error *err);
    bool (*take)(void *context, void *piece,
                 struct tt_error *err); /* on the caller's thread, within tt_crew_piece and tt_crew_finish */
    void *context;
    void *const *pieces; /* room for what is under way at once; borrowed */
    size_t piece_count;  /* 1 at least; as many as threads and two more keep all of them at work */
};

/* How many of `wanted` threads there is work for: 1 at least. */
size_t tt_crew_size(size_t wanted, size_t most);

struct tt_crew;
/* threads: the caller's among them, which works while it would have to wait. Where no others can be had it does all. */
struct tt_crew *tt_crew_open(const struct tt_crew_plan *plan, size_t threads, struct tt_error *err);
/* A piece that is free to be filled. NULL as soon as one could not be worked on or taken. */
void *tt_crew_piece(struct tt_crew *crew, struct tt_error *err);
/* The piece that was got last is full. */
void tt_crew_add(struct tt_crew *crew);
/* Returns when everything has been taken. */
bool tt_crew_finish(struct tt_crew *crew, struct tt_error *err);
void tt_crew_close(struct tt_crew *crew); /* drops what still waits; NULL is fine */

#endif
