/* test_guest_can.c - the real SocketCAN: searun-logger in a small QEMU guest with Debian's kernel,
 * on a virtual CAN interface and on an adapter on a serial line. tests/guest/can-inside is what
 * happens there.
 *
 * SEARUN_GUEST_SECONDS makes it longer; SEARUN_SOAK_ROUNDS (default 5) is how often the interface
 * is taken down at its end. Skipped, with words, where QEMU or the kernel package
 * cannot be had. The programs are the ones of build/release: emulation is slow enough without
 * sanitizers. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "../../include/capture_text.h"
#include "../../include/run_read.h"

#define LOGGER "build/release/searun-logger"
#define GUEST "build/guest"
#define LONGEST_S 600 /* and a few seconds for each round of the soak */

struct frame {
    int64_t at; /* ns since run start, or us since 1970 in a log */
    uint32_t id;
    uint8_t length, data[8];
};

struct frames {
    size_t count, room;
    struct frame *list;
};

static char share[256]; /* what the guest has as /mnt */
static unsigned seconds_of_bus = 3, soak_rounds = 5;

/* --- files and processes */

static const char *in_share(const char *name)
{
    static _Thread_local char paths[4][512];
    static _Thread_local unsigned next;
    char *path = paths[next++ % 4];
    snprintf(path, sizeof paths[0], "%s/%s", share, name);
    return path;
}

static char *read_text(const char *path)
{
    FILE *file = fopen(path, "r");
    char *text = calloc(1, 1 << 20);
    assert_non_null(text);
    if (!file)
        fail_msg("%s is missing", path);
    text[fread(text, 1, (1 << 20) - 1, file)] = '\0';
    fclose(file);
    return text;
}

/* Runs a program, its words into a file, and returns its exit code; 128 + signal if it was
 * killed. */
static int run(const char *words_to, char *const argv[])
{
    pid_t pid = fork();
    assert_true(pid >= 0);
    if (pid == 0) {
        int null = open("/dev/null", O_RDONLY),
            out = open(words_to, O_WRONLY | O_CREAT | O_TRUNC, 0644);
        dup2(null, 0);
        dup2(out, 1);
        dup2(out, 2);
        execvp(argv[0], argv);
        _exit(127);
    }
    int status = 0;
    for (unsigned i = 0; i < (LONGEST_S + 6 * soak_rounds) * 10; i++) {
        if (waitpid(pid, &status, WNOHANG) == pid)
            return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
        nanosleep(&(struct timespec){0, 100000000}, NULL);
    }
    kill(pid, SIGKILL);
    waitpid(pid, &status, 0);
    return 128 + SIGKILL;
}

/* --- the bus: what canplayer plays */

struct bus {
    FILE *to;
    int64_t now_us;
};

static void send(struct bus *bus, uint32_t id, const uint8_t data[8], unsigned length)
{
    fprintf(bus->to, "(%lld.%06lld) can0 %08X#", (long long)(bus->now_us / 1000000),
            (long long)(bus->now_us % 1000000), id);
    for (unsigned i = 0; i < length; i++)
        fprintf(bus->to, "%02X", data[i]);
    fputc('\n', bus->to);
    bus->now_us += 600;
}

static void send_rapid(struct bus *bus, unsigned engine, unsigned tick)
{
    unsigned speed = 2800 + engine * 40 + tick * 3;
    send(bus, 0x09F20023,
         (uint8_t[8]){(uint8_t)engine, (uint8_t)speed, (uint8_t)(speed >> 8), 0x40, 0x01, 0x00, 255,
                      255},
         8);
}

static void send_dynamic(struct bus *bus, unsigned engine, unsigned tick)
{
    unsigned coolant = 35000 + tick * 7;
    uint8_t sequence = (uint8_t)((tick % 8) << 5);
    send(bus, 0x09F20123,
         (uint8_t[8]){sequence, 26, (uint8_t)engine, 0x6E, 0x0F, 0x6B, 0x0E, (uint8_t)coolant}, 8);
    send(bus, 0x09F20123,
         (uint8_t[8]){sequence | 1, (uint8_t)(coolant >> 8), 0x84, 0x05, 0x12, 0x01, 0x80, 0xFE},
         8);
    send(bus, 0x09F20123, (uint8_t[8]){sequence | 2, 0x44, 0x00, 0x8E, 0x03, 0x30, 0x01, 0xFF}, 8);
    send(bus, 0x09F20123, (uint8_t[8]){sequence | 3, tick > 8 ? 2 : 0, 0, 0, 0, 0x47, 0x42, 0xFF},
         8);
}

static void send_time(struct bus *bus, unsigned tick)
{
    uint32_t clock = 500000000 + tick * 10000;
    send(bus, 0x0DF01024,
         (uint8_t[8]){1, 0xF0, 0x8B, 0x50, (uint8_t)clock, (uint8_t)(clock >> 8),
                      (uint8_t)(clock >> 16), (uint8_t)(clock >> 24)},
         8);
}

/* What would tempt a device to answer: requests for names and product information, to everybody and
 * to single addresses; a request to send to each of some addresses; claims. */
static void send_temptations(struct bus *bus)
{
    static const uint8_t claim_wanted[8] = {0x00, 0xEE, 0x00};
    static const uint8_t product_wanted[8] = {0x14, 0xF0, 0x01};
    static const uint8_t rts[8] = {0x10, 20, 0, 3, 3, 0xCA, 0xFE, 0x00};
    send(bus, 0x18EAFF24, claim_wanted, 3);
    send(bus, 0x18EAFF24, product_wanted, 3);
    for (uint32_t address = 0; address < 254; address += 25) {
        send(bus, 0x18EA0024 | address << 8, claim_wanted, 3);
        send(bus, 0x1CEC0024 | address << 8, rts, 8);
    }
    send(bus, 0x18EEFF23, (uint8_t[8]){0x59, 0x1B, 0x00, 0xFA, 0x00, 0x00, 0x64, 0xC0}, 8);
    send(bus, 0x18EEFFFE, (uint8_t[8]){0x5B, 0x1B, 0x00, 0xFA, 0x00, 0x00, 0x96, 0xC0}, 8);
}

static void write_log(const char *name, unsigned seconds)
{
    struct bus bus = {.to = fopen(in_share(name), "w"), .now_us = INT64_C(1781533953000000)};
    assert_non_null(bus.to);
    int64_t start = bus.now_us;
    for (unsigned tick = 0; tick < seconds * 10; tick++) {
        bus.now_us = start + tick * INT64_C(100000);
        send_rapid(&bus, 0, tick);
        send_rapid(&bus, 1, tick);
        send(&bus, 0x0CF00400, (uint8_t[8]){0xF0, 0x7D, 0x7D, 0xA0, 0x4B, 0, 0xFF, 0xFF}, 8);
        if (tick % 5 == 0) {
            send_dynamic(&bus, 0, tick);
            send_dynamic(&bus, 1, tick + 1);
        }
        if (tick % 10 == 0)
            send_time(&bus, tick / 10);
        if (tick % 20 == 10)
            send_temptations(&bus);
    }
    assert_int_equal(fclose(bus.to), 0);
}

/* --- reading back */

static void add_frame(struct frames *frames, const struct frame *frame)
{
    if (frames->count == frames->room) {
        frames->room = frames->room ? 2 * frames->room : 1024;
        frames->list = realloc(frames->list, frames->room * sizeof *frames->list);
        assert_non_null(frames->list);
    }
    frames->list[frames->count++] = *frame;
}

static struct frames read_log(const char *name)
{
    struct frames frames = {0};
    char *text = read_text(in_share(name)), *rest = text, *line;
    while ((line = strsep(&rest, "\n")) != NULL) {
        struct capture_text parsed;
        if (capture_text_parse(line, strlen(line), &parsed) != CAPTURE_FRAME)
            continue;
        struct frame frame = {parsed.unix_us * 1000, parsed.id, (uint8_t)parsed.data_length, {0}};
        memcpy(frame.data, parsed.data, parsed.data_length);
        add_frame(&frames, &frame);
    }
    free(text);
    return frames;
}

static bool take_raw(void *self, const struct raw_message *message)
{
    struct frame frame = {message->at, message->can_id, (uint8_t)message->length, {0}};
    memcpy(frame.data, message->bytes, message->length <= 8 ? message->length : 8);
    add_frame(self, &frame);
    return true;
}

static struct run *open_run(const char *name)
{
    struct complaint complaint = {""};
    struct run *opened = NULL;
    if (run_open(in_share(name), &opened, &complaint) != STATUS_OK)
        fail_msg("%s: %s", name, complaint.text);
    return opened;
}

static struct frames read_raw(struct run *opened)
{
    struct complaint complaint = {""};
    struct frames frames = {0};
    if (run_raw(opened, take_raw, &frames, &complaint) != STATUS_OK)
        fail_msg("%s", complaint.text);
    return frames;
}

static uint64_t counted(const struct run *opened, enum reason reason)
{
    uint64_t count = 0;
    for (size_t i = 0; i < run_input_count(opened); i++)
        count += run_tally(opened, i)->line[reason].count;
    return count;
}

static long number_in(const char *file, const char *name)
{
    char *text = read_text(in_share(file)), *rest = text, *line;
    long number = -1;
    while ((line = strsep(&rest, "\n")) != NULL)
        if (strncmp(line, name, strlen(name)) == 0 && line[strlen(name)] == ' ')
            number = strtol(line + strlen(name), NULL, 10);
    free(text);
    if (number < 0)
        fail_msg("%s says nothing of %s", file, name);
    return number;
}

static bool same_frame(const struct frame *a, const struct frame *b)
{
    return a->id == b->id && a->length == b->length && memcmp(a->data, b->data, 8) == 0;
}

static void same_frames(const char *what, const struct frames *a, const struct frames *b)
{
    for (size_t i = 0; i < a->count && i < b->count; i++)
        if (!same_frame(&a->list[i], &b->list[i]))
            fail_msg("%s: frame %zu is %08X here and %08X there", what, i, a->list[i].id,
                     b->list[i].id);
    if (a->count != b->count)
        fail_msg("%s: %zu frames here, %zu there", what, a->count, b->count);
}

/* --- the guest */

static void start_guest(void)
{
    char repo[512], host[600], guest_share[600], append[1400], make_words[600];
    assert_non_null(getcwd(repo, sizeof repo));
    snprintf(make_words, sizeof make_words, "%s", in_share("guest-make.txt"));
    int made = run(make_words, (char *[]){"scripts/guest-make", GUEST, NULL});
    if (made != 0) {
        char *words = read_text(make_words);
        printf("%s", words);
        free(words);
        if (made == 77)
            skip();
        fail_msg("scripts/guest-make ended with %d", made);
    }
    snprintf(host, sizeof host,
             "local,path=/,readonly=on,security_model=none,multidevs=remap,mount_tag=host");
    snprintf(guest_share, sizeof guest_share, "local,path=%s,security_model=none,mount_tag=share",
             share);
    snprintf(append, sizeof append,
             "console=ttyS0 quiet panic=-1 mitigations=off nokaslr tsc=reliable audit=0 apparmor=0 "
             "repo=%s script=tests/guest/can-inside modules=can-raw,vcan,slcan args=%s,%u,%u",
             repo, LOGGER, seconds_of_bus, soak_rounds);
    char *argv[] = {"qemu-system-x86_64",
                    "-M",
                    "q35",
                    "-accel",
                    "tcg,thread=single",
                    "-cpu",
                    "max",
                    "-m",
                    "512",
                    "-smp",
                    "1",
                    "-nographic",
                    "-no-reboot",
                    "-nodefaults",
                    "-serial",
                    "stdio",
                    "-kernel",
                    GUEST "/vmlinux",
                    "-initrd",
                    GUEST "/initrd",
                    "-append",
                    append,
                    "-virtfs",
                    host,
                    "-virtfs",
                    guest_share,
                    NULL};
    int code = run(in_share("guest.txt"), argv);
    char *words = read_text(in_share("guest.txt"));
    if (code != 0 || !strstr(words, "RESULT tests/guest/can-inside rc=0") || strstr(words, "rc=1"))
        fail_msg("the guest ended with %d; it said:\n%s", code, words);
    free(words);
}

static int make_share(void **state)
{
    (void)state;
    const char *folder = getenv("TMPDIR"), *seconds = getenv("SEARUN_GUEST_SECONDS"),
               *rounds = getenv("SEARUN_SOAK_ROUNDS");
    snprintf(share, sizeof share, "%s/searun-guest-XXXXXX", folder ? folder : "/tmp");
    if (seconds)
        seconds_of_bus = (unsigned)strtoul(seconds, NULL, 10);
    if (rounds)
        soak_rounds = (unsigned)strtoul(rounds, NULL, 10);
    return mkdtemp(share) ? 0 : -1;
}

static int remove_share(void **state)
{
    (void)state;
    if (getenv("SEARUN_KEEP"))
        printf("kept: %s\n", share);
    else
        run("/dev/null", (char *[]){"rm", "-rf", share, NULL});
    return 0;
}

static bool guest_ran;

static void the_guest_runs(void **state)
{
    (void)state;
    write_log("first.log", seconds_of_bus);
    write_log("second.log", seconds_of_bus);
    start_guest();
    guest_ran = true;
    char *codes = read_text(in_share("exit-codes"));
    assert_string_equal(codes, "steady 0\nburst 0\nstall 0\nline 0\nsoak 0\n");
    free(codes);
}

#define NEEDS_GUEST                                                                                \
    (void)state;                                                                                   \
    if (!guest_ran)                                                                                \
    skip()

/* Everything that canplayer played was heard, in order, in both parts. */
static void every_frame_is_kept(void **state)
{
    NEEDS_GUEST;
    struct frames first = read_log("first.log"), second = read_log("second.log");
    for (size_t i = 0; i < second.count; i++)
        add_frame(&first, &second.list[i]);
    struct run *opened = open_run("steady.h5");
    struct frames raw = read_raw(opened);
    same_frames("played and recorded", &first, &raw);
    assert_int_equal(counted(opened, REASON_KERNEL_LOST), 0);
    run_close(opened);
    free(first.list);
    free(second.list);
    free(raw.list);
}

static int by_size(const void *a, const void *b)
{
    int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

/* candump on the same interface gets the stamps of the same kernel. Ours must be the same to 20 us.
 * The clocks are tied when the loop wakes up, so in an emulator that is kept waiting the first few
 * may be some milliseconds apart. */
static void stamps_are_those_of_the_kernel(void **state)
{
    NEEDS_GUEST;
    struct run *opened = open_run("steady.h5");
    struct frames heard = read_log("heard.log"), raw = read_raw(opened);
    same_frames("candump and recorded", &heard, &raw);
    size_t last = raw.count - 1;
    int64_t *apart = calloc(raw.count, sizeof *apart);
    assert_non_null(apart);
    for (size_t i = 0; i < raw.count; i++)
        apart[i] =
            llabs((raw.list[last].at - raw.list[i].at) - (heard.list[last].at - heard.list[i].at));
    qsort(apart, raw.count, sizeof *apart, by_size);
    printf("stamps differ by %.1f us (median), %.1f us (most)\n",
           (double)apart[raw.count / 2] / 1e3, (double)apart[last] / 1e3);
    assert_in_range(apart[raw.count / 2], 0, 20000);
    assert_in_range(apart[last], 0, 10000000);
    run_close(opened);
    free(apart);
    free(heard.list);
    free(raw.list);
}

/* Nothing of our own: the interface has carried what canplayer sent and not one frame more, and on
 * the serial line the adapter was told to open and to close, but given no frame. */
static void no_frame_leaves(void **state)
{
    NEEDS_GUEST;
    struct frames first = read_log("first.log"), second = read_log("second.log");
    assert_int_equal(number_in("counts", "steady"), first.count + second.count);
    assert_int_equal(number_in("counts", "burst"), 10000);
    assert_int_equal(number_in("counts", "stall"), 3200);
    assert_int_equal(number_in("adapter.txt", "frames_told"), 0);
    free(first.list);
    free(second.list);
}

/* The interface was not there, then down, then up, then down again: gaps with words. */
static void trouble_is_told(void **state)
{
    NEEDS_GUEST;
    char *words = read_text(in_share("steady.txt"));
    assert_non_null(strstr(words, "no such interface"));
    assert_non_null(strstr(words, "this interface is none of a CAN bus"));
    assert_non_null(strstr(words, "ip link set vcan0 up"));
    free(words);
    struct run *opened = open_run("steady.h5");
    const struct run_gap *gaps;
    size_t count, ours = 0;
    struct complaint complaint = {""};
    assert_int_equal(run_gaps(opened, &gaps, &count, &complaint), STATUS_OK);
    for (size_t i = 0; i < count; i++)
        ours += gaps[i].input == 0 && gaps[i].to > gaps[i].from;
    assert_int_equal(ours, 2);
    assert_int_equal(counted(opened, REASON_REOPENED), 1);
    run_close(opened);
}

/* --- down and up while frames go over it */

/* The number that a frame of the soak carries. */
static uint32_t number_of(const struct frame *frame)
{
    uint32_t speed = (uint32_t)(frame->data[1] | frame->data[2] << 8),
             high = (uint32_t)(frame->data[6] | frame->data[7] << 8);
    return high * 4000 + speed - 2800;
}

/* The longest time that the run file tells as without this input, ms. */
static long longest_gap_ms(struct run *opened)
{
    const struct run_gap *gaps;
    size_t count;
    struct complaint complaint = {""};
    double longest = 0;
    assert_int_equal(run_gaps(opened, &gaps, &count, &complaint), STATUS_OK);
    for (size_t i = 0; i < count; i++)
        longest = fmax(longest, gaps[i].to - gaps[i].from);
    return lround(longest * 1000);
}

/* Taken down and up, again and again: whatever the system took is recorded, once and in order, and
 * the logger holds no more in the end. On a slow emulator two rounds may fall into one look. */
static void going_down_and_up_costs_nothing(void **state)
{
    NEEDS_GUEST;
    struct run *opened = open_run("soak.h5");
    struct frames raw = read_raw(opened);
    long sent = number_in("soak-rounds.txt", "sent");
    long before = number_in("soak-rounds.txt", "resident_before"),
         halfway = number_in("soak-rounds.txt", "resident_halfway"),
         after = number_in("soak-rounds.txt", "resident_after"),
         descriptors = number_in("soak-rounds.txt", "descriptors_before");
    uint64_t noticed = counted(opened, REASON_REOPENED);
    assert_int_equal(number_in("soak-rounds.txt", "rounds"), soak_rounds);
    printf("down and up %u times (noticed %llu, longest gap %ld ms): %zu of %ld frames recorded; "
           "descriptors %ld, then %ld; resident %ld KB, halfway %ld KB, then %ld KB\n",
           soak_rounds, (unsigned long long)noticed, longest_gap_ms(opened), raw.count, sent,
           descriptors, number_in("soak-rounds.txt", "descriptors_after"), before, halfway, after);
    for (size_t i = 0; i < raw.count; i++)
        assert_int_equal(number_of(&raw.list[i]), i);
    assert_int_equal(raw.count, sent);
    assert_int_equal(counted(opened, REASON_KERNEL_LOST), 0);
    assert_in_range(noticed, (soak_rounds + 1) / 2, soak_rounds);
    assert_int_equal(number_in("soak-rounds.txt", "refused"), soak_rounds);
    assert_int_equal(descriptors, number_in("soak-rounds.txt", "descriptors_after"));
    assert_true(after < before + 2048); /* chunks of the run file fill up, and are packed */
    assert_true(after < halfway + 1024);
    run_close(opened);
    free(raw.list);
}

/* --- playing into the interface is the same as reading the log */

static void same_series(struct run *a, struct run *b, size_t stream, enum channel_id channel)
{
    struct series one, other;
    struct complaint complaint = {""};
    assert_int_equal(run_read_series(a, stream, channel, &one, &complaint), STATUS_OK);
    assert_int_equal(run_read_series(b, stream, channel, &other, &complaint), STATUS_OK);
    assert_int_equal(one.count, other.count);
    for (size_t i = 0; i < one.count; i++) {
        if (one.value[i] != other.value[i])
            fail_msg("%s %s: value %zu differs", one.origin.message, channel_get(channel)->key, i);
        double apart = one.time[i] - one.time[0] - (other.time[i] - other.time[0]);
        assert_in_range((uint64_t)(apart * 1e6 + 20000), 10000, 30000);
    }
    series_free(&one);
    series_free(&other);
}

static void same_streams(struct run *a, struct run *b)
{
    assert_int_equal(run_stream_count(a), run_stream_count(b));
    assert_in_range(run_stream_count(a), 5, 100);
    for (size_t i = 0; i < run_stream_count(a); i++) {
        const struct stream *one = run_stream(a, i), *other = run_stream(b, i);
        assert_memory_equal(&one->origin, &other->origin, sizeof one->origin);
        assert_int_equal(one->count, other->count);
        assert_int_equal(one->channel_count, other->channel_count);
        for (size_t c = 0; c < one->channel_count; c++) {
            assert_int_equal(one->channels[c], other->channels[c]);
            same_series(a, b, i, one->channels[c]);
        }
    }
}

static void same_events(struct run *a, struct run *b)
{
    const struct run_event *one, *other;
    size_t count, other_count, at = 0;
    struct complaint complaint = {""};
    assert_int_equal(run_events(a, &one, &count, &complaint), STATUS_OK);
    assert_int_equal(run_events(b, &other, &other_count, &complaint), STATUS_OK);
    for (size_t i = 0; i < other_count; i++) {
        if (other[i].origin.message[0] == '\0') /* of the program, not of the bus */
            continue;
        while (at < count && one[at].origin.message[0] == '\0')
            at++;
        assert_in_range(at, 0, count - 1);
        assert_string_equal(one[at].key, other[i].key);
        assert_string_equal(one[at].text, other[i].text);
        at++;
    }
    assert_in_range(at, 3, count);
}

static void playing_is_like_reading(void **state)
{
    NEEDS_GUEST;
    char *argv[] = {LOGGER,     "--quiet",
                    "--replay", strdup(in_share("heard.log")),
                    "--output", strdup(in_share("replayed.h5")),
                    NULL};
    int code = run(in_share("replayed.txt"), argv);
    free(argv[3]);
    free(argv[5]);
    if (code != 0)
        fail_msg("the replay ended with %d", code);
    struct run *live = open_run("steady.h5"), *replayed = open_run("replayed.h5");
    same_streams(live, replayed);
    same_events(live, replayed);
    static const enum reason same[] = {
        REASON_FRAMES,   REASON_READINGS,       REASON_NOT_AVAILABLE,    REASON_OUT_OF_RANGE,
        REASON_NOT_OURS, REASON_TRANSPORT_LOST, REASON_TRANSPORT_TIMEOUT};
    for (size_t i = 0; i < sizeof same / sizeof *same; i++)
        assert_int_equal(counted(live, same[i]), counted(replayed, same[i]));
    run_close(live);
    run_close(replayed);
}

/* --- bursts */

static void a_burst_is_kept(void **state)
{
    NEEDS_GUEST;
    struct run *opened = open_run("burst.h5");
    struct frames raw = read_raw(opened);
    assert_int_equal(raw.count, 10000);
    assert_int_equal(counted(opened, REASON_KERNEL_LOST), 0);
    run_close(opened);
    free(raw.list);
}

/* A small buffer while the program stands still loses frames: how many is known, and there is a
 * gap. */
static void what_is_lost_is_known(void **state)
{
    NEEDS_GUEST;
    struct run *opened = open_run("stall.h5");
    struct frames raw = read_raw(opened);
    uint64_t lost = counted(opened, REASON_KERNEL_LOST), in_gaps = 0;
    const struct run_gap *gaps;
    size_t count;
    struct complaint complaint = {""};
    assert_in_range(lost, 1, 3000);
    assert_int_equal(raw.count + lost, 3200);
    assert_int_equal(run_gaps(opened, &gaps, &count, &complaint), STATUS_OK);
    for (size_t i = 0; i < count; i++)
        in_gaps += gaps[i].lost;
    assert_int_equal(in_gaps, lost);
    run_close(opened);
    free(raw.list);
}

/* What the system received of an adapter on a serial line is recorded, in order. An emulator that
 * is kept waiting may lose some before that; the counts of the system tell those from ours. */
static void a_serial_line_loses_nothing(void **state)
{
    NEEDS_GUEST;
    struct run *opened = open_run("line.h5");
    struct frames raw = read_raw(opened);
    long sent = number_in("adapter.txt", "sent"), received = number_in("counts", "line_received"),
         dropped = number_in("counts", "line_dropped"), next = 0;
    assert_int_equal(sent, 500 * seconds_of_bus);
    if (received - dropped != sent)
        printf("the emulated line lost %ld of %ld frames before any program could see them\n",
               sent - received + dropped, sent);
    assert_in_range(received - dropped, sent * 9 / 10, sent);
    assert_int_equal(raw.count, received - dropped);
    for (size_t i = 0; i < raw.count; i++) {
        long number = (raw.list[i].data[1] | raw.list[i].data[2] << 8) - 2800;
        assert_int_equal(raw.list[i].id, 0x89F20023);
        next += (number - next % 4000 + 4000) % 4000; /* 0 if none is missing */
        next++;
    }
    assert_in_range(next, raw.count, sent);
    assert_int_equal(counted(opened, REASON_READINGS), raw.count);
    assert_int_equal(counted(opened, REASON_KERNEL_LOST), 0);
    run_close(opened);
    free(raw.list);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_guest_runs),
        cmocka_unit_test(every_frame_is_kept),
        cmocka_unit_test(stamps_are_those_of_the_kernel),
        cmocka_unit_test(no_frame_leaves),
        cmocka_unit_test(trouble_is_told),
        cmocka_unit_test(going_down_and_up_costs_nothing),
        cmocka_unit_test(playing_is_like_reading),
        cmocka_unit_test(a_burst_is_kept),
        cmocka_unit_test(what_is_lost_is_known),
        cmocka_unit_test(a_serial_line_loses_nothing),
    };
    return cmocka_run_group_tests(tests, make_share, remove_share);
}
