/* numbered.h - lines with numbers, sent at an even pace to a logger's UDP input, and found again
 * in what it recorded. */
#ifndef NUMBERED_H
#define NUMBERED_H

#include "../whole/stage.h"

#define LINES_A_SECOND 1000
#define LINES_MAX 100000

/* What was sent, and when (ns). */
static struct sent {
    int64_t at[LINES_MAX];
    unsigned count;
} sent;

static int64_t now(void)
{
    struct timespec time;
    clock_gettime(CLOCK_MONOTONIC, &time);
    return (int64_t)time.tv_sec * NS_PER_S + time.tv_nsec;
}

static void put_line(char *to, size_t room, unsigned number)
{
    char body[40];
    unsigned char sum = 0;
    snprintf(body, sizeof body, "PSRN,%u,some more bytes", number);
    for (const char *c = body; *c; c++)
        sum ^= (unsigned char)*c;
    snprintf(to, room, "$%s*%02X\r\n", body, sum);
}

/* Sends what is due, one line a datagram, until the time is over. */
UNUSED_HERE static void send_until(unsigned port, int64_t begun, int64_t until)
{
    struct sockaddr_in address = stage_loopback(port);
    int fd = socket(AF_INET, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    while (now() < until && sent.count < LINES_MAX) {
        char line[80];
        int64_t due = begun + sent.count * (NS_PER_S / LINES_A_SECOND);
        if (due > now()) {
            nanosleep(&(struct timespec){0, 500000}, NULL);
            continue;
        }
        put_line(line, sizeof line, sent.count);
        if (sendto(fd, line, strlen(line), 0, (struct sockaddr *)&address, sizeof address) > 0)
            sent.at[sent.count++] = now();
    }
    close(fd);
}

/* --- what came of it */

struct lines {
    unsigned count;
    bool sound; /* numbers 0, 1, 2 ... without a hole */
};

static void take_line(struct lines *lines, const void *bytes, size_t length)
{
    char line[80];
    put_line(line, sizeof line, lines->count++);
    size_t expected = strlen(line) - 2; /* without the line end */
    lines->sound = lines->sound && length == expected && memcmp(bytes, line, length) == 0;
}

static bool take_raw(void *self, const struct raw_message *message)
{
    take_line(self, message->bytes, message->length);
    return true;
}

UNUSED_HERE static unsigned lines_of_run(const char *path)
{
    struct lines lines = {.sound = true};
    struct run *run = stage_open_run(path);
    assert_int_equal(run_raw(run, take_raw, &lines, NULL), STATUS_OK);
    run_close(run);
    if (!lines.sound)
        fail_msg("%s: a line is missing or altered before number %u", path, lines.count);
    return lines.count;
}

#endif
