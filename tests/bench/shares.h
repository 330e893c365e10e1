/* shares.h - what benches of many families have in common: the work shared out to processes, which
 * write to memory of all, and the families somebody asked for. */
#ifndef SEARUN_BENCH_SHARES_H
#define SEARUN_BENCH_SHARES_H

#include <errno.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/wait.h>
#include <unistd.h>

/* Zeroed memory that children write to; NULL if there is none. */
static void *shares_memory(size_t size)
{
    void *memory = mmap(NULL, size, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    return memory == MAP_FAILED ? NULL : memory;
}

/* Runs work(self, job) for jobs 0 up, each in a process; false if one of them did not end well. */
static bool shares_run(size_t jobs, void (*work)(const void *self, size_t job), const void *self)
{
    bool ok = true;
    fflush(NULL);
    for (size_t job = 0; job < jobs; job++) {
        const pid_t child = fork();
        if (child == 0) {
            work(self, job);
            _exit(0);
        }
        ok = ok && child > 0;
    }
    for (int code; wait(&code) > 0 || errno == EINTR;)
        ok = ok && WIFEXITED(code) && WEXITSTATUS(code) == 0;
    return ok;
}

/* Whether the key stands in a list with commas, or there is no list. */
static bool shares_wanted(const char *list, const char *key)
{
    const char *at = list;
    const size_t length = strlen(key);
    while (at != NULL && *at != '\0') {
        const size_t word = strcspn(at, ",");
        if (word == length && strncmp(at, key, length) == 0)
            return true;
        at += word + (at[word] == ',');
    }
    return list == NULL;
}

/* Whether every word of a list with commas is known; says which is not. */
static bool shares_known(const char *list, bool (*known)(const char *key))
{
    char word[64];
    for (const char *at = list; at != NULL && *at != '\0';) {
        const size_t length = strcspn(at, ",");
        snprintf(word, sizeof word, "%.*s", (int)length, at);
        if (!known(word)) {
            fprintf(stderr, "there is no family %s; see --list\n", word);
            return false;
        }
        at += length + (at[length] == ',');
    }
    return true;
}

#endif
