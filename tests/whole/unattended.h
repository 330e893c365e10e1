/* unattended.h - what tests share that leave a logger alone: engines on a network of this machine,
 * and asking. */
#ifndef UNATTENDED_H
#define UNATTENDED_H

#include <sys/un.h>

#include "stage.h"

static struct stage_text text;

/* One set of readings of an engine that turns so fast. */
UNUSED_HERE static void send_engine(unsigned port, double rpm)
{
    text.length = 0;
    stage_add_sentence(&text, "IIRPM,E,0,%.1f,,A", rpm);
    stage_add_sentence(&text, "IIXDR,C,60.5,C,ENGINE#0");
    stage_datagram(port, &text);
}

UNUSED_HERE static void send_sea(unsigned port, double degrees)
{
    text.length = 0;
    stage_add_sentence(&text, "IIMTW,%.1f,C", degrees);
    stage_datagram(port, &text);
}

UNUSED_HERE static void naps(int count)
{
    for (int i = 0; i < count; i++)
        stage_nap();
}

/* Asks the logger whose runs lie in the folder; it must answer with that code and those words. */
#define expect_answer(code, words, folder, ...)                                                    \
    stage_expect_words(start_logger("--directory", folder, __VA_ARGS__), code, words)

/* Asks until the status holds the words. */
UNUSED_HERE static void until_status(const char *folder, const char *words)
{
    for (int i = 0; i < PATIENCE_S; i++) {
        struct program asked = start_logger("--directory", folder, "status");
        if (stage_wait(&asked) == 0 && strstr(stage_said(&asked), words))
            return;
        naps(10);
    }
    fail_msg("the status never was \"%s\"", words);
}

UNUSED_HERE static int connect_socket(const char *path)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    assert_true(strlen(path) < sizeof address.sun_path);
    strcpy(address.sun_path, path);
    int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    assert_int_equal(connect(fd, (struct sockaddr *)&address, sizeof address), 0);
    return fd;
}

/* How many events of that key, and the words of the last of them. */
UNUSED_HERE static size_t events_of(struct run *run, const char *key, char words[256])
{
    const struct run_event *events;
    size_t count, found = 0;
    assert_int_equal(run_events(run, &events, &count, NULL), STATUS_OK);
    for (size_t i = 0; i < count; i++)
        if (strcmp(events[i].key, key) == 0) {
            found++;
            snprintf(words, 256, "%s", events[i].text);
        }
    return found;
}

/* Run files of a folder in the order of their names. */
UNUSED_HERE static int list_runs(const char *folder, char paths[][600], int most)
{
    struct dirent **entries;
    int found = 0, count = scandir(folder, &entries, NULL, alphasort);
    for (int i = 0; i < count; i++) {
        size_t length = strlen(entries[i]->d_name);
        if (length > 3 && strcmp(entries[i]->d_name + length - 3, ".h5") == 0 && found < most)
            snprintf(paths[found++], 600, "%.300s/%.200s", folder, entries[i]->d_name);
        free(entries[i]);
    }
    free(entries);
    return found;
}

#endif
