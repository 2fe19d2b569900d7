/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Running the program from outside in tests: what it prints where, and its exit status. $TIDYTAKE names it. */
#ifndef TT_TESTS_PROGRAM_H
#define TT_TESTS_PROGRAM_H

#include <errno.h>
#include <fcntl.h>
#include <sys/wait.h>

#include "session/take_support.h"

struct said {
    int status; /* of the exit; 128 + signal where one ended it */
    char *out, *err;
};

static inline void said_free(struct said *said)
{
    free(said->out);
    free(said->err);
}

static inline void redirect(const char *path, int flags, int fd)
{
    int file = open(path, flags, 0600);
    if (file < 0 || dup2(file, fd) < 0)
        _exit(99);
    close(file);
}

/* Starts the program in the test's folder, with a home of its own, and its words in two files there. */
static inline pid_t start(const struct place *p, const char *stdout_path, const char *const *arguments)
{
    const char *program = getenv("TIDYTAKE");
    char absolute[4096], config[4096];
    assert_true(program && (program[0] == '/' ? snprintf(absolute, sizeof absolute, "%s", program)
                                              : !!getcwd(absolute, sizeof absolute)));
    if (program[0] != '/')
        snprintf(absolute + strlen(absolute), sizeof absolute - strlen(absolute), "/%s", program);
    snprintf(config, sizeof config, "%s/config", p->folder);
    const char *all[24] = {absolute};
    size_t count = 0;
    for (; arguments[count]; count++) {
        assert_true(count + 2 < sizeof all / sizeof *all);
        all[count + 1] = arguments[count];
    }
    fflush(NULL);
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        if (chdir(p->folder) != 0)
            _exit(98);
        setenv("HOME", p->folder, 1);
        setenv("XDG_CONFIG_HOME", config, 1);
        redirect("/dev/null", O_RDONLY, 0);
        redirect(stdout_path, O_WRONLY | O_CREAT | O_TRUNC, 1);
        redirect("said.err", O_WRONLY | O_CREAT | O_TRUNC, 2);
        execv(absolute, (char *const *)all);
        _exit(97);
    }
    return child;
}

static inline int wait_for(pid_t child)
{
    int status;
    while (waitpid(child, &status, 0) < 0)
        assert_int_equal(errno, EINTR);
    return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

static inline struct said run(const struct place *p, const char *const *arguments)
{
    struct said said = {.status = wait_for(start(p, "said.out", arguments))};
    said.out = file_read(in_folder(p->folder, "said.out"), NULL);
    said.err = file_read(in_folder(p->folder, "said.err"), NULL);
    return said;
}

#define RUN(...) run(p, (const char *const[]){__VA_ARGS__, NULL})

#endif
