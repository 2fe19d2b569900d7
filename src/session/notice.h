/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Being woken when something moves in a folder, where the system can tell; else after a time. Events say only that it
 * is worth looking. */
#ifndef TT_SESSION_NOTICE_H
#define TT_SESSION_NOTICE_H

struct tt_notice;
struct tt_notice *tt_notice_open(void);                            /* NULL where there is no such thing */
void tt_notice_folder(struct tt_notice *notice, const char *path); /* NULL is fine; a folder twice is once */
/* Returns when something moved, at the latest after wait_s, or when a signal came. */
void tt_notice_wait(struct tt_notice *notice, double wait_s);
void tt_notice_close(struct tt_notice *notice);

#endif
