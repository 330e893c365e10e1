/* test_network.c - senders of datagrams that go away, and a network interface that is pulled out
 * and plugged in again, under one logger: it goes on recording each time, and takes no more
 * descriptors or memory in the end than in the beginning. SEARUN_SOAK_ROUNDS says how often
 * (default 5); the longest waits are printed.
 *
 * Three inputs: datagrams from this machine; to an address of the interface; to a multicast group
 * joined on it. The interface is a virtual one (tap) in a network name space of this test; it is
 * gone when its descriptor is closed, and a new one with another number, though of the same name,
 * comes in its place. */
#include "holding.h"

#include <linux/if_tun.h>
#include <net/if.h>
#include <sched.h>
#include <sys/ioctl.h>

#define INTERFACE "boat0"
#define ADDRESS "10.55.0.1"
#define GROUP "239.192.0.1"
#define ADDRESS_PORT 10111
#define GROUP_PORT 60001
#define EVERY_MS 10 /* a sentence on each input */

enum way { FROM_HERE, TO_ADDRESS, TO_GROUP, WAY_COUNT };

static const char letters[WAY_COUNT + 1] = "hag";
static unsigned rounds;

static int64_t now_ms(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

/* --- the interface */

static void set_up(const char *name, bool up)
{
    struct ifreq request = {.ifr_flags = 0};
    int fd = socket(AF_INET, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    strcpy(request.ifr_name, name);
    assert_int_equal(ioctl(fd, SIOCGIFFLAGS, &request), 0);
    request.ifr_flags = (short)(up ? request.ifr_flags | IFF_UP : request.ifr_flags & ~IFF_UP);
    assert_int_equal(ioctl(fd, SIOCSIFFLAGS, &request), 0);
    close(fd);
}

static void set_address(const char *name)
{
    struct ifreq request = {.ifr_flags = 0};
    struct sockaddr_in address = {.sin_family = AF_INET};
    int fd = socket(AF_INET, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    inet_pton(AF_INET, ADDRESS, &address.sin_addr);
    strcpy(request.ifr_name, name);
    memcpy(&request.ifr_addr, &address, sizeof address);
    assert_int_equal(ioctl(fd, SIOCSIFADDR, &request), 0);
    close(fd);
}

/* The descriptor that it is there with, or -1. */
static int plug_in(void)
{
    struct ifreq request = {.ifr_flags = IFF_TAP | IFF_NO_PI};
    int fd = open("/dev/net/tun", O_RDWR | O_CLOEXEC);
    strcpy(request.ifr_name, INTERFACE);
    if (fd < 0 || ioctl(fd, TUNSETIFF, &request) != 0)
        return -1;
    set_address(INTERFACE);
    set_up(INTERFACE, true);
    return fd;
}

static bool prepare(void)
{
    int fd = -1;
    if (unshare(CLONE_NEWNET) != 0) {
        print_message("skipped: no network name space here (%s)\n", strerror(errno));
        return false;
    }
    set_up("lo", true);
    fd = plug_in();
    if (fd < 0)
        print_message("skipped: no virtual interface here (%s)\n", strerror(errno));
    else
        close(fd);
    return fd >= 0;
}

/* --- the senders */

struct sender {
    int fd;
    struct sockaddr_in to;
    unsigned number; /* of the next sentence in this round */
};

struct soak {
    struct program logger;
    unsigned port, round;
    int interface;
    struct sender senders[WAY_COUNT];
    unsigned *sent[WAY_COUNT]; /* by round */
    off_t looked_at;           /* so much of the journal has been looked at */
};

static void begin_sending(struct soak *soak, enum way way)
{
    struct sender *sender = &soak->senders[way];
    struct ip_mreqn through = {.imr_ifindex = (int)if_nametoindex(INTERFACE)};
    *sender = (struct sender){.fd = socket(AF_INET, SOCK_DGRAM | SOCK_CLOEXEC, 0),
                              .to = stage_loopback(soak->port)};
    if (way == FROM_HERE)
        return;
    sender->to.sin_port = htons(way == TO_GROUP ? GROUP_PORT : ADDRESS_PORT);
    inet_pton(AF_INET, way == TO_GROUP ? GROUP : ADDRESS, &sender->to.sin_addr);
    if (way == TO_GROUP)
        assert_int_equal(
            setsockopt(sender->fd, IPPROTO_IP, IP_MULTICAST_IF, &through, sizeof through), 0);
}

/* "$PSRN,g,12,0*..": which way, round, number. */
static void say_number(struct soak *soak, enum way way)
{
    static struct stage_text text;
    struct sender *sender = &soak->senders[way];
    text.length = 0;
    stage_add_sentence(&text, "PSRN,%c,%u,%u", letters[way], soak->round, sender->number);
    if (sendto(sender->fd, text.bytes, text.length, 0, (struct sockaddr *)&sender->to,
               sizeof sender->to) > 0)
        sender->number++;
}

/* Whether the journal has come to hold a sentence of this round that went this way. Text is looked
 * for twice where two looks meet, so that none is torn apart. */
static bool is_heard(const struct soak *soak, enum way way, const char *text)
{
    char wanted[40];
    snprintf(wanted, sizeof wanted, "$PSRN,%c,%u,", letters[way], soak->round);
    return strstr(text, wanted) != NULL;
}

static void look_at_journal(const struct soak *soak, bool heard[WAY_COUNT])
{
    static char text[1 << 20];
    int fd = open(stage_path("network.journal"), O_RDONLY | O_CLOEXEC);
    ssize_t length = pread(fd, text, sizeof text - 1, soak->looked_at);
    close(fd);
    text[length < 0 ? 0 : length] = '\0';
    for (int way = 0; way < WAY_COUNT; way++)
        heard[way] |= is_heard(soak, (enum way)way, text);
}

/* Sends at an even pace until everything is heard; and for a while longer. */
static void send_until_heard(struct soak *soak)
{
    bool heard[WAY_COUNT] = {false};
    int64_t begun = now_ms(), since = 0;
    for (unsigned due = 0; since == 0 || now_ms() - since < 100; due++) {
        for (int way = 0; way < WAY_COUNT; way++)
            say_number(soak, (enum way)way);
        while (now_ms() < begun + due * EVERY_MS)
            nanosleep(&(struct timespec){0, 1000000}, NULL);
        if (due % 10 == 9)
            look_at_journal(soak, heard);
        if (since == 0 && heard[FROM_HERE] && heard[TO_ADDRESS] && heard[TO_GROUP])
            since = now_ms();
        if (now_ms() - begun > PATIENCE_S * 1000)
            fail_msg("round %u: here %d, address %d, group %d heard; the logger says:\n%s",
                     soak->round, heard[FROM_HERE], heard[TO_ADDRESS], heard[TO_GROUP],
                     stage_said(&soak->logger));
    }
}

static off_t size_of(const char *path)
{
    struct stat about;
    return stat(path, &about) == 0 ? about.st_size : 0;
}

/* Everything is there, says something, and goes away: the senders, the interface, and the network
 * inside the machine for a moment. */
static void go_round(struct soak *soak)
{
    soak->looked_at = size_of(stage_path("network.journal"));
    soak->interface = plug_in();
    assert_true(soak->interface >= 0);
    for (int way = 0; way < WAY_COUNT; way++)
        begin_sending(soak, (enum way)way);
    send_until_heard(soak);
    for (int way = 0; way < WAY_COUNT; way++) {
        soak->sent[way][soak->round] = soak->senders[way].number;
        close(soak->senders[way].fd);
    }
    close(soak->interface);
    set_up("lo", false);
    for (int i = 0; i < 3; i++)
        stage_nap();
    set_up("lo", true);
}

/* --- what came of it */

struct recorded {
    const struct soak *soak;
    unsigned round[WAY_COUNT], next[WAY_COUNT]; /* the number expected */
    unsigned longest[WAY_COUNT]; /* sentences of a round that were not recorded yet */
};

static enum way way_of(char letter)
{
    const char *at = strchr(letters, letter);
    assert_true(at && *at);
    return (enum way)(at - letters);
}

static void end_round(const struct recorded *it, enum way way)
{
    if (it->next[way] != it->soak->sent[way][it->round[way]])
        fail_msg("round %u, %c: %u were sent, the last recorded is %u", it->round[way],
                 letters[way], it->soak->sent[way][it->round[way]], it->next[way]);
}

/* The first of a round may come late, but none is missing after it. */
static bool take_sentence(void *self, const struct raw_message *message)
{
    struct recorded *it = self;
    char text[80] = "", letter;
    unsigned round, number;
    memcpy(text, message->bytes, message->length < sizeof text ? message->length : sizeof text - 1);
    assert_int_equal(sscanf(text, "$PSRN,%c,%u,%u", &letter, &round, &number), 3);
    enum way way = way_of(letter);
    if (round != it->round[way]) {
        end_round(it, way);
        assert_int_equal(round, it->round[way] + 1);
        it->round[way] = round;
        it->next[way] = number;
        it->longest[way] = number > it->longest[way] ? number : it->longest[way];
    }
    if (round == 0 && it->next[way] == 0)
        it->next[way] = number; /* the logger itself is beginning */
    assert_int_equal(number, it->next[way]);
    it->next[way]++;
    return true;
}

static void expect_all(const struct soak *soak)
{
    struct recorded recorded = {.soak = soak};
    struct run *run = stage_open_run(stage_path("network.h5"));
    assert_int_equal(run_raw(run, take_sentence, &recorded, NULL), STATUS_OK);
    for (int way = 0; way < WAY_COUNT; way++) {
        assert_int_equal(recorded.round[way], rounds - 1);
        end_round(&recorded, (enum way)way);
    }
    assert_int_equal(recorded.longest[FROM_HERE], 0);
    assert_int_equal(recorded.longest[TO_ADDRESS], 0);
    assert_true(stage_tally(run, TO_GROUP, REASON_REOPENED) >= rounds - 1);
    run_close(run);
    print_message("%u rounds; recording again at once (this machine, address), after at most %u ms "
                  "(group)\n",
                  rounds, recorded.longest[TO_GROUP] * EVERY_MS);
}

static void test_network(void **state)
{
    (void)state;
    struct soak soak = {.round = 0};
    struct holding before = {0, 0};
    char here[64];
    if (!prepare())
        skip();
    for (int way = 0; way < WAY_COUNT; way++) {
        soak.sent[way] = calloc(rounds, sizeof *soak.sent[way]);
        assert_non_null(soak.sent[way]);
    }
    soak.port = stage_free_port(SOCK_DGRAM);
    snprintf(here, sizeof here, "here=udp:%u", soak.port);
    soak.logger =
        start_logger("--input", here, "--input", "address=udp:" ADDRESS ":10111", "--input",
                     "group=udp:" GROUP ":60001,interface=" INTERFACE, "--output",
                     stage_path("network.h5"), "--set", "logger.reopen_longest=0.5", SMALL_RING);
    stage_until_said(&soak.logger, "): open");
    for (; soak.round < rounds; soak.round++) {
        go_round(&soak);
        if (soak.round + 1 == settled_after(rounds))
            before = holding_of(&soak.logger);
    }
    expect_no_growth(before, holding_of(&soak.logger));
    stage_stop(soak.logger, SIGINT, 0);
    expect_all(&soak);
    for (int way = 0; way < WAY_COUNT; way++)
        free(soak.sent[way]);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_network)};
    rounds = rounds_asked();
    return cmocka_run_group_tests(tests, stage_make, stage_remove);
}
